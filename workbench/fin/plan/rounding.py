"""Turns that a hand can make: of all roundings, the one that misses the targets least."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from functools import partial
from operator import mul

from workbench.errors import OutOfReachError
from workbench.fin.frame import Pose
from workbench.fin.plan.plan import Goal
from workbench.fin.reading.observe import observe_all
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Travel
from workbench.frozen import dataclass
from workbench.measure.linalg import Three, multiply

EVEN = 1e-9
"""Two roundings whose misses differ by less than this share count as equally good."""

NO_TURN = 1e-8
"""Exact turns below this are what arithmetic left behind."""

_BEND = 3.0
"""How many times as far as at the neighbours of the exact turns a reading may depart from its
straight line at roundings some steps away: where a jaw goes over a corner it departs with each."""

MOST_STEPS, MOST_TURNS = 8, 2.0
"""How far from the exact turns a rounding is looked for: so many steps, or turns where that is
more. Farther off no reading could be met better that the readings fix at all well."""

FEW = 32
"""So many roundings are tried first, so that the rest are held against a good one."""

MOST_TRIED, MOST_LISTED = 1000, 20_000
"""Where targets contradict each other, roundings by the thousand miss by as much. The first so many
of them are listed, in the order of the first stud's turns, and so many of these that miss least
along the straight lines are tried: orders that can be met have fewer, and all of them are tried."""

Steps = tuple[int, int, int]

Score = tuple[float, float, float, float]
"""Worst miss over its limit where any is beyond it, else 1; worst miss over its tolerance; the sum
of squares of those; turns in all."""


def rounded(
    rig: Rig, now: Pose, goals: Sequence[Goal], exact: Sequence[float], finest: float
) -> list[float]:
    """Return the roundings of the three studs' turns that together miss the targets least.

    Least is the smallest worst miss over its limit, where any is beyond it; then the smallest worst
    miss over its tolerance, the smallest sum of squares of those, and the fewest turns: whether
    every reading comes within tolerance is what the tech looks at. The neighbours of the exact
    turns set a bound, and every rounding that may lie below it is tried (a closest point of a
    lattice, by enumeration: U. Fincke and M. Pohst, Math. Comp. 44 (1985) 463). Of targets that
    contradict each other by many tolerances only ``MOST_TRIED`` are, and the readings bend by more
    than ``_BEND`` allows for: there the one chosen is good, and not always the best.

    Raises:
        OutOfReachError: no neighbour of the exact turns is within the studs' limits.
    """
    if finest == 0.0:
        return [e if abs(e) >= NO_TURN else 0.0 for e in exact]
    travels = rig.travels(now)
    counts = [e / finest for e in exact]
    lines = _lines(rig, now, travels, goals, exact, finest)
    best: Score | None = None
    chosen: Steps = (0, 0, 0)
    near: list[Steps] = [(i, j, k) for i, j, k in itertools.product(*map(_neighbours, counts))]
    bends_mm = [0.0] * len(lines)

    def missed(turns: Sequence[float]) -> list[float] | None:
        return _misses(rig, rig.seated_from(travels, turns, now), goals)

    for steps in near:
        turns = [n * finest for n in steps]
        misses = missed(turns)
        if misses is None:
            continue
        bends_mm = [
            max(b, abs(miss - line.miss_mm(steps)))
            for b, miss, line in zip(bends_mm, misses, lines, strict=True)
        ]
        if _allowed(rig, travels, turns):
            score = _score(lines, misses, turns)
            if best is None or _better(score, best):
                best, chosen = score, steps
    if best is None:
        raise OutOfReachError("no rounding of the turns stays within the studs' travel")
    reach = max(MOST_STEPS, math.ceil(MOST_TURNS / finest))
    window = [(math.ceil(n - reach), math.floor(n + reach)) for n in counts]
    slack_mm = [_BEND * bend for bend in bends_mm]
    tried = set(near)
    for find in (partial(_first, lines, window), partial(_likely, lines, window, slack_mm)):
        # What the first of these turn up narrows where the rest are looked for.
        for steps in find(best) if best[1] > NO_TURN else ():
            if steps in tried or not _may_better(lines, slack_mm, best, steps):
                continue
            tried.add(steps)
            turns = [n * finest for n in steps]
            if not _allowed(rig, travels, turns):
                continue
            misses = missed(turns)
            if misses is not None and _better(score := _score(lines, misses, turns), best):
                best, chosen = score, steps
    return [n * finest + 0.0 for n in chosen]


def _neighbours(count: float) -> tuple[int, ...]:
    nearest = round(count)
    if abs(count - nearest) < 1e-9:
        return (nearest,)
    return (math.floor(count), math.ceil(count))


def _score(lines: Sequence[Line], misses: Sequence[float], turns: Sequence[float]) -> Score:
    pairs = list(zip(lines, map(abs, misses), strict=True))
    beyond = max(1.0, *(miss / line.limit_mm for line, miss in pairs))
    shares = [miss / line.tolerance_mm for line, miss in pairs]
    return (beyond, max(shares), sum(s * s for s in shares), sum(map(abs, turns)))


def _allowed(rig: Rig, travels: Sequence[Travel], turns: Sequence[float]) -> bool:
    # A stud that nobody turns may lie outside its limits already.
    return all(
        not n or stud.allows(t.mm + n * stud.lead_mm, 1e-9)
        for stud, t, n in zip(rig.studs, travels, turns, strict=True)
    )


def _misses(rig: Rig, pose: Pose, goals: Sequence[Goal]) -> list[float] | None:
    """Return the miss (mm) of each reading with a goal; None where a reading cannot be taken."""
    every = observe_all([g.target.method for g in goals], rig.blade, rig.base, pose)
    out = []
    for g, seen in zip(goals, every, strict=True):
        if seen is None:
            return None
        if g.role != "follows":
            out.append(seen.value_mm - g.target.value_mm)
    return out


def _better(score: Score, best: Score) -> bool:
    for a, b in zip(score, best, strict=True):
        if abs(a - b) > EVEN * max(a, b):
            return a < b
    return False


# -- which roundings may be better -------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Line:
    """A reading's miss (mm) along a straight line over the steps of the three studs.

    With the tolerance and the limit (mm) of its goal.
    """

    at_none_mm: float
    per_step_mm: Three
    tolerance_mm: float
    limit_mm: float

    def miss_mm(self, steps: Steps) -> float:
        """Return the miss after so many steps of each stud."""
        a, b, c = self.per_step_mm
        return self.at_none_mm + a * steps[0] + b * steps[1] + c * steps[2]

    def most_mm(self, best: Score) -> float:
        """Return the largest miss that may still better a score."""
        return best[0] * self.limit_mm if best[0] > 1.0 else best[1] * self.tolerance_mm


def _lines(
    rig: Rig,
    now: Pose,
    travels: Sequence[Travel],
    goals: Sequence[Goal],
    exact: Sequence[float],
    finest: float,
) -> list[Line]:
    """Return the miss of each reading that has a goal, along straight lines from the exact turns.

    Raises:
        OutOfReachError: a reading cannot be taken there.
        InputError: the studs do not fix the blade.
    """
    wanted = rig.seated_from(travels, exact, now)
    per_turn = rig.per_turn(wanted)
    out = []
    for g in goals:
        if g.role == "follows":
            continue
        aim, seen = g.target, rig.observe(g.target.method, wanted)
        (slopes,) = multiply([seen.gradient], per_turn)
        miss = seen.value_mm - aim.value_mm - sum(map(mul, slopes, exact))
        a, b, c = (slope * finest for slope in slopes)
        limit_mm = aim.tolerance_mm if aim.limit_mm is None else aim.limit_mm
        out.append(Line(miss, (a, b, c), aim.tolerance_mm, limit_mm))
    return out


def _may_better(
    lines: Sequence[Line], slack_mm: Sequence[float], best: Score, steps: Steps
) -> bool:
    return all(
        abs(line.miss_mm(steps)) <= line.most_mm(best) + slack
        for line, slack in zip(lines, slack_mm, strict=True)
    )


Slab = tuple[Three, float, float]
"""The slopes of a miss by the steps of each stud, the miss at none, and how far it may be (mm)."""


def _first(lines: Sequence[Line], window: Sequence[tuple[int, int]], best: Score) -> list[Steps]:
    """Return a few of the steps that miss least along the straight lines, by halving the bound."""
    none, many = 0.0, 1.0
    found: list[Steps] = []
    for _ in range(12):
        share = (none + many) / 2.0
        slabs = [(line.per_step_mm, line.at_none_mm, share * line.most_mm(best)) for line in lines]
        found = list(itertools.islice(_inside(slabs, window), FEW + 1))
        if found and len(found) <= FEW:
            break
        none, many = (none, share) if found else (share, many)
    return found


def _likely(
    lines: Sequence[Line], window: Sequence[tuple[int, int]], slack_mm: Sequence[float], best: Score
) -> list[Steps]:
    """Return the steps that may miss by less than ``best``, the likeliest first."""
    slabs: list[Slab] = [
        (line.per_step_mm, line.at_none_mm, line.most_mm(best) + slack)
        for line, slack in zip(lines, slack_mm, strict=True)
    ]

    def misses(steps: Steps) -> tuple[float, float]:
        shares = [abs(line.miss_mm(steps)) / line.tolerance_mm for line in lines]
        return max(shares), sum(map(mul, shares, shares))

    listed = itertools.islice(_inside(slabs, window), MOST_LISTED)
    return sorted(listed, key=misses)[:MOST_TRIED]


def _inside(slabs: Sequence[Slab], window: Sequence[tuple[int, int]]) -> Iterator[Steps]:
    """Yield the steps within the window that keep every slab.

    The region is cast upon one stud after the other (Fourier-Motzkin elimination), so that each
    loop runs over what is possible only.
    """
    for_two = _without(slabs, 2)
    for_one = _without(for_two, 1)
    for i in _range(for_one, (), window[0]):
        for j in _range(for_two, (i,), window[1]):
            for k in _range(slabs, (i, j), window[2]):
                yield (i, j, k)


def _without(slabs: Sequence[Slab], axis: int) -> list[Slab]:
    """Return what the slabs leave possible, whatever the steps of stud ``axis``."""
    out = [s for s in slabs if not s[0][axis]]
    for (r, d, w), (s, e, v) in itertools.combinations([s for s in slabs if s[0][axis]], 2):
        # |r n + d| <= w and |s n + e| <= v: p times the first less q times the second is free of
        # the axis, and bounded by both together.
        p, q = s[axis], r[axis]
        row = [a * p - b * q for a, b in zip(r, s, strict=True)]
        row[axis] = 0.0
        out.append(((row[0], row[1], row[2]), d * p - e * q, w * abs(p) + v * abs(q)))
    return out


def _range(slabs: Sequence[Slab], before: tuple[int, ...], window: tuple[int, int]) -> range:
    """Return the whole steps of the next stud that the slabs leave, within the window."""
    lo, hi = window
    axis = len(before)
    for row, off, wide in slabs:
        slope = row[axis]
        if slope:
            at = off + sum(map(mul, row, before))
            ends = (-wide - at) / slope, (wide - at) / slope
            lo, hi = max(lo, math.ceil(min(ends))), min(hi, math.floor(max(ends)))
    return range(lo, hi + 1)
