"""Rigid placements: their algebra and an exact 3-4-5 motion."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests import strategies as made
from workbench.fin.frame import Pose
from workbench.measure.linalg import solve

POSES = made.poses(90.0)
POINTS = st.tuples(st.floats(-300, 300), st.floats(-300, 300))


@given(POSES, POINTS)
def test_locate_undoes_place(pose: Pose, point: tuple[float, float]) -> None:
    assert pose.locate(pose.place(point)) == pytest.approx(point, abs=1e-11)


@given(POSES, POINTS, POINTS)
def test_distances_stay(pose: Pose, a: tuple[float, float], b: tuple[float, float]) -> None:
    assert math.dist(pose.place(a), pose.place(b)) == pytest.approx(math.dist(a, b), abs=1e-10)


@pytest.mark.parametrize(
    ("degrees", "rise", "slack"),
    [
        (12.0, 1.03956, 5e-6),
        (9.0, 0.78217, 5e-6),
        (31.25, 2.5939, 5e-5),
        (28.6336, 2.396, 5e-4),
        (23 + 41 / 60, 2.0084, 5e-5),
        (34 + 25 / 60, 2.826, 5e-4),
    ],
)
def test_a_five_inch_sine_bar(degrees: float, rise: float, slack: float) -> None:
    """Two points 5 in apart along a tilted plate differ in height by the printed figures.

    Machinery's Handbook, 31st ed., p. 695; TC 9-524, appendix C; Handbook of Machining and
    Metalworking Calculations, ch. 4 (sine-bar). Each rise within half of its last printed digit.
    """
    pose = Pose(3.0, -7.0, math.radians(degrees))
    low, high = pose.place((1.0, 2.0)), pose.place((6.0, 2.0))
    assert high[1] - low[1] == pytest.approx(rise, abs=slack)


def test_exact_three_four_five_motion() -> None:
    """Images, angle and pole of rotation of an exact motion (rigid-345, constructed).

    A rotation of cosine 0.8 and sine 0.6 is one by asin 0.6, about 36.87 degrees.
    """
    pose = Pose(1.0, 2.0, math.atan2(0.6, 0.8))
    images = [pose.place(p) for p in ((0.0, 0.0), (10.0, 0.0), (0.0, 5.0))]
    for image, expected in zip(images, ((1, 2), (9, 8), (-2, 6)), strict=True):
        assert image == pytest.approx(expected, abs=1e-12)
    assert math.degrees(pose.tilt_rad) == pytest.approx(36.86989764584402, abs=1e-12)
    pole = solve([[1 - 0.8, 0.6], [-0.6, 1 - 0.8]], [1.0, 2.0])
    assert pole == pytest.approx([-2.5, 2.5], abs=1e-12)
    assert pole is not None
    assert pose.place((pole[0], pole[1])) == pytest.approx((-2.5, 2.5), abs=1e-12)
