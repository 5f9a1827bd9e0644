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
    return Observation(height, _height_gradient(best, base, pose), (best,))


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
        return Observation(best_height, _height_gradient(one, base, pose), (one,))
    station_move: Row = (1.0, 0.0, -(sy - pose.y_mm))
    gradient = _wall_gradient(one, two, crossing, station_move, base, pose)
    return Observation(best_height, gradient, (crossing,))


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
) -> tuple[Touch, Touch] | None:
    """Return the rearmost and foremost contact among outline points with height in the band.

    ``heights`` are those of ``points`` over the base, in mm, and ``bend`` is :func:`bend_of` them.
    """
    lo, hi = band_mm
    levels = (lo,) if lo == hi else (lo, hi)
    rear_x, front_x = math.inf, -math.inf
    rear: tuple[int, Point, bool] | None = None
    front: tuple[int, Point, bool] | None = None
    least, most = lo - NEAR_MM, hi + NEAR_MM
    n = len(points)
    for i, ha in enumerate(heights):
        j = i + 1 if i + 1 < n else 0
        hb = heights[j]
        if ha < least and hb < least:  # convex along the edge: the middle is lower still
            continue
        if bend == 0.0 and ha > most and hb > most:
            continue
        a = points[i]
        if lo <= ha <= hi:
            if a[0] < rear_x:
                rear_x, rear = a[0], (i, a, True)
            if a[0] > front_x:
                front_x, front = a[0], (i, a, True)
        b = points[j]
        low = (ha if ha < hb else hb) - bend * (b[0] - a[0]) ** 2 - NEAR_MM
        high = (ha if ha > hb else hb) + NEAR_MM
        for level in levels:
            if not low <= level <= high:
                continue
            for at in level_crossings(a, b, base, level):
                if at[0] <= rear_x:  # at a corner the edge counts, whose contact can move
                    rear_x, rear = at[0], (i, at, False)
                if at[0] >= front_x:
                    front_x, front = at[0], (i, at, False)
    if rear is None or front is None:
        return None
    ends = []
    for i, at, corner in (rear, front):
        ends.append(_end_touch(points[i], points[(i + 1) % n], at, corner, base, pose))
    return (ends[0], ends[1])


def bend_of(points: list[Point], base: Base) -> float:
    """Return a bound of how far an edge's middle can lie lower than both ends, over dx squared.

    An arc rises above its chord by at most a quarter of dx times the change of its slope, and
    within half a radius of the apex its slope changes by less than 1.6 dx/R.
    """
    if base.radius_mm is None:
        return 0.0
    apex = base.apex_mm
    reach = max(abs(min(points)[0] - apex), abs(max(points)[0] - apex))
    return 0.4 / base.radius_mm if reach <= base.radius_mm / 2.0 else math.inf


def _end_touch(a: Point, b: Point, at: Point, corner: bool, base: Base, pose: Pose) -> Touch:
    """Return how the x of a contact changes: a corner's own, or an edge's at a fixed height."""
    if corner:
        return Touch(at, (1.0, 0.0, -(at[1] - pose.y_mm)))
    nx, ny = -(b[1] - a[1]), b[0] - a[0]
    across = nx + ny * base.slope(at[0])
    if across == 0.0:  # the edge lies along the base: only its ends can be touched
        return Touch(at, (1.0, 0.0, -(at[1] - pose.y_mm)))
    mx, my, mt = _material(at, (nx, ny), pose)
    return Touch(at, (mx / across, my / across, mt / across), -ny / across)


def level_crossings(a: Point, b: Point, base: Base, level_mm: float) -> list[Point]:
    """Return the points of segment a-b whose height over the base is ``level_mm``.

    With X = x - apex and Y = y - level, the arc of radius R raised by the level is
    Y + (X^2 + Y^2)/(2R) = 0: a quadratic along the segment that becomes linear as R grows.
    """
    k = base.half_curvature
    ax, ay, bx, by = *a, *b
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
        t = 0.0 if t < 0.0 else 1.0 if t > 1.0 else t
        # Counted from the nearer end, so that a crossing at a corner is that corner.
        if t <= 0.5:
            x, y = ax + t * dx, ay + t * dy
        else:
            x, y = bx - (1.0 - t) * dx, by - (1.0 - t) * dy
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
