"""Poses to begin from: those that meet a depth and a tail distance already.

With those two met, a third reading's misfit is a function of the tilt alone: solutions lie where it
changes sign, or comes close to zero and turns back.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.pose.equations import Equations, Reading
from workbench.fin.reading.method import Method, Quantity
from workbench.fin.reading.observe import observe, observe_all
from workbench.frozen import dataclass
from workbench.measure.linalg import solve

FLAT = Base()

_HEIGHTS = 12
"""How many heights are tried where no depth fixes one."""


def first_of(readings: Sequence[Reading], quantity: Quantity) -> Reading | None:
    """Return the first reading of this quantity, a coarse mark only where there is no other."""
    found = [r for r in readings if r.method.quantity == quantity]
    return min(found, key=lambda r: r.method.is_coarse, default=None)


def about(equations: Equations, tilt: float) -> Pose | None:
    """Return a pose of this tilt that meets a depth, about where the tail distance says.

    It is had with one look; None where no depth or no tail distance tells.
    """
    depth, tail = (first_of(equations.readings, q) for q in ("depth", "tail"))
    if depth is None or tail is None:
        return None
    return meeting(equations, depth, _about_x(equations, tail, tilt), tilt)


def meeting(equations: Equations, depth: Reading, x: float, tilt: float) -> Pose | None:
    """Return the pose at ``x`` of this tilt that about meets a depth; None where none is read."""
    seen = observe(depth.method, equations.blade, equations.base, Pose(x, 0.0, tilt))
    if seen is None or not seen.gradient[1]:
        return None
    return Pose(x, (depth.value_mm - seen.value_mm) / seen.gradient[1], tilt)


def starts(equations: Equations, tilt: float) -> Iterator[Pose]:
    """Yield poses of this tilt that meet a depth and a tail distance, where there are any."""
    over_curve = _over_curve(equations, tilt)
    if over_curve is not None:
        yield over_curve
        return
    for y in start_ys(equations, tilt, _HEIGHTS):
        x = start_x(equations, y, tilt)
        if x is not None:
            yield Pose(x, y, tilt)


def _over_curve(equations: Equations, tilt: float) -> Pose | None:
    """Return a start over a curved base: the depth met at about the right place, then the tail."""
    if equations.base.radius_mm is None:
        return None
    near = about(equations, tilt)
    if near is None:
        return None
    x = start_x(equations, near.y_mm, tilt)
    return None if x is None else Pose(x, near.y_mm, tilt)


def _about_x(equations: Equations, tail: Reading, tilt: float) -> float:
    """Return the x that about meets a tail distance, whatever the height."""
    if tail.method.is_coarse:
        return _scribed_x(equations, tail, 0.0, tilt)
    c, s = math.cos(tilt), math.sin(tilt)
    return tail.value_mm - min([c * u - s * v for u, v in equations.blade.outline_mm])


def _scribed_x(equations: Equations, tail: Reading, y: float, tilt: float) -> float:
    """Return the x that meets a coarse mark: its reading is linear in x at a tilt."""
    seen = observe(tail.method, equations.blade, equations.base, Pose(0.0, y, tilt))
    assert seen is not None, "a scribe is read at any pose"
    return (tail.value_mm - seen.value_mm) / seen.gradient[0]


def start_ys(equations: Equations, tilt: float, heights: int) -> list[float]:
    """Return the y that meets a depth over a flat base, or so many over the blade's whole reach."""
    reading = first_of(equations.readings, "depth")
    if reading is not None:
        seen = observe(reading.method, equations.blade, FLAT, Pose(0.0, 0.0, tilt))
        if seen is not None:
            return [(reading.value_mm - seen.value_mm) / seen.gradient[1]]
    lo, hi = reach_at(equations, tilt)
    level = _base_below(equations)
    return [level - (lo + (hi - lo) * (i + 0.5) / heights) for i in range(heights)]


def _base_below(equations: Equations) -> float:
    """Return the base's y under the blade's middle, as far as a tail distance tells where it is."""
    tail = first_of(equations.readings, "tail")
    if tail is None:
        return 0.0
    y = equations.base.y(tail.value_mm + equations.scale_mm / 2.0)
    return y if math.isfinite(y) else 0.0


def reach_at(equations: Equations, tilt: float) -> tuple[float, float]:
    """Return the least and largest height of the blade above its own origin at this tilt."""
    c, s = math.cos(tilt), math.sin(tilt)
    heights = [s * u + c * v for u, v in equations.blade.outline_mm]
    return min(heights), max(heights)


def start_x(equations: Equations, y: float, tilt: float) -> float | None:
    """Return the x that meets a tail distance over a base as high as it is at that distance."""
    base = equations.base
    reading = first_of(equations.readings, "tail")
    if reading is None:
        return middle_x(equations)
    if reading.method.is_coarse:
        return _scribed_x(equations, reading, y, tilt)
    over = y - base.y(reading.value_mm)
    if not math.isfinite(over):
        return None
    seen = observe(reading.method, equations.blade, FLAT, Pose(0.0, over, tilt))
    if seen is not None:
        return reading.value_mm - seen.value_mm
    return None if base.radius_mm is None else middle_x(equations)


def middle_x(equations: Equations) -> float:
    """Return the x that puts the blade's middle over the base's apex."""
    us = [u for u, _ in equations.blade.outline_mm]
    return equations.base.apex_mm - (min(us) + max(us)) / 2.0


def meet_two(pair: Equations, tilt: float, within_mm: float) -> Pose | None:
    """Return a pose of this tilt that meets two readings, or None."""
    for pose in starts(pair, tilt):
        met = _meet_from(pair, pose, within_mm)
        if met is not None:
            return met
    return None


def _meet_from(pair: Equations, pose: Pose, within_mm: float) -> Pose | None:
    """Take Newton steps along and out of the base."""
    one, two = pair.readings
    for _ in range(25):
        seen, also = observe_all((one.method, two.method), pair.blade, pair.base, pose)
        if seen is None or also is None:
            return None
        off = (seen.value_mm - one.value_mm, also.value_mm - two.value_mm)
        if abs(off[0]) < within_mm and abs(off[1]) < within_mm:
            return pose
        rows = (seen.gradient[:2], also.gradient[:2])
        step = solve(rows, [-o for o in off])
        if step is None:
            # One open direction (no tail distance on a flat base): the other can still be met.
            slope = rows[0][1] or rows[1][1]
            if not slope or abs(off[0] - off[1]) > 1e-7:
                return None
            step = [0.0, -off[0] / slope]
        pose = pose.moved(step[0], step[1], 0.0)
    return None


# -- along the tilt --------------------------------------------------------------------------------

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
        seen = seen_along(self.pair, self.third.method, tilt)
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
    seen = (seen_along(pair, methods[2], tilt) for tilt in tilts)
    return tuple(s for s in seen if s is not None)


def seen_along(
    pair: Equations, method: Method, tilt: float, within_mm: float = _MET_MM
) -> tuple[Pose, float] | None:
    """Return the pose of this tilt that meets two readings, and what a third reads (mm) there."""
    pose = meet_two(pair, tilt, within_mm)
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
    """Yield a pose between two spots, then one close to the change of sign, then the spots."""
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
