"""What a caliper would read, found another way: by shapely over a flat base, else by root finding.

Nothing here uses the code under test but its plain values (outline, base, method, pose).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import assert_never

import numpy as np
import shapely
from scipy.optimize import brentq, minimize_scalar
from shapely import affinity
from shapely.geometry import LinearRing, LineString, box

from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Point, Pose
from workbench.fin.reading.method import Method

FAR = 1e5


def placed(blade: Blade, pose: Pose) -> LinearRing:
    """Return the outline in the ski frame."""
    ring = LinearRing(blade.outline_mm)
    turned = affinity.rotate(ring, pose.tilt_rad, origin=(0, 0), use_radians=True)
    return affinity.translate(turned, pose.x_mm, pose.y_mm)


def base_y(base: Base, x: float) -> float:
    """Return the circle's y by Pythagoras, in extended precision."""
    if base.radius_mm is None:
        return 0.0
    r, d = np.longdouble(base.radius_mm), np.longdouble(x) - np.longdouble(base.apex_mm)
    return float(np.sqrt(r * r - d * d) - r)


def reading(method: Method, blade: Blade, base: Base, pose: Pose) -> float | None:
    """Return what the method reads; None where it meets nothing."""
    ring = placed(blade, pose)
    if method.quantity == "depth":
        return _depth(method, ring, base, pose)
    assert method.band_mm is not None
    xs = band_xs(ring, base, *method.band_mm)
    if not xs:
        return None
    match method.quantity:
        case "tail":
            return min(xs)
        case "length":
            return max(xs) - min(xs)
        case _:
            assert_never(method.quantity)


def band_xs(ring: LinearRing, base: Base, lo: float, hi: float) -> list[float]:
    """Return the ends in x of the outline's parts with height in [lo, hi]."""
    if base.radius_mm is None:
        level = LineString([(-FAR, lo), (FAR, lo)])
        part = ring.intersection(level if lo == hi else box(-FAR, lo, FAR, hi))
        return [] if part.is_empty else [part.bounds[0], part.bounds[2]]
    out: list[float] = []
    for a, b in _edges(ring):
        out += _edge_xs(a, b, base, lo, hi)
    return out


def _edges(ring: LinearRing) -> Iterator[tuple[Point, Point]]:
    points = list(ring.coords)
    return itertools.pairwise(points)


def _edge_xs(a: Point, b: Point, base: Base, lo: float, hi: float) -> list[float]:
    """Return the x of the edge's ends in the band, and of its crossings of the band's limits."""

    def x(t: float) -> float:
        return a[0] + t * (b[0] - a[0])

    def height(t: float) -> float:
        return a[1] + t * (b[1] - a[1]) - base_y(base, x(t))

    out = [x(t) for t in (0.0, 1.0) if lo <= height(t) <= hi]
    low = minimize_scalar(height, bounds=(0.0, 1.0), method="bounded", options={"xatol": 1e-12}).x
    for level in {lo, hi}:
        for t1, t2 in ((0.0, low), (low, 1.0)):
            if (height(t1) - level) * (height(t2) - level) < 0.0:
                out.append(x(brentq(lambda t: height(t) - level, t1, t2, xtol=1e-15)))  # noqa: B023
    return out


def _depth(method: Method, ring: LinearRing, base: Base, pose: Pose) -> float | None:
    part = ring
    if method.station is not None:
        u, v = method.station.at_mm
        x = pose.x_mm + u * math.cos(pose.tilt_rad) - v * math.sin(pose.tilt_rad)
        half = method.jaw_width_mm / 2.0
        wall = LineString([(x, -FAR), (x, FAR)])
        part = ring.intersection(wall if half == 0.0 else box(x - half, -FAR, x + half, FAR))
    if part.is_empty:
        return None
    if base.radius_mm is None:
        return float(part.bounds[3])
    dense = shapely.segmentize(part, 0.2)
    return max(y - base_y(base, x) for x, y in shapely.get_coordinates(dense))
