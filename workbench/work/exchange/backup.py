"""Backups as a shop makes them: one a day by itself, one by hand, and one put back."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

from workbench.errors import BenchError, InputError, shown
from workbench.places import is_folder
from workbench.records.backup import backups
from workbench.records.backup.backups import Backup, Copied, Restored
from workbench.records.backup.copies import copy_book
from workbench.records.backup.place import place_held
from workbench.records.book import Book
from workbench.records.store.database import RefusedFileError, Told, quiet
from workbench.work.files.safe_write import path_of
from workbench.work.text.words import clean
from workbench.work.trust.shop_policy import BACKUPS


def kept_of(book: Book) -> int:
    """Return how many days' copies the shop wants kept; the usual number where it does not say."""
    return BACKUPS.kept_in(book)


def back_up_today(book: Book, today: date | None = None) -> Copied | None:
    """Copy the book unless today's copy is there; return the copy where one was made.

    Works beside the desk, so that readings go on being kept meanwhile. Raises ``RecordsError``.
    """
    today = today or date.today()
    if backups.path_for(book.path, today).exists():
        return None
    return backups.copy_of_day(book.path, today, kept_of(book))


def back_up_at_leave(book: Book, today: date | None = None) -> Copied | None:
    """Bring today's copy up to what the book holds now; None where it is that already."""
    today = today or date.today()
    copy = backups.path_for(book.path, today)
    if copy.exists() and not backups.is_newer_than(book.path, copy):
        return None
    return backups.copy_of_day(book.path, today, kept_of(book))


def back_up(book: Book, path: str = "", today: date | None = None, told: Told = quiet) -> Copied:
    """Copy the book now: to ``path``, or over today's copy beside the book where it is blank.

    A folder gets the copy under its usual name. An older copy of this book is replaced there,
    anything else refused. ``told`` is told of pages copied.

    Raises:
        InputError: no copy can be written at that path; says why.
        RecordsError: the copy could not be made.
    """
    today = today or date.today()
    if not path.strip():
        return backups.copy_of_day(book.path, today, kept_of(book), told)
    target = path_of(path)
    if is_folder(target):
        target = target / backups.path_for(book.path, today).name
    try:
        with place_held(book.path):
            copy_book(book.path, target, told=told)
    except RefusedFileError as why:
        raise InputError("backup", str(target), why.accepted) from None
    return Copied(target)


def restore(book: Path, path: str, now: datetime | None = None) -> Restored:
    """Put a backup in the book's place; the book that was there is kept aside.

    ``path`` may also be the day of one of the daily copies, such as 2031-05-06, with its number
    where the day has several: 2031-05-06.2.
    """
    backup = _backup_called(book, path)
    try:
        return backups.restore(book, backup, now or datetime.now())
    except RefusedFileError as why:
        raise InputError("backup", str(backup), why.accepted) from None


def _backup_called(book: Path, text: str) -> Path:
    for backup in backups.backups_of(book):
        if backup.label == text.strip():
            return backup.path
    path = path_of(text)
    try:
        there = path.is_file()
    except (OSError, ValueError):
        there = False
    if not there:
        raise InputError("backup", text, "a backup's file, or the day of one that --list shows")
    return path


def backup_lines(found: tuple[Backup, ...], book: Path) -> list[str]:
    """Return the daily copies in words, newest first."""
    if not found:
        return [f"No backups in {clean(str(backups.folder_of(book)))}"]
    width = max(len(each.label) for each in found)
    return [
        f"{each.label:{width}}  {each.size / 1e6:7.1f} MB  {clean(str(each.path))}"
        for each in found
    ]


def lost_words(book: Path) -> str:
    """Return that a book just begun may stand in a lost one's place, of which copies are kept.

    Nothing where there are none.
    """
    kept = backups.backups_of(book)
    if not kept:
        return ""
    return (
        "a new book, yet backups of an earlier one are kept: to have the last back, leave the "
        f"bench and run quarterturn restore {kept[0].label}"
    )


def copied_lines(done: Copied) -> list[str]:
    """Return where a copy was made, and what became of the one that was there."""
    return [f"Backup: {clean(str(done.path))}", *aside_lines(done)]


def aside_lines(done: Copied) -> list[str]:
    """Return where the day's earlier copy is kept, where it held what the book does not."""
    if done.aside is None:
        return []
    kept = clean(str(done.aside))
    return [f"The day's earlier backup holds what this book does not; it is kept as {kept}"]


def restored_lines(done: Restored, path: str) -> list[str]:
    """Return what a restore did."""
    out = [f"Restored: {clean(str(done.book))} is now as in {clean(path)}"]
    if done.kept is not None:
        out.append(f"The book that was there is kept as {clean(str(done.kept))}")
    return out


def failed_words(why: BenchError) -> str:
    """Return what to say where the backup that makes itself could not be made."""
    return f"no backup was made: {shown(str(why), 400)[1:-1]}"
