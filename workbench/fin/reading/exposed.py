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

from workbench.fin.frame import Point, Pose
from workbench.fin.parts.base import Base
from workbench.fin.parts.blade import Blade, area_and_centroid, sides_of
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
