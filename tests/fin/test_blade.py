"""Blade outlines: what is accepted, what is refused and why, area and centroid."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from tests import strategies as made
from tests.fin.plates import practice_plate, rectangle
from workbench.errors import InputError
from workbench.fin.blade import Blade, Hole, area_and_centroid, distance_to_segment, inward_normal
from workbench.fin.frame import Point


def blade_of(*points: Point, edge: tuple[Point, Point] | None = None) -> Blade:
    edge = edge or (points[0], points[1])
    return Blade("b", tuple(points), edge, edge)


# Published and hand-worked polygons.


def test_area_and_centroid_of_sympy_s_polygon() -> None:
    """SymPy reference, Polygon.centroid (sympy-polygon): area 3, centroid (31/18, 11/18)."""
    area, centroid = area_and_centroid([(0, 0), (1, 0), (5, 1), (0, 1)])
    assert area == 3.0
    assert centroid == pytest.approx((Fraction(31, 18), Fraction(11, 18)), abs=1e-15)


def test_a_clockwise_outline_has_the_same_centroid() -> None:
    """Only the sign of the area turns (SymPy's polygon, the other way round, moved)."""
    points = [(0, 0), (1, 0), (5, 1), (0, 1)]
    far = [(x + 1000, y - 500) for x, y in reversed(points)]
    area, centroid = area_and_centroid(far)
    assert area == pytest.approx(-3.0)
    assert centroid == pytest.approx((1000 + Fraction(31, 18), -500 + Fraction(11, 18)), abs=1e-12)


def test_area_and_centroid_of_a_concave_pentagon() -> None:
    """The shoelace pentagon, area 16.5 (from memory; shoelace-pentagon), centroid exact."""
    points = [(1, 6), (3, 1), (7, 2), (4, 4), (8, 5)]
    area, centroid = area_and_centroid(points)
    assert area == 16.5
    assert centroid == pytest.approx((35 / 9, 11 / 3), abs=1e-14)
    assert area_and_centroid(points[::-1])[0] == -16.5


def test_area_and_centroid_of_an_angle() -> None:
    """An L from two rectangles, 12 (3, 1) + 12 (1, 5) over 24 (l-section, constructed)."""
    area, centroid = area_and_centroid([(0, 0), (6, 0), (6, 2), (2, 2), (2, 8), (0, 8)])
    assert (area, centroid) == (24.0, (2.0, 3.0))


def test_a_far_off_origin_costs_no_digits() -> None:
    """The angle moved by a million keeps its centroid to the last digit of the coordinates."""
    points = [(0, 0), (6, 0), (6, 2), (2, 2), (2, 8), (0, 8)]
    area, centroid = area_and_centroid([(x + 1e6, y + 2e6) for x, y in points])
    assert area == 24.0
    assert centroid == (1e6 + 2.0, 2e6 + 3.0)


@given(made.shapes())
def test_area_and_centroid_agree_with_shapely(blade: Blade) -> None:
    area, centroid = area_and_centroid(blade.outline_mm)
    polygon = Polygon(blade.outline_mm)
    assert abs(area) == pytest.approx(polygon.area, rel=1e-12)
    assert centroid == pytest.approx((polygon.centroid.x, polygon.centroid.y), rel=1e-9)


# What is refused.

HOUR_GLASS = ((0.0, 0.0), (60.0, 50.0), (60.0, 0.0), (0.0, 50.0))


@pytest.mark.parametrize(
    ("outline", "field"),
    [
        (((0.0, 0.0), (50.0, 0.0)), "outline"),
        ((), "outline"),
        (HOUR_GLASS, "outline"),
        (((0, 0), (50, 0), (50, 0), (50, 50)), "outline point 3"),
        (((0, 0), (50, 0), (50, math.nan)), "outline point 3"),
        (((0, 0), (math.inf, 0), (50, 20)), "outline point 2"),
        (((0, 0), (50, 0, 7), (50, 20)), "outline point 2"),
        (((0, 0), (4, 0), (4, 4), (0, 4)), "outline length"),
        (((0, 0), (7.3, 0), (7.3, 3.5), (0, 3.5)), "outline height"),
        (((0, 0), (7300, 0), (7300, 350), (0, 350)), "outline length"),
        (((0, 0), (50, 0), (100, 0), (30, 0)), "outline height"),
        (((0, 0), (100, 0), (50, 50), (50, 0), (50, -20), (40, 0)), "outline"),
        (((0, 0), (90, 0), (90, 40), (90, 10), (0, 30)), "outline"),
    ],
    ids=[
        "two points", "none", "crossing", "repeated", "nan", "infinite", "three numbers", "tiny",
        "inches as mm", "huge", "flat", "touches itself", "folds back",
    ],
)  # fmt: skip
def test_bad_outlines_are_refused_by_field(outline: tuple[Point, ...], field: str) -> None:
    edge = ((0.0, 0.0), (50.0, 0.0))
    with pytest.raises(InputError) as caught:
        Blade("b", outline, edge, edge)
    assert caught.value.field == field
    assert caught.value.accepted


def test_a_closing_point_may_be_repeated() -> None:
    plate = rectangle()
    again = Blade("b", (*plate.outline_mm, plate.outline_mm[0]), *[plate.top_edge_mm] * 2)
    assert again.outline_mm == plate.outline_mm


@settings(max_examples=300)
@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=3, max_size=8))
def test_an_outline_is_taken_just_when_it_is_simple(cells: list[tuple[int, int]]) -> None:
    """On a coarse grid, where edges touch, cross and overlap often, shapely and the check agree."""
    points = tuple((20.0 * x, 20.0 * y) for x, y in cells)
    opened = points[:-1] if points[0] == points[-1] else points
    ring = shapely.LinearRing(points) if len(opened) > 2 else None
    repeats = len(set(opened)) < len(opened)
    simple = ring is not None and not repeats and ring.is_simple and Polygon(points).area > 100.0
    edge = (points[0], (points[0][0] + 1.0, points[0][1]))
    try:
        taken = bool(Blade("b", points, edge, edge))
    except InputError:
        taken = False
    assert taken is simple


@given(made.shapes())
def test_shapes_for_the_other_tests_are_simple(blade: Blade) -> None:
    assert Polygon(blade.outline_mm).is_valid


@pytest.mark.parametrize(
    "edge",
    [((0, 0), (50, 4)), ((0, 0), (0.5, 0)), ((0, 0), (math.nan, 0)), ((0, 0), (90, 40)), ((0, 0),)],
)
def test_edges_off_the_outline_are_refused(edge: tuple[Point, Point]) -> None:
    """Each end of the top and the back edge must lie on or near the outline."""
    plate = rectangle()
    for top, back, field in (
        (edge, plate.back_edge_mm, "top_edge"),
        (plate.top_edge_mm, edge, "back_edge"),
    ):
        with pytest.raises(InputError) as caught:
            Blade("b", plate.outline_mm, top, back)
        assert caught.value.field == field


def test_an_edge_just_off_the_outline_is_taken() -> None:
    plate = rectangle()
    assert Blade("b", plate.outline_mm, ((1, -2), (170, 2)), plate.back_edge_mm).name == "b"


@given(made.shapes(), st.integers(0, 20))
def test_the_inward_normal_points_into_the_metal(blade: Blade, which: int) -> None:
    """A step from the middle of any edge along its normal is inside the outline."""
    n = len(blade.outline_mm)
    i = which % n
    edge = (blade.outline_mm[i], blade.outline_mm[(i + 1) % n])
    nu, nv = inward_normal(blade.outline_mm, edge)
    assert math.hypot(nu, nv) == pytest.approx(1.0)
    middle = ((edge[0][0] + edge[1][0]) / 2, (edge[0][1] + edge[1][1]) / 2)
    point = shapely.Point(middle[0] + 1e-6 * nu, middle[1] + 1e-6 * nv)
    assert Polygon(blade.outline_mm).contains(point)
    back = inward_normal(blade.outline_mm, edge[::-1])
    assert back == pytest.approx((nu, nv))


@given(*[st.tuples(st.integers(-99, 99), st.integers(-99, 99)) for _ in range(3)])
def test_distance_to_a_segment_agrees_with_shapely(p: Point, a: Point, b: Point) -> None:
    expected = shapely.Point(p).distance(LineString([a, b]) if a != b else shapely.Point(a))
    assert distance_to_segment(p, a, b) == pytest.approx(expected, abs=1e-12)


# Holes.


def test_a_hole_s_edges() -> None:
    hole = Hole("2", (40.0, 70.0), 8.0)
    assert hole.edge("back") == (36.0, 70.0)
    assert hole.edge("front") == (44.0, 70.0)
    with pytest.raises(InputError, match="'back' or 'front'"):
        hole.edge("top")


@pytest.mark.parametrize("diameter", [0.0, -1.0, math.nan, math.inf, 101.0])
def test_odd_holes_are_refused(diameter: float) -> None:
    with pytest.raises(InputError, match="diameter"):
        Hole("2", (40.0, 70.0), diameter)


def test_an_unknown_hole_names_those_there_are() -> None:
    with pytest.raises(InputError, match="'2'"):
        practice_plate().hole("3")
    with pytest.raises(InputError, match="no hole"):
        rectangle().hole("3")


@given(made.hostile_names())
def test_any_hole_name_is_only_a_name(name: str) -> None:
    """Any text names a hole, and errors show it on one line of sane length."""
    plate = rectangle()
    holes = (Hole(name, (20, 20), 5.0),)
    blade = Blade("b", plate.outline_mm, plate.top_edge_mm, plate.back_edge_mm, holes)
    assert blade.hole(name).at_mm == (20, 20)
    with pytest.raises(InputError) as caught:
        blade.hole(name + "x")
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 250


def test_two_holes_of_one_name_are_refused() -> None:
    plate = rectangle()
    holes = (Hole("a", (20, 20), 5.0), Hole("a", (60, 20), 5.0))
    with pytest.raises(InputError, match="hole name"):
        Blade("b", plate.outline_mm, plate.top_edge_mm, plate.back_edge_mm, holes)
