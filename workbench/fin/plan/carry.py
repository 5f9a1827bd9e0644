"""A setting carried to another blade: where that exposes the same area about the same place.

At each tilt the blade is moved out until it exposes the area, and along until its centroid lies as
far forward. What is left is how far out the centroid lies; the tilt at which that too is the same,
nearest to the tilt before, is looked for. Where no tilt gives it, the nearest one is taken.
A starting point only (common practice, no source): water is not geometry.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal

from workbench.errors import OutOfReachError, shown
from workbench.fin.frame import Point, Pose
from workbench.fin.parts.base import Base
from workbench.fin.parts.blade import Blade
from workbench.fin.pose.descent import STEEPEST_RAD
from workbench.fin.reading.exposed import Exposed, exposed, waterline_mm
from workbench.frozen import dataclass

Differs = Literal["area", "forward", "out"]

SAME_MM = 1e-5
"""Within this (mm, and mm² of area for each mm of waterline) two settings are the same."""

TILTS = 13
"""So many tilts are looked at for a change of sign; between them the search is exact."""


@dataclass(frozen=True, slots=True)
class Carried:
    """Where the new blade is, what each exposes, and what stays different between them."""

    pose: Pose
    before: Exposed
    after: Exposed
    differs: tuple[Differs, ...]


def carry(old: Blade, base: Base, pose: Pose, new: Blade) -> Carried:
    """Return the pose at which ``new`` exposes the area and centroid that ``old`` does at ``pose``.

    The tilt is that of the blade's top edge over the base. The blade is not moved out so far that
    no part of its top edge is left in the base.

    Raises:
        OutOfReachError: the old blade, or the new one at any place, is not out of the base.
    """
    wanted = exposed(old, base, pose)
    if wanted is None:
        raise OutOfReachError(f"blade {shown(old.name)}: nothing of it is out of the base here")
    start = pose.tilt_rad + _lean(old) - _lean(new)
    tilts = [start + STEEPEST_RAD * (2.0 * k / (TILTS - 1) - 1.0) for k in range(TILTS)]
    places = [p for p in (_at_tilt(new, base, wanted, tilt) for tilt in tilts) if p]
    if not places:
        raise OutOfReachError(
            f"blade {shown(new.name)}: no tilt was found at which it comes out of the base"
        )
    best = min(places, key=lambda p: _misfit(p, wanted))
    reached = [p for p in places if not _area_off_mm(p, wanted)]
    roots = [
        _between(new, base, wanted, one, two)
        for one, two in pairwise(reached)
        if one.miss * two.miss <= 0.0
    ]
    if roots:
        best = min(roots, key=lambda p: abs(p.pose.tilt_rad - start))
    else:
        best = _nearest(new, base, wanted, best, STEEPEST_RAD * 2.0 / (TILTS - 1))
    return Carried(best.pose, wanted, best.seen, _differs(best, wanted))


@dataclass(frozen=True, slots=True)
class _Place:
    """A pose, what it exposes, its waterline (mm) and how much too far out the centroid is."""

    pose: Pose
    seen: Exposed
    waterline_mm: float
    miss: float


def _lean(blade: Blade) -> float:
    """Return the angle of the top edge in the blade's frame, pointing forward."""
    (u1, v1), (u2, v2) = sorted(blade.top_edge_mm)
    return math.atan2(v2 - v1, u2 - u1)


def _at_tilt(blade: Blade, base: Base, wanted: Exposed, tilt: float) -> _Place | None:
    """Return the place with the wanted area and forward centroid at this tilt, or the nearest."""
    tilted = Pose(0.0, 0.0, tilt)
    points = [tilted.place(p) for p in blade.outline_mm]
    x = wanted.centroid_mm[0] - tilted.place(blade.centre_mm)[0]
    place = None
    for _ in range(40):
        place = _with_area(blade, base, wanted, x, tilt, points)
        if place is None:
            return None
        dx = wanted.centroid_mm[0] - place.seen.centroid_mm[0]
        if abs(dx) < 1e-11:
            break
        x += dx
    return place


def _with_area(
    blade: Blade, base: Base, wanted: Exposed, x: float, tilt: float, points: list[Point]
) -> _Place | None:
    """Return the place at this x and tilt with the wanted area, by Newton steps kept in bounds."""
    y, low, high = _out_limits(blade, base, points, x, tilt)
    place = None
    for _ in range(80):
        pose = Pose(x, y, tilt)
        seen, length = exposed(blade, base, pose), waterline_mm(blade, base, pose)
        off = wanted.area_mm2 - (seen.area_mm2 if seen else 0.0)
        low, high = (y, high) if off > 0.0 else (low, y)
        if seen is not None:
            miss = seen.centroid_mm[1] - wanted.centroid_mm[1]
            place = _Place(pose, seen, length, miss)
        if abs(off) <= 1e-12 * wanted.area_mm2 or high - low < 1e-11:
            break
        step = y + off / length if length > 0.0 else math.inf
        y = step if low < step < high else (low + high) / 2.0
    return place


def _out_limits(
    blade: Blade, base: Base, points: list[Point], x: float, tilt: float
) -> tuple[float, float, float]:
    """Return a first y, and the y with nothing out and with the top edge just in the base."""
    heights = base.heights([(px + x, py) for px, py in points])
    tops = [Pose(x, 0.0, tilt).place(end) for end in blade.top_edge_mm]
    low, high = -max(heights), -min(base.heights(tops))
    return (low + high) / 2.0, low, max(low, high)


def _area_off_mm(place: _Place, wanted: Exposed) -> float:
    """Return how far the area is off, as the mm of coming out that would make it good; 0: not."""
    off = (place.seen.area_mm2 - wanted.area_mm2) / max(place.waterline_mm, 1.0)
    return off if abs(off) > SAME_MM else 0.0


def _misfit(place: _Place, wanted: Exposed) -> float:
    """Return how far a place is from the wanted figures, in mm."""
    forward = place.seen.centroid_mm[0] - wanted.centroid_mm[0]
    return math.hypot(_area_off_mm(place, wanted), forward, place.miss)


def _between(blade: Blade, base: Base, wanted: Exposed, one: _Place, two: _Place) -> _Place:
    """Return the place between two tilts where the centroid lies as far out as wanted.

    Regula falsi with the Illinois change (Dowell and Jarratt, BIT 11, 1971).
    """
    low, high, side = (one.pose.tilt_rad, one.miss), (two.pose.tilt_rad, two.miss), 0
    best = min(one, two, key=lambda p: abs(p.miss))
    for _ in range(60):
        if abs(best.miss) < 1e-10 or low[1] == high[1]:
            break
        tilt = (low[0] * high[1] - high[0] * low[1]) / (high[1] - low[1])
        place = _at_tilt(blade, base, wanted, tilt)
        if place is None:
            break
        if abs(place.miss) < abs(best.miss):
            best = place
        if place.miss * low[1] > 0.0:
            low = (tilt, place.miss)
            if side == 1:
                high = (high[0], high[1] / 2.0)
            side = 1
        else:
            high = (tilt, place.miss)
            if side == -1:
                low = (low[0], low[1] / 2.0)
            side = -1
    return best


def _nearest(blade: Blade, base: Base, wanted: Exposed, best: _Place, reach_rad: float) -> _Place:
    """Return the place of least misfit near ``best``, by steps that are halved."""
    centre = best.pose.tilt_rad
    while reach_rad > 1e-6:
        tilts = (best.pose.tilt_rad - reach_rad, best.pose.tilt_rad + reach_rad)
        tried = [_at_tilt(blade, base, wanted, t) for t in tilts if abs(t - centre) < STEEPEST_RAD]
        better = [p for p in tried if p and _misfit(p, wanted) < _misfit(best, wanted)]
        best = min(better, key=lambda p: _misfit(p, wanted), default=best)
        reach_rad /= 1.0 if better else 2.0
    return best


def _differs(place: _Place, wanted: Exposed) -> tuple[Differs, ...]:
    forward = place.seen.centroid_mm[0] - wanted.centroid_mm[0]
    off: tuple[tuple[Differs, float], ...] = (
        ("area", _area_off_mm(place, wanted)), ("forward", forward), ("out", place.miss),
    )  # fmt: skip
    return tuple(name for name, mm in off if abs(mm) > SAME_MM)
