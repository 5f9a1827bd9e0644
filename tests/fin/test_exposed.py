"""What of a blade is out in the water: area, centroid, leading edge and aspect."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests import strategies as made
from tests.fin.oracle import base_y, placed
from tests.fin.plates import CURVED, LEVEL, practice_plate, rectangle, trapezoid
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.plan.exposed import Exposed, exposed, u_exposed, waterline_mm

FLAT = Base()


def seen(blade: Blade, base: Base, pose: Pose) -> Exposed:
    out = exposed(blade, base, pose)
    assert out is not None
    return out


def plate(*points: tuple[float, float]) -> Blade:
    return Blade("plate", points, (points[0], points[1]), (points[0], points[-1]))


# Closed forms. Areas and centroids of rectangle, triangle and circular segment as in Zwillinger,
# CRC Standard Mathematical Tables and Formulae, 31st ed., 4.6 and 4.7 (from memory).


def test_a_rectangle() -> None:
    out = seen(rectangle(180.0, 80.0), FLAT, Pose(20.0, -25.0, 0.0))
    assert out.area_mm2 == pytest.approx(180.0 * 55.0, rel=1e-14)
    assert out.centroid_mm == pytest.approx((110.0, 27.5), rel=1e-14)
    assert out.leading_edge_rad == pytest.approx(math.pi / 2.0)
    assert out.span_mm == pytest.approx(55.0)
    assert out.aspect == pytest.approx(55.0 / 180.0)  # b²/S of a rectangle is b/c


def test_a_triangle() -> None:
    """Area b h / 2 and centroid a third of the height above the base; similar when it is sunk."""
    blade = plate((0.0, 0.0), (120.0, 0.0), (30.0, 90.0))
    out = seen(blade, FLAT, Pose(10.0, -30.0, 0.0))
    assert out.area_mm2 == pytest.approx(80.0 * 60.0 / 2.0, rel=1e-14)
    middle = (10.0 + (10.0 + 90.0 + 30.0) / 3.0, 20.0)  # corners at 10, 90 and 30, 60 high
    assert out.centroid_mm == pytest.approx(middle, rel=1e-13)
    assert math.degrees(out.leading_edge_rad) == pytest.approx(45.0)


@pytest.mark.parametrize("radius", [400.0, 3810.0, 1e6, 1e10])
def test_a_base_that_bulges_leaves_a_circular_segment_less(radius: float) -> None:
    """Segment: area R²(t - sin t)/2, centroid 4 R sin³(t/2) / 3(t - sin t) from the centre."""
    half, out_mm = 90.0, 60.0
    base = Base(radius, 500.0)
    blade = rectangle(2.0 * half, 100.0)
    got = seen(blade, base, Pose(500.0 - half, out_mm - 100.0, 0.0))
    t = 2.0 * math.asin(half / radius)
    # t - sin t loses digits for a small angle: its series instead.
    t_less_sin = math.fsum((-1) ** (k + 1) * t ** (2 * k + 1) / math.factorial(2 * k + 1)
                           for k in range(1, 9))  # fmt: skip
    segment = radius**2 * t_less_sin / 2.0
    sagitta = 2.0 * radius * math.sin(t / 4.0) ** 2
    area = 2.0 * half * (out_mm + sagitta) - segment
    assert got.area_mm2 == pytest.approx(area, rel=1e-13)
    assert got.centroid_mm[0] == pytest.approx(500.0, rel=1e-13)
    if radius < 1e6:
        from_centre = 4.0 * radius * math.sin(t / 2.0) ** 3 / (3.0 * t_less_sin)
        moment = 2.0 * half * (out_mm + sagitta) * (out_mm - sagitta) / 2.0
        moment -= segment * (from_centre - radius)
        assert got.centroid_mm[1] == pytest.approx(moment / area, rel=1e-11)


def test_a_round_blade_is_a_circular_segment() -> None:
    """A polygon of 600 sides differs from its circle by 2 pi²/3n², or 1.8e-5 of its area."""
    radius, depth = 50.0, 35.0
    rim = tuple(
        (radius * math.cos(math.tau * k / 600), radius * math.sin(math.tau * k / 600))
        for k in range(600)
    )
    edge = (rim[0], rim[3])
    got = seen(Blade("round", rim, edge, edge), FLAT, Pose(0.0, depth - radius, 0.0))
    t = 2.0 * math.acos((radius - depth) / radius)
    area = radius**2 * (t - math.sin(t)) / 2.0
    centre = 4.0 * radius * math.sin(t / 2.0) ** 3 / (3.0 * (t - math.sin(t)))
    assert got.area_mm2 == pytest.approx(area, rel=4e-5)
    assert got.centroid_mm[1] == pytest.approx(centre - (radius - depth), rel=4e-5)


def test_the_leading_edge_is_the_mean_of_its_directions() -> None:
    """Two pieces of 40 and 30 mm that stand square: their mean direction is that of the chord."""
    blade = plate((0.0, 0.0), (150.0, 0.0), (150.0, 60.0), (120.0, 60.0), (0.0, 60.0))
    got = seen(blade, FLAT, Pose(0.0, -20.0, 0.0))
    assert math.degrees(got.leading_edge_rad) == pytest.approx(90.0)
    swept = plate((0.0, 0.0), (150.0, 0.0), (150.0, 60.0), (120.0, 60.0 + 1e-6), (0.0, 50.0))
    got = seen(swept, FLAT, Pose(0.0, -20.0, 0.0))
    assert math.degrees(got.leading_edge_rad) == pytest.approx(math.degrees(math.atan2(40, 30)))


def test_nothing_out_of_the_base_is_told() -> None:
    assert exposed(rectangle(180.0, 80.0), FLAT, Pose(0.0, -80.0, 0.0)) is None
    assert exposed(rectangle(180.0, 80.0), Base(300.0, 0.0), Pose(200.0, -20.0, 0.0)) is None


# Against shapely, on random blades and bases.


def by_shapely(blade: Blade, base: Base, pose: Pose) -> Polygon:
    ring = placed(blade, pose)
    x1, _, x2, high = ring.bounds
    n = 600 if base.radius_mm else 1
    xs = [x1 - 1.0 + (x2 - x1 + 2.0) * k / n for k in range(n + 1)]
    over = Polygon([*((x, base_y(base, x)) for x in xs), (xs[-1], high + 9), (xs[0], high + 9)])
    return Polygon(ring).intersection(over)


@settings(max_examples=30, deadline=None)
@given(made.shapes(), made.bases(), made.poses())
def test_as_shapely_cuts_it(blade: Blade, base: Base, pose: Pose) -> None:
    got = exposed(blade, base, pose)
    assume(got is not None)
    assert got is not None
    cut = by_shapely(blade, base, pose)
    assume(cut.area > 50.0)
    # The arc's chords lie below it by at most c²/8R each: that much of the waterline is too much.
    off = (blade.length_mm + 2.0) ** 3 / (8.0 * base.radius_mm * 600**2) if base.radius_mm else 0.0
    assert got.area_mm2 == pytest.approx(cut.area, rel=1e-10, abs=1.5 * off)
    near = 1e-8 + 300.0 * off / cut.area
    assert got.centroid_mm == pytest.approx((cut.centroid.x, cut.centroid.y), abs=near)


# Identities that Green's theorem asks for.


@settings(max_examples=25, deadline=None)
@given(made.shapes(), made.bases(), made.poses())
def test_what_is_out_and_what_is_hidden_make_the_whole(
    blade: Blade, base: Base, pose: Pose
) -> None:
    """Cut by a waterline and mirrored in it (flat), both parts' areas and moments add up."""
    flat = Base()
    over = exposed(blade, flat, pose)
    mirrored = Blade(
        "m", tuple((u, -v) for u, v in blade.outline_mm),
        *(tuple((u, -v) for u, v in e) for e in (blade.top_edge_mm, blade.back_edge_mm)),
    )  # type: ignore[arg-type]  # fmt: skip
    under = exposed(mirrored, flat, Pose(pose.x_mm, -pose.y_mm, -pose.tilt_rad))
    assume(over is not None and under is not None)
    assert over is not None
    assert under is not None
    whole = Polygon(placed(blade, pose))
    assert over.area_mm2 + under.area_mm2 == pytest.approx(whole.area, rel=1e-11)
    moment = over.area_mm2 * over.centroid_mm[1] - under.area_mm2 * under.centroid_mm[1]
    assert moment == pytest.approx(whole.area * whole.centroid.y, rel=1e-9, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(made.blades(), made.poses(), st.floats(-50.0, 50.0))
def test_it_goes_with_the_blade_and_grows_by_the_waterline(
    blade: Blade, pose: Pose, along: float
) -> None:
    here = exposed(blade, FLAT, pose)
    assume(here is not None)
    assert here is not None
    there = seen(blade, FLAT, pose.moved(along, 0.0, 0.0))
    assert there.area_mm2 == pytest.approx(here.area_mm2, rel=1e-11)
    assert there.centroid_mm[0] - here.centroid_mm[0] == pytest.approx(along, abs=1e-8)
    assert there.centroid_mm[1] == pytest.approx(here.centroid_mm[1], abs=1e-9)
    low, high = (exposed(blade, FLAT, pose.moved(0.0, s, 0.0)) for s in (-1e-4, 1e-4))
    levels = sorted(abs(y) for _, y in placed(blade, pose).coords)
    assume(low is not None and high is not None and levels[0] > 1e-3)
    assert low is not None
    assert high is not None
    grown = (high.area_mm2 - low.area_mm2) / 2e-4
    assert grown == pytest.approx(waterline_mm(blade, FLAT, pose), rel=1e-5, abs=1e-4)


@settings(max_examples=20, deadline=None)
@given(made.blades(), made.bases(), made.poses())
def test_the_direction_and_start_of_the_outline_do_not_matter(
    blade: Blade, base: Base, pose: Pose
) -> None:
    here = exposed(blade, base, pose)
    points = blade.outline_mm
    turned = (points[2:] + points[:2])[::-1]
    same = exposed(Blade("t", turned, blade.top_edge_mm, blade.back_edge_mm), base, pose)
    assert (here is None) == (same is None)
    if here is not None and same is not None:
        assert same.figures == pytest.approx(here.figures, rel=1e-9)


def test_a_piece_too_many_changes_nothing() -> None:
    """An edge cut in two gives the same figures over a curved base, to the last digits."""
    blade = practice_plate()
    cut = [
        p
        for a, b in itertools.pairwise([*blade.outline_mm, blade.outline_mm[0]])
        for p in (a, ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0))
    ]
    finer = Blade("finer", tuple(cut), blade.top_edge_mm, blade.back_edge_mm)
    one, two = seen(blade, CURVED, LEVEL), seen(finer, CURVED, LEVEL)
    assert two.figures == pytest.approx(one.figures, rel=1e-13)


# Uncertainty.


def test_what_the_pose_leaves_open_is_carried_to_the_figures() -> None:
    """A rectangle: area by its length times u(y), centroid by u(x) and half of u(y)."""
    blade, pose = rectangle(180.0, 80.0), Pose(0.0, -25.0, 0.0)
    u = u_exposed(blade, FLAT, pose, ((0.0004, 0.0, 0.0), (0.0, 0.0001, 0.0), (0.0, 0.0, 0.0)))
    assert u is not None
    assert u == pytest.approx((1.8, 0.02, 0.005, 0.0, 0.01 / 180.0), abs=1e-9)
    assert u_exposed(trapezoid(), FLAT, Pose(0.0, -80.0, 0.0), ((0.0,) * 3,) * 3) is None
