"""What a number typed for a reading or its target means, and how far it may be from the usual.

Bench and command line ask the same questions, and offer nothing that could not be kept.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.calipers import LONGEST_MM
from workbench.measure.display import FINE, change_text, fine_text, length_text
from workbench.measure.lengths import (
    Entry,
    Length,
    Placing,
    outside_words,
    parse_length,
    understand,
)
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.trust.job_reading import Line


@dataclass(frozen=True, slots=True)
class Typed:
    """A number about to be kept: its text and unit, what that is in mm, and how it came.

    ``caliper_id``: the caliper it was read off, where one is known.
    """

    text: str
    unit: Unit
    mm: float
    how: rows.How = "typed"
    caliper_id: str | None = None


def copied(mm: float, unit: Unit, *, fine: bool = True) -> Typed:
    """Return a length as typed by a hand that copies the number shown: text and mm say the same."""
    text = fine_text(mm, unit) if fine else length_text(mm, unit)
    return Typed(text, unit, parse_length(text, unit).mm)


CHANGE_SIGNS = ("+", "-", "\N{MINUS SIGN}")
"""What begins a change of a target."""


def reading_entry(line: Line, text: str, unit: Unit) -> Entry:
    """Return what a typed reading is understood as, and what to ask about it.

    Raises:
        InputError: not a length, or one that no caliper shows.
    """
    found = understand(text, unit, line.usual_mm, line.method.name)
    for placing in found.placings:
        check_reading(line, text, placing.mm, unit)
    return found


def check_reading(line: Line, text: str, mm: float, unit: Unit) -> None:
    """Raise an InputError, its limits in ``unit``, for a reading that no caliper shows."""
    if not 0.0 <= mm <= LONGEST_MM:
        accepted = f"a number that a caliper shows: 0 to {length_text(LONGEST_MM, unit)} {unit}"
        raise InputError(line.method.name, text, accepted)


def target_entry(line: Line, text: str, unit: Unit) -> Entry:
    """Return what a typed target is understood as: a value, or with a sign a change from now.

    Raises:
        InputError: not a length, nothing read to change, or beyond what this blade can read.
    """
    if text.strip().startswith(CHANGE_SIGNS):
        found = _changed(line, text, unit)
    else:
        found = understand(text, unit, line.usual_mm, target_name(line))
    for placing in found.placings:
        check_target(line, text, placing.mm, unit)
    return found


def _changed(line: Line, text: str, unit: Unit) -> Entry:
    changes = changes_meant(text, unit, target_name(line))
    if line.now_mm is None:
        raise InputError(target_name(line), text, "a value: nothing is read yet")
    values = [(line.now_mm + length.mm, length) for length in changes]
    placings = tuple(Placing(mm, x.unit, length_text(mm, x.unit)) for mm, x in values)
    low, high = line.usual_mm
    question = "" if len(placings) == 1 else "the point can go in more than one place: which?"
    if not all(low <= mm <= high for mm, _ in values):
        question = outside_words(low, high, unit)
    return Entry(text, placings, question)


def changes_meant(text: str, unit: Unit, field: str = "change") -> tuple[Length, ...]:
    """Return what a change with a sign can mean, best first: bare digits are thousandths of an inch
    or hundredths of a mm, as they are said (``+5`` is +0.005 in); with a nought before them the
    point may also stand before or behind that.

    Raises:
        InputError: not a length.
    """
    bare = re.fullmatch(r"\s*([+\-\u2212])\s*([0-9]{1,5})\s*", text)
    if bare is None:
        return (parse_length(text, unit, field),)
    sign, digits = bare.groups()
    places = 3 if unit == "in" else 2
    fine = f"{int(digits):0{places + 1}d}"
    written = [f"{sign}{fine[:-places]}.{fine[-places:]}"]
    if digits.startswith("0") and len(digits) > 1:
        written += [f"{sign}0.{digits}", f"{sign}0.{digits[1:]}"]
    found = [parse_length(each, unit, field) for each in written]
    return tuple(x for i, x in enumerate(found) if all(abs(x.mm - y.mm) > 1e-9 for y in found[:i]))


def kept_change(line: Line, text: str, placing: Placing, unit: Unit) -> str:
    """Return a change as it is kept, with its point, from what was typed and what it was taken for.

    Raises:
        InputError: not a change that was offered for this text.
    """
    for length in changes_meant(text, unit, target_name(line)):
        if line.now_mm is not None and abs(line.now_mm + length.mm - placing.mm) < 1e-9:
            return length.text
    raise InputError(target_name(line), text, f"a change that leads to {placing.number}")


def target_question(
    lines: Sequence[Line], line: Line, text: str, placing: Placing, unit: Unit, far_mm: float
) -> TargetDoubt:
    """Return the question about a target far from its reading, and the other reading it would fit.

    Asked beyond ``far_mm``, and from half of that on where the same entry lies at most half as far
    from another reading. No question: it is as near as a target is.
    """
    if line.now_mm is None:
        return TargetDoubt("")
    off = placing.mm - line.now_mm
    fits = fits_elsewhere(lines, line, text, unit, min(0.5 * abs(off), far_mm))
    if abs(off) <= far_mm and (not fits or abs(off) <= 0.5 * far_mm):
        return TargetDoubt("")
    away = f"{change_text(off, unit, FINE[unit])} {unit}"
    asked = f"that is {away} from {line.method.quantity} now: is it meant?"
    if not fits:
        return TargetDoubt(asked)
    others = " or ".join(f"{x.method.quantity} {p.number}" for x, p in fits)
    return TargetDoubt(f"that is {away} from {line.method.quantity} now; it fits {others}", fits)


def fits_elsewhere(
    lines: Sequence[Line], line: Line, text: str, unit: Unit, near_mm: float
) -> tuple[tuple[Line, Placing], ...]:
    """Return the other readings, each with what the entry would be there, that it comes near."""
    if text.strip().startswith(CHANGE_SIGNS):
        return ()  # a change is as near to any reading
    out = []
    for other in lines:
        if other.method_id != line.method_id and other.now_mm is not None:
            now_mm = other.now_mm
            placings = understand(text, unit, other.usual_mm, target_name(line)).placings
            out += [(other, p) for p in placings if abs(p.mm - now_mm) <= near_mm]
    return tuple(out)


@dataclass(frozen=True, slots=True)
class TargetDoubt:
    """The question about a target, or nothing; ``fits``: the readings it would fit instead, each
    with what it would be there."""

    question: str
    fits: tuple[tuple[Line, Placing], ...] = ()


def check_target(line: Line, text: str, mm: float, unit: Unit) -> None:
    """Raise an InputError, its limits in ``unit``, for a target that this blade cannot read."""
    low, high = 0.5 * line.usual_mm[0], 1.5 * line.usual_mm[1]
    if not low <= mm <= high:
        accepted = (
            f"a value that this blade can read, {length_text(low, unit)} to "
            f"{length_text(high, unit)} {unit}"
        )
        raise InputError(target_name(line), text, accepted)


def target_name(line: Line) -> str:
    """Return what an error calls a line's target."""
    return f"target for {line.method.name}"
