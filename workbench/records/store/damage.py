"""Whether a row says what was written: its check sum, and what was typed beside what is kept.

A flipped bit of a disk or a memory gives another number that looks like any other.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from itertools import chain

from workbench.errors import InputError, shown
from workbench.fin.wing import degrees_typed
from workbench.frozen import dataclass
from workbench.measure.display import STEP
from workbench.measure.lengths import LONGEST, kept_as, parse_length
from workbench.measure.units import MM_PER, UNITS, Unit
from workbench.records.store.schema import Table

HAIR_MM = 1e-6
"""Less than any text says: what arithmetic may leave behind."""

_SHOWN_MM: Mapping[Unit, float] = {
    unit: float(STEP[unit]) * MM_PER[unit] / 2.0 + HAIR_MM for unit in UNITS
}
"""A baseline may have been written out as shown, and a target taken from it."""

_MEAN_MM: Mapping[Unit, float] = {"in": 0.000005 * MM_PER["in"] + HAIR_MM, "mm": 0.00005 + HAIR_MM}
"""A pair out of repeats has their mean, written out to a digit more."""

_EXACT_MM: Mapping[Unit, float] = dict.fromkeys(UNITS, HAIR_MM)


@dataclass(frozen=True, slots=True)
class Typed:
    """The columns of a length that was typed, and how far (mm) its figure may be from its text."""

    within_mm: Mapping[Unit, float]
    text: str = "text"
    unit: str = "unit"
    mm: str = "mm"


TYPED: Mapping[Table, tuple[Typed, ...]] = {
    Table.READINGS: (Typed(_EXACT_MM),),
    Table.LOCKED_READINGS: (Typed(_EXACT_MM),),
    Table.STUDY_READINGS: (Typed(_EXACT_MM),),
    Table.BASELINE_ENTRIES: (Typed(_SHOWN_MM),),
    Table.PAIRS: (
        Typed(_MEAN_MM),
        Typed(_MEAN_MM, "other_text", "other_unit", "other_mm"),
    ),
    Table.CALIPER_CHECKS: (
        Typed(_EXACT_MM, "nominal_text", "nominal_unit", "nominal_mm"),
        Typed(_EXACT_MM, "reading_text", "reading_unit", "reading_mm"),
    ),
}
"""By table, the lengths that were typed. A target is looked at by its kind."""

Fault = tuple[str, object, str]
"""The column of a row that cannot be: its name, its value and what would be accepted."""


def check_sum(columns: Iterable[tuple[str, object]], parts: Iterable[Mapping[str, object]]) -> int:
    """The CRC-32 of a row's columns, in the order of the table, and of the parts lying in it.

    What is empty is left out, so that a column added later changes no sum; a whole number counts as
    the number that it is, since SQLite gives back 7 as 7.0 where a column holds any.
    """
    kept = [*columns]
    for place, part in enumerate(parts):
        kept += [(f"{place}.{name}", value) for name, value in part.items()]
    said = [
        f"{name}={value}" if isinstance(value, str) else f"{name}={value + 0.0!r}"  # type: ignore[operator]
        for name, value in kept
        if value is not None and value != ""
    ]
    return zlib.crc32("\n".join(said).encode())


def damage_of(
    table: Table,
    row: Mapping[str, object],
    parts: Iterable[Mapping[str, object]] = (),
    part_table: Table | None = None,
) -> str:
    """Say in words what of a row does not agree, or nothing.

    ``row`` has the columns of its table in their order, ``check_sum`` among them; a row of before
    there were sums has none, and of it only what was typed can be compared.
    """
    kept = row.get("check_sum")
    if kept is not None:
        columns = ((name, value) for name, value in row.items() if name != "check_sum")
        if check_sum(columns, parts) == kept:
            return ""
    inner = (contradictions(part_table, part) for part in parts) if part_table else ()
    for column, value, accepted in chain(contradictions(table, row), *inner):
        return f"{column} {shown(value)}, but {accepted}"
    return "" if kept is None else "its check sum is that of something else"


def contradictions(table: Table, row: Mapping[str, object]) -> Iterator[Fault]:
    """Yield the columns of a row whose figure is not that of its text."""
    for typed in TYPED.get(table, ()):
        yield from _contradiction(row, typed)
    try:
        if table is Table.TARGETS:
            yield from _of_target(row)
        elif table is Table.BASELINES:
            check_angle(row, "wing", "wing_deg")
        elif table is Table.WINGS:
            check_angle(row, "text", "angle_deg")
    except InputError as why:
        yield why.field, why.value, why.accepted


def _contradiction(row: Mapping[str, object], typed: Typed) -> Iterator[Fault]:
    text, unit, mm = row[typed.text], row[typed.unit], row[typed.mm]
    if unit not in UNITS:
        return  # refused by its table
    assert isinstance(text, str)
    assert isinstance(mm, float)
    if _is_plainly(text, unit, mm):
        return
    try:
        values = _kept_as(text, unit)
    except InputError as why:
        yield typed.text, text, why.accepted
        return
    if all(abs(mm - value) > typed.within_mm[unit] for value in values):
        accepted = f"{values[0]:.10g}, which is {shown(text)} in {unit}; or another text"
        yield typed.mm, mm, accepted


def _is_plainly(text: str, unit: Unit, mm: float) -> bool:
    """Whether a text is a bare decimal that gives its figure; most of a book's are."""
    digits = text.replace(".", "", 1)
    if not (digits.isascii() and digits.isdigit() and len(text) <= LONGEST):
        return False
    return abs(float(text) * MM_PER[unit] - mm) <= HAIR_MM


@lru_cache(maxsize=20_000)
def _kept_as(text: str, unit: Unit) -> tuple[float, ...]:
    return kept_as(text, unit)


def _of_target(row: Mapping[str, object]) -> Iterator[Fault]:
    """A change gives no length of its own: what it was added to is not in its row."""
    unit, text = row["unit"], row["text"]
    if unit not in UNITS:
        return
    if row["kind"] != "change":
        yield from _contradiction(row, Typed(_SHOWN_MM))
    elif parse_length(str(text), unit, "text").unit != unit:
        raise InputError("text", text, f"a length in {unit}, as its row says")


def check_angle(row: Mapping[str, object], column: str, figure: str) -> None:
    """Raise ``InputError`` for a wing's angle that is another than the one that was typed."""
    text, degrees = str(row[column]), row[figure]
    if not text.strip() and degrees is None:
        return
    try:
        typed = degrees_typed(text)
    except ValueError:
        raise InputError(column, text, "degrees such as 7.5") from None
    if not isinstance(degrees, float) or not abs(typed - degrees) <= HAIR_MM:
        raise InputError(figure, degrees, f"{typed:g}, as {column} says")
