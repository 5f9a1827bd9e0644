"""What is typed on the command line: which ski and reading are meant, and what a number means."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

from workbench.advice.checklists import CheckItem
from workbench.errors import InputError
from workbench.fin.reading.method import Method
from workbench.measure.lengths import Entry, Placing
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.entry import (
    Typed,
    reading_entry,
    target_entry,
    target_name,
    target_question,
)
from workbench.work.job.job_view import CoarseMark, JobView, RosterLine
from workbench.work.job.shop import Shop
from workbench.work.job_text.setting_words import serial_in
from workbench.work.job_text.view_words import doubt_question, sent_twice_question
from workbench.work.text.words import clean
from workbench.work.trust.job_reading import Line

# -- which ski of the queue -----------------------------------------------------------------------

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


def take_ski(shop: Shop, line: RosterLine) -> None:
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


# -- which item, which reading, and the number ----------------------------------------------------


def item_meant(view: JobView, text: str) -> CheckItem:
    """Return the item of the check that is due which is meant, by its key or number."""
    items = view.checklist
    if not items:
        raise InputError("check", text, f"no check is due at the stage '{view.stage}'")
    wanted = text.strip()
    for i, item in enumerate(items, 1):
        if wanted.casefold() == item.key.casefold() or wanted == str(i):
            return item
    said = " · ".join(f"{i} {clean(item.key)}" for i, item in enumerate(items, 1))
    raise InputError("check", text, f"one of: {said}")


def line_meant(view: JobView, text: str) -> Line:
    """Return the reading that is meant: by its method's name, its number, or depth, tail, length.

    A bare quantity will do where the ski is read by one method of it.
    """
    at = _meant(text, [line.method for line in view.lines], "method")
    return view.lines[at]


def mark_meant(view: JobView, text: str) -> CoarseMark:
    """Return the coarse mark that is meant, by its name or number."""
    at = _meant(text, [mark.method for mark in view.marks], "mark")
    return view.marks[at]


def _meant(text: str, methods: Sequence[Method], field: str) -> int:
    wanted = text.strip().casefold()
    for found in (
        [i for i, m in enumerate(methods) if m.name.casefold() == wanted],
        [i for i, m in enumerate(methods) if m.quantity == wanted],
        [i for i in range(len(methods)) if str(i + 1) == wanted],
    ):
        if len(found) == 1:
            return found[0]
    names = " · ".join(f"{i} {clean(m.name)}" for i, m in enumerate(methods, 1))
    raise InputError(field, text, f"one of these by name or number: {names or 'none'}")


def placing_meant(
    view: JobView, line: Line, text: str, unit: Unit, shown_in: Unit, *, sure: bool
) -> Placing:
    """Return what a typed reading means; the point of bare digits is placed as on the bench.

    ``sure`` takes the likeliest meaning where there is something to ask.

    Raises:
        InputError: no length; or a question to answer, which says what ``sure`` would take.
    """
    found = reading_entry(line, text, unit)
    question = sent_twice_question(view, line, text) or found.question
    if found.is_clear:
        placing = found.placings[0]
        question = doubt_question(view, line, Typed(text, placing.unit, placing.mm), shown_in)
    return _answered(found, question, line.method.name, sure)


def target_meant(view: JobView, line: Line, text: str, unit: Unit, *, sure: bool) -> Placing:
    """Return what a typed target means; raises as :func:`placing_meant` does."""
    found = target_entry(line, text, unit)
    asked = found.question
    if found.is_clear:
        far_mm, only = view.rules.far_target_mm, found.placings[0]
        asked = target_question(view.lines, line, text, only, unit, far_mm).question
    return _answered(found, asked, target_name(line), sure)


def _answered(found: Entry, question: str, field: str, sure: bool) -> Placing:
    placing = found.placings[0]
    if not question or sure:
        return placing
    ways = " or ".join(f"{p.number} {p.unit}" for p in found.placings)
    many = f" ({ways})" if len(found.placings) > 1 else ""
    taken = f"--yes takes {placing.number} {placing.unit}"
    raise InputError(field, found.text, f"{question}{many} {taken}")


def repeat_meant(line: Line, text: str) -> rows.Reading:
    """Return the repeat of this round that is meant, by its number; blank is the last."""
    repeats = line.latest
    if not repeats:
        raise InputError("reading", line.method.name, "a reading taken in this round")
    if not text.strip():
        return repeats[-1]
    for i, repeat in enumerate(repeats, 1):
        if str(i) == text.strip():
            return repeat
    said = " · ".join(f"{i} {r.text} {r.unit}" for i, r in enumerate(repeats, 1))
    raise InputError("repeat", text, f"one of: {said}")


def kept_words(line: Line, placing: Placing, text: str) -> str:
    """Return what was kept of a reading, as the bench says it."""
    count = len(line.latest)
    again = f", repeat {count}" if count > 1 else ""
    return f"kept: {clean(line.method.name)} {clean(text)} → {placing.number} {placing.unit}{again}"
