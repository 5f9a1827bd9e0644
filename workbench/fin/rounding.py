"""Turns that a hand can make: the neighbouring roundings that together miss the targets least."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from workbench.errors import OutOfReachError
from workbench.fin.goals import Goal
from workbench.fin.methods import observe_all
from workbench.fin.pose import Pose
from workbench.fin.rig import Rig
from workbench.fin.studs import Travel

EVEN = 1e-9
"""Two roundings whose misses differ by less than this share count as equally good."""


NO_TURN = 1e-8
"""Exact turns below this are what arithmetic left behind."""


def rounded(
    rig: Rig, now: Pose, goals: Sequence[Goal], exact: Sequence[float], finest: float
) -> list[float]:
    """Return the neighbouring roundings that together miss the targets least.

    Least is the smallest worst miss over its limit, where any is beyond it; then the smallest worst
    miss over its tolerance, the smallest sum of squares of those, and the fewest turns: whether
    every reading comes within tolerance is what the tech looks at.
    """
    if finest == 0.0:
        return [e if abs(e) >= NO_TURN else 0.0 for e in exact]
    travels = rig.travels(now)
    choices = [_neighbours(e, finest) for e in exact]
    best: tuple[float, ...] | None = None
    chosen: tuple[float, ...] | None = None
    for turns in itertools.product(*choices):
        if not _allowed(rig, travels, turns):
            continue
        misses = _misses(rig, rig.seated_from(travels, turns, now), goals)
        if misses is None:
            continue
        beyond = max(1.0, *(miss / limit for miss, _, limit in misses))
        shares = [miss / tolerance for miss, tolerance, _ in misses]
        score = (beyond, max(shares), sum(s * s for s in shares), sum(map(abs, turns)))
        if best is None or _better(score, best):
            best, chosen = score, turns
    if chosen is None:
        raise OutOfReachError("no rounding of the turns stays within the studs' travel")
    return [t + 0.0 for t in chosen]


def _neighbours(exact: float, finest: float) -> tuple[float, ...]:
    count = exact / finest
    nearest = round(count)
    if abs(count - nearest) < 1e-9:
        return (nearest * finest,)
    return (math.floor(count) * finest, math.ceil(count) * finest)


def _allowed(rig: Rig, travels: Sequence[Travel], turns: Sequence[float]) -> bool:
    for stud, t, n in zip(rig.studs, travels, turns, strict=True):
        mm = t.mm + n * stud.lead_mm
        # A stud that stands outside its limits already may still come back toward them.
        if (
            stud.limits_mm is not None
            and n
            and not (stud.limits_mm[0] - 1e-9 <= mm <= stud.limits_mm[1] + 1e-9)
        ):
            return False
    return True


def _misses(rig: Rig, pose: Pose, goals: Sequence[Goal]) -> list[tuple[float, float, float]] | None:
    """Return each reading's miss with its tolerance and its limit, in mm."""
    out = []
    every = observe_all([g.target.method for g in goals], rig.blade, rig.base, pose)
    for g, seen in zip(goals, every, strict=True):
        if seen is None:
            return None
        if g.role != "follows":
            target = g.target
            limit_mm = target.tolerance_mm if target.limit_mm is None else target.limit_mm
            miss_mm = abs(seen.value_mm - target.value_mm)
            out.append((miss_mm, target.tolerance_mm, limit_mm))
    return out


def _better(score: tuple[float, ...], best: tuple[float, ...]) -> bool:
    for a, b in zip(score, best, strict=True):
        if abs(a - b) > EVEN * max(a, b):
            return a < b
    return False
