"""The curved base by the geometry of chords and segments."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests import strategies as made
from workbench.errors import InputError
from workbench.fin.frame import Base
from workbench.fin.reading.observe import level_crossings

RADII = st.floats(300.0, 50000.0)
HALF_CHORDS = st.floats(0.1, 250.0)


@given(RADII, st.floats(-200, 400), HALF_CHORDS)
def test_sagitta_of_a_chord(radius: float, apex: float, half: float) -> None:
    """A chord of length c lies h = R - sqrt(R^2 - c^2/4) below the apex, and R = h/2 + c^2/(8h).

    The closed forms of the circular segment (from memory).
    """
    base = Base(radius, apex)
    left, right = base.y(apex - half), base.y(apex + half)
    sagitta = -left
    assert right == pytest.approx(left, abs=1e-9)
    assert sagitta == pytest.approx(
        half * math.tan(math.asin(half / radius) / 2.0), rel=1e-8, abs=1e-11
    )
    assert sagitta / 2 + (2 * half) ** 2 / (8 * sagitta) == pytest.approx(radius, rel=1e-6)
    angle = 2 * math.asin(half / radius)
    assert 2 * radius * math.sin(angle / 4) ** 2 == pytest.approx(sagitta, rel=1e-8, abs=1e-11)


@given(RADII, st.floats(-200, 400), st.floats(-250, 450))
def test_slope_is_the_circle_s_tangent(radius: float, apex: float, x: float) -> None:
    """The tangent stands square to the radius."""
    base = Base(radius, apex)
    offset = x - apex
    if abs(offset) >= radius:
        assert base.y(x) == -math.inf or abs(offset) == radius
        return
    y = base.y(x) + radius
    assert math.hypot(offset, y) == pytest.approx(radius, rel=1e-12)
    assert base.slope(x) * y + offset == pytest.approx(0.0, abs=1e-9 * radius)


@given(RADII, st.floats(1.0, 200.0), st.floats(0.0, 20.0))
def test_chord_at_a_level(radius: float, half: float, level: float) -> None:
    """A level line at the height of the arc's ends crosses the raised arc a chord apart."""
    base = Base(radius)
    y = level + base.y(half)
    found = level_crossings((-290.0, y), (290.0, y), base, level)
    assert sorted(x for x, _ in found) == pytest.approx([-half, half], abs=made.EXACT_MM)


@pytest.mark.parametrize("radius", [1e9, 1e150, 1e300, 1.7e308])
def test_the_flattest_arcs_are_crossed_where_a_flat_base_is(radius: float) -> None:
    """Also by an edge so short that its own part of the quadratic vanishes."""
    for a, b in (
        ((10.0, -1.0), (12.0, 3.0)),
        ((0.0, -1e-9), (1e-9, 1e-9)),
        ((0.0, 0.0), (1.0, 1.0)),
    ):
        ((x, y),) = level_crossings(a, b, Base(radius), 0.0)
        ((flat_x, flat_y),) = level_crossings(a, b, Base(), 0.0)
        assert (x, y) == pytest.approx((flat_x, flat_y), abs=1e-6)


def test_a_large_radius_nears_a_flat_base() -> None:
    """Heights over R = 10^9 mm differ from those over a flat base by d^2/(2R), digits intact."""
    assert Base(1e9).y(100.0) == pytest.approx(-(100.0**2) / 2e9, rel=1e-12)


@pytest.mark.parametrize(
    ("radius", "apex"),
    [(0.0, 0.0), (-5000.0, 0.0), (150.0, 0.0), (math.nan, 0.0), (math.inf, 0.0), (5e3, math.nan)],
)
def test_odd_bases_are_refused(radius: float, apex: float) -> None:
    with pytest.raises(InputError, match=r"base (radius|apex)"):
        Base(radius, apex)
