"""What an uncertain outline does to readings, turns and predictions, against Monte Carlo."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from statistics import stdev

import pytest

from tests.fin.plates import DEEPEST, IN, LENGTH, TAIL, plan, practice_rig, readings_at
from tests.work.scans import random_blade
from workbench.errors import InputError
from workbench.fin.blade import Blade, Hole
from workbench.fin.frame import Pose
from workbench.fin.plan.plan import Target
from workbench.fin.plan.uncertainty import reading_outline_u, u_after
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method, Station
from workbench.fin.reading.rig import Rig

U = 0.02
"""Standard uncertainty of a corner (mm): 0.0008 in."""

TIMES = 150
FLAT = Method("length, flat", "length", band_mm=(0.15 * IN, 0.15 * IN))
STATION_BLADE = random_blade(random.Random(6), n=10)
HOLE = STATION_BLADE.holes[0]
DEPTH = Method("depth", "depth", Station(HOLE.edge("back"), HOLE.name, "back"))
TIPS = Method("tail, tips", "tail", band_mm=(0.02 * IN, 0.02 * IN))
POSE = Pose(0.7 * IN, -1.33 * IN, 0.004)


def rig_of(blade: Blade) -> Rig:
    return practice_rig(blade=blade)


def shaken(blade: Blade, rng: random.Random) -> Blade:
    """The same blade as it may really be: every corner and hole a little elsewhere."""

    def at(p: tuple[float, float]) -> tuple[float, float]:
        return (p[0] + rng.gauss(0.0, U), p[1] + rng.gauss(0.0, U))

    holes = tuple(Hole(h.name, at(h.at_mm), h.diameter_mm) for h in blade.holes)
    return Blade(
        blade.name, tuple(map(at, blade.outline_mm)), blade.top_edge_mm, blade.back_edge_mm, holes
    )


def on(method: Method, blade: Blade) -> Method:
    """The method on that blade: its station goes with the hole."""
    if method.station is None:
        return method
    return replace(method, station=Station(blade.hole(HOLE.name).edge("back"), HOLE.name, "back"))


METHODS = (DEPTH, TIPS, LENGTH)


@pytest.mark.parametrize("method", [*METHODS, FLAT], ids=lambda m: m.name)
def test_a_readings_outline_part_is_what_shaken_outlines_give(method: Method) -> None:
    blade = replace(STATION_BLADE, outline_u_mm=U)
    rig = rig_of(blade)
    known = reading_outline_u(method, rig.observe(method, POSE), blade, POSE)
    rng = random.Random(5)
    found = []
    for _ in range(TIMES):
        real = shaken(blade, rng)
        found.append(rig_of(real).observe(on(method, real), POSE).value_mm)
    # A standard deviation out of 150 is known to 6 %.
    assert stdev(found) == pytest.approx(known, rel=0.2)


def _turns(blade: Blade, values: list[float], targets: list[float]) -> list[float]:
    """The turns from readings to targets on that blade, by two poses alone."""
    rig = rig_of(blade)
    own = [on(m, blade) for m in METHODS]
    travels = []
    for row in (values, targets):
        readings = [Reading(m, v, 1e-3) for m, v in zip(own, row, strict=True)]
        travels.append(rig.travels(fit_pose(blade, rig.base, readings, POSE).pose))
    return [(w.mm - n.mm) / s.lead_mm for n, w, s in zip(*travels, rig.studs, strict=True)]


def test_u_turns_holds_the_outline_as_shaken_outlines_give_it() -> None:
    """A move of half a millimetre each way: what both ends share of the outline cancels."""
    blade = replace(STATION_BLADE, outline_u_mm=U)
    rig = rig_of(blade)
    values = [rig.observe(m, POSE).value_mm for m in METHODS]
    targets = [values[0] + 0.6, values[1] - 0.5, values[2] + 0.8]
    aims = [Target(m, v, 0.05) for m, v in zip(METHODS, targets, strict=True)]
    readings = [Reading(m, v, 1e-6) for m, v in zip(METHODS, values, strict=True)]
    known = [t.u_turns for t in plan(rig, readings, aims, 0.0, start=POSE).turns]
    rng = random.Random(9)
    found = [_turns(shaken(blade, rng), values, targets) for _ in range(50)]
    for each, u in zip(zip(*found, strict=True), known, strict=True):
        assert stdev(each) == pytest.approx(u, rel=0.3)
        assert u < 0.15


def test_a_number_restated_by_another_method_carries_the_outline() -> None:
    """The same readings on shaken outlines: what the flat caliper would read scatters so."""
    blade = replace(STATION_BLADE, outline_u_mm=U)
    rig = rig_of(blade)
    readings = [Reading(m, rig.observe(m, POSE).value_mm, 1e-6) for m in METHODS]
    fit = fit_pose(rig.blade, rig.base, readings, POSE)
    known = u_after(rig, fit, FLAT, fit.pose)
    rng = random.Random(2)
    found = []
    for _ in range(80):
        real = shaken(blade, rng)
        own = [Reading(on(r.method, real), r.value_mm, 1e-6) for r in readings]
        pose = fit_pose(real, rig.base, own, POSE).pose
        found.append(rig_of(real).observe(FLAT, pose).value_mm)
    assert stdev(found) == pytest.approx(known, rel=0.25)
    # A reading that was taken says itself: the outline costs it nothing.
    assert u_after(rig, fit, LENGTH, fit.pose) < 1e-3 * known


def test_an_exact_outline_adds_nothing() -> None:
    rig = rig_of(STATION_BLADE)
    readings = readings_at(POSE, (DEEPEST, TAIL, LENGTH), rig.blade, rig.base)
    aims = [Target(r.method, r.value_mm + 0.2, 0.05, is_change=True) for r in readings]
    exact = plan(rig, readings, aims, 0.0)
    other = plan(rig_of(replace(STATION_BLADE, outline_u_mm=0.1)), readings, aims, 0.0)
    assert all(o.u_turns > e.u_turns for o, e in zip(other.turns, exact.turns, strict=True))
    assert [t.exact for t in other.turns] == [t.exact for t in exact.turns]


@pytest.mark.parametrize("u_mm", [-0.01, math.inf, math.nan, 3.0])
def test_an_outline_known_worse_than_a_guess_is_refused(u_mm: float) -> None:
    with pytest.raises(InputError, match="outline_u"):
        replace(STATION_BLADE, outline_u_mm=u_mm)
