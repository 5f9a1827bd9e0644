"""From kept readings to what counts: at 20 degrees (ISO 1) where they name a temperature.

A reading is kept as it was read. What it would be at 20 degrees is worked out from the kept row
each time it is looked at, and only here, so that no correction can be applied twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from workbench.errors import BenchError
from workbench.measure.budget import Contribution
from workbench.measure.temperature import at_reference, material, temperature_parts
from workbench.measure.units import TempUnit, degrees_in
from workbench.records.store import rows

TEMPERATURE_OFF = "temperature_off"
"""The mark from which on readings are taken as they are again."""

STATED_HALF_WIDTH_C = 1.0
"""How well a temperature read off a thermometer beside the work is known (common practice, no
source)."""


def known_temperatures(facts: Iterable[rows.AnyFact]) -> dict[str, rows.Temperature]:
    """Return a job's temperatures that are not struck out and that can be, by id."""
    return {f.id: f for f in facts if isinstance(f, rows.Temperature) and _stands(f)}


def _stands(fact: rows.Temperature) -> bool:
    """Whether a temperature counts: a row of other hands may name a material nobody published."""
    if fact.struck is not None:
        return False
    try:
        value_mm(1.0, fact)
    except BenchError:
        return False
    return True


def temperature_in_force(facts: Iterable[rows.AnyFact]) -> rows.Temperature | None:
    """Return the temperature that a reading taken now is taken at; None where it is off."""
    last = None
    for fact in facts:
        if fact.struck is not None:
            continue
        if isinstance(fact, rows.Temperature):
            last = fact if _stands(fact) else last
        elif isinstance(fact, rows.Mark) and fact.kind == TEMPERATURE_OFF:
            last = None
    return last


def value_mm(mm: float, at: rows.Temperature | None) -> float:
    """Return what ``mm``, as read, is at 20 degrees; as read where no temperature was stated."""
    if at is None:
        return mm
    return at_reference(
        mm, at.blade_c, at.caliper_c, material(at.blade_material), material(at.caliper_material)
    ).length_mm


def values_mm(
    kept: Sequence[rows.Reading], known: Mapping[str, rows.Temperature]
) -> tuple[float, ...]:
    """Return what kept readings say (mm): at 20 degrees where they name a temperature.

    The one way from kept rows to values. A temperature that was struck out corrects nothing.
    """
    return tuple(value_mm(r.mm, known.get(r.temperature_id or "")) for r in kept)


def parts_of(mm: float, at: rows.Temperature) -> tuple[Contribution, ...]:
    """Return what stays uncertain of a reading (mm, as read) once it is at 20 degrees."""
    return temperature_parts(
        mm, at.blade_c, at.caliper_c, STATED_HALF_WIDTH_C,
        material(at.blade_material), material(at.caliper_material),
    )  # fmt: skip


def at_words(at: rows.Temperature) -> str:
    """Return a temperature as it was stated, with what it was stated of."""
    return (
        f"blade {_degrees(at.blade_c, at.unit)} ({at.blade_material}), "
        f"caliper {_degrees(at.caliper_c, at.unit)} ({at.caliper_material})"
    )


def _degrees(value_c: float, scale: TempUnit) -> str:
    return f"{degrees_in(value_c, 'C', scale):.1f} °{scale}".replace("-", "−").replace(".0 ", " ")
