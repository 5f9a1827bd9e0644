"""Units that are typed and shown: the one place that asks pint.

The inch is 25.4 mm exactly (international yard and pound agreement, 1959) and a degree is what
``math.degrees`` makes of it, so that the bench's two lengths and its angles need no registry; pint
is loaded when a rarer unit of length or a degree Fahrenheit is first typed or shown. That all of
these are pint's own figures a test holds.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any, Literal

from workbench.errors import InputError

Unit = Literal["in", "mm"]
UNITS: tuple[Unit, ...] = ("in", "mm")

TempUnit = Literal["C", "F"]

MM_PER_INCH = 25.4
MM_PER: dict[Unit, float] = {"in": MM_PER_INCH, "mm": 1.0}

SPELLINGS: dict[str, str] = {
    "in": "inch", "in.": "inch", "inch": "inch", "inches": "inch", '"': "inch", "''": "inch",
    "″": "inch", "”": "inch", "mm": "millimeter", "mm.": "millimeter", "millimeter": "millimeter",
    "millimetre": "millimeter", "cm": "centimeter", "thou": "thou", "µm": "micrometer",
    "μm": "micrometer", "um": "micrometer",
}  # fmt: skip
"""How a unit may be written, and pint's name for it. ``mil`` is missing on purpose: pint reads it
as an angle, and people use it for 0.001 in and for a millimetre alike."""


@lru_cache(maxsize=1)
def registry() -> Any:
    """Return a small pint registry: lengths of the trade, the two temperatures, and angles."""
    import pint

    units: Any = pint.UnitRegistry(None)
    units.define("millimeter = [length] = mm")
    units.define("micrometer = 0.001 * millimeter")
    units.define("centimeter = 10 * millimeter")
    units.define("inch = 25.4 * millimeter")
    units.define("thou = 0.001 * inch")
    units.define("radian = []")
    units.define("degree = 3.141592653589793 / 180 * radian")
    units.define("turn = 360 * degree")
    units.define("kelvin = [temperature]; offset: 0 = K")
    units.define("degree_Celsius = kelvin; offset: 273.15 = degC")
    units.define("degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF")
    return units


def mm_per(spelling: str) -> float:
    """Return how many mm one of the unit spelt so is.

    Raises:
        InputError: the unit is unknown.
    """
    name = SPELLINGS.get(spelling.lower())
    if name is None:
        raise InputError("unit", spelling, 'in, ", mm, cm, thou or µm')
    if name == "inch":
        return MM_PER_INCH
    if name == "millimeter":
        return 1.0
    units = registry()
    # Products of decimal factors in binary are off in the 17th digit, which these definitions lack.
    return round(float(units.Quantity(1, name).to("millimeter").magnitude), 12)


@lru_cache(maxsize=256)
def degrees_in(value: float, unit: TempUnit, wanted: TempUnit) -> float:
    """Return a temperature of ``value`` degrees in the other unit."""
    if unit == wanted:
        return value
    there = registry().Quantity(value, f"deg{unit}").to(f"deg{wanted}").magnitude
    # The offsets are off in the 14th digit in binary; no thermometer shows the ninth.
    return round(float(there), 9)


_DEGREES = re.compile(
    r"([+\-−]?(?:\d{1,4}(?:[.,]\d{0,12})?|[.,]\d{1,12}))\s*(?:°|deg(?:rees)?)?", re.A
)


def degrees_typed(text: str) -> float:
    """Return the degrees that an angle was typed as; raises ``ValueError`` for no number."""
    found = _DEGREES.fullmatch(text.strip())
    if found is None:
        raise ValueError(text)
    return float(found[1].replace(",", ".").replace("−", "-"))


def other(unit: Unit) -> Unit:
    """Return the other of the bench's two units."""
    return "mm" if unit == "in" else "in"


def check_unit(value: object, field: str = "unit") -> Unit:
    """Return ``value`` as a unit of the bench or raise an InputError."""
    if value == "in":
        return "in"
    if value == "mm":
        return "mm"
    raise InputError(field, value, '"in" or "mm"')


def unit_of(text: str) -> Unit:
    """Return the unit named by ``in`` or ``mm``."""
    if text.strip().lower() not in ("in", "mm"):
        raise InputError("unit", text, "'in' or 'mm'")
    return "in" if text.strip().lower() == "in" else "mm"
