"""How a book is, found out without changing it: whole, how many rows, which damaged, how new."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from workbench.errors import RecordsError
from workbench.records.backup.backups import newest_row
from workbench.records.exchange.form import forms
from workbench.records.exchange.rows_out import can_tell_damage, damaged, in_lots, rows_of
from workbench.records.store.database import Database, connection, said
from workbench.records.store.schema import APPLICATION_ID, applied, pending
from workbench.records.store.specs import ORDER, Table
from workbench.records.store.writer import moment_of

SQLITE = sqlite3.sqlite_version

_LOT = 10_000
"""So many rows are looked at together: a book of a million is never in memory whole."""

QUICK = 5_000_000
"""Bytes of a book that is looked through in a moment."""


@dataclass(frozen=True, slots=True)
class Health:
    """What was found of a book, none of its words.

    ``trouble`` says why no more was found out, or what SQLite finds wrong with the file; blank is
    sound. ``damaged`` counts, by table, rows that no longer say what was written and are not struck
    out; None where they were not looked at. ``newest`` is the time of the newest row by its id.
    ``shared`` has, for each hub or folder that is joined, which it is and how many rows wait to go.
    """

    size: int
    trouble: str = ""
    step: str = ""
    rows: int = 0
    damaged: dict[str, int] | None = None
    newest: datetime | None = None
    shared: tuple[tuple[str, int], ...] = ()

    @property
    def is_sound(self) -> bool:
        """Whether nothing was found wrong."""
        return not self.trouble and not self.damaged


def health_of(path: Path, *, quick: bool = False) -> Health:
    """Look a book through by a connection that cannot write; it may be in use.

    ``quick`` leaves a book larger than ``QUICK`` at its counts. The file is touched through SQLite
    alone: where this process has it open, opening and closing it otherwise would drop its locks.
    """
    if not path.with_name(f"{path.name}-wal").exists():
        # Nobody has it open: read as it lies, also in a folder where nothing can be written.
        found = _health(path, "mode=ro&immutable=1", quick)
        if found.is_sound:
            return found
    return _health(path, "mode=ro", quick)


def _health(path: Path, how: str, quick: bool) -> Health:
    try:
        with connection(path, how) as conn:
            whole = not quick or path.stat().st_size <= QUICK
            return _looked_through(Database(conn), path, how, whole=whole)
    except (sqlite3.Error, OSError, ValueError, KeyError, RecordsError) as error:
        return Health(0, f"cannot be read ({said(error)})")


def _looked_through(db: Database, path: Path, how: str, *, whole: bool) -> Health:
    size = path.stat().st_size
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        return Health(size, "is not a book of Quarterturn")
    if whole and (found := db.execute("PRAGMA integrity_check(1)").fetchone()[0]) != "ok":
        return Health(size, f"is damaged ({found})")
    steps = applied(db)
    step = steps[-1] if steps else ""
    if pending(db, None):
        return Health(size, "is of an older version; opening it brings it up to date", step)
    count = sum(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ORDER)
    newest = newest_row(path, how)
    moment = moment_of(newest) if isinstance(newest, str) else None
    hurt = _damaged(db) if whole else None
    return Health(size, "", step, count, hurt, moment, _shared(db))


def _shared(db: Database) -> tuple[tuple[str, int], ...]:
    sql = f"""SELECT s.kind, (SELECT count(*) FROM {Table.JOURNAL} j
        WHERE j.number > s.sent AND j.came <> s.share) FROM {Table.SHARES} s
        WHERE s.joined ORDER BY s.at"""
    return tuple((kind, count) for kind, count in db.execute(sql))


def _damaged(db: Database) -> dict[str, int]:
    struck = {
        row["row_id"]
        for table in (Table.STRIKES, Table.OTHER_STRIKES)
        for row in db.query(f"SELECT row_id FROM {table}")
    }
    out: dict[str, int] = {}
    for table, form in forms(db).items():
        if can_tell_damage(table):
            for some in in_lots(rows_of(db, form), _LOT):
                if count := sum(1 for _ in damaged(db, table, some, struck)):
                    out[table.value] = out.get(table.value, 0) + count
    return out
