"""Find as you type: words that must all stand somewhere in what is known of a ski."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from typing import Generic, TypeVar

from workbench.records.tables.roster import KnownSki
from workbench.work.job.job_view import RosterLine
from workbench.work.job.shop import Shop
from workbench.work.job_text.setting_words import serial_in

_LETTERS = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i", "ħ": "h"}
)
"""Letters that no decomposition takes apart, as hands type them without their keyboard."""


def folded(text: str) -> str:
    """Return text as it is searched: no case, no accents, no odd forms of a letter."""
    if text.isascii():
        return text.lower()
    plain = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in plain if not unicodedata.combining(c)).translate(_LETTERS)


_T = TypeVar("_T")


class Finder(Generic[_T]):
    """Things with their searchable text made once; each further letter searches what was left."""

    def __init__(self, things: Iterable[tuple[_T, Sequence[str]]]) -> None:
        self._texts = [(folded("\n".join(texts)), thing) for thing, texts in things]
        self._query = ""
        self._left = self._texts

    def find(self, query: str) -> tuple[_T, ...]:
        """Return, in their order, the things that hold every word of ``query``."""
        wanted = folded(query)
        if not wanted.startswith(self._query):
            self._left = self._texts
        for word in wanted.split():
            self._left = [each for each in self._left if word in each[0]]
        self._query = wanted
        return tuple(thing for _, thing in self._left)


def line_texts(line: RosterLine) -> tuple[str, ...]:
    """Return the texts by which a ski of the queue is found."""
    return (line.ski_name, line.rider, line.serial, line.note, line.ski_note)


def queue_finder(lines: Iterable[RosterLine]) -> Finder[RosterLine]:
    """Return a finder of the skis in a queue, by name, rider, serial and note."""
    return Finder((line, line_texts(line)) for line in lines)


def ski_finder(shop: Shop) -> Finder[KnownSki]:
    """Return a finder of every ski the book knows, newest first, read with one query."""
    return Finder((k, (k.name, k.rider, k.serial, k.note)) for k in shop.book.known_skis())


def by_serial(
    shop: Shop, roster: Iterable[RosterLine], serial: str
) -> tuple[tuple[RosterLine, ...], tuple[KnownSki, ...]]:
    """Return the day's lines whose ski has this serial, and, where none has, the skis known by it.

    A card's QR code is read as the serial in it.

    Of a ski that is in the queue twice the line that is to be done comes first.
    """
    wanted = folded(serial_in(serial).strip())
    lines = [line for line in roster if wanted and folded(line.serial.strip()) == wanted]
    lines.sort(key=lambda line: line.stage in ("signed off", "set aside"))
    if lines or not wanted:
        return tuple(lines), ()
    return (), tuple(k for k in shop.book.known_skis() if folded(k.serial.strip()) == wanted)
