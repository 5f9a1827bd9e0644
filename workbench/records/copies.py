"""A sound copy of a book that is in use, which copying its file is not."""

from __future__ import annotations

import os
import re
import sqlite3
import tempfile
import time
from contextlib import closing, suppress
from pathlib import Path

from ..errors import RecordsError, shown
from ..places import is_folder, is_there
from .faults import said
from .schema import APPLICATION_ID

STALE_AFTER_S = 600.0
"""A half copy this old was left by a process that was killed; no copy takes so long."""


def copy_book(source: sqlite3.Connection, book: Path, target: Path) -> None:
    """Copy the book open as ``source`` to ``target``: one file, checked, readable by its owner.

    It is written under another name, through to the disk, and renamed when it is sound, so that
    ``target`` is at no moment half a copy. Raises ``RecordsError``.
    """
    name = shown(str(target), 300)
    _refuse_target(book, target, name)
    clear_half_copies(target.parent, re.escape(target.name))
    try:
        handle, spare_name = tempfile.mkstemp(
            prefix=f"{target.name}.", suffix=".tmp", dir=target.parent
        )
        os.close(handle)
        spare = Path(spare_name)
        try:
            _fill(source, spare)
            _sync(spare)
            os.replace(spare, target)
            sync_folder(target.parent)
        finally:
            with suppress(FileNotFoundError):
                spare.unlink()
    except (OSError, sqlite3.Error) as error:
        if isinstance(error, RecordsError):
            raise
        raise RecordsError(
            f"{name}: the copy was not made ({said(error)}); name another place"
        ) from error


def clear_half_copies(folder: Path, names: str) -> None:
    """Remove what killed processes left of copies whose targets' names match ``names``."""
    form = re.compile(rf"(?:{names})\.[a-z0-9_]{{8}}\.tmp(?:-journal|-wal|-shm)?")
    latest = time.time() - STALE_AFTER_S
    with suppress(OSError):
        for path in folder.iterdir():
            if form.fullmatch(path.name) and path.lstat().st_mtime < latest:
                path.unlink()


def _refuse_target(book: Path, target: Path, name: str) -> None:
    if is_folder(target):
        raise RecordsError(f"{name}: is a folder; name a file in it")
    if not target.parent.is_dir():
        raise RecordsError(f"{name}: its folder is not there; make it, or name another")
    if not is_there(target):
        return
    if not target.is_file():  # a pipe would be waited for without end
        raise RecordsError(f"{name}: is not a plain file; name another")
    if target.samefile(book):
        raise RecordsError(f"{name}: is the book itself; name another file")
    with target.open("rb") as file:
        head = file.read(100)
    if head and int.from_bytes(head[68:72]) != APPLICATION_ID:
        raise RecordsError(f"{name}: is there and is no book of Quarterturn; name another file")


def _fill(source: sqlite3.Connection, spare: Path) -> None:
    with closing(sqlite3.connect(spare)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
        found = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise RecordsError(f"the copy came out damaged ({shown(found)}); check the disk")


def _sync(file: Path) -> None:
    handle = os.open(file, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Write a folder's entries through to the disk, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
