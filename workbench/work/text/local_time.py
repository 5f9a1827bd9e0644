"""Moments of the book (ISO, UTC) by the clock on the wall, and a clock that cannot be right."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from workbench.errors import InputError
from workbench.records.store.row_checks import day_text

if TYPE_CHECKING:
    from workbench.records.book import Book

_AHEAD = timedelta(days=1)
"""More than two benches' clocks and their zones may differ by."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def local(at: str) -> datetime:
    """Return a moment of the book on this machine's clock."""
    return on_the_wall(datetime.fromisoformat(at))


def on_the_wall(moment: datetime) -> datetime:
    """Return a moment on this machine's clock; as it is where the calendar ends before its zone."""
    try:
        return moment.astimezone()
    except (OverflowError, ValueError, OSError):
        return moment


def local_at(seconds: float) -> datetime:
    """Return a moment in seconds since 1970 on this machine's clock, at most an end of all days."""
    try:
        moment = _EPOCH + timedelta(seconds=seconds)
    except OverflowError:
        moment = (datetime.min if seconds < 0.0 else datetime.max).replace(tzinfo=UTC)
    return on_the_wall(moment)


def local_day(at: str) -> str:
    """Return the day of a moment of the book by the clock on the wall."""
    return local(at).date().isoformat()


def day_and_time(at: str) -> str:
    """Return a moment of the book as local day and time."""
    return f"{local(at):%Y-%m-%d %H:%M}"


def clock_words(book: Book, now: datetime | None = None) -> str:
    """Say that the book has entries from a day this machine has not come to; else nothing.

    Either clock may be the wrong one. What is entered comes after what is there all the same.
    """
    newest, now = book.newest_entry(), now or datetime.now(UTC)
    if newest is None or newest - now < _AHEAD:
        return ""
    return (
        f"the book's last entry is of {on_the_wall(newest).date()}, but this machine's clock says "
        f"{now.astimezone().date()}: check the clock"
    )


_DOTTED = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", re.ASCII)


def day_typed(field: str, text: str) -> str:
    """The day that a person typed, as the book writes it: 2026-11-28, or 28.11.2026.

    Days with slashes are refused: some read the month first. Raises ``InputError``.
    """
    if found := _DOTTED.fullmatch(text.strip()):
        text = f"{found[3]}-{int(found[2]):02}-{int(found[1]):02}"
    try:
        return day_text(field, text.strip())
    except InputError as why:
        raise InputError(field, why.value, f"{why.accepted}, or as 28.11.2026") from None
