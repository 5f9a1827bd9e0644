"""A circle through points by least squares."""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.errors import InputError
from workbench.fin.frame.pose import Point
from workbench.frozen import dataclass
from workbench.measure.numerics.linalg import factor, solve

STEPS = 10


@dataclass(frozen=True, slots=True)
class Circle:
    """A fitted circle (mm); ``rms_mm`` is how far its points lie off it."""

    centre_mm: Point
    radius_mm: float
    rms_mm: float


def fit_circle(points: Sequence[Point]) -> Circle:
    """Return the circle with the least sum of squared distances from points (n x 2, mm).

    Begun from the algebraic fit of I. Kasa, IEEE Trans. Instrum. Meas. 25 (1976) 8, and improved by
    Gauss-Newton on the distances.

    Raises:
        InputError: fewer than three points, or points on a line.
    """
    accepted = "three points or more that lie on no line"
    if len(points) < 3:
        raise InputError("circle", f"{len(points)} points", accepted)
    mx = math.fsum(x for x, _ in points) / len(points)
    my = math.fsum(y for _, y in points) / len(points)
    near = [(x - mx, y - my) for x, y in points]
    rows = [(2.0 * x, 2.0 * y, 1.0) for x, y in near]
    factors = factor(rows)
    if factors.rank < 3:
        raise InputError("circle", f"{len(points)} points", accepted)
    cx, cy, rest = solve(factors, [x * x + y * y for x, y in near])
    radius = math.sqrt(max(0.0, rest + cx * cx + cy * cy))
    for _ in range(STEPS):
        away = [(x - cx, y - cy, math.hypot(x - cx, y - cy)) for x, y in near]
        if min(d for *_, d in away) == 0.0:
            break
        factors = factor([(x / d, y / d, 1.0) for x, y, d in away])
        if factors.rank < 3:
            break
        dx, dy, dr = solve(factors, [d - radius for *_, d in away])
        cx, cy, radius = cx + dx, cy + dy, radius + dr
        if math.hypot(dx, dy, dr) < 1e-9:
            break
    off = math.fsum((math.hypot(x - cx, y - cy) - radius) ** 2 for x, y in near)
    return Circle((mx + cx, my + cy), radius, math.sqrt(off / len(near)))
