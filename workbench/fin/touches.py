"""Where a jaw touches a placed outline, and how that place moves with the pose.

A corner moves with the blade; where a jaw meets an edge, the edge's motion along its own normal
counts and the sliding along it does not.
"""

from __future__ import annotations

import math

from workbench.fin.base import Base
from workbench.fin.linear import Row
from workbench.fin.observation import Observation, Touch
from workbench.fin.pose import Point, Pose

NEAR_MM = 1e-9
"""An edge whose end lies this near to a level is looked at for a crossing."""

_End = tuple[Point, Point, Point, bool]
"""An edge's two ends, where it is touched, and whether that is its first end."""


def _height_gradient(at: Point, base: Base, pose: Pose) -> Row:
    """Return how the height of a blade corner changes with the pose."""
    slope = base.slope(at[0])
    return (-slope, 1.0, (at[0] - pose.x_mm) + slope * (at[1] - pose.y_mm))


def deepest(points: list[Point], base: Base, pose: Pose) -> Observation | None:
    """Return the largest height (mm) of the placed outline ``points``."""
    # Over a base that bulges outward, height along a straight edge is convex, so that the largest
    # height always stands at a corner.
    best = max(points, key=lambda p: base.height(*p))
    height = base.height(*best)
    if not math.isfinite(height):
        return None
    return Observation(height, _height_gradient(best, base, pose), (best,), 0.0, (None,))


def depth_at(
    station_mm: Point, jaw_width_mm: float, points: list[Point], base: Base, pose: Pose
) -> Observation | None:
    """Return the largest height (mm) within half a jaw's width of a station of the blade."""
    sx, sy = pose.place(station_mm)
    half = jaw_width_mm / 2.0
    left, right = sx - half, sx + half
    walls = (left,) if left == right else (left, right)
    best: tuple[Point, Point, Point | None] | None = None
    best_height = -math.inf
    a = points[-1]
    for b in points:
        start, a = a, b
        ax, bx = start[0], b[0]
        if (ax < left and bx < left) or (ax > right and bx > right):
            continue
        for end in (start, b):
            if left <= end[0] <= right:
                height = base.height(*end)
                if height > best_height:
                    best_height, best = height, (end, end, None)
        if ax == bx:
            continue
        for wall in walls:
            if ax <= wall <= bx or bx <= wall <= ax:
                at = (wall, start[1] + (wall - ax) / (bx - ax) * (b[1] - start[1]))
                height = base.height(*at)
                if height >= best_height:
                    best_height, best = height, (start, b, at)
    if best is None or not math.isfinite(best_height):
        return None
    one, two, crossing = best
    if crossing is None:
        return Observation(best_height, _height_gradient(one, base, pose), (one,), 0.0, (None,))
    station_move: Row = (1.0, 0.0, -(sy - pose.y_mm))
    gradient = _wall_gradient(one, two, crossing, station_move, base, pose)
    return Observation(best_height, gradient, (crossing,), 0.0, ((one, two),))


def _material(at: Point, normal: Point, pose: Pose) -> Row:
    """Return how the blade's own motion at ``at`` shows along ``normal``, per pose parameter."""
    nx, ny = normal
    return (nx, ny, -nx * (at[1] - pose.y_mm) + ny * (at[0] - pose.x_mm))


def _wall_gradient(a: Point, b: Point, at: Point, wall_move: Row, base: Base, pose: Pose) -> Row:
    """Return how the height changes where an edge crosses a wall that moves with the station."""
    nx, ny = -(b[1] - a[1]), b[0] - a[0]
    mx, my, mt = _material(at, (nx, ny), pose)
    slope = base.slope(at[0])
    wx, wy, wt = wall_move
    return (
        (mx - nx * wx) / ny - slope * wx,
        (my - nx * wy) / ny - slope * wy,
        (mt - nx * wt) / ny - slope * wt,
    )


def band_ends(
    points: list[Point],
    heights: list[float],
    bend: float,
    base: Base,
    pose: Pose,
    band_mm: tuple[float, float],
    rear_only: bool = False,
) -> list[Touch]:
    """Return the rearmost and foremost contact among outline points with height in the band.

    ``heights`` are those of ``points`` over the base, in mm, and ``bend`` is :func:`bend_of` them.
    With ``rear_only`` the rearmost alone; nothing where no point lies in the band.
    """
    lo, hi = band_mm
    levels = (lo,) if lo == hi else (lo, hi)
    rear_x, front_x = math.inf, math.inf if rear_only else -math.inf
    rear: _End | None = None
    front: _End | None = None
    least, most = lo - NEAR_MM, hi + NEAR_MM
    b, hb = points[-1], heights[-1]
    for next_b, next_h in zip(points, heights, strict=True):
        a, ha = b, hb
        b, hb = next_b, next_h
        if ha < hb:
            low, high = ha, hb
        else:
            low, high = hb, ha
        if high < least:  # convex along the edge: the middle is lower still
            continue
        ax, bx = a[0], b[0]
        if bend:
            low -= bend * (bx - ax) * (bx - ax)
        if low > most or (ax > rear_x and bx > rear_x and ax < front_x and bx < front_x):
            continue
        if lo <= ha <= hi:
            if ax < rear_x:
                rear_x, rear = ax, (a, b, a, True)
            if ax > front_x:
                front_x, front = ax, (a, b, a, True)
        for level in levels:
            if not low - NEAR_MM <= level <= high + NEAR_MM:
                continue
            for at in level_crossings(a, b, base, level):
                if at[0] <= rear_x:  # at a corner the edge counts, whose contact can move
                    rear_x, rear = at[0], (a, b, at, False)
                if at[0] >= front_x:
                    front_x, front = at[0], (a, b, at, False)
    ends = (rear,) if rear_only else (rear, front)
    return [_end_touch(*end, base, pose) for end in ends if end is not None]


def bend_of(base: Base, x_mm: float, reach_mm: float) -> float:
    """Return a bound of how far an edge's middle can lie lower than both ends, over dx squared.

    The edge lies within ``reach_mm`` of ``x_mm``. An arc rises above its chord by at most a quarter
    of dx times the change of its slope, and within half a radius of the apex its slope changes by
    less than 1.6 dx/R.
    """
    radius = base.radius_mm
    if radius is None:
        return 0.0
    return 0.4 / radius if abs(x_mm - base.apex_mm) + reach_mm <= radius / 2.0 else math.inf


def _end_touch(a: Point, b: Point, at: Point, corner: bool, base: Base, pose: Pose) -> Touch:
    """Return how the x of a contact changes: a corner's own, or an edge's at a fixed height."""
    if corner:
        return Touch(at, (1.0, 0.0, -(at[1] - pose.y_mm)))
    nx, ny = -(b[1] - a[1]), b[0] - a[0]
    across = nx + ny * base.slope(at[0])
    if across == 0.0:  # the edge lies along the base: only its ends can be touched
        return Touch(at, (1.0, 0.0, -(at[1] - pose.y_mm)))
    mx, my, mt = _material(at, (nx, ny), pose)
    return Touch(at, (mx / across, my / across, mt / across), -ny / across, (a, b))


def level_crossings(a: Point, b: Point, base: Base, level_mm: float) -> list[Point]:
    """Return the points of segment a-b whose height over the base is ``level_mm``.

    With X = x - apex and Y = y - level, the arc of radius R raised by the level is
    Y + (X^2 + Y^2)/(2R) = 0: a quadratic along the segment that becomes linear as R grows.
    """
    k = base.half_curvature
    ax, ay = a
    bx, by = b
    dx, dy = bx - ax, by - ay
    py = ay - level_mm
    if k == 0.0:
        roots: tuple[float, ...] = () if dy == 0.0 else (-py / dy,)
    else:
        px = ax - base.apex_mm
        roots = _roots(
            k * (dx * dx + dy * dy),
            dy + 2.0 * k * (px * dx + py * dy),
            py + k * (px * px + py * py),
        )
    out: list[Point] = []
    for t in roots:
        if not -1e-12 <= t <= 1.0 + 1e-12:
            continue
        # Counted from the nearer end, so that a crossing at a corner is that corner.
        if t <= 0.5:
            x, y = (ax + t * dx, ay + t * dy) if t > 0.0 else a
        else:
            x, y = (bx - (1.0 - t) * dx, by - (1.0 - t) * dy) if t < 1.0 else b
        if k == 0.0 or 2.0 * k * (y - level_mm) + 1.0 > 0.0:  # the arc's upper half only
            out.append((x, y))
    return out


def _roots(a: float, b: float, c: float) -> tuple[float, ...]:
    """Return the real roots of a t^2 + b t + c, without cancellation."""
    if a == 0.0:
        return () if b == 0.0 else (-c / b,)
    under = b * b - 4.0 * a * c
    if under < 0.0:
        return ()
    q = -0.5 * (b + math.copysign(math.sqrt(under), b))
    if q == 0.0:
        return (0.0,)
    return (q / a, c / q)
