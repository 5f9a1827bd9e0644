"""All poses of readings with a depth and a tail distance, found along the tilt.

With those two met, the third reading's misfit is a function of the tilt alone: solutions lie where
it changes sign, or comes close to zero and turns back.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

from workbench.fin.frame.pose import Pose
from workbench.fin.parts.base import Base
from workbench.fin.parts.blade import Blade
from workbench.fin.pose.equations import Equations
from workbench.fin.pose.starts import meet_two
from workbench.fin.reading.observe import Method, observe
from workbench.fin.reading.readings import Reading
from workbench.frozen import dataclass

CLOSE_MM = 1e-6
"""A search along the tilt stops this close to the third reading and leaves the rest to descent."""

_MET_MM = 1e-4
"""A depth and a tail distance met this closely are met well enough to look for solutions."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A tilt's pose that meets a depth and a tail distance, and how far the third is off."""

    pose: Pose
    off_mm: float


@dataclass(frozen=True, slots=True)
class _Line:
    """The poses that meet a depth and a tail distance (``pair``), one for each tilt."""

    pair: Equations
    third: Reading

    def spot(self, tilt: float) -> Spot | None:
        """Return the pose at this tilt and the third reading's misfit there, if it has one."""
        seen = _seen_along(self.pair, self.third.method, tilt)
        return None if seen is None else Spot(seen[0], seen[1] - self.third.value_mm)

    def spots(self, tilts: Sequence[float]) -> list[Spot]:
        """Return the spots at these tilts, where there are any."""
        pair = self.pair
        values = tuple(r.value_mm for r in pair.readings)
        methods = (*(r.method for r in pair.readings), self.third.method)
        seen = sweep(pair.blade, pair.base, methods, values, tuple(tilts))
        return [Spot(pose, value - self.third.value_mm) for pose, value in seen]


@lru_cache(maxsize=16)
def sweep(
    blade: Blade,
    base: Base,
    methods: tuple[Method, ...],
    values_mm: tuple[float, ...],
    tilts: tuple[float, ...],
) -> tuple[tuple[Pose, float], ...]:
    """Return the poses at ``tilts`` that meet two readings, and what a third would read there (mm).

    ``methods`` are those of a depth, of a tail distance and of the third, ``values_mm`` what the
    first two read. It is kept, so that it can be had before the third reading is taken.
    """
    pair = Equations(
        blade, base, [Reading(m, v, 1.0) for m, v in zip(methods, values_mm, strict=False)]
    )
    seen = (_seen_along(pair, methods[2], tilt) for tilt in tilts)
    return tuple(s for s in seen if s is not None)


def _seen_along(pair: Equations, method: Method, tilt: float) -> tuple[Pose, float] | None:
    """Return the pose of this tilt that meets two readings, and what a third reads (mm) there."""
    pose = meet_two(pair, tilt, _MET_MM)
    if pose is None:
        return None
    seen = observe(method, pair.blade, pair.base, pose)
    return None if seen is None else (pose, seen.value_mm)


def lines_of(equations: Equations) -> list[_Line]:
    """Return a line for each depth and tail distance among three readings."""
    depths, tails = (
        [r for r in equations.readings if r.method.quantity == quantity]
        for quantity in ("depth", "tail")
    )
    out = []
    for depth, tail in itertools.product(depths, tails):
        third = next(r for r in equations.readings if r is not depth and r is not tail)
        out.append(_Line(Equations(equations.blade, equations.base, (depth, tail)), third))
    return out


@dataclass(frozen=True, slots=True)
class Group:
    """Starts beside one place where the readings may be met, to be tried in turn.

    ``between_rad``: the solution looked for lies between these tilts, where that is known.
    """

    starts: Iterable[Pose]
    between_rad: tuple[float, float] = (-math.inf, math.inf)


def starts_along(line: _Line, tilts: Sequence[float]) -> list[Group]:
    """Return groups of starts, each beside one place where the third reading may be met."""
    spots = line.spots(tilts)
    for middle in _turning(spots):
        spots += _closer(line, spots[middle - 1 : middle + 2])
    spots.sort(key=lambda s: s.pose.tilt_rad)
    groups = [
        Group(_closing_in(line, one, two), (one.pose.tilt_rad, two.pose.tilt_rad))
        for one, two in itertools.pairwise(spots)
        if _opposed(one, two)
    ]
    return groups + [Group((spot.pose,)) for spot in _nearest(spots)]


def _closing_in(line: _Line, one: Spot, two: Spot) -> Iterator[Pose]:
    """Give a pose between two spots, then one close to the change of sign, then the spots."""
    share = one.off_mm / (one.off_mm - two.off_mm)
    yield one.pose.toward(two.pose, share)
    yield _close_in(line, one, two)
    yield one.pose
    yield two.pose


def _opposed(one: Spot, two: Spot) -> bool:
    return (one.off_mm < 0.0) != (two.off_mm < 0.0)


def _nearest(spots: Sequence[Spot]) -> list[Spot]:
    """Return the spots that are no further off than those beside them."""
    out = []
    for i, spot in enumerate(spots):
        beside = [*spots[max(0, i - 1) : i], *spots[i + 1 : i + 2]]
        if all(abs(spot.off_mm) <= abs(other.off_mm) for other in beside):
            out.append(spot)
    return out


def _turning(spots: Sequence[Spot]) -> list[int]:
    """Return where the misfit comes near zero and turns back, and could reach it in between."""
    out = []
    for i in range(1, len(spots) - 1):
        before, here, after = spots[i - 1 : i + 2]
        if _opposed(before, here) or _opposed(here, after):
            continue
        around = [s.off_mm for s in spots[max(0, i - 2) : i + 3]]
        steepest = max(abs(a - b) for a, b in itertools.pairwise(around))
        is_least = abs(here.off_mm) <= min(abs(before.off_mm), abs(after.off_mm))
        if is_least and abs(here.off_mm) <= 2.0 * steepest:
            out.append(i)
    return out


def _closer(line: _Line, three: Sequence[Spot]) -> list[Spot]:
    """Return further spots that close in on the least misfit between ``three``."""
    left, middle, right = three
    out: list[Spot] = []
    for _ in range(6):
        early = line.spot((left.pose.tilt_rad + middle.pose.tilt_rad) / 2.0)
        late = line.spot((middle.pose.tilt_rad + right.pose.tilt_rad) / 2.0)
        if early is None or late is None:
            break
        out += [early, late]
        if _opposed(early, three[1]) or _opposed(late, three[1]):
            break
        row = [left, early, middle, late, right]
        best = min((1, 2, 3), key=lambda i: abs(row[i].off_mm))
        left, middle, right = row[best - 1 : best + 2]
    return out


def _close_in(line: _Line, one: Spot, two: Spot) -> Pose:
    """Return a pose close to where the misfit changes sign between two spots.

    False position, halving the end that stays (the Illinois rule), so that it stays between them.
    """
    low, high = one.off_mm, two.off_mm
    for _ in range(12):
        share = low / (low - high)
        tilt = one.pose.tilt_rad + share * (two.pose.tilt_rad - one.pose.tilt_rad)
        spot = line.spot(tilt)
        if spot is None:
            break
        if abs(spot.off_mm) < CLOSE_MM:
            return spot.pose
        if _opposed(spot, one):
            two, low, high = spot, low / 2.0, spot.off_mm
        else:
            one, low, high = spot, spot.off_mm, high / 2.0
    return one.pose
