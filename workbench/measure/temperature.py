"""Lengths at 20 degC (ISO 1), from readings taken warmer or colder.

A warm caliper reads short and a warm blade is long, so that alike materials nearly cancel.
"""

from __future__ import annotations

import math
import re

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.budget import Contribution
from workbench.measure.units import TempUnit, degrees_in

REFERENCE_C = 20.0
"""The temperature lengths are stated at (ISO 1)."""

EXPANSION_SHARE = 0.1
"""How far an expansion coefficient may be off, as a share of it (common practice, no source)."""

LOWEST_C, HIGHEST_C = -20.0, 50.0
"""Beyond these no one sets a fin (common practice, no source)."""

CALLISTER = "W. D. Callister, Fundamentals of Materials Science and Engineering, Table B.6"
SWYT = "D. A. Swyt, J. Res. NIST 99 (1994) 31"


@dataclass(frozen=True, slots=True)
class Material:
    """A material's coefficient of linear expansion, per degC, and where it was published."""

    name: str
    per_c: float
    source: str

    def __post_init__(self) -> None:
        if not -1e-5 <= self.per_c <= 5e-4:
            accepted = "per degC, such as 11.5e-6 for steel"
            raise InputError(f"expansion of {self.name}", self.per_c, accepted)


MATERIALS: dict[str, Material] = {
    m.name: m
    for m in (
        Material("aluminium", 23.1e-6, SWYT),
        Material("steel", 11.5e-6, SWYT),
        Material("aluminium 6061", 23.6e-6, CALLISTER),
        Material("aluminium 7075", 23.4e-6, CALLISTER),
        Material("steel 1020 / A36", 11.7e-6, CALLISTER),
        Material("steel 1040", 11.3e-6, CALLISTER),
        Material("steel 4140 / 4340", 12.3e-6, CALLISTER),
        Material("stainless 304", 17.2e-6, CALLISTER),
        Material("stainless 316", 15.9e-6, CALLISTER),
        Material("invar", 1.6e-6, CALLISTER),
        Material("brass C36000", 20.5e-6, CALLISTER),
    )
}
"""Published coefficients by material."""

_BY_NAME = {name.lower(): found for name, found in MATERIALS.items()}


@dataclass(frozen=True, slots=True)
class AtReference:
    """A length at 20 degC that remembers what was read and at which temperatures."""

    length_mm: float
    reading_mm: float
    blade_c: float
    caliper_c: float

    @property
    def correction_mm(self) -> float:
        """What was added to the reading."""
        return self.length_mm - self.reading_mm


def material(name: str) -> Material:
    """Return the published material of this name."""
    found = _BY_NAME.get(name.strip().lower())
    if found is None:
        raise InputError("material", name, "one of: " + ", ".join(MATERIALS))
    return found


def at_reference(
    reading_mm: float,
    blade_c: float,
    caliper_c: float,
    blade: Material = MATERIALS["aluminium"],
    caliper: Material = MATERIALS["steel"],
) -> AtReference:
    """Return the length at 20 degC of what reads ``reading_mm`` at these temperatures.

    The reading times the caliper's own expansion is the length as it was; over the blade's it is
    the length at 20 degC. Raises :class:`InputError` for temperatures beyond sense.
    """
    if not math.isfinite(reading_mm):
        raise InputError("reading", reading_mm, "a finite number")
    warm_blade = check_temperature("blade temperature", blade_c) - REFERENCE_C
    warm_caliper = check_temperature("caliper temperature", caliper_c) - REFERENCE_C
    # The small difference is formed first, so that its digits are not lost in the length's.
    growth = caliper.per_c * warm_caliper - blade.per_c * warm_blade
    correction = reading_mm * growth / (1 + blade.per_c * warm_blade)
    return AtReference(reading_mm + correction, reading_mm, blade_c, caliper_c)


def temperature_parts(
    reading_mm: float,
    blade_c: float,
    caliper_c: float,
    half_width_c: float,
    blade: Material = MATERIALS["aluminium"],
    caliper: Material = MATERIALS["steel"],
) -> tuple[Contribution, ...]:
    """Return what remains uncertain after the correction, in mm, for a budget.

    Each temperature is known within ``half_width_c`` and each coefficient within
    ``EXPANSION_SHARE`` of itself (rectangular). What has no effect is left out.
    """
    check_temperature("blade temperature", blade_c)
    check_temperature("caliper temperature", caliper_c)
    parts = []
    for what, of, degrees, sign in (
        ("blade", blade, blade_c, -1),
        ("caliper", caliper, caliper_c, 1),
    ):
        warmth = sign * reading_mm * of.per_c
        if warmth != 0:
            name = f"temperature of the {what}"
            parts.append(Contribution.rectangular(name, half_width_c, sensitivity=warmth, of="°C"))
        growth = sign * reading_mm * (degrees - REFERENCE_C)
        if growth != 0 and of.per_c != 0:
            name = f"expansion of the {what}"
            width = abs(of.per_c) * EXPANSION_SHARE
            parts.append(Contribution.rectangular(name, width, sensitivity=growth, of="1/°C"))
    return tuple(parts)


def check_temperature(field: str, degrees_c: float) -> float:
    """Return a workshop's temperature in degC, refused beyond sense."""
    if not LOWEST_C <= degrees_c <= HIGHEST_C:
        accepted = f"{LOWEST_C:g} to {HIGHEST_C:g} degC"
        if HIGHEST_C < degrees_c <= 122:
            accepted += f" ({degrees_c:g} degF would be {degrees_in(degrees_c, 'F', 'C'):.1f} degC)"
        raise InputError(field, degrees_c, accepted)
    return degrees_c


# -- as typed --------------------------------------------------------------------------------------

WATER_C = (-2.0, 45.0)
"""Water that anybody rides in."""

_TYPED = re.compile(
    r"([+\-−]?\d{1,4}(?:[.,]\d{1,4})?)\s*(?:°|deg(?:rees)?)?\s*([CF])?", re.A | re.I
)

_ACCEPTED = "a number with C or F, such as 17 C or 63 F"


@dataclass(frozen=True, slots=True)
class Degrees:
    """A temperature in degrees Celsius and the unit it was typed in."""

    c: float
    unit: TempUnit


def parse_temperature(
    text: str, field: str, unit: TempUnit | None = None, accepted: str = _ACCEPTED
) -> Degrees:
    """Return what was typed, such as ``17 C`` or ``63 F``; ``unit`` replaces a missing letter.

    Raises:
        InputError: no number, or no letter where no unit is given.
    """
    found = _TYPED.fullmatch(text.strip())
    named = found[2].upper() if found is not None and found[2] else unit
    if found is None or named is None:
        raise InputError(field, text, accepted)
    number = float(found[1].replace(",", ".").replace("−", "-"))
    return Degrees(degrees_in(number, "F", "C"), "F") if named == "F" else Degrees(number, "C")
