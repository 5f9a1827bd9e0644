"""Studs against geometry built another way: a ball of the tip's radius that touches a line."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from tests import strategies as made
from tests.fin.plates import LEVEL, practice_plate, practice_rig, rectangle, stud
from workbench.errors import InputError, OutOfReachError
from workbench.fin.blade import Blade, Edge
from workbench.fin.frame import Base, Point, Pose
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud, check_studs, named, said, seat, travel

FAR = 1000.0


def _edge(one: Stud, blade: Blade) -> Edge:
    return blade.top_edge_mm if one.touches == "top" else blade.back_edge_mm


def line_of(blade: Blade, one: Stud, pose: Pose) -> LineString:
    """Return the stud's edge in the ski frame, drawn out far beyond both ends."""
    a, b = (pose.place(p) for p in _edge(one, blade))
    length = math.dist(a, b)
    e = ((b[0] - a[0]) / length, (b[1] - a[1]) / length)
    return LineString(
        [(a[0] - FAR * e[0], a[1] - FAR * e[1]), (b[0] + FAR * e[0], b[1] + FAR * e[1])]
    )


def ball(one: Stud, mm: float) -> Point:
    return (one.at_mm[0] + mm * one.axis[0], one.at_mm[1] + mm * one.axis[1])


@given(made.rigs(), made.poses())
def test_at_its_travel_the_ball_just_touches_the_edge_s_line(rig: Rig, pose: Pose) -> None:
    """The ball's centre is its radius off the line, outside the metal, and the contact on both."""
    inside = shapely.Point(pose.place((80.0, 30.0)))
    for one, found in zip(rig.studs, rig.travels(pose), strict=True):
        line, centre = line_of(rig.blade, one, pose), shapely.Point(ball(one, found.mm))
        assert line.distance(centre) == pytest.approx(one.tip_radius_mm, abs=1e-9)
        contact = shapely.Point(found.contact_mm)
        assert line.distance(contact) < 1e-9
        assert centre.distance(contact) == pytest.approx(one.tip_radius_mm, abs=1e-9)
        if one.tip_radius_mm > 0.01:
            assert LineString([centre, inside]).intersects(line)


@given(made.rigs(), made.poses(), st.integers(0, 2))
def test_travel_derivatives_agree_with_central_differences(
    rig: Rig, pose: Pose, which: int
) -> None:
    step = (1e-3, 1e-3, 1e-5)[which]
    by = [0.0, 0.0, 0.0]
    by[which] = step
    up, down = rig.travels(pose.moved(*by)), rig.travels(pose.moved(*(-b for b in by)))
    for here, high, low in zip(rig.travels(pose), up, down, strict=True):
        slope = (high.mm - low.mm) / (2 * step)
        assert here.gradient[which] == pytest.approx(slope, rel=1e-6, abs=1e-6)


@settings(max_examples=150)
@given(made.rigs(), made.poses(), st.floats(-0.02, 0.02))
def test_seat_undoes_travel(rig: Rig, pose: Pose, off: float) -> None:
    """Studs set to their travels at a pose seat the blade at that pose, to 1e-9 in."""
    travels = [t.mm for t in rig.travels(pose)]
    seated = seat(rig.studs, rig.blade, travels, pose.moved(1.0, -1.0, off))
    assert seated.x_mm == pytest.approx(pose.x_mm, abs=made.EXACT_MM)
    assert seated.y_mm == pytest.approx(pose.y_mm, abs=made.EXACT_MM)
    assert seated.tilt_rad == pytest.approx(pose.tilt_rad, abs=made.EXACT_MM / 100)


@given(made.rigs(), made.poses(), st.tuples(*[st.floats(-2.0, 2.0) for _ in range(3)]))
def test_travel_undoes_seat(rig: Rig, pose: Pose, turns: tuple[float, ...]) -> None:
    """After any turns, each stud's travel at the new seat is what its turns made it."""
    seated = rig.seated(pose, turns)
    for one, before, after, n in zip(
        rig.studs, rig.travels(pose), rig.travels(seated), turns, strict=True
    ):
        assert after.mm == pytest.approx(before.mm + n * one.lead_mm, abs=made.EXACT_MM)


def test_gap_readings_and_an_axial_stop() -> None:
    """A plate's edge from two gaps and one stop along it (solvespace-three-contact).

    python-solvespace 3.0.8 and the closed form agree on the figures: gaps 12.7 at x = 10 and 12.95
    at x = 90, the edge's first point 5.2 from the stop along x. Point-tipped studs stand for the
    gaps; the stop's line through P0 is upright, so that the edge is pressed on by a plate whose
    back edge stands square to x at the solved tilt.
    """
    tilt = math.atan2(0.25, 80.0)
    # In the plate's frame the upright line through P0 leans back by the tilt.
    lean = (math.sin(tilt), math.cos(tilt))
    outline = ((0.0, 0.0), (80.0, 0.0), (80.0, 40.0), (40.0 * lean[0], 40.0 * lean[1]))
    plate = Blade("edge", outline, (outline[0], outline[1]), (outline[0], outline[3]))
    studs = (
        stud("one", "top", (10.0, 0.0), (0.0, 1.0), tip_radius_mm=0.0),
        stud("two", "top", (90.0, 0.0), (0.0, 1.0), tip_radius_mm=0.0),
        stud("stop", "back", (0.0, 20.0), (1.0, 0.0), tip_radius_mm=0.0),
    )
    pose = seat(studs, plate, (12.7, 12.95, 5.2), Pose(0.0, 0.0, 0.0))
    assert pose.place((0.0, 0.0)) == pytest.approx((5.2, 12.685), abs=1e-9)
    assert pose.place((80.0, 0.0)) == pytest.approx(
        (85.19960937786101, 12.934998779305815), abs=1e-9
    )
    assert math.degrees(pose.tilt_rad) == pytest.approx(0.17904872813898814, abs=1e-9)


def test_a_larger_tip_stands_back_by_its_radius() -> None:
    """Square to its edge, a ball's travel is shorter than a point's by the radius."""
    level = Pose(16.0, -25.0, 0.0)
    for radius in (0.0, 0.5, 3.0):
        rig = practice_rig(tip_radius_mm=radius)
        for one, found in zip(rig.studs, rig.travels(level), strict=True):
            point = practice_rig(tip_radius_mm=0.0).travels(level)[rig.studs.index(one)]
            assert found.mm == pytest.approx(point.mm - radius, abs=1e-9)


def test_contact_off_the_edge_s_end() -> None:
    """A ball beside the edge still touches its line, and says that it is off the edge."""
    rig = practice_rig()
    assert all(t.on_edge for t in rig.travels(LEVEL))
    beyond = stud("front", "top", (9.0 * 25.4, -40.0), (0.0, 1.0))
    found = travel(beyond, practice_plate(), LEVEL)
    assert not found.on_edge
    assert found.along > 1.0
    before = stud("rear", "top", (0.2 * 25.4, -40.0), (0.0, 1.0))
    assert travel(before, practice_plate(), LEVEL).along < 0.0


@pytest.mark.parametrize("touches", ["top", "back"])
def test_an_axis_that_does_not_press_is_refused(touches: str) -> None:
    """An axis away from the edge, or along it, stops nothing."""
    for axis in ((0.0, -1.0), (1.0, 0.0)) if touches == "top" else ((-1.0, 0.0), (0.0, 1.0)):
        with pytest.raises(InputError, match="axis"):
            travel(stud("s", touches, (60.0, -40.0), axis), practice_plate(), LEVEL)


@pytest.mark.parametrize(
    ("turns", "hand", "expected"),
    [
        (0.25, "right", True), (-0.25, "right", False), (0.25, "left", False),
        (-0.25, "left", True), (0.0, "right", None), (0.0, "left", None),
    ],
)  # fmt: skip
def test_clockwise_is_in_for_a_right_hand_thread(
    turns: float, hand: str, expected: bool | None
) -> None:
    assert stud("s", "top", (0, 0), (0, 1), hand=hand).clockwise(turns) is expected


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"touches": "side"}, "touches"),
        ({"hand": "both"}, "hand"),
        ({"at": (math.nan, 0.0)}, "at"),
        ({"axis": (0.0, 0.0)}, "axis"),
        ({"axis": (math.inf, 0.0)}, "axis"),
        ({"lead_mm": 0.0}, "lead"),
        ({"lead_mm": -0.5}, "lead"),
        ({"lead_mm": math.nan}, "lead"),
        ({"tip_radius_mm": -0.1}, "tip_radius"),
        ({"tip_radius_mm": math.inf}, "tip_radius"),
        ({"limits_mm": (3.0, 3.0)}, "limits"),
        ({"limits_mm": (math.nan, 3.0)}, "limits"),
    ],
)
def test_odd_studs_are_refused_by_field(change: dict[str, object], field: str) -> None:
    options: dict[str, object] = {"touches": "top", "at": (0.0, 0.0), "axis": (0.0, 1.0)}
    with pytest.raises(InputError) as caught:
        stud("front", **{**options, **change})  # type: ignore[arg-type]
    assert field in caught.value.field
    assert "front" in caught.value.field


def test_three_studs_two_of_them_on_top() -> None:
    front, rear, back = practice_rig().studs
    for wrong in (
        (front, rear),
        (front, rear, back, back),
        (front, back, back),
        (front, front, back),
    ):
        with pytest.raises(InputError):
            check_studs(wrong)
    second = stud("second", "top", (front.at_mm[0] + 1.0, front.at_mm[1]), (0, 1))
    with pytest.raises(InputError, match="2 mm"):
        check_studs((front, second, back))
    check_studs((back, rear, front))


def test_balls_that_no_line_touches() -> None:
    """A large ball that holds a small one inside leaves no common edge."""
    studs = (
        stud("one", "top", (50.0, -40.0), (0.0, 1.0), tip_radius_mm=10.0),
        stud("two", "top", (54.0, -40.0), (0.0, 1.0), tip_radius_mm=1.0),
        stud("tail", "back", (0.0, -12.0), (1.0, 0.0)),
    )
    with pytest.raises(OutOfReachError, match="too close together"):
        seat(studs, rectangle(), (10.0, 10.0, 10.0), LEVEL)


def test_parallel_edges_stop_nothing_along_the_base() -> None:
    plate = rectangle()
    flat = Blade("flat", plate.outline_mm, plate.top_edge_mm, plate.top_edge_mm)
    with pytest.raises(OutOfReachError, match="parallel"):
        seat(practice_rig(Base()).studs, flat, (10.0, 10.0, 10.0), LEVEL)


@given(made.rigs(), made.poses(), made.poses())
def test_pose_gain_is_how_the_seat_follows_the_pose_before(
    rig: Rig, pose: Pose, other: Pose
) -> None:
    """With fixed turns, a small change of the pose before moves the pose after by the gain."""
    turns = [
        (w.mm - n.mm) / one.lead_mm
        for n, w, one in zip(rig.travels(pose), rig.travels(other), rig.studs, strict=True)
    ]
    assume(max(map(abs, turns)) < 20)
    gain = rig.pose_gain(pose, other)
    step = 1e-5
    for j in range(3):
        by = [0.0, 0.0, 0.0]
        by[j] = step
        up = rig.seated(pose.moved(*by), turns)
        down = rig.seated(pose.moved(*(-b for b in by)), turns)
        for k, name in enumerate(("x_mm", "y_mm", "tilt_rad")):
            slope = (getattr(up, name) - getattr(down, name)) / (2 * step)
            assert gain[k][j] == pytest.approx(slope, rel=1e-4, abs=1e-4)


def test_no_two_studs_are_called_by_names_that_could_be_mixed_up() -> None:
    """Shown: top front, top rear, tail; ``back`` in an older file is the tail stud."""
    front, rear, tail = practice_rig().studs
    assert [s.said for s in (front, rear, tail)] == ["top front", "top rear", "tail"]
    assert replace(tail, name="back").said == "tail"
    assert said("back") == "tail"
    assert replace(rear, name="back").said == "top back"
    assert replace(front, name="nose stop").said == "nose stop"


def test_a_name_of_before_means_the_same_stud() -> None:
    """Either name finds the tail stud; where both are there, each is its own."""
    assert named("back", ("front", "rear", "tail")) == "tail"
    assert named("tail", ("front", "rear", "back")) == "back"
    assert named("back", ("back", "front", "tail")) == "back"
    assert named("side", ("front", "rear", "tail")) is None


def test_two_top_studs_on_one_line_are_named_as_such() -> None:
    """One behind the other they hold no tilt; no axis is to blame."""
    front, rear, back = practice_rig().studs
    behind = replace(rear, at_mm=(front.at_mm[0], front.at_mm[1] - 20.0), axis=front.axis)
    with pytest.raises(InputError, match=r"'rear' at.*two studs on one line do not hold") as caught:
        check_studs((front, behind, back))
    assert "axis" not in caught.value.field
