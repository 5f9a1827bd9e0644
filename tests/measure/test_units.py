"""Units: exact definitions, and pint's agreement with our own factors."""

from __future__ import annotations

import math
from functools import cache

import pint
import pytest

from workbench.errors import InputError
from workbench.measure.units import (
    MM_PER,
    MM_PER_INCH,
    SPELLINGS,
    check_unit,
    degrees_in,
    degrees_typed,
    mm_per,
    other,
    registry,
)


@cache
def full_registry() -> pint.UnitRegistry:
    """pint's own registry, which takes half a second to read, and not by who collects this."""
    return pint.UnitRegistry()


def test_the_inch_is_exact() -> None:
    """25.4 mm exactly: NIST SP 811 (2008), appendix B.8 (nist-inch)."""
    assert MM_PER_INCH == 25.4
    assert mm_per("in") == 25.4
    assert mm_per("thou") == 0.0254
    assert 12 * mm_per("inch") / 1000 == pytest.approx(0.3048, abs=1e-16)
    assert 36 * mm_per("inch") / 1000 == pytest.approx(0.9144, abs=2e-16)
    assert mm_per("thou") / 1000 * 1e6 == pytest.approx(25.4, abs=1e-14)


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_pint_agrees_with_every_spelling(spelling: str) -> None:
    """pint's full registry and our small one give our factors."""
    name = SPELLINGS[spelling]
    full = float(full_registry().Quantity(1, name).to("mm").magnitude)
    small = float(registry().Quantity(1, name).to("millimeter").magnitude)
    assert mm_per(spelling) == pytest.approx(full, rel=1e-15)
    assert mm_per(spelling.upper()) == pytest.approx(small, rel=1e-15)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(32, 0), (212, 100), (-40, -40), (68, 20), (63, 155 / 9)]
)
def test_degrees_by_their_definition(fahrenheit: float, celsius: float) -> None:
    """t/degC = (t/degF - 32) / 1.8: NIST SP 811 (2008), appendix B.8; and pint's full registry."""
    assert degrees_in(fahrenheit, "F", "C") == pytest.approx(celsius, abs=1e-9)
    assert degrees_in(celsius, "C", "F") == pytest.approx(fahrenheit, abs=1e-8)
    full = full_registry().Quantity(float(fahrenheit), "degF").to("degC").magnitude
    assert degrees_in(fahrenheit, "F", "C") == pytest.approx(full, abs=1e-9)
    assert degrees_in(0.1 + 0.2, "C", "C") == 0.1 + 0.2


def test_angles_are_pints() -> None:
    """A degree as ``math.degrees`` makes it, a turn of 360; in pint's full registry too."""
    for units in (registry(), full_registry()):
        assert units.Quantity(1.0, "radian").to("degree").magnitude == math.degrees(1.0)
        assert units.Quantity(1.0, "turn").to("degree").magnitude == pytest.approx(360.0, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "degrees"),
    [("7.5", 7.5), ("7,5°", 7.5), (" -3 deg", -3.0), ("−3", -3.0), ("+.5 °", 0.5), ("12.", 12.0)],
)
def test_an_angle_as_hands_type_it(text: str, degrees: float) -> None:
    assert degrees_typed(text) == degrees


@pytest.mark.parametrize(
    "text", ["", "°", "x", "nan", "1e1", "1_0", "7.5 rad", "7.5°°", "٧", "9" * 9]
)
def test_what_is_no_angle(text: str) -> None:
    with pytest.raises(ValueError):
        degrees_typed(text)


@pytest.mark.parametrize("spelling", ["mil", "m", "km", "ft", "", "rad", "MM²"])
def test_other_units_are_refused(spelling: str) -> None:
    """A mil is an angle to pint and two lengths to people: it is no unit here."""
    with pytest.raises(InputError):
        mm_per(spelling)


def test_the_bench_has_two_units() -> None:
    """Inch and mm, each the other's other."""
    assert other("in") == "mm"
    assert other("mm") == "in"
    assert MM_PER == {"in": 25.4, "mm": 1.0}
    assert check_unit("in") == "in"
    assert check_unit("mm") == "mm"


@pytest.mark.parametrize("value", ["IN", "inch", "", None, 25.4, True, ["in"]])
def test_only_their_own_names_will_do(value: object) -> None:
    """A unit that is neither names its field."""
    with pytest.raises(InputError) as error:
        check_unit(value, "unit of the ski")
    assert error.value.field == "unit of the ski"
