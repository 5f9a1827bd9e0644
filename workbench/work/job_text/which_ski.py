"""Which ski of the queue is meant: by its number, serial or name, or the one in hand."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

from workbench.errors import InputError
from workbench.work.job.queue_line import RosterLine
from workbench.work.job.shop import Shop
from workbench.work.text.setting_code import serial_in
from workbench.work.text.words import clean

_IN_HAND = "job"
"""The setting that holds the id of the job in hand, on the bench and on the command line."""

_MOST_SHOWN = 12


def job_meant(shop: Shop, text: str) -> tuple[int, RosterLine]:
    """Return the number in today's queue and the line of the ski that ``text`` means.

    Blank is the ski in hand; else a serial, a name, the number in the queue, or the text of a
    card's QR code.

    Raises:
        InputError: none in hand, no such ski in the queue, or more than one of that name.
    """
    numbered = tuple(enumerate(shop.roster(), 1))
    if not text.strip():
        return _in_hand(shop, numbered)
    found = _named(numbered, serial_in(text).strip())
    open_ones = [each for each in found if each[1].stage != "signed off"]
    for only in (found, open_ones):  # set and queued again on one day: the open job is meant
        if len(only) == 1:
            return only[0]
    if found:
        accepted = f"one of these, by its serial or number: {_listed(found)}"
    else:
        accepted = f"a ski of today's queue by serial, name or number: {_listed(numbered)}"
    raise InputError("ski", text, accepted)


def _in_hand(shop: Shop, numbered: Sequence[tuple[int, RosterLine]]) -> tuple[int, RosterLine]:
    job_id = shop.book.setting(_IN_HAND, "")
    for number, line in numbered:
        if line.job_id == job_id:
            return number, line
    raise InputError("ski", "(none in hand)", f"take one: {_listed(numbered)}")


def _named(
    numbered: Sequence[tuple[int, RosterLine]], text: str
) -> tuple[tuple[int, RosterLine], ...]:
    """Return the lines that a text names: serials before names before the number."""
    wanted = text.casefold()
    by_serial = tuple(x for x in numbered if x[1].serial.casefold() == wanted)
    by_name = tuple(x for x in numbered if x[1].ski_name.casefold() == wanted)
    if by_serial or by_name:
        return by_serial or by_name
    return tuple(each for each in numbered if str(each[0]) == text)


def _listed(numbered: Sequence[tuple[int, RosterLine]]) -> str:
    """Return skis of the queue with their numbers, on one line."""
    if not numbered:
        return "the queue is empty, add a ski first: quarterturn add-ski NAME"
    few = [_short(number, line) for number, line in numbered[:_MOST_SHOWN]]
    more = len(numbered) - _MOST_SHOWN
    return " · ".join(few) + (f" · and {more} more" if more > 0 else "")


def _short(number: int, line: RosterLine) -> str:
    serial = f" ({clean(line.serial[:20])})" if line.serial else ""
    return f"{number} {clean(line.ski_name[:40])}{serial}"


def take(shop: Shop, line: RosterLine) -> None:
    """Take a ski of the queue in hand, here and for the bench."""
    shop.remember(_IN_HAND, line.job_id)


def is_in_hand(shop: Shop, line: RosterLine) -> bool:
    """Whether this job is the one in hand."""
    return shop.book.setting(_IN_HAND, "") == line.job_id


def option_for(shop: Shop, number: int, line: RosterLine) -> str:
    """Return the option that names this ski: its serial where that alone means it, else its number.

    The number is good until the queue changes, the serial for longer.
    """
    serial = line.serial
    plain = serial.isascii() and serial.isprintable() and serial[:1].isalnum()
    if plain and len(serial) <= 40 and _means(shop, serial, line):
        return f"--ski {shlex.quote(serial)}"
    return f"--ski {number}"


def _means(shop: Shop, text: str, line: RosterLine) -> bool:
    try:
        return job_meant(shop, text)[1].job_id == line.job_id
    except InputError:
        return False
