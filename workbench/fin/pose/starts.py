"""Poses to begin from: those of a given tilt that meet a depth and a tail distance already."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from workbench.fin.frame.linear import solve
from workbench.fin.frame.pose import Pose
from workbench.fin.parts.base import Base
from workbench.fin.pose.equations import Equations
from workbench.fin.reading.observe import observe, observe_all
from workbench.fin.reading.quantities import Quantity
from workbench.fin.reading.readings import Reading

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
    """Give poses of this tilt that meet a depth and a tail distance, as far as there are any."""
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


def meet_two(pair: Equations, tilt: float, within_mm: float = 1e-7) -> Pose | None:
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
