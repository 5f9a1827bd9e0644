"""A sound copy of a book that is in use, which copying its file is not.

As rows are never removed, an older copy holds nothing that the book does not.
"""

from __future__ import annotations

import os
import re
import sqlite3
import tempfile
import time
from contextlib import closing, suppress
from itertools import count
from pathlib import Path

from workbench.errors import RecordsError, shown
from workbench.places import is_folder, is_plain_file, is_there
from workbench.records.store.database import RefusedFileError, Told, about, connection, quiet, said
from workbench.records.store.schema import APPLICATION_ID, APPLIED
from workbench.records.store.specs import WITH_IDS
from workbench.system import sync_folder

STALE_AFTER_S = 600.0
"""A half copy this old was left by a process that was killed; no copy takes so long."""

BESIDE = ("-wal", "-shm", "-journal")
"""How the names of the files end that SQLite keeps beside a book that is in use."""

PAGES_AT_ONCE = 4_096

_WAL = 2
"""The header's words on reading and writing where a bench has opened a book; a copy says 1."""


def copy_book(book: Path, target: Path, *, own_name: bool = False, told: Told = quiet) -> None:
    """Copy a book that others may have open: one file, checked, readable by its owner.

    The book is touched through SQLite alone: opening and closing its file any other way would take
    away this process's locks on it. The copy is written under another name, through to the disk,
    and renamed when it is sound, so that ``target`` is at no moment half a copy. What is there is
    replaced only where it is an older copy of this book; under a name of our own that has been seen
    to already, see ``make_way``. ``told`` is told of pages copied. Raises ``RecordsError``.
    """
    _refuse_target(book, target)
    if not own_name:
        _refuse_other_book(book, target)
    clear_half_copies(target.parent, re.escape(target.name))
    try:
        with connection(book) as source:
            _copy(source, target, told, whole=own_name)
    except sqlite3.Error as error:
        raise about(book, f"was not copied ({said(error)})") from error


def _copy(source: sqlite3.Connection, target: Path, told: Told, *, whole: bool) -> None:
    """Write the copy under another name, through to the disk, and give it its own when sound."""
    try:
        handle, spare_name = tempfile.mkstemp(
            prefix=f"{target.name}.", suffix=".tmp", dir=target.parent
        )
        os.close(handle)
        spare = Path(spare_name)
        try:
            _fill(source, spare, told, whole=whole)
            _sync(spare)
            os.replace(spare, target)
            sync_folder(target.parent)
        finally:
            with suppress(FileNotFoundError):
                spare.unlink()
    except (OSError, sqlite3.Error) as error:
        if isinstance(error, RecordsError):
            raise
        raise about(target, f"the copy was not made ({said(error)}); name another place") from error


def clear_half_copies(folder: Path, names: str) -> None:
    """Remove what killed processes left of copies whose targets' names match ``names``."""
    form = re.compile(rf"(?:{names})\.[a-z0-9_]{{8}}\.tmp(?:-journal|-wal|-shm)?")
    latest = time.time() - STALE_AFTER_S
    with suppress(OSError):
        for path in folder.iterdir():
            if form.fullmatch(path.name) and path.lstat().st_mtime < latest:
                path.unlink()


def make_way(book: Path, target: Path) -> Path | None:
    """Keep a copy under the next free number where it holds what the book does not, or may.

    Returns where it is kept; None where ``target`` may be replaced, or is none of ours.
    """
    if not is_plain_file(target) or not head_is_ours(target) or logs_beside(target):
        return None
    try:
        if row_beyond(book, target) is None:
            return None
    except RecordsError:
        pass  # nobody knows what is in it
    return _numbered(target)


def _numbered(target: Path) -> Path:
    names = (target.with_name(f"{target.stem}.{n}{target.suffix}") for n in count(2))
    return next(kept for kept in names if _is_kept_as(target, kept))


def _is_kept_as(target: Path, kept: Path) -> bool:
    """Give a file another name; False where that name is taken."""
    try:
        os.link(target, kept)  # which never takes a name that is taken
    except FileExistsError:
        return kept.samefile(target)
    except OSError:  # no links on this disk
        if is_there(kept):
            return False
        os.rename(target, kept)
    return True


def head_is_ours(path: Path) -> bool:
    """Whether a file's first bytes are those of a book of ours."""
    try:
        head = _head(path)
    except OSError:
        return False
    return len(head) == 100 and int.from_bytes(head[68:72]) == APPLICATION_ID


def logs_beside(path: Path) -> list[str]:
    """The names of what lies beside a book that is open, or was when its bench was killed."""
    return [path.name + ending for ending in BESIDE if is_there(Path(f"{path}{ending}"))]


def _head(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(100)


def _readable_head(target: Path) -> bytes:
    try:
        return _head(target)
    except OSError as error:
        raise RefusedFileError(target, f"cannot be read ({said(error)}); name another") from error


def _refuse_target(book: Path, target: Path) -> None:
    if is_folder(target):
        raise RefusedFileError(target, "is a folder; name a file in it")
    if not target.parent.is_dir():
        raise RefusedFileError(target, "its folder is not there; make it, or name another")
    if is_there(target):
        if not target.is_file():  # a pipe would be waited for without end
            raise RefusedFileError(target, "is not a plain file; name another")
        if target.samefile(book):
            raise RefusedFileError(target, "is the book itself; name another file")
        head = _readable_head(target)
        if head and int.from_bytes(head[68:72]) != APPLICATION_ID:
            raise RefusedFileError(
                target, "is there and is no book of Quarterturn; name another file"
            )
    if logs := logs_beside(target):  # it would be taken for the copy's own
        raise RefusedFileError(
            target,
            f"has {shown(logs[0])} beside it: a book open at a bench, or one whose bench was "
            "killed; name a file that is free, or open and leave that book before",
        )


def _refuse_other_book(book: Path, target: Path) -> None:
    """Refuse to replace what is not plainly an older copy of this book."""
    if not is_there(target) or not (head := _readable_head(target)):
        return
    if _WAL in (head[18], head[19]):
        raise RefusedFileError(
            target,
            "is a book that a bench has opened (its header says WAL, a copy's says DELETE); name a "
            "file that is free, or a copy that was not opened as a book",
        )
    try:
        row = row_beyond(book, target)
    except RecordsError as error:
        accepted = "cannot be compared with the book, so it stays; name a file that is free"
        raise RefusedFileError(target, accepted) from error
    if row is not None:
        raise RefusedFileError(
            target,
            f"holds {row}, which this book does not: another book, or one with more in it; name a "
            "file that is free, or an older copy of this book",
        )


def _fill(source: sqlite3.Connection, spare: Path, told: Told, *, whole: bool) -> None:
    """Copy and check; ``whole``: each index against its table too, which takes longer."""
    with closing(sqlite3.connect(spare)) as copy:
        # In steps, so that whoever waits can break it off; a reader's view, so that all of them are
        # of one state of the book.
        source.execute("BEGIN")
        try:
            source.execute("SELECT count(*) FROM sqlite_master").fetchone()
            source.backup(copy, pages=PAGES_AT_ONCE, progress=lambda *_: told(PAGES_AT_ONCE))
        finally:
            source.execute("ROLLBACK")
        copy.execute("PRAGMA journal_mode = DELETE")
        check = "integrity_check" if whole else "quick_check"
        found = copy.execute(f"PRAGMA {check}(1)").fetchone()[0]
    if found != "ok":
        raise RecordsError(f"the copy came out damaged ({shown(found)}); check the disk")


def _sync(file: Path) -> None:
    handle = os.open(file, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


# What a copy holds beyond a book --------------------------------------------------------------


def row_beyond(book: Path, copy: Path) -> str | None:
    """A row of ``copy`` that ``book`` does not have, as table and id; None where it has them all.

    Only ids are read, in their order on the disk and side by side, which takes less than copying.
    ``copy`` must not be in use. Raises ``RecordsError`` where either cannot be read.
    """
    try:
        with connection(book) as conn:
            conn.execute("ATTACH ? AS copy", [f"{copy.absolute().as_uri()}?mode=ro&immutable=1"])
            return _beyond(conn)
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise about(copy, f"cannot be compared with the book ({said(error)})") from error


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
