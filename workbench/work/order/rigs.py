"""What the kernel says of a rig: what it can read at all, and what it found for jobs of late, kept.

The same numbers in give the same ones out. A step ticked off, another unit or a look at the next
ski and back then cost no second search, and neither do the turns from readings, nor what is to be
expected after them.
"""

from __future__ import annotations

from functools import lru_cache
from typing import assert_never

from workbench.errors import BenchError
from workbench.fin.blade import Blade
from workbench.fin.plan.guidance import plan_from
from workbench.fin.plan.plan import Plan, Target
from workbench.fin.plan.uncertainty import Expected, Explanation, expected_after, explanations
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig

LEAST_OUT = 0.35
"""Share of a blade's height that is outside the block at least (common practice, no source)."""

TILTED = 0.05
"""Share that a length may differ from the chord along the blade for its tilt and its band."""

LOOKS = 8
"""Chords looked at between the two ends."""


ANY_FIN_MM = {
    "depth": (25.0, 100.0), "tail": (5.0, 49.0), "length": (75.0, 300.0), "mark": (1.0, 100.0),
}  # fmt: skip
"""What a reading of any slalom fin lies in (common practice, no source)."""


def usual_range_mm(method: Method, blade: Blade) -> tuple[float, float]:
    """Return the range (mm) that a reading of this method plausibly lies in on this blade.

    What the blade can show at all: the block hides at least half of the back edge, and a third of
    the height is outside. The tail distance depends on the block's place on the ski alone: 5 to 49
    mm (common practice, no source). Narrower than a factor of ten, so that bare digits can be
    placed in one way only. Of a blade that is not known yet it is what any fin has.
    """
    if not blade.is_traced:
        return ANY_FIN_MM["mark" if method.is_coarse else method.quantity]
    if method.is_coarse:
        return (1.0, 0.5 * blade.length_mm)
    vs = [v for _, v in blade.outline_mm]
    out, height = max(vs), max(vs) - min(vs)
    hidden = sum(v for _, v in blade.back_edge_mm) / 2.0
    match method.quantity:
        case "depth":
            return (LEAST_OUT * height, out - hidden)
        case "length":
            return _lengths_mm(blade, hidden, out - LEAST_OUT * height)
        case "tail":
            return (5.0, 49.0)
        case _:
            assert_never(method.quantity)


def _lengths_mm(blade: Blade, least_v: float, most_v: float) -> tuple[float, float]:
    """Return the shortest and the longest chord (mm) along u between two depths of the blade."""
    chords = []
    for i in range(LOOKS + 1):
        v = least_v + (most_v - least_v) * i / LOOKS
        ends = [
            u1 + (u2 - u1) * (v - v1) / (v2 - v1)
            for (u1, v1), (u2, v2) in zip(
                blade.outline_mm, (*blade.outline_mm[1:], blade.outline_mm[0]), strict=True
            )
            if min(v1, v2) <= v <= max(v1, v2) and v1 != v2
        ]
        chords.append(max(ends) - min(ends))
    return ((1.0 - TILTED) * min(chords), (1.0 + TILTED) * max(chords))


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
