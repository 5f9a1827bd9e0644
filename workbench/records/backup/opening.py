"""Opening a book: look before touching, refuse what is not ours, copy before changing."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING

from workbench.errors import RecordsError, shown
from workbench.records.backup.copies import copy_book, make_way
from workbench.records.backup.place import place_held
from workbench.records.store.database import (
    BUSY_SECONDS,
    Database,
    RefusedFileError,
    about,
    connection,
    explain,
    is_busy,
    patiently,
    said,
)
from workbench.records.store.schema import (
    APPLICATION_ID,
    applied,
    fingerprint,
    migrations,
    pending,
    step_names,
)
from workbench.system import sync_folder

if TYPE_CHECKING:
    from sqlite_utils import Migrations

CHECK_AT_MOST_BYTES = 50_000_000
"""Books up to this size are checked when first opened; it takes about 0.1 s at most."""

_MAGIC = b"SQLite format 3\0"
_checked: set[tuple[int, int]] = set()


def open_book(path: Path, steps: Migrations | None, *, make_folder: bool) -> Database:
    """A connection to the book at ``path``, begun or brought up to date where needed.

    ``steps`` None is today's. Raises ``RecordsError``; a file that is not a sound book of ours is
    not changed by a byte.
    """
    _check_place(path, make_folder)
    with place_held(path):
        try:
            return _open_file(path, steps)
        except OSError as error:
            if isinstance(error, RecordsError):
                raise
            raise about(path, f"cannot be opened ({said(error)}); name another") from error


def _open_file(path: Path, steps: Migrations | None) -> Database:
    if not path.exists():
        _begin_file(path)
    begun = path.stat()
    if begun.st_size > 0:
        check_header(path)
        patiently(lambda: look_inside(path, steps))
    db = patiently(lambda: connect(path))
    try:
        _bring_up_to_date(db, path, steps)
        if not os.path.samestat(begun, path.stat()):
            raise about(path, "was moved while it was opened; open it again")
    except BaseException:
        db.close()
        raise
    return db


def _check_place(path: Path, make_folder: bool) -> None:
    if sqlite3.sqlite_version_info < (3, 37):
        raise RecordsError(
            f"SQLite {sqlite3.sqlite_version} is too old for the book; 3.37 or newer is needed"
        )
    folder = path.parent
    try:
        if make_folder:
            _make_folder(folder)
        _refuse_place(path, folder)
    except RecordsError:
        raise
    except (OSError, ValueError) as error:
        raise about(path, f"cannot be reached ({said(error)}); name another") from error


def _make_folder(folder: Path) -> None:
    """Make a folder and those above it that are missing, for their owner alone."""
    if not folder.is_dir():
        if folder.parent != folder:
            _make_folder(folder.parent)
        folder.mkdir(mode=0o700, exist_ok=True)


def _refuse_place(path: Path, folder: Path) -> None:
    if path.is_dir():
        raise about(path, "is a folder; name a file in it")
    if not folder.is_dir():
        raise about(path, "its folder is not there; make it, or name another")
    if path.exists() and not path.is_file():
        raise about(path, "is not a plain file; name another")
    if path.exists() and not os.access(path, os.R_OK | os.W_OK):
        raise about(path, "is read-only here; make it writable, or open a copy of your own")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise about(
            path, "its folder is read-only here; make it writable, or open a copy elsewhere"
        )


def _begin_file(path: Path) -> None:
    """Make the empty file, for its owner alone, and its entry in the folder safe."""
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        sync_folder(path.parent)
    except FileExistsError:
        return
    except (OSError, ValueError) as error:
        raise about(path, f"cannot be made ({said(error)}); name another") from error


def connect(path: Path) -> Database:
    """A connection to a book that was looked at before, set up as all are."""
    uri = f"{path.absolute().as_uri()}?mode=rw"
    conn = sqlite3.connect(uri, uri=True, timeout=BUSY_SECONDS, isolation_level=None)
    try:
        db = Database(conn)
        if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        if mode != "wal":
            raise about(
                path,
                "lies where a book cannot be kept safely (a network share?); "
                "name a file on a disk of this machine",
            )
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA foreign_keys = ON")
        db.execute("PRAGMA recursive_triggers = ON")  # for what INSERT OR REPLACE takes away
    except BaseException:
        conn.close()
        raise
    return db


def _bring_up_to_date(db: Database, path: Path, steps: Migrations | None) -> None:
    """Apply what is pending as one transaction, a copy of the book kept first."""
    if not pending(db, steps):
        return
    from sqlite_utils import Database as Whole

    patiently(lambda: db.execute("BEGIN IMMEDIATE"))
    copy: Path | None = None
    try:
        left = pending(db, steps)
        if left and applied(db):
            copy = _keep_copy(path, left[0])
        (steps or migrations()).apply(Whole(db.conn, execute_plugins=False))
        db.execute(f"PRAGMA user_version = {fingerprint(db)}")
        db.commit()
    except Exception as error:
        db.rollback()
        kept = f", and a copy is at {shown(str(copy), 300)}" if copy else ""
        raise about(
            path, f"could not be brought up to date ({said(error)}); it is as it was{kept}"
        ) from error
    except BaseException:
        db.rollback()
        raise


def _keep_copy(path: Path, step: str) -> Path:
    target = path.with_name(f"{path.stem}.before-{step}.db")
    make_way(path, target)
    copy_book(path, target, own_name=True)
    return target


# Whether a file is a sound book of ours, found out without changing it ------------------------


def check_header(path: Path) -> None:
    """Refuse what is no book of ours by its first bytes, without SQLite, which could touch it."""
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except OSError as error:
        raise about(path, f"cannot be read ({said(error)}); name another") from error
    if len(head) < 100 or not head.startswith(_MAGIC):
        raise RefusedFileError(path, "is not a book of Quarterturn; name another file")
    if int.from_bytes(head[68:72]) != APPLICATION_ID:
        raise RefusedFileError(path, "is the database of another program; name another file")
    if _is_cut_short(path, head):
        raise about(path, "is cut short; keep it and open the latest backup")


def _is_cut_short(path: Path, head: bytes) -> bool:
    """Whether pages are missing that no log can supply (offsets: SQLite file format, 1.3)."""
    if _has_beside(path, "-wal") or _has_beside(path, "-journal"):
        return False
    page = int.from_bytes(head[16:18])
    size = 65536 if page == 1 else page
    trusted = head[24:28] == head[92:96]
    return trusted and _status(path).st_size < size * int.from_bytes(head[28:32])


def look_inside(path: Path, steps: Migrations | None = None) -> None:
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
        raise about(path, f"cannot be read ({said(error)}); name another") from error


def _has_beside(path: Path, ending: str) -> bool:
    try:  # who has the book open may take its log away at any moment
        return path.with_name(path.name + ending).stat().st_size > 0
    except FileNotFoundError:
        return False


def _look(path: Path, steps: Migrations | None, how: str) -> None:
    with connection(path, how) as conn:
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
    return about(path, f"is damaged ({what}); keep it and open the latest backup")


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
        raise about(
            path,
            f"was written by a newer Quarterturn ({shown(newer[-1])}); "
            "update this one, or name another book",
        )


def _check_tables(db: Database, path: Path) -> None:
    """Refuse a book whose tables or triggers are not as we left them."""
    made = db.execute("PRAGMA user_version").fetchone()[0]
    if applied(db) and fingerprint(db) != made:
        raise about(
            path,
            "its tables are damaged or were changed by another program; "
            "keep it and open the latest backup",
        )
