"""A temperature as typed: a number with C or F behind it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from workbench.errors import InputError
from workbench.measure.units import TempUnit, degrees_in

WATER_C = (-2.0, 45.0)
"""Water that anybody rides in."""

_TYPED = re.compile(r"([+\-−]?\d{1,4}(?:[.,]\d{1,4})?)\s*(?:°|deg(?:rees)?)?\s*([CcFf])?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Degrees:
    """A temperature in degrees Celsius and the unit it was typed in."""

    c: float
    unit: TempUnit


def parse_temperature(text: str, field: str, unit: TempUnit | None = None) -> Degrees:
    """Return what was typed, such as ``17 C`` or ``63 F``; ``unit`` replaces a missing letter.

    Raises:
        InputError: no number, or no letter where no unit is given.
    """
    found = _TYPED.fullmatch(text.strip())
    named = found[2].upper() if found is not None and found[2] else unit
    if found is None or named is None:
        raise InputError(field, text, "a number with C or F, such as 17 C or 63 F")
    number = float(found[1].replace(",", ".").replace("−", "-"))
    return Degrees(degrees_in(number, "F", "C"), "F") if named == "F" else Degrees(number, "C")
