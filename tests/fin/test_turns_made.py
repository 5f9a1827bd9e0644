"""Which turns the readings after a round bear out, on simulated rounds with known slips."""

from __future__ import annotations

import math
import random

import pytest

from workbench.fin.plan.uncertainty import DOUBTED_FROM, U_TURN, explanations
from workbench.fin.pose.fit import fit_pose
from workbench.places import shipped
from workbench.work.order.order_file import read_order
from workbench.work.trust.reading_budget import Taken, reading_u_mm, readings_of

ORDER = read_order(shipped("fixtures") / "orders" / "practice-plate.toml")
METHODS = [r.method for r in ORDER.readings][:3]
MEANT = (0.25, -0.375, 0.5)
FRONT, REAR, TAIL = range(3)


def _round(rng: random.Random, made: tuple[float, ...]):
    """Return the explanations of a round whose turns were really ``made`` by a hand."""
    rig = ORDER.rig
    pose = fit_pose(rig.blade, rig.base, ORDER.readings, every=True).pose

    def read(at):
        seen = [rig.observe(m, at) for m in METHODS]
        us = [reading_u_mm([s.value_mm], s.height_slope) for s in seen]
        taken = [
            Taken(m, (rng.gauss(s.value_mm, u),)) for m, s, u in zip(METHODS, seen, us, strict=True)
        ]
        return readings_of(taken, rig)

    before = fit_pose(rig.blade, rig.base, read(pose), pose)
    turned = [t + rng.gauss(0.0, U_TURN) if t else 0.0 for t in made]
    return explanations(rig, before, MEANT, read(rig.seated(pose, turned)))


@pytest.mark.parametrize(
    ("made", "slip", "stud", "other"),
    [((0.25, 0.125, 0.0), "instead", TAIL, REAR), ((0.0, -0.375, 0.75), "instead", FRONT, TAIL),
     ((-0.375, 0.25, 0.5), "exchanged", FRONT, REAR), ((0.25, 0.375, 0.5), "other way", REAR, None),
     ((0.25, -0.375, 0.0), "not turned", TAIL, None), ((0.25, -0.75, 0.5), "twice", REAR, None)],
)  # fmt: skip
def test_the_slip_that_was_made_is_the_best_explanation(made, slip, stud, other) -> None:
    """At the level at which an explanation fits; the turns meant are told last."""
    rng, right, studs = random.Random(17), 0, ORDER.rig.studs
    wanted = (slip, studs[stud], studs[other] if other is not None else None)
    for _ in range(100):
        found = _round(rng, made)
        best, meant = found[0], found[-1]
        right += (best.made, best.stud, best.other) == wanted
        assert (meant.made, meant.turns) == ("meant", MEANT)
    assert right >= 94


def test_turns_that_were_made_as_meant_are_borne_out() -> None:
    """False alarms come at the level claimed; three standard deviations are allowed for."""
    rng, n = random.Random(18), 600
    alarms = sum(len(_round(rng, MEANT)) > 1 for _ in range(n))
    p = 1.0 - DOUBTED_FROM
    assert alarms <= n * p + 3.0 * math.sqrt(n * p)


def test_readings_that_no_slip_explains_are_left_to_other_doubts() -> None:
    """A reading off by a line fits no turn: the turns meant are all that is told."""
    rng = random.Random(19)
    found = _round(rng, (0.8, 0.9, -0.7))
    assert [e.made for e in found] == ["meant"]
    assert found[0].worst_mm > 0.1
