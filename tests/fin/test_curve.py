"""The base's curve from a sagitta or three depths, against handbook segments and exact circles."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from workbench.errors import InputError
from workbench.fin.wing import from_sagitta, from_three_depths, height_of_segment_mm

SEGMENTS_OF_UNIT_RADIUS = (
    # angle (degrees), height, chord: Machinery's Handbook, "Segments of Circles for Radius = 1",
    # from memory
    (10, 0.00381, 0.17431),
    (20, 0.01519, 0.34730),
    (30, 0.03407, 0.51764),
    (60, 0.13397, 1.00000),
    (90, 0.29289, 1.41421),
    (120, 0.50000, 1.73205),
    (180, 1.00000, 2.00000),
)
radii = st.floats(400.0, 20000.0)
signs = st.sampled_from((1.0, -1.0))


@pytest.mark.parametrize(("angle", "height", "chord"), SEGMENTS_OF_UNIT_RADIUS)
def test_segments_of_the_handbook(angle: int, height: float, chord: float) -> None:
    """Height from radius and chord, to the table's five places; radius from chord and height."""
    exact = 2.0 * math.sin(math.radians(angle) / 2.0)
    assert abs(exact - chord) <= 0.5e-5
    assert abs(height_of_segment_mm(1.0, exact) - height) <= 0.5e-5
    # Half a unit of the last place in h, carried by dr/dh = 1/2 - c^2/(8 h^2), and in c by c/(4 h).
    off = 0.5e-5 * (abs(0.5 - chord**2 / (8.0 * height**2)) + chord / (4.0 * height))
    if height < chord / 2.0:  # no base bends by half a circle
        found = from_sagitta(0.0, 400.0 * chord, 400.0 * height, 0.5, 0.015)
        assert found.radius_mm is not None
        assert abs(found.radius_mm / 400.0 - 1.0) <= off * 1.01


def test_a_published_worked_segment() -> None:
    """Chord 21 and height 6 give radius 12.1875 ("Circular Sections", matheass.eu help)."""
    assert from_sagitta(0.0, 2100.0, 600.0, 0.5, 0.015).radius_mm == 1218.75


@given(radii, signs, st.floats(50.0, 300.0), st.floats(0.0, 400.0))
def test_a_sagitta_of_a_known_arc_gives_its_radius(
    radius: float, sign: float, chord: float, middle: float
) -> None:
    """Bulging and hollow; the apex stands at the straightedge's middle."""
    height = sign * height_of_segment_mm(radius, chord)
    found = from_sagitta(middle, chord, height, 0.5, 0.015)
    assert found.radius_mm is not None
    assert math.isclose(found.radius_mm, sign * radius, rel_tol=1e-9)
    assert found.apex_mm == middle
    assert (found.from_x_mm, found.to_x_mm) == (middle - chord / 2.0, middle + chord / 2.0)


def test_the_sagitta_formula_of_the_bench() -> None:
    """R = c^2/(8 s) + s/2: 150 mm and 0.7 mm give 4018.2 mm, by hand."""
    found = from_sagitta(75.0, 150.0, 0.7, 0.5, 0.015)
    assert found.radius_mm == pytest.approx(22500.0 / 5.6 + 0.35, rel=1e-12)


@given(st.floats(0.1, 3.0), st.floats(100.0, 200.0), signs)
def test_the_uncertainty_of_a_sagitta_is_the_linear_one(
    gap: float, chord: float, sign: float
) -> None:
    """Against an independent propagation of the handbook's formula."""
    found = from_sagitta(0.0, chord, sign * gap, 0.5, 0.015)
    c, s = ufloat(chord, 0.5), ufloat(gap, 0.015)
    radius = c**2 / (8.0 * s) + s / 2.0
    assert found.u_radius_mm == pytest.approx(radius.std_dev, rel=1e-5)


def _depths(radius: float, apex: float, places: tuple[float, ...], clear: float) -> list[float]:
    """Depths from a level straightedge to an arc, from the circle itself; negative is hollow."""
    side = math.copysign(1.0, radius)
    return [clear - side * (math.sqrt(radius**2 - (x - apex) ** 2) - abs(radius)) for x in places]


@given(radii, signs, st.floats(-100.0, 300.0), st.floats(20.0, 90.0), st.floats(20.0, 90.0))
def test_three_depths_of_a_known_arc_give_radius_and_apex(
    radius: float, sign: float, apex: float, first: float, second: float
) -> None:
    places = (20.0, 20.0 + first, 20.0 + first + second)
    depths = _depths(sign * radius, apex, places, 200.0)
    found = from_three_depths(places, depths, 0.5, 0.02)
    assert found.radius_mm == pytest.approx(sign * radius, rel=1e-5)
    assert found.apex_mm == pytest.approx(apex, abs=0.01)
    assert found.sagitta_mm * sign > 0.0


def test_three_depths_and_a_sagitta_of_one_base_agree() -> None:
    """The gap under the chord of the outer two depths is the sagitta."""
    depths = _depths(4000.0, 75.0, (0.0, 75.0, 150.0), 20.0)
    by_depths = from_three_depths((0.0, 75.0, 150.0), depths, 0.5, 0.02)
    by_gap = from_sagitta(75.0, 150.0, depths[0] - depths[1], 0.5, 0.015)
    assert by_depths.curvature == pytest.approx(by_gap.curvature, rel=1e-9)
    assert by_depths.sagitta_mm == pytest.approx(by_gap.sagitta_mm, rel=1e-6)


def test_the_uncertainty_of_three_depths_is_the_linear_one() -> None:
    """Near a parabola: u of the curvature from three depths is 8/c^2 times u of the sagitta."""
    found = from_three_depths((0.0, 75.0, 150.0), (20.7, 20.0, 20.7), 1e-6, 0.02)
    u_sagitta = math.hypot(0.02, 0.01, 0.01)
    assert found.u_curvature == pytest.approx(8.0 * u_sagitta / 150.0**2, rel=1e-3)


def test_a_gap_of_nothing_is_a_flat_base() -> None:
    """Flat has no radius; its curvature still has an uncertainty, and is not told from flat."""
    found = from_sagitta(75.0, 150.0, 0.0, 0.5, 0.015)
    assert found.radius_mm is None
    assert found.u_radius_mm is None
    assert found.u_curvature == pytest.approx(8.0 * 0.015 / 150.0**2, rel=1e-6)
    assert not found.told_from_flat
    assert from_three_depths((0.0, 75.0, 150.0), (20.0,) * 3, 0.5, 0.02).radius_mm is None


def test_a_gap_within_its_own_uncertainty_is_not_told_from_flat() -> None:
    assert not from_sagitta(75.0, 150.0, 0.029, 0.5, 0.015).told_from_flat
    assert from_sagitta(75.0, 150.0, 0.032, 0.5, 0.015).told_from_flat


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: from_sagitta(75.0, 0.0, 0.5, 0.5, 0.015), "chord"),
        (lambda: from_sagitta(75.0, 150.0, 75.0, 0.5, 0.015), "less than half the chord"),
        (lambda: from_sagitta(75.0, 150.0, math.nan, 0.5, 0.015), "sagitta"),
        (lambda: from_sagitta(75.0, 150.0, 20.0, 0.5, 0.015), "at least 300 mm radius"),
        (lambda: from_three_depths((0, 1), (1, 1), 0.5, 0.02), "three places"),
        (lambda: from_three_depths((0, 9, 5), (1, 1, 1), 0.5, 0.02), "from the tail end forward"),
        (lambda: from_three_depths((0, 5, 9), (1, -1, 1), 0.5, 0.02), "depth"),
        (lambda: from_sagitta(75.0, 0.0, 0.1, 0.5, 0.015), "chord"),
        (lambda: from_sagitta(75.0, 150.0, 0.1, 0.0, 0.015), "uncertainty of an input"),
        (lambda: height_of_segment_mm(4.0, 10.0), "at least half the chord"),
    ],
)
def test_what_no_ski_has_is_told(call: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()  # type: ignore[operator]
