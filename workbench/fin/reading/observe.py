"""What a caliper or an eye would read on a blade at a pose, and how that changes.

A reading is a function of the pose. Each value comes with its exact derivatives, found from where a
jaw touches the placed outline or from the scribe that is read. A corner moves with the blade; where
a jaw meets an edge, the edge's motion along its own normal counts and the sliding along it does
not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import assert_never

from workbench.fin.blade import Blade, Edge
from workbench.fin.frame import Base, Point, Pose
from workbench.fin.reading.method import TRAITS, Method, Scribe
from workbench.frozen import dataclass
from workbench.measure.linalg import Three


@dataclass(frozen=True, slots=True)
class Observation:
    """What a method reads at a pose.

    ``value_mm``; ``gradient``: the derivatives by x (mm/mm), y (mm/mm) and tilt (mm/rad);
    ``contacts_mm``: the touched points, or the scribe looked at, in the ski frame;
    ``height_slope``: how much the reading changes per mm of contact height; ``edges_mm``: for each
    contact the two ends of the edge that it can slide along, None where a corner is touched.
    """

    value_mm: float
    gradient: Three
    contacts_mm: tuple[Point, ...]
    height_slope: float = 0.0
    edges_mm: tuple[Edge | None, ...] = ()

    def by_movement(self, blade: Blade, pose: Pose) -> Three:
        """Return how the reading follows 1 mm of movement at the blade (mm/mm).

        Forward, outward, and turned about the outline's centroid so far that its farthest point
        moves 1 mm: where the blade's frame has its origin does not matter.
        """
        gx, gy, gt = self.gradient
        x, y = pose.place(blade.centre_mm)
        about_centre = gt + gx * (y - pose.y_mm) - gy * (x - pose.x_mm)
        return (gx, gy, about_centre / blade.arm_mm)


Touch = tuple[Point, Three, float, Edge | None]
"""A contact: the point, how its x moves with the pose and with the height, and its edge."""


# -- jaws ------------------------------------------------------------------------------------------

NEAR_MM = 1e-9
"""An edge whose end lies this near to a level is looked at for a crossing."""

SLACK = 1e-12
"""A crossing this share of an edge beyond its end is still on it."""

_End = tuple[Point, Point, Point, bool]
"""An edge's two ends, where it is touched, and whether that is its first end."""


def _height_gradient(at: Point, base: Base, pose: Pose) -> Three:
    """Return how the height of a blade corner changes with the pose."""
    slope = base.slope(at[0])
    return (-slope, 1.0, (at[0] - pose.x_mm) + slope * (at[1] - pose.y_mm))


def deepest(points: list[Point], base: Base, pose: Pose) -> Observation | None:
    """Return the largest height (mm) of the placed outline ``points``."""
    # Over a base that bulges outward, height along a straight edge is convex, so that the largest
    # height is always at a corner.
    best = max(points, key=lambda p: base.height(*p))
    height = base.height(*best)
    if not math.isfinite(height):
        return None
    return Observation(height, _height_gradient(best, base, pose), (best,), 0.0, (None,))


def depth_at(
    station: Point, jaw_width_mm: float, points: list[Point], base: Base, pose: Pose
) -> Observation | None:
    """Return the largest height (mm) within half a jaw's width of a placed station."""
    sx, sy = station
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
                if height >= best_height:  # beside a corner the edge counts, along which it slides
                    best_height, best = height, (start, b, at)
    if best is None or not math.isfinite(best_height):
        return None
    one, two, crossing = best
    if crossing is None:
        return Observation(best_height, _height_gradient(one, base, pose), (one,), 0.0, (None,))
    station_move: Three = (1.0, 0.0, -(sy - pose.y_mm))
    gradient = _wall_gradient(one, two, crossing, station_move, base, pose)
    return Observation(best_height, gradient, (crossing,), 0.0, ((one, two),))


def _material(at: Point, normal: Point, pose: Pose) -> Three:
    """Return how the blade's own motion at ``at`` shows along ``normal``, per pose parameter."""
    nx, ny = normal
    return (nx, ny, -nx * (at[1] - pose.y_mm) + ny * (at[0] - pose.x_mm))


def _wall_gradient(
    a: Point, b: Point, at: Point, wall_move: Three, base: Base, pose: Pose
) -> Three:
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
    over: tuple[list[float], float],
    base: Base,
    pose: Pose,
    band_mm: tuple[float, float],
    rear_only: bool = False,
) -> list[Touch]:
    """Return the rearmost and foremost contact among outline points with height in the band.

    ``over``: the heights of ``points`` over the base, in mm, and :func:`bend_of` them.
    With ``rear_only`` the rearmost alone; nothing where no point lies in the band.
    """
    heights, bend = over
    lo, hi = band_mm
    levels = (lo,) if lo == hi else (lo, hi)
    # With ``rear_only`` nothing can lie in front of the foremost place, so that none is kept.
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
    if not corner:
        nx, ny = a[1] - b[1], b[0] - a[0]
        across = nx + ny * base.slope(at[0])
        if across != 0.0:  # else the edge lies along the base: only its ends can be touched
            mx, my, mt = _material(at, (nx, ny), pose)
            return at, (mx / across, my / across, mt / across), -ny / across, (a, b)
    return at, (1.0, 0.0, -(at[1] - pose.y_mm)), 0.0, None


def level_crossings(a: Point, b: Point, base: Base, level_mm: float) -> list[Point]:
    """Return the points of segment a-b whose height over the base is ``level_mm``.

    With X = x - apex and Y = y - level, the arc of radius R raised by the level is
    Y + (X^2 + Y^2)/(2R) = 0: a quadratic along the segment that becomes linear as R grows.
    """
    ax, ay = a
    dx, dy = b[0] - ax, b[1] - ay
    py = ay - level_mm
    radius = base.radius_mm
    if radius is None:
        return [_along(a, b, -py / dy)] if dy and -SLACK <= -py / dy <= 1.0 + SLACK else []
    k = 0.5 / radius
    px = ax - base.apex_mm
    square = k * (dx * dx + dy * dy)
    half = 0.5 * dy + k * (px * dx + py * dy)
    rest = py + k * (px * px + py * py)
    under = half * half - square * rest
    if under < 0.0:
        return []
    # Both roots without cancellation; over the flattest arcs the far one is beyond all numbers.
    q = -half - math.copysign(math.sqrt(under), half)
    out = []
    for t in (rest / q, q / square if square else math.inf) if q else (0.0,):
        if -SLACK <= t <= 1.0 + SLACK:
            at = _along(a, b, t)
            if 2.0 * k * (at[1] - level_mm) + 1.0 > 0.0:  # the arc's upper half only
                out.append(at)
    return out


def _along(a: Point, b: Point, t: float) -> Point:
    """Return the point that share of the way from a to b, counted from the nearer end.

    A crossing at a corner is then that corner.
    """
    if t <= 0.5:
        return (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])) if t > 0.0 else a
    back = 1.0 - t
    return (b[0] - back * (b[0] - a[0]), b[1] - back * (b[1] - a[1])) if back > 0.0 else b


# -- readings --------------------------------------------------------------------------------------


def observe(method: Method, blade: Blade, base: Base, pose: Pose) -> Observation | None:
    """Return what ``method`` reads at ``pose``; None where it meets no part of the blade."""
    return observe_all((method,), blade, base, pose)[0]


def observe_all(
    methods: Sequence[Method], blade: Blade, base: Base, pose: Pose
) -> list[Observation | None]:
    """Return what each method reads at ``pose``, the blade placed there once for all of them."""
    c, s = math.cos(pose.tilt_rad), math.sin(pose.tilt_rad)
    x0, y0 = pose.x_mm, pose.y_mm
    points = [(x0 + c * u - s * v, y0 + s * u + c * v) for u, v in blade.outline_mm]
    over: tuple[list[float], float] | None = None
    out: list[Observation | None] = []
    for method in methods:
        if method.scribe is not None:
            out.append(_by_scale(method, method.scribe, pose))
            continue
        match TRAITS[method.quantity].taken_at:
            case "station":
                if method.station is None:
                    out.append(deepest(points, base, pose))
                    continue
                u, v = method.station.at_mm
                at = (x0 + c * u - s * v, y0 + s * u + c * v)
                out.append(depth_at(at, method.jaw_width_mm, points, base, pose))
            case "band":
                if over is None:
                    over = base.heights(points), bend_of(base, x0, blade.reach_mm)
                out.append(_read_along(method, points, over, base, pose))
            case _ as unknown:
                assert_never(unknown)
    return out


def _by_scale(method: Method, scribe: Scribe, pose: Pose) -> Observation:
    """Return what the scribe reads on the blade's own scale, in closed form: zero less its place.

    A forward scale tells its u, outward lines its v.
    """
    scale = TRAITS[method.quantity].scale
    assert scale is not None, "a quantity without a scale has no scribe: see Method"
    u, v = pose.locate(scribe.at_mm)
    c, s = math.cos(pose.tilt_rad), math.sin(pose.tilt_rad)
    value_mm, gradient = scribe.zero_mm - v, (-s, c, u)
    if scale.way == "forward":
        value_mm, gradient = scribe.zero_mm - u, (c, s, -v)
    if scribe.is_reversed:
        value_mm, gradient = -value_mm, (-gradient[0], -gradient[1], -gradient[2])
    return Observation(value_mm, gradient, (scribe.at_mm,))


def _read_along(
    method: Method, points: list[Point], over: tuple[list[float], float], base: Base, pose: Pose
) -> Observation | None:
    """Return what is read along the ski; ``over``: the points' heights and how edges bend."""
    assert method.band_mm is not None
    wanted = TRAITS[method.quantity].ends
    ends = band_ends(points, over, base, pose, method.band_mm, rear_only="front" not in wanted)
    if not ends:
        return None
    at, gradient, slope, edge = ends[0 if "rear" in wanted else 1]
    if len(wanted) == 1:
        return Observation(at[0], gradient, (at,), slope, (edge,))
    to, (fx, fy, ft), rise, other = ends[1]
    rx, ry, rt = gradient
    apart = (fx - rx, fy - ry, ft - rt)
    return Observation(to[0] - at[0], apart, (at, to), rise - slope, (edge, other))
