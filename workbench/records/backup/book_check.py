"""Whether a file is a sound book of ours, found out without changing it."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from workbench.errors import RecordsError, shown
from workbench.records.store.database import Database
from workbench.records.store.faults import (
    RefusedFileError,
    explain,
    is_busy,
    said,
)
from workbench.records.store.retry import BUSY_SECONDS
from workbench.records.store.schema import (
    APPLICATION_ID,
    applied,
    fingerprint,
    step_names,
)

if TYPE_CHECKING:
    from sqlite_utils import Migrations

CHECK_AT_MOST_BYTES = 50_000_000
"""Books up to this size are checked when first opened; it takes about 0.1 s at most."""

_MAGIC = b"SQLite format 3\0"
_checked: set[tuple[int, int]] = set()


def check_header(path: Path) -> None:
    """Refuse what is no book of ours by its first bytes, without SQLite, which could touch it."""
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except OSError as error:
        raise RecordsError(
            f"{_name(path)}: cannot be read ({said(error)}); name another"
        ) from error
    if len(head) < 100 or not head.startswith(_MAGIC):
        raise RefusedFileError(path, "is not a book of Quarterturn; name another file")
    if int.from_bytes(head[68:72]) != APPLICATION_ID:
        raise RefusedFileError(path, "is the database of another program; name another file")
    if _is_cut_short(path, head):
        raise RecordsError(f"{_name(path)}: is cut short; keep it and open the latest backup")


def _is_cut_short(path: Path, head: bytes) -> bool:
    """Whether pages are missing that no log can supply (offsets: SQLite file format, 1.3)."""
    if _has_beside(path, "-wal") or _has_beside(path, "-journal"):
        return False
    page = int.from_bytes(head[16:18])
    size = 65536 if page == 1 else page
    trusted = head[24:28] == head[92:96]
    return trusted and _status(path).st_size < size * int.from_bytes(head[28:32])


def look_inside(path: Path, steps: Migrations | None) -> None:
    """Refuse a damaged book or a newer one, through a connection that cannot write.

    Where no log shows that the book is in use, the file is read as it lies there, and read again
    if it changed meanwhile. Only a book whose maker was killed while beginning it has a journal;
    that needs undoing first.
    """
    if _has_beside(path, "-journal"):
        _look(path, steps, "mode=rw")
        return
    before = _state(path)
    if not path.with_name(path.name + "-wal").exists():
        try:
            _look(path, steps, "mode=ro&immutable=1")
            return
        except RecordsError:
            if _state(path) == before:
                raise
    _look(path, steps, "mode=ro")


def _state(path: Path) -> tuple[int, int, bool]:
    status = _status(path)
    return status.st_mtime_ns, status.st_size, path.with_name(path.name + "-wal").exists()


def _status(path: Path) -> os.stat_result:
    try:
        return path.stat()
    except OSError as error:
        raise RecordsError(
            f"{_name(path)}: cannot be read ({said(error)}); name another"
        ) from error


def _has_beside(path: Path, ending: str) -> bool:
    try:  # who has the book open may take its log away at any moment
        return path.with_name(path.name + ending).stat().st_size > 0
    except FileNotFoundError:
        return False


def _look(path: Path, steps: Migrations | None, how: str) -> None:
    uri = f"{path.absolute().as_uri()}?{how}"
    with closing(sqlite3.connect(uri, uri=True, timeout=BUSY_SECONDS)) as conn:
        db = Database(conn)
        try:
            _check_whole(db, path)
            _check_steps(db, path, steps)
            _check_tables(db, path)
        except sqlite3.Error as error:
            if isinstance(error, sqlite3.OperationalError) and is_busy(error):
                raise
            if _is_damage(error):
                raise _damaged(path, said(error)) from error
            raise explain(path, error) from error
        except (UnicodeDecodeError, KeyError) as error:
            raise _damaged(path, said(error)) from error


def _is_damage(error: sqlite3.Error) -> bool:
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF
    return code in (sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def _damaged(path: Path, what: str) -> RecordsError:
    return RecordsError(f"{_name(path)}: is damaged ({what}); keep it and open the latest backup")


def _check_whole(db: Database, path: Path) -> None:
    status = _status(path)
    key = (status.st_dev, status.st_ino)
    if key in _checked or status.st_size > CHECK_AT_MOST_BYTES:
        return
    found = db.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise _damaged(path, shown(found))
    _checked.add(key)


def _check_steps(db: Database, path: Path, steps: Migrations | None) -> None:
    if newer := sorted(set(applied(db)) - set(step_names(steps))):
        raise RecordsError(
            f"{_name(path)}: was written by a newer Quarterturn ({shown(newer[-1])}); "
            "update this one, or name another book"
        )


def _check_tables(db: Database, path: Path) -> None:
    """Refuse a book whose tables or triggers are not as we left them."""
    made = db.execute("PRAGMA user_version").fetchone()[0]
    if applied(db) and fingerprint(db) != made:
        raise RecordsError(
            f"{_name(path)}: its tables are damaged or were changed by another program; "
            "keep it and open the latest backup"
        )


def _name(path: Path) -> str:
    return shown(str(path), 300)
