"""What uncertain studs do to turns and predictions, against Monte Carlo and the closed form."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from statistics import stdev

import pytest

from tests.fin.plates import DEEPEST, IN, LENGTH, TAIL, plan, practice_rig, readings_at
from workbench.errors import InputError
from workbench.fin.frame import Pose
from workbench.fin.plan.plan import Target
from workbench.fin.plan.uncertainty import u_after
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud

PLACE_U, LEAD_U = 1.5, 0.01
METHODS = (DEEPEST, TAIL, LENGTH)
NOW = Pose(0.7 * IN, -1.0 * IN, 0.004)
TIMES = 150
WANTED = (0.25, -0.3, 0.5)
"""Changes (mm) of the readings."""


def rig_with(lean: float = 0.0) -> Rig:
    """The practice rig, its studs uncertain and leaning by an angle (rad)."""
    rig = practice_rig(tip_radius_mm=1.0)
    return replace(rig, studs=tuple(_leaning(stud, lean) for stud in rig.studs))


def _leaning(stud: Stud, lean: float) -> Stud:
    ax, ay = stud.axis
    c, s = math.cos(lean), math.sin(lean)
    axis = (c * ax - s * ay, s * ax + c * ay)
    return replace(stud, axis=axis, place_u_mm=PLACE_U, lead_u=LEAD_U)


def shaken(rig: Rig, rng: random.Random) -> Rig:
    """The rig as it may really be: each axis beside itself, each lead a little longer."""
    out = []
    for stud in rig.studs:
        ax, ay = stud.axis
        off = rng.gauss(0.0, PLACE_U)
        lead = stud.lead_mm * (1.0 + rng.gauss(0.0, LEAD_U))
        at = (stud.at_mm[0] - off * ay, stud.at_mm[1] + off * ax)
        out.append(replace(stud, at_mm=at, lead_mm=lead))
    return replace(rig, studs=tuple(out))


def wanted_pose(rig: Rig) -> Pose:
    values = [r.value_mm for r in readings_at(NOW, METHODS, rig.blade, rig.base)]
    read = readings_at(NOW, METHODS, rig.blade, rig.base)
    aims = [replace(r, value_mm=v + d) for r, v, d in zip(read, values, WANTED, strict=True)]
    return fit_pose(rig.blade, rig.base, aims, NOW).pose


@pytest.mark.parametrize("lean", [0.0, 0.05])
def test_u_turns_holds_the_block_as_shaken_studs_give_it(lean: float) -> None:
    rig = rig_with(lean)
    read = readings_at(NOW, METHODS, rig.blade, rig.base, u_mm=1e-6)
    aims = [Target(r.method, r.value_mm + d, 0.05) for r, d in zip(read, WANTED, strict=True)]
    known = [t.u_turns for t in plan(rig, read, aims, 0.0, start=NOW).turns]
    rng, wanted = random.Random(4), wanted_pose(rig)
    found = []
    for _ in range(TIMES):
        real = shaken(rig, rng)
        pairs = zip(real.travels(NOW), real.travels(wanted), real.studs, strict=True)
        found.append([(w.mm - n.mm) / stud.lead_mm for n, w, stud in pairs])
    for each, u in zip(zip(*found, strict=True), known, strict=True):
        # A standard deviation out of 150 is known to 6 %.
        assert stdev(each) == pytest.approx(u, rel=0.2)


@pytest.mark.parametrize("lean", [0.0, 0.05])
def test_a_reading_after_turns_carries_the_block(lean: float) -> None:
    rig, turns = rig_with(lean), (0.5, -0.5, 0.25)
    fit = fit_pose(rig.blade, rig.base, readings_at(NOW, METHODS, rig.blade, rig.base, 1e-6), NOW)
    after = rig.seated(NOW, turns)
    rng = random.Random(8)
    reals = [shaken(rig, rng).seated(NOW, turns) for _ in range(TIMES)]
    for method in METHODS:
        found = [rig.observe(method, pose).value_mm for pose in reals]
        assert stdev(found) == pytest.approx(u_after(rig, fit, method, after), rel=0.2)


def test_a_move_that_keeps_the_tilt_asks_no_studs_place() -> None:
    """In closed form: the place costs d (tan(tilt after) - tan(tilt before)), the lead a share."""
    rig = rig_with()
    travels = [rig.travels(pose) for pose in (NOW, NOW.moved(0.4, 0.3, 0.0))]
    level = Rig(rig.blade, rig.base, rig.studs)
    read = readings_at(NOW, METHODS, level.blade, level.base, u_mm=1e-9)
    moved = readings_at(NOW.moved(0.4, 0.3, 0.0), METHODS, level.blade, level.base)
    aims = [Target(r.method, r.value_mm, 0.05) for r in moved]
    for turn, now, then in zip(plan(rig, read, aims, 0.0, start=NOW).turns, *travels, strict=True):
        exact = (then.mm - now.mm) / turn.stud.lead_mm
        assert turn.u_turns == pytest.approx(LEAD_U * abs(exact), rel=1e-3, abs=1e-6)
    tilted = NOW.moved(0.0, 0.0, 0.003)
    aims = [Target(r.method, r.value_mm, 0.05)
            for r in readings_at(tilted, METHODS, level.blade, level.base)]  # fmt: skip
    turned = plan(rig, read, aims, 0.0, start=NOW).turns
    by_place = PLACE_U * (math.tan(0.007) - math.tan(0.004))
    for turn in turned:
        lead = turn.stud.lead_mm
        parts = (by_place / lead, LEAD_U * turn.exact)
        assert turn.u_turns == pytest.approx(math.hypot(*parts), rel=1e-3)


def test_odd_uncertainties_are_told() -> None:
    stud = practice_rig().studs[0]
    for field in ({"place_u_mm": -0.1}, {"place_u_mm": 51.0}, {"lead_u": 1.5}):
        with pytest.raises(InputError, match="_u"):
            replace(stud, **field)
