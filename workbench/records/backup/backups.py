"""Copies of a book kept beside it, one for each day, and a copy put back in the book's place.

Copying works through a connection of its own, so that the desk can go on writing meanwhile.
"""

from __future__ import annotations

import os
import re
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from workbench.errors import RecordsError
from workbench.records.backup.copies import (
    BESIDE,
    clear_half_copies,
    copy_book,
    head_is_ours,
    logs_beside,
    make_way,
    row_beyond,
)
from workbench.records.backup.opening import check_header, look_inside
from workbench.records.backup.place import place_held
from workbench.records.exchange.form import LOCAL_SETTINGS
from workbench.records.store.database import (
    RefusedFileError,
    Told,
    about,
    connection,
    is_busy,
    quiet,
    said,
)
from workbench.records.store.specs import WITH_IDS, Table
from workbench.system import sync_folder

FOLDER = "backups"
KEPT = 14
"""So many days' copies are kept where the shop does not say otherwise."""

_OTHER_TABLES = " UNION ALL ".join(
    f"SELECT max(id) AS id FROM {table}" for table in WITH_IDS if table is not Table.SETTINGS
)
_SHOP_SETTINGS = "SELECT max(id) AS id FROM settings WHERE name NOT IN ({})".format(
    ", ".join(f"'{name}'" for name in sorted(LOCAL_SETTINGS))
)
_NEWEST = f"SELECT max(id) FROM ({_OTHER_TABLES} UNION ALL {_SHOP_SETTINGS})"


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy of a book: where it lies, the day in its name, and its size in bytes.

    ``number`` is 1 for the day's copy itself; those kept beside it, as they hold what the book did
    not have, count from 2.
    """

    path: Path
    day: date
    size: int
    number: int = 1

    @property
    def label(self) -> str:
        """What a person calls it by: its day, with its number where that is not the first."""
        return self.day.isoformat() + (f".{self.number}" if self.number > 1 else "")


@dataclass(frozen=True, slots=True)
class Copied:
    """A copy that was made, and where the one is kept that it would have replaced with less."""

    path: Path
    aside: Path | None = None


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did: the book's place, and where the book that was there is kept now."""

    book: Path
    kept: Path | None


def folder_of(book: Path) -> Path:
    """The folder of a book's daily copies."""
    return book.parent / FOLDER


def path_for(book: Path, day: date) -> Path:
    """Where the copy of a day lies."""
    return folder_of(book) / f"{book.stem}.{day.isoformat()}.db"


def backups_of(book: Path) -> tuple[Backup, ...]:
    """The daily copies of a book by their names alone: newest day first, the day's own first."""
    form = re.compile(_names_of(book), re.ASCII)
    out = []
    try:
        found = sorted(folder_of(book).iterdir())
    except OSError:
        return ()
    for path in found:
        if (match := form.fullmatch(path.name)) and path.is_file() and not path.is_symlink():
            with suppress(ValueError, OSError):
                day = date.fromisoformat(match[1])
                out.append(Backup(path, day, path.stat().st_size, int(match[2] or 1)))
    return tuple(sorted(out, key=lambda backup: (-backup.day.toordinal(), backup.number)))


def _names_of(book: Path) -> str:
    return re.escape(book.stem) + r"\.(\d{4}-\d\d-\d\d)(?:\.([2-9]|[1-9]\d{1,5}))?\.db"


def copy_of_day(book: Path, day: date, kept: int = KEPT, told: Told = quiet) -> Copied:
    """Copy the book for a day, over that day's earlier copy; the oldest copies make room.

    An earlier copy that holds what the book does not (the book was lost and begun anew, or an
    older one put back) is kept under a number. The copies of ``kept`` days remain; only those are
    removed that hold nothing beyond the book, and never the one just made. Raises ``RecordsError``.
    """
    target = path_for(book, day)
    try:
        target.parent.mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise about(target.parent, f"no folder for backups ({said(error)})") from error
    try:
        aside = make_way(book, target)
    except OSError as error:
        raise about(target, f"could not be kept aside ({said(error)})") from error
    with place_held(book):
        copy_book(book, target, own_name=True, told=told)
    clear_half_copies(target.parent, _names_of(book))
    _prune(book, day, max(kept, 1))
    return Copied(target, aside)


def _prune(book: Path, made: date, kept: int) -> None:
    others = [backup for backup in backups_of(book) if backup.day != made]
    days = list(dict.fromkeys(backup.day for backup in others))[: kept - 1]
    for backup in others:
        if backup.day not in days and _holds_nothing_more(book, backup.path):
            with suppress(OSError):
                backup.path.unlink()


def _holds_nothing_more(book: Path, copy: Path) -> bool:
    if not head_is_ours(copy) or logs_beside(copy):
        return False
    try:
        return row_beyond(book, copy) is None
    except RecordsError:
        return False


def is_newer_than(book: Path, copy: Path) -> bool:
    """Whether the newest row of the two differs; a bench's own settings do not count."""
    try:
        return newest_row(book, "mode=ro") != newest_row(copy, "mode=ro&immutable=1")
    except (sqlite3.Error, OSError):
        return True


def newest_row(path: Path, how: str) -> object:
    """Return the greatest id of a book but for a bench's own settings; None of an empty one."""
    with connection(path, how) as conn:
        return conn.execute(_NEWEST).fetchone()[0]


# Restoring ---------------------------------------------------------------------------------


def restore(book: Path, backup: Path, now: datetime) -> Restored:
    """Put a copy of ``backup`` in the book's place; the book that was there is kept aside.

    Raises ``RecordsError``, and then the book is as it was: the backup is damaged, newer than this
    program or no book; the book is open at a bench; or what lies in its place is no book at all.
    """
    book = _real(book)
    spare: Path | None = None
    try:
        check_header(backup)
        if book.exists() and backup.samefile(book):
            raise RefusedFileError(backup, "is the book itself; name a backup")
        look_inside(backup)
        if not book.parent.is_dir():
            raise about(book, "its folder is not there; make it, or name another")
        spare = _spare(book)
        copy_book(backup, spare)  # SQLite checks every page, and brings in a log beside it
        look_inside(spare)
        with place_held(book, alone=True):
            kept = _swap(book, spare, now)
    except OSError as error:
        if isinstance(error, RecordsError):
            raise
        raise about(book, f"was not restored ({said(error)})") from error
    finally:
        if spare is not None:
            with suppress(OSError):
                spare.unlink()
    return Restored(book, kept)


def _real(book: Path) -> Path:
    """Where the book lies: a link in its place stays one."""
    place = Path(os.path.realpath(book))
    if place.is_symlink():
        raise about(book, "is a link that leads back to itself; name another file")
    return place


def _spare(book: Path) -> Path:
    """A file of this restore's own beside the book; those of killed ones are cleared away."""
    stem = f".{book.name}.restored"
    clear_half_copies(book.parent, re.escape(stem))
    handle, name = tempfile.mkstemp(prefix=f"{stem}.", suffix=".tmp", dir=book.parent)
    os.close(handle)
    return Path(name)


def _swap(book: Path, spare: Path, now: datetime) -> Path | None:
    if not book.exists():
        _put_aside_logs(book, _aside(book, now))
        os.replace(spare, book)
        sync_folder(book.parent)
        return None
    if not head_is_ours(book):
        raise about(book, "is no book of Quarterturn; move it away first")
    kept = _aside(book, now)
    with _alone(book):
        _keep(book, kept)
        _put_aside_logs(book, kept)
        os.replace(spare, book)
        sync_folder(book.parent)
    return kept


def _aside(book: Path, now: datetime) -> Path:
    stem = f"{book.stem}.before-restore-{now:%Y-%m-%d-%H%M%S}"
    names = (book.with_name(f"{stem}{more}.db") for more in ("", *(f"-{n}" for n in range(2, 99))))
    return next(path for path in names if not path.exists())


@contextmanager
def _alone(book: Path) -> Iterator[None]:
    """Hold the book so that no bench can open it, its log written into it.

    A damaged book is let through: nobody can have it open, and that it is damaged may be why.
    """
    with closing(sqlite3.connect(book, timeout=0.5, isolation_level=None)) as conn:
        try:
            mode = conn.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
            conn.execute("BEGIN EXCLUSIVE")
            open_elsewhere = conn.execute("PRAGMA journal_mode").fetchone()[0] != mode
        except sqlite3.Error as error:
            open_elsewhere = isinstance(error, sqlite3.OperationalError) and is_busy(error)
        if open_elsewhere:
            raise about(book, "is open at a bench; close that, then restore again")
        yield


def _keep(book: Path, kept: Path) -> None:
    """Give the book a second name: at no moment is there no book."""
    try:
        os.link(book, kept)
    except OSError:
        copy_book(book, kept)


def _put_aside_logs(book: Path, kept: Path) -> None:
    """A log left beside another book would be taken for that one's own."""
    for ending in BESIDE:
        log = book.with_name(book.name + ending)
        if log.exists():
            os.replace(log, kept.with_name(kept.name + ending))
