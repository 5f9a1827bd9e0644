"""What the kernel found for the jobs of late, kept: the same numbers in give the same ones out.

A step ticked off, another unit or a look at the next ski and back then cost no second search, and
neither do the turns from readings, nor what is to be expected after them.
"""

from __future__ import annotations

from functools import lru_cache

from workbench.errors import BenchError
from workbench.fin.plan.guidance import plan_from
from workbench.fin.plan.plan import Plan, Target
from workbench.fin.plan.uncertainty import Expected, Explanation, expected_after, explanations
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig

KEPT = 64
"""So many of each are kept."""


def fit_of(rig: Rig, readings: tuple[Reading, ...]) -> Fit:
    """Return the pose that readings fix, with any other that they fix as well.

    Raises:
        PoseError: see :func:`workbench.fin.pose.fit.fit_pose`.
    """
    found = _fit_or_why(rig, readings)
    if isinstance(found, BenchError):
        raise found
    return found


@lru_cache(maxsize=KEPT)
def _fit_or_why(rig: Rig, readings: tuple[Reading, ...]) -> Fit | BenchError:
    """Keep why there is no pose as well: a search that finds nothing is the longest."""
    try:
        return fit_pose(rig.blade, rig.base, readings, every=True)
    except BenchError as why:
        return why.with_traceback(None)


@lru_cache(maxsize=KEPT)
def plan_of(
    rig: Rig, readings: tuple[Reading, ...], targets: tuple[Target, ...], finest_turn: float
) -> Plan:
    """Return the turns from the readings to the targets.

    Raises:
        PoseError, OutOfReachError: see :func:`workbench.fin.plan.guidance.plan_from`.
    """
    return plan_from(rig, fit_of(rig, readings), targets, finest_turn)


FINER = (1 / 4, 1 / 8, 1 / 16, 1 / 32, 1 / 64)
"""The parts of a turn that a hand can make, coarsest first."""


@lru_cache(maxsize=KEPT)
def finer_of(
    rig: Rig, readings: tuple[Reading, ...], targets: tuple[Target, ...], finest_turn: float
) -> float | None:
    """Return the coarsest finer turn that brings every target within its tolerance, if one does."""
    if not plan_of(rig, readings, targets, 0.0).kept:
        return None  # the exact turns do not either
    for turn in FINER:
        if turn < finest_turn and plan_of(rig, readings, targets, turn).kept:
            return turn
    return None


@lru_cache(maxsize=KEPT)
def expected_of(
    rig: Rig, before: tuple[Reading, ...], turns: tuple[float, ...], others: tuple[Method, ...] = ()
) -> tuple[Expected, ...]:
    """Return what each method, and ``others``, should read after ``turns`` from ``before``.

    Nothing where the readings before them fix no pose.
    """
    read = [r.method for r in before]
    known = {m.name for m in read}
    try:
        fit = fit_of(rig, before)
        out = list(expected_after(rig, fit, turns, read))
    except BenchError:
        return ()
    for method in others:
        if method.name not in known:
            try:
                out += expected_after(rig, fit, turns, [method])
            except BenchError:  # a method that meets no part of the blade there
                continue
    return tuple(out)


@lru_cache(maxsize=KEPT)
def made_of(
    rig: Rig, before: tuple[Reading, ...], turns: tuple[float, ...], after: tuple[Reading, ...]
) -> tuple[Explanation, ...]:
    """Return which turns the readings after a round bear out, the best explanation first.

    Nothing where the readings before fix no pose.
    """
    try:
        return explanations(rig, fit_of(rig, before), turns, after)
    except BenchError:
        return ()
