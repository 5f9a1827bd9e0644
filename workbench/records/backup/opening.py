"""Opening a book: look before touching, refuse what is not ours, copy before changing."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from workbench.errors import RecordsError, shown
from workbench.records.backup.book_check import check_header, look_inside
from workbench.records.backup.copies import copy_book, make_way
from workbench.records.backup.place_lock import place_held
from workbench.records.store.database import Database
from workbench.records.store.faults import said
from workbench.records.store.retry import BUSY_SECONDS, patiently
from workbench.records.store.schema import (
    APPLICATION_ID,
    applied,
    fingerprint,
    migrations,
    pending,
)
from workbench.system import sync_folder

if TYPE_CHECKING:
    from sqlite_utils import Migrations


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
            raise RecordsError(
                f"{_name(path)}: cannot be opened ({said(error)}); name another"
            ) from error


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
            raise RecordsError(f"{_name(path)}: was moved while it was opened; open it again")
    except BaseException:
        db.close()
        raise
    return db


def _name(path: Path) -> str:
    return shown(str(path), 300)


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
        raise RecordsError(
            f"{_name(path)}: cannot be reached ({said(error)}); name another"
        ) from error


def _make_folder(folder: Path) -> None:
    """Make a folder and those above it that are missing, for their owner alone."""
    if not folder.is_dir():
        if folder.parent != folder:
            _make_folder(folder.parent)
        folder.mkdir(mode=0o700, exist_ok=True)


def _refuse_place(path: Path, folder: Path) -> None:
    if path.is_dir():
        raise RecordsError(f"{_name(path)}: is a folder; name a file in it")
    if not folder.is_dir():
        raise RecordsError(f"{_name(path)}: its folder is not there; make it, or name another")
    if path.exists() and not path.is_file():
        raise RecordsError(f"{_name(path)}: is not a plain file; name another")
    if path.exists() and not os.access(path, os.R_OK | os.W_OK):
        raise RecordsError(
            f"{_name(path)}: is read-only here; make it writable, or open a copy of your own"
        )
    if not os.access(folder, os.W_OK | os.X_OK):
        raise RecordsError(
            f"{_name(path)}: its folder is read-only here; make it writable, or open a copy "
            "elsewhere"
        )


def _begin_file(path: Path) -> None:
    """Make the empty file, for its owner alone, and its entry in the folder safe."""
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        sync_folder(path.parent)
    except FileExistsError:
        return
    except (OSError, ValueError) as error:
        raise RecordsError(
            f"{_name(path)}: cannot be made ({said(error)}); name another"
        ) from error


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
            raise RecordsError(
                f"{_name(path)}: lies where a book cannot be kept safely (a network share?); "
                "name a file on a disk of this machine"
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
        kept = f", and a copy is at {_name(copy)}" if copy else ""
        raise RecordsError(
            f"{_name(path)}: could not be brought up to date ({said(error)}); it is as it was{kept}"
        ) from error
    except BaseException:
        db.rollback()
        raise


def _keep_copy(path: Path, step: str) -> Path:
    target = path.with_name(f"{path.stem}.before-{step}.db")
    make_way(path, target)
    uri = f"{path.absolute().as_uri()}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True, timeout=BUSY_SECONDS)) as source:
        copy_book(source, path, target, own_name=True)
    return target
