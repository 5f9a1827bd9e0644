"""The straightedge on a curved base: against a rocking construction and handbook chords."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from workbench.errors import InputError
from workbench.fin.frame import Base
from workbench.fin.wing import (
    HOLDS,
    Arc,
    Hold,
    height_of_segment_mm,
    held,
    neighbours,
    read_elsewhere_deg,
    u_difference_deg,
)

curvatures = st.floats(-1 / 800.0, 1 / 800.0).filter(lambda k: abs(k) > 1e-7)
lengths = st.floats(60.0, 250.0)
apexes = st.floats(-100.0, 300.0)
holds = st.sampled_from(HOLDS)


def rocked(arc: Arc, pressed_x: float, rear: float, front: float) -> float:
    """The slope at which a light straightedge comes to rest, pressed at one place.

    Nothing but rest: among all lines that lie on or above the base between the straightedge's ends,
    the one whose pressed point is lowest, its own small weight in the middle.
    """
    xs = np.linspace(rear, front, 3001)
    sine = (xs - arc.apex_mm) * arc.curvature
    ys = 1e3 * (np.sqrt(1.0 - sine**2) - 1.0) / arc.curvature  # in micrometres, for the solver
    middle, weight = (rear + front) / 2.0, 1e-3
    cost = [pressed_x - middle, 1.0 + weight]
    rest = linprog(
        cost, A_ub=np.column_stack([-(xs - middle), -np.ones_like(xs)]), b_ub=-ys,
        bounds=[(None, None), (None, None)], method="highs",
    )  # fmt: skip
    assert rest.status == 0
    return float(rest.x[0]) / 1e3


@settings(max_examples=25)
@given(curvatures, apexes, lengths, st.floats(0.0, 120.0), holds)
def test_where_a_straightedge_comes_to_rest(
    curvature: float, apex: float, length: float, beyond: float, hold: Hold
) -> None:
    """The angle is that of an independent construction by rest alone, within its grid."""
    arc, place = Arc(curvature, apex), length / 2.0 + beyond
    rear, front = place - length / 2.0, place + length / 2.0
    pressed = {"front": front, "middle": place, "rear": rear}[hold]
    angle = held(arc, hold, length, place).angle_rad
    # Between two grid points a slope is known to the change of the tangent from one to the next.
    grid = 2.0 * length / 3000.0 * abs(curvature) / math.cos(angle) ** 3
    assert abs(math.tan(angle) - rocked(arc, pressed, rear, front)) <= grid + 1e-8


@given(st.floats(600.0, 9000.0), apexes, lengths)
def test_front_and_rear_differ_by_the_angle_of_the_arc_between(
    radius: float, apex: float, length: float
) -> None:
    """4 atan(2 h / c) of the segment between the contacts (Machinery's Handbook, 31st ed., p. 83).

    Chord and height are those of the two points of contact on the circle.
    """
    arc, place = Arc(1.0 / radius, apex), length / 2.0
    front, rear = held(arc, "front", length, place), held(arc, "rear", length, place)
    ends = [(x, arc.y_mm(x)) for x in (front.touches_mm[0], rear.touches_mm[0])]
    chord = math.dist(*ends)
    height = height_of_segment_mm(radius, chord)
    segment = 4.0 * math.atan2(2.0 * height, chord)
    assert math.isclose(rear.angle_rad - front.angle_rad, segment, rel_tol=1e-9)


def test_a_handbook_chord() -> None:
    """Radius 1000, an angle of 10 degrees: chord 174.31 (from memory), holds 10 apart."""
    front, rear = (held(Arc(1 / 1000.0, 87.155), h, 174.31, 87.155) for h in ("front", "rear"))
    assert math.degrees(rear.angle_rad - front.angle_rad) == pytest.approx(10.0, abs=1e-3)


@given(st.floats(600.0, 9000.0), apexes, lengths, holds)
def test_a_hollow_base_holds_the_straightedge_by_its_ends(
    radius: float, apex: float, length: float, hold: Hold
) -> None:
    """Along the chord from end to end, wherever it is held."""
    arc, place = Arc(-1.0 / radius, apex), length / 2.0 + 10.0
    lies = held(arc, hold, length, place)
    (x0, x1) = lies.touches_mm
    assert (x0, x1) == pytest.approx((10.0, 10.0 + length))
    chord = math.atan2(arc.y_mm(x1) - arc.y_mm(x0), x1 - x0)
    assert math.isclose(lies.angle_rad, chord, rel_tol=1e-7, abs_tol=1e-12)


@given(holds, lengths)
def test_on_a_flat_base_every_hold_is_the_same(hold: Hold, length: float) -> None:
    assert held(Arc(), hold, length, 200.0).angle_rad == 0.0


def test_it_is_the_same_base_as_the_pose_uses() -> None:
    """Height and tangent of the arc are the base's own."""
    base = Base(4064.0, 101.6)
    arc = Arc.of(base)
    for x in (0.0, 40.0, 101.6, 180.0):
        assert arc.y_mm(x) == pytest.approx(base.y(x), abs=1e-12)
        assert math.tan(arc.slope_angle_rad(x)) == pytest.approx(base.slope(x), abs=1e-12)
    assert Arc.of(Base()) == Arc()


@given(curvatures, st.floats(2.0, 20.0), holds, holds)
def test_there_and_back_is_the_same_angle(
    curvature: float, angle: float, here: Hold, there: Hold
) -> None:
    arc = Arc(curvature / 10.0, 80.0)
    a, b = held(arc, here, 150.0, 76.0), held(arc, there, 150.0, 76.0)
    for lead in ("out", "in"):
        back = read_elsewhere_deg(read_elsewhere_deg(angle, a, b, lead), b, a, lead)
        assert math.isclose(back, angle, abs_tol=1e-9)


def test_which_way_the_reading_moves() -> None:
    """A wing whose leading edge stands out reads more held at the front of a bulge; in, less.

    The angle is that between two lines of the picture: the wing's own and the straightedge's.
    """
    arc = Arc(1 / 4000.0, 76.0)
    front, rear = held(arc, "front", 150.0, 76.0), held(arc, "rear", 150.0, 76.0)
    wing = math.radians(8.0)
    by_front, by_rear = (math.degrees(wing - h.angle_rad) for h in (front, rear))
    assert by_front > 8.0 > by_rear
    assert read_elsewhere_deg(by_front, front, rear, "out") == pytest.approx(by_rear)
    assert read_elsewhere_deg(by_rear, front, rear, "in") == pytest.approx(by_front)


def test_held_beyond_the_tail_end_it_lies_on_the_tail_end() -> None:
    lies = held(Arc(1 / 4000.0, 80.0), "rear", 150.0, 40.0)
    assert lies.touches_mm == (0.0,)
    assert lies.overhangs
    assert not held(Arc(1 / 4000.0, 80.0), "rear", 80.0, 40.0).overhangs


def test_the_difference_is_known_as_well_as_the_curve() -> None:
    """u of the angle between two tangents: the arc between them times u of the curvature."""
    front, rear = (held(Arc(1 / 4000.0, 76.0), h, 150.0, 76.0) for h in ("front", "rear"))
    u = u_difference_deg(front, rear, 5e-6)
    more = [held(Arc(1 / 4000.0 + 5e-6, 76.0), h, 150.0, 76.0).angle_rad for h in ("front", "rear")]
    moved = math.degrees((more[1] - more[0]) - (rear.angle_rad - front.angle_rad))
    assert u == pytest.approx(moved, rel=1e-3)


def test_the_gauges_next_to_an_angle() -> None:
    gauges = (7.0, 7.5, 8.0)
    assert neighbours(gauges, 7.6) == (7.5, 8.0)
    assert neighbours(gauges, 7.5) == (7.5, 7.5)
    assert neighbours(gauges, 6.0) == (None, 7.0)
    assert neighbours(gauges, 9.0) == (8.0, None)
    assert neighbours((), 8.0) == (None, None)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: held(Arc(), "tail", 150.0, 76.0), "front, middle or rear"),  # type: ignore[arg-type]
        (lambda: held(Arc(), "front", 0.0, 76.0), "straightedge"),
        (lambda: held(Arc(), "front", 150.0, -1.0), "wing place"),
        (lambda: held(Arc(1 / 300.0, 0.0), "front", 600.0, 100.0), "place on the base"),
        (lambda: read_elsewhere_deg(
            40.0, held(Arc(), "front", 150, 76), held(Arc(), "rear", 150, 76)), "wing angle"),
    ],
)  # fmt: skip
def test_what_cannot_be_held_is_told(call: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()  # type: ignore[operator]
