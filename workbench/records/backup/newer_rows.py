"""What a copy holds beyond a book. As rows are never removed, an older copy holds nothing."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from workbench.errors import RecordsError, shown
from workbench.records.store.faults import said
from workbench.records.store.retry import BUSY_SECONDS
from workbench.records.store.schema import APPLIED
from workbench.records.store.specs import WITH_IDS


def row_beyond(book: Path, copy: Path) -> str | None:
    """A row of ``copy`` that ``book`` does not have, as table and id; None where it has them all.

    Only ids are read, in their order on the disk and side by side, which takes less than copying.
    ``copy`` must not be in use. Raises ``RecordsError`` where either cannot be read.
    """
    uri, other = f"{book.absolute().as_uri()}?mode=ro", f"{copy.absolute().as_uri()}?mode=ro"
    try:
        with closing(sqlite3.connect(uri, uri=True, timeout=BUSY_SECONDS)) as conn:
            conn.execute("ATTACH ? AS copy", [f"{other}&immutable=1"])
            return _beyond(conn)
    except (sqlite3.Error, UnicodeDecodeError) as error:
        name = shown(str(copy), 300)
        raise RecordsError(f"{name}: cannot be compared with the book ({said(error)})") from error


def _beyond(conn: sqlite3.Connection) -> str | None:
    names = conn.execute("SELECT name FROM copy.sqlite_master WHERE type = 'table'")
    there = {row[0] for row in names}
    for table, key in ((APPLIED, "name"), *((table, "id") for table in WITH_IDS)):
        if table in there:
            sql = f"""SELECT {key} FROM copy.{table} EXCEPT SELECT {key} FROM main.{table}
                ORDER BY 1 DESC LIMIT 1"""
            if found := conn.execute(sql).fetchone():
                return f"{table} {shown(found[0])}"
    return None
