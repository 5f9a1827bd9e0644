"""Readings with their contacts held, against the readings looked for anew."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests import strategies as made
from tests.fin.plates import (
    CURVED,
    DEEPEST,
    DEPTH,
    LENGTH,
    LEVEL,
    TAIL,
    practice_plate,
    readings_at,
)
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.pose.descent import closed_form, solve_held
from workbench.fin.pose.equations import Equations
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method, Scribe
from workbench.fin.reading.observe import Observation, observe

CLEAR = LEVEL.moved(0.0, 1.3, 0.0)
"""A pose of the practice plate with no corner near a level."""

MOVES = st.tuples(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3), st.floats(-1e-5, 1e-5))


def touched(
    method: Method, seen: Observation, base: Base, pose: Pose
) -> list[tuple[float, float, float]]:
    """Return what a move leaves alone while contacts hold: the touched corners and edges' ends in
    the blade frame, each with what a jaw keeps where it slides along an edge: its height, or for a
    depth how far its wall stands from the station."""
    out = []
    for at, edge in zip(seen.contacts_mm, seen.edges_mm, strict=True):
        kept = 0.0
        if edge is not None:
            station = method.station
            kept = base.height(*at) if station is None else at[0] - pose.place(station.at_mm)[0]
        out += [(*pose.locate(end), kept) for end in edge or (at, at)]
    return out


@settings(max_examples=400)
@given(made.sights(), MOVES)
def test_a_held_reading_is_the_reading_while_its_contacts_hold(
    sight: tuple[Method, Blade, Base, Pose], move: tuple[float, float, float]
) -> None:
    """Moved a little, the closed form says what is read there, if the same edges are touched."""
    method, blade, base, pose = sight
    seen, there = observe(*sight), pose.moved(*move)
    again = observe(method, blade, base, there)
    assume(seen is not None and again is not None)
    assert seen is not None
    assert again is not None
    form = closed_form(method, seen, pose, base)
    assert form is not None
    here = form(pose.x_mm, pose.y_mm, 1.0, 0.0)
    assert here == pytest.approx(seen.value_mm, rel=0, abs=made.EXACT_MM)
    before, after = (touched(method, *each) for each in ((seen, base, pose), (again, base, there)))
    assume(all(math.dist(a, b) < 1e-6 for a, b in zip(before, after, strict=True)))
    held = form(there.x_mm, there.y_mm, math.cos(move[2]), math.sin(move[2]))
    assert held == pytest.approx(again.value_mm, rel=0, abs=made.EXACT_MM)


@pytest.mark.parametrize("base", [Base(), CURVED])
@pytest.mark.parametrize("depth", [DEPTH, DEEPEST])
def test_three_readings_are_solved_from_a_few_tenths_of_a_mm_off(base: Base, depth: Method) -> None:
    """One solution with the contacts held is the pose, as a look there tells."""
    blade = practice_plate()
    readings = readings_at(CLEAR, (depth, TAIL, LENGTH), blade, base)
    equations = Equations(blade, base, readings)
    begun = equations.sight(CLEAR.moved(0.3, -0.2, 0.002))
    assert begun is not None
    pose = solve_held(equations, begun)
    assert pose is not None
    assert pose.x_mm == pytest.approx(CLEAR.x_mm, abs=made.EXACT_MM)
    assert pose.y_mm == pytest.approx(CLEAR.y_mm, abs=made.EXACT_MM)
    assert pose.tilt_rad == pytest.approx(CLEAR.tilt_rad, abs=made.EXACT_MM / 100.0)


@pytest.mark.parametrize("radius", [1e7, 1e12, 1e160, 1.7e308])
def test_bases_as_good_as_flat_give_the_pose_over_a_flat_one(radius: float) -> None:
    """Where an arc's radius leaves no digits to the closed form, looking anew takes over."""
    blade = practice_plate()
    readings = readings_at(CLEAR, (DEPTH, TAIL, LENGTH), blade, Base(radius, 90.0))
    fit = fit_pose(blade, Base(radius, 90.0), readings)
    assert fit.pose.x_mm == pytest.approx(CLEAR.x_mm, abs=1e-8)
    assert fit.pose.tilt_rad == pytest.approx(CLEAR.tilt_rad, abs=1e-10)


def test_what_does_not_close_in_is_given_up() -> None:
    """Readings that no pose near by gives with these contacts, and marks that touch nothing."""
    blade, base = practice_plate(), Base()
    readings = readings_at(LEVEL, (DEPTH, TAIL, LENGTH), blade, base)
    equations = Equations(blade, base, readings)
    begun = equations.sight(LEVEL.moved(0.0, 0.0, 0.2))
    assert begun is not None
    assert solve_held(equations, begun) is None
    coarse = Method("mark", "tail", scribe=Scribe((20.0, 5.0)))
    marked = Equations(
        blade, base, [*readings[:1], *readings_at(LEVEL, (coarse, LENGTH), blade, base)]
    )
    seen = marked.sight(LEVEL.moved(0.3, -0.2, 0.002))
    assert seen is not None
    assert solve_held(marked, seen) is None
