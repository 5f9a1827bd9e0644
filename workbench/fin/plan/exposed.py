"""What of a blade is out in the water: the part of its outline above the base.

With the height h = y - y_b(x) over the base in place of y, a change of variables of determinant 1,
Green's theorem gives the area and the moments as integrals along the outline in which the base, at
h = 0, has no share: area = ∮ h dx, moment about y = ∮ x h dx and about x = ∮ (y² - y_b²)/2 dx,
taken clockwise. So only the pieces of the outline above the base are gone through, however often
it crosses.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Literal

from workbench.errors import OutOfReachError, shown
from workbench.fin.blade import Blade, area_and_centroid, sides_of
from workbench.fin.frame import Base, Point, Pose
from workbench.fin.pose.descent import STEEPEST_RAD
from workbench.fin.reading.observe import level_crossings
from workbench.frozen import dataclass

SMALLEST_AREA_MM2 = 1.0
"""Less than this out of the base is no fin in the water."""


@dataclass(frozen=True, slots=True)
class Exposed:
    """The part of a blade that lies outside the base.

    ``centroid_mm`` lies in the ski frame: forward from the tail end, and out. ``leading_edge_rad``
    is the mean direction of the leading edge against the base line (x), 90 degrees where it is
    upright: the mean of its unit directions weighted by length (Mardia and Jupp, Directional
    Statistics, 2.2), which is the direction from where the foremost edge leaves the base to the
    deepest point. ``span_mm`` is the largest height, and ``aspect`` the aspect ratio span²/area
    (b²/S, as for a wing; the exposed part alone, not mirrored in the base).
    """

    area_mm2: float
    centroid_mm: Point
    leading_edge_rad: float
    span_mm: float

    @property
    def aspect(self) -> float:
        """Span squared over area."""
        return self.span_mm**2 / self.area_mm2

    @property
    def figures(self) -> tuple[float, float, float, float, float]:
        """Area (mm²), centroid forward and out (mm), leading-edge angle (rad) and aspect."""
        return (self.area_mm2, *self.centroid_mm, self.leading_edge_rad, self.aspect)


def exposed(blade: Blade, base: Base, pose: Pose) -> Exposed | None:
    """Return what of the blade lies outside the base at ``pose``; None where nothing does.

    None also where the blade reaches beyond the ends of the base's arc.
    """
    points = [pose.place(p) for p in blade.outline_mm]
    heights = base.heights(points)
    if not all(map(math.isfinite, heights)):
        return None
    area = about_y = about_x = 0.0
    for a, b in _pieces_above(points, heights, base):
        under, x_under, square_under = _under_base(a[0], b[0], base)
        dx, middle = b[0] - a[0], (a[0] + b[0]) / 2.0
        y = (a[1] + b[1]) / 2.0
        # Simpson's rule is exact for the straight piece: its integrands are of second degree.
        area += dx * y - under
        about_y += dx * (a[0] * a[1] + 4.0 * middle * y + b[0] * b[1]) / 6.0 - x_under
        about_x += dx * (a[1] ** 2 + 4.0 * y * y + b[1] ** 2) / 12.0 - square_under
    if area_and_centroid(points)[0] > 0.0:  # counter-clockwise
        area, about_y, about_x = -area, -about_y, -about_x
    if area < SMALLEST_AREA_MM2:
        return None
    span = max(heights)
    deepest = max((p for p, h in zip(points, heights, strict=True) if h >= span - 1e-9))
    foot = max(
        (at for a, b in sides_of(points) for at in level_crossings(a, b, base, 0.0)), default=None
    )
    if foot is None:  # all of it is out of the base: its foremost point
        foot = max(points)
    angle = math.atan2(deepest[1] - foot[1], foot[0] - deepest[0])
    return Exposed(area, (about_y / area, about_x / area), angle, span)


def u_exposed(
    blade: Blade, base: Base, pose: Pose, covariance: Sequence[Sequence[float]]
) -> tuple[float, ...] | None:
    """Return the standard uncertainties of ``Exposed.figures`` that the pose's covariance leaves.

    The law of propagation (JCGM 100:2008, 5.2.2) with central differences; ``covariance`` is
    3 x 3 (mm, mm, rad). None where nothing is exposed near by.
    """
    steps = (0.01, 0.01, 0.01 / blade.arm_mm)
    slopes = []
    for i, step in enumerate(steps):
        move = [step if k == i else 0.0 for k in range(3)]
        ahead = exposed(blade, base, pose.moved(*move))
        behind = exposed(blade, base, pose.moved(*(-m for m in move)))
        if ahead is None or behind is None:
            return None
        pairs = zip(ahead.figures, behind.figures, strict=True)
        slopes.append([(p - m) / (2.0 * step) for p, m in pairs])
    return tuple(
        math.sqrt(
            max(0.0, math.fsum(
                slopes[i][k] * covariance[i][j] * slopes[j][k]
                for i in range(3) for j in range(3)
            ))
        )
        for k in range(5)
    )  # fmt: skip


def waterline_mm(blade: Blade, base: Base, pose: Pose) -> float:
    """Return how long the blade is where it leaves the base, gaps left out (mm).

    Over a flat base the area grows by this for each mm that the blade comes out.
    """
    points = [pose.place(p) for p in blade.outline_mm]
    xs = sorted(at[0] for a, b in sides_of(points) for at in level_crossings(a, b, base, 0.0))
    return math.fsum(b - a for a, b in zip(xs[::2], xs[1::2], strict=False))


def _pieces_above(
    points: Sequence[Point], heights: Sequence[float], base: Base
) -> Iterator[tuple[Point, Point]]:
    """Yield the pieces of the outline that lie above the base, in its direction."""
    for i, (a, b) in enumerate(sides_of(points)):
        ha, hb = heights[i], heights[(i + 1) % len(heights)]
        if ha >= 0.0 and hb >= 0.0 and base.radius_mm is None:
            yield a, b
            continue
        cuts = level_crossings(a, b, base, 0.0)
        cuts.sort(key=lambda at: (at[0] - a[0]) * (b[0] - a[0]) + (at[1] - a[1]) * (b[1] - a[1]))
        ends = [a, *cuts, b]
        for p, q in pairwise(ends):
            if base.height((p[0] + q[0]) / 2.0, (p[1] + q[1]) / 2.0) > 0.0:
                yield p, q


_NODES = (
    (0.1834346424956498, 0.3626837833783620), (0.5255324099163290, 0.3137066458778873),
    (0.7966664774136267, 0.2223810344533745), (0.9602898564975363, 0.1012285362903763),
)  # fmt: skip
"""Gauss-Legendre abscissae and weights, n = 8 (Abramowitz and Stegun, table 25.4)."""

WIDEST_ARC_RAD = 0.5
"""An arc's piece wider than this is integrated in parts: eight nodes then give all digits."""


def _under_base(x1: float, x2: float, base: Base) -> tuple[float, float, float]:
    """Return ∫ y_b dx, ∫ x y_b dx and ∫ y_b²/2 dx from x1 to x2 (mm², mm³, mm³).

    With x = apex + R sin t the integrands are polynomials in sin and cos of t, without the
    cancellation that sqrt(R² - d²) - R has for a large R.
    """
    r = base.radius_mm
    if r is None:
        return 0.0, 0.0, 0.0
    t1, t2 = (math.asin(max(-1.0, min(1.0, (x - base.apex_mm) / r))) for x in (x1, x2))
    parts = max(1, math.ceil(abs(t2 - t1) / WIDEST_ARC_RAD))
    half = (t2 - t1) / (2.0 * parts)
    out = [0.0, 0.0, 0.0]
    for part in range(parts):
        middle = t1 + (2 * part + 1) * half
        for node, weight in _NODES:
            for t in (middle - node * half, middle + node * half):
                y = -2.0 * r * math.sin(t / 2.0) ** 2
                w = weight * half * r * math.cos(t)
                out[0] += w * y
                out[1] += w * y * (base.apex_mm + r * math.sin(t))
                out[2] += w * y * y / 2.0
    return out[0], out[1], out[2]


# -- carried to another blade ----------------------------------------------------------------------

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
