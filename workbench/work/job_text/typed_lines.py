"""What is typed for a ski on the command line: which reading is meant, and what a number means."""

from __future__ import annotations

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
from workbench.work.job.extra_readings import Mark
from workbench.work.job.job_view import JobView
from workbench.work.job_text.view_words import doubt_question, sent_twice_question
from workbench.work.text.words import clean
from workbench.work.trust.job_reading import Line


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


def mark_meant(view: JobView, text: str) -> Mark:
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


def reading_meant(
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
    """Return what a typed target means; raises as :func:`reading_meant` does."""
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
