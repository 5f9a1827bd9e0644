"""What a number typed for a reading or its target means, and how far it may be from the usual.

Bench and command line ask the same questions, and offer nothing that could not be kept.
"""

from __future__ import annotations

from dataclasses import replace

from workbench.errors import InputError
from workbench.measure.display import length_text
from workbench.measure.lengths import Entry, Placing, outside_words, parse_length, understand
from workbench.measure.limits import LONGEST_MM
from workbench.measure.units import Unit
from workbench.work.reading_lines import Line

SIGNS = ("+", "-", "\N{MINUS SIGN}")
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
    if text.strip().startswith(SIGNS):
        found = _changed(line, text, unit)
    else:
        found = understand(text, unit, line.usual_mm, target_name(line))
    for placing in found.placings:
        check_target(line, text, placing.mm, unit)
    return found


def _changed(line: Line, text: str, unit: Unit) -> Entry:
    length = parse_length(text, unit, target_name(line))
    if line.now_mm is None:
        raise InputError(target_name(line), text, "a value: nothing is read yet")
    mm, in_unit = line.now_mm + length.mm, length.unit
    found = Entry(text, (Placing(mm, in_unit, length_text(mm, in_unit)),))
    low, high = line.usual_mm
    return found if low <= mm <= high else replace(found, question=outside_words(low, high, unit))


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
