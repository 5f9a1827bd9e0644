"""Random jobs by the thousand: the right pose or a named reason, never anything else."""

from __future__ import annotations

import itertools
import math
import random
from collections import Counter

import numpy as np
import pytest

from tests import strategies as made
from tests.fin import oracle
from tests.fin.plates import plan
from workbench.errors import OutOfReachError
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.plan.plan import Target
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import observe
from workbench.fin.reading.rig import Rig

STRONG = 1e-3
"""Least ratio of singular values, by numpy, from which readings must give a pose."""


def one_job(chance: made.Chance, oracle_too: bool) -> str:
    """Make up one job, seek its pose, check the answer; return what came of it."""
    rig = made.make_rig(chance)
    blade, base = rig.blade, rig.base
    pose = made.make_pose(chance, 8.0)
    methods = made.make_methods(chance, blade, base, pose, chance.pick(made.KINDS))
    if methods is None:
        return "no such methods"
    values = [observe(m, blade, base, pose) for m in methods]
    spoilt = chance.pick((False, False, True))
    readings = [
        Reading(m, o.value_mm + (chance.number(-40.0, 40.0) if spoilt else 0.0), 0.0127)
        for m, o in zip(methods, values, strict=True)
        if o is not None
    ]
    start = chance.pick((None, pose.moved(chance.number(-3, 3), chance.number(-3, 3), 0.01)))
    fit = fit_or_reason(blade, base, readings, start)
    if isinstance(fit, NoPoseError):
        assert fit.reason
        if spoilt:
            return "spoilt, told"
        assert "depend" in fit.reason, fit
        assert weakest(methods, rig, pose) < STRONG, fit
        return "dependent, told"
    check(fit)
    if oracle_too:
        check_by_oracle(rig, fit)
    if chance.pick((False, False, False, True)):
        check_plan(rig, fit, chance)
    return "spoilt, met" if spoilt else "met"


def fit_or_reason(
    blade: Blade, base: Base, readings: list[Reading], start: Pose | None
) -> Fit | NoPoseError:
    try:
        return fit_pose(blade, base, readings, start)
    except NoPoseError as why:
        return why


def weakest(methods: list[Method], rig: Rig, pose: Pose) -> float:
    """Return the least strength of these readings at a pose and on all sides of it.

    Where corners of the outline sit on a level, the readings go on differently on each side.
    """
    nudges = itertools.product((-1e-5, 0.0, 1e-5), (-1e-7, 0.0, 1e-7))
    return min(strength(methods, rig, pose.moved(0.0, dy, turn)) for dy, turn in nudges)


def strength(methods: list[Method], rig: Rig, pose: Pose) -> float:
    """Return the ratio of the smallest to the largest singular value of the readings' design."""
    seen = [observe(m, rig.blade, rig.base, pose) for m in methods]
    rows = np.array([o.gradient for o in seen if o is not None])
    if len(rows) < len(methods):
        return math.inf
    rows[:, 2] /= rig.blade.length_mm
    rows /= np.maximum(1.0, np.linalg.norm(rows, axis=1))[:, None]
    singular = np.linalg.svd(rows, compute_uv=False)
    return float(singular[-1] / singular[0])


def check(fit: Fit) -> None:
    """Check that the pose gives the readings, and that all its figures are finite."""
    assert max(map(abs, fit.residuals_mm)) <= made.EXACT_MM
    assert abs(fit.pose.tilt_rad) <= math.radians(15.0)
    assert all(math.isfinite(c) for row in (*fit.gain, *fit.covariance) for c in row)


def check_by_oracle(rig: Rig, fit: Fit) -> None:
    """Check that shapely and root finding read the same at the pose."""
    for reading in fit.readings:
        again = oracle.reading(reading.method, rig.blade, rig.base, fit.pose)
        assert again == pytest.approx(reading.value_mm, abs=made.EXACT_MM)


def check_plan(rig: Rig, fit: Fit, chance: made.Chance) -> None:
    """Check that exact turns to a near-by pose land there, or that the plan says why not."""
    wanted = Pose(
        fit.pose.x_mm + chance.number(-0.5, 0.5),
        fit.pose.y_mm + chance.number(-0.5, 0.5),
        fit.pose.tilt_rad + chance.number(-0.003, 0.003),
    )
    seen = [observe(r.method, rig.blade, rig.base, wanted) for r in fit.readings]
    goals = [
        Target(r.method, o.value_mm, 1e-6) for r, o in zip(fit.readings, seen, strict=True) if o
    ]
    try:
        outcome = plan(rig, fit.readings, goals, 0.0, start=fit.pose)
    except (NoPoseError, OutOfReachError):
        return
    if len(goals) < 3 or outcome.within:
        return
    for goal, predicted in zip(goals, outcome.predictions, strict=False):
        if predicted.role == "target":
            assert predicted.after_mm == pytest.approx(goal.value_mm, abs=made.EXACT_MM)


def run(seed: str, count: int) -> Counter[str]:
    """Return what came of so many jobs, each with a seed of its own to find it again by."""
    came: Counter[str] = Counter()
    for i in range(count):
        try:
            came[one_job(made.Seeded(random.Random(f"{seed} {i}")), i % 10 == 0)] += 1
        except Exception as why:
            why.add_note(f"job {i} of the {seed} run")
            raise
    return came


def test_fifty_random_jobs() -> None:
    """Blades, bases, methods and poses at random: met, or told why not."""
    came = run("short", 50)
    assert came["met"] > 20
    assert came["spoilt, told"] > 3


@pytest.mark.long
def test_ten_thousand_random_jobs() -> None:
    came = run("long", 10_000)
    assert came["met"] > 4_000
