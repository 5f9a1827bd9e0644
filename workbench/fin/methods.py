"""Reading methods: what a caliper would read on a blade at a pose, and how that changes.

A reading is a function of the pose. Each value comes with its exact derivatives, found from which
corner or edge the jaw touches: a corner moves with the blade; where a jaw meets an edge, the edge's
motion along its own normal counts and the sliding along it does not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from workbench.errors import InputError, shown
from workbench.fin.base import Base
from workbench.fin.blade import Blade, check_point
from workbench.fin.linear import Row
from workbench.fin.pose import Point, Pose

Quantity = Literal["depth", "tail", "length"]
QUANTITIES: tuple[Quantity, ...] = ("depth", "tail", "length")

WIDEST_JAW_MM = 50.0
HIGHEST_BAND_MM = 100.0

NEAR_MM = 1e-9
"""An edge whose end lies this near to a level is looked at for a crossing."""


@dataclass(frozen=True, slots=True)
class Station:
    """A point of the blade under or over which a depth is taken, and how it was named."""

    at_mm: Point
    hole: str | None = None
    edge: str | None = None


@dataclass(frozen=True, slots=True)
class Method:
    """How a number is taken: which quantity, where, and with which part of the jaw.

    A depth has a station (None: deepest) and a jaw width; a tail distance or a length has a contact
    band (lo, hi) of heights above the base in mm.
    """

    name: str
    quantity: Quantity
    station: Station | None = None
    jaw_width_mm: float = 0.0
    band_mm: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        where = f"method {shown(self.name)}"
        if self.quantity not in QUANTITIES:
            raise InputError(f"{where} quantity", self.quantity, "depth, tail or length")
        if self.quantity == "depth":
            self._check_depth(where)
        else:
            self._check_band(where)

    def _check_depth(self, where: str) -> None:
        if self.band_mm is not None:
            raise InputError(
                f"{where} band", self.band_mm, "no band: a depth has a station instead"
            )
        if self.station is not None:
            check_point(f"{where} station", self.station.at_mm)
        width = self.jaw_width_mm
        if not (math.isfinite(width) and 0.0 <= width <= WIDEST_JAW_MM):
            raise InputError(f"{where} jaw_width", width, f"0 to {WIDEST_JAW_MM:g} mm")

    def _check_band(self, where: str) -> None:
        if self.station is not None:
            raise InputError(f"{where} station", self.station.at_mm, "no station: give a band")
        if self.jaw_width_mm:
            raise InputError(f"{where} jaw_width", self.jaw_width_mm, "none: only a depth has one")
        if self.band_mm is None:
            raise InputError(f"{where} band", None, "[lo, hi], the heights a jaw can touch between")
        lo, hi = self.band_mm
        if not (math.isfinite(lo) and math.isfinite(hi) and lo <= hi):
            raise InputError(f"{where} band", self.band_mm, "[lo, hi] with lo not above hi")
        if lo < -HIGHEST_BAND_MM or hi > HIGHEST_BAND_MM:
            raise InputError(
                f"{where} band", self.band_mm, f"heights within {HIGHEST_BAND_MM:g} mm"
            )

    @property
    def is_tips(self) -> bool:
        """Whether the jaw tips alone touch: a band of no height."""
        return self.band_mm is not None and self.band_mm[0] == self.band_mm[1]


@dataclass(frozen=True, slots=True)
class Observation:
    """What a method reads at a pose.

    ``value_mm``; ``gradient``: the derivatives by x (mm/mm), y (mm/mm) and tilt (mm/rad);
    ``contacts_mm``: the touched points in the ski frame; ``height_slope``: how much the reading
    changes per mm of contact height.
    """

    value_mm: float
    gradient: Row
    contacts_mm: tuple[Point, ...]
    height_slope: float = 0.0


@dataclass(frozen=True, slots=True)
class Touch:
    """A candidate contact: the point, how its coordinate moves with the pose, and its slope."""

    at: Point
    gradient: Row
    height_slope: float = 0.0


def observe(method: Method, blade: Blade, base: Base, pose: Pose) -> Observation | None:
    """Return what ``method`` reads at ``pose``; None where it meets no part of the blade."""
    c, s = math.cos(pose.tilt_rad), math.sin(pose.tilt_rad)
    x0, y0 = pose.x_mm, pose.y_mm
    points = [(x0 + c * u - s * v, y0 + s * u + c * v) for u, v in blade.outline_mm]
    if method.quantity == "depth":
        if method.station is None:
            return _deepest(points, base, pose)
        return _depth_at(method, points, base, pose)
    assert method.band_mm is not None
    ends = _band_ends(points, base, pose, *method.band_mm)
    if ends is None:
        return None
    rear, front = ends
    if method.quantity == "tail":
        return Observation(rear.at[0], rear.gradient, (rear.at,), rear.height_slope)
    return Observation(
        front.at[0] - rear.at[0],
        _minus(front.gradient, rear.gradient),
        (rear.at, front.at),
        front.height_slope - rear.height_slope,
    )


def _minus(a: Row, b: Row) -> Row:
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def _height_gradient(at: Point, base: Base, pose: Pose) -> Row:
    """Return how the height of a blade corner changes with the pose."""
    slope = base.slope(at[0])
    return (-slope, 1.0, (at[0] - pose.x_mm) + slope * (at[1] - pose.y_mm))


def _deepest(points: list[Point], base: Base, pose: Pose) -> Observation | None:
    # Over a base that bulges outward, height along a straight edge is convex, so that the largest
    # height always stands at a corner.
    best = max(points, key=lambda p: base.height(*p))
    height = base.height(*best)
    if not math.isfinite(height):
        return None
    return Observation(height, _height_gradient(best, base, pose), (best,))


def _depth_at(method: Method, points: list[Point], base: Base, pose: Pose) -> Observation | None:
    assert method.station is not None
    sx, sy = pose.place(method.station.at_mm)
    half = method.jaw_width_mm / 2.0
    left, right = sx - half, sx + half
    station_move: Row = (1.0, 0.0, -(sy - pose.y_mm))
    best: Touch | None = None
    best_height = -math.inf
    for a, b in zip(points, points[1:] + points[:1], strict=True):
        if max(a[0], b[0]) < left or min(a[0], b[0]) > right:
            continue
        for end in (a, b):
            if left <= end[0] <= right:
                height = base.height(*end)
                if height > best_height:
                    best_height = height
                    best = Touch(end, _height_gradient(end, base, pose))
        if a[0] == b[0]:
            continue
        for wall in (left,) if left == right else (left, right):
            if min(a[0], b[0]) <= wall <= max(a[0], b[0]):
                t = (wall - a[0]) / (b[0] - a[0])
                at = (wall, a[1] + t * (b[1] - a[1]))
                height = base.height(*at)
                if height >= best_height:
                    best_height = height
                    best = Touch(at, _wall_gradient(a, b, at, station_move, base, pose))
    if best is None or not math.isfinite(best_height):
        return None
    return Observation(best_height, best.gradient, (best.at,))


def _material(at: Point, normal: Point, pose: Pose) -> Row:
    """Return how the blade's own motion at ``at`` shows along ``normal``, per pose parameter."""
    nx, ny = normal
    return (nx, ny, -nx * (at[1] - pose.y_mm) + ny * (at[0] - pose.x_mm))


def _wall_gradient(a: Point, b: Point, at: Point, wall_move: Row, base: Base, pose: Pose) -> Row:
    """Return how the height changes where an edge crosses a wall that moves with the station."""
    nx, ny = -(b[1] - a[1]), b[0] - a[0]
    along = _material(at, (nx, ny), pose)
    slope = base.slope(at[0])
    gx, gy, gt = ((m - nx * w) / ny - slope * w for m, w in zip(along, wall_move, strict=True))
    return (gx, gy, gt)


def _band_ends(
    points: list[Point], base: Base, pose: Pose, lo: float, hi: float
) -> tuple[Touch, Touch] | None:
    """Return the rearmost and foremost contact among outline points with height in [lo, hi]."""
    heights = [base.height(*p) for p in points]
    levels = (lo,) if lo == hi else (lo, hi)
    bend = _bend(points, base)
    rear_x, front_x = math.inf, -math.inf
    rear: tuple[int, Point, bool] | None = None
    front: tuple[int, Point, bool] | None = None
    n = len(points)
    for i in range(n):
        a, b = points[i], points[(i + 1) % n]
        ha, hb = heights[i], heights[(i + 1) % n]
        high = max(ha, hb) + NEAR_MM
        if high < lo:  # convex along the edge: the middle is lower still
            continue
        low = min(ha, hb) - bend * (b[0] - a[0]) ** 2 - NEAR_MM
        found: list[tuple[Point, bool]] = []
        if lo <= ha <= hi:
            found.append((a, True))
        for level in levels:
            if low > level or high < level:
                continue
            found.extend((at, False) for at in level_crossings(a, b, base, level))
        for at, corner in found:
            if at[0] < rear_x or (at[0] == rear_x and not corner):
                rear_x, rear = at[0], (i, at, corner)
            if at[0] > front_x or (at[0] == front_x and not corner):
                front_x, front = at[0], (i, at, corner)
    if rear is None or front is None:
        return None
    ends = []
    for i, at, corner in (rear, front):
        ends.append(_end_touch(points[i], points[(i + 1) % n], at, corner, base, pose))
    return (ends[0], ends[1])


def _bend(points: list[Point], base: Base) -> float:
    """Return a bound of how far an edge's middle can lie lower than both ends, over dx squared.

    An arc rises above its chord by at most a quarter of dx times the change of its slope, and
    within half a radius of the apex its slope changes by less than 1.6 dx/R.
    """
    if base.radius_mm is None:
        return 0.0
    reach = max(abs(x - base.apex_mm) for x, _ in points)
    return 0.4 / base.radius_mm if reach <= base.radius_mm / 2.0 else math.inf


def _end_touch(a: Point, b: Point, at: Point, corner: bool, base: Base, pose: Pose) -> Touch:
    """Return how the x of a contact changes: a corner's own, or an edge's at a fixed height."""
    if corner:
        return Touch(at, (1.0, 0.0, -(at[1] - pose.y_mm)))
    nx, ny = -(b[1] - a[1]), b[0] - a[0]
    across = nx + ny * base.slope(at[0])
    if across == 0.0:  # the edge lies along the base: only its ends can be touched
        return Touch(at, (1.0, 0.0, -(at[1] - pose.y_mm)))
    mx, my, mt = (m / across for m in _material(at, (nx, ny), pose))
    return Touch(at, (mx, my, mt), -ny / across)


def level_crossings(a: Point, b: Point, base: Base, level_mm: float) -> list[Point]:
    """Return the points of segment a-b whose height over the base is ``level_mm``.

    With X = x - apex and Y = y - level, the arc of radius R raised by the level is
    Y + (X^2 + Y^2)/(2R) = 0: a quadratic along the segment that becomes linear as R grows.
    """
    k = base.half_curvature
    px, py = a[0] - base.apex_mm, a[1] - level_mm
    dx, dy = b[0] - a[0], b[1] - a[1]
    roots = _roots(
        k * (dx * dx + dy * dy), dy + 2.0 * k * (px * dx + py * dy), py + k * (px * px + py * py)
    )
    out: list[Point] = []
    for t in roots:
        if not -1e-12 <= t <= 1.0 + 1e-12:
            continue
        t = min(1.0, max(0.0, t))
        # Counted from the nearer end, so that a crossing at a corner is that corner.
        at = (
            (a[0] + t * dx, a[1] + t * dy)
            if t <= 0.5
            else (b[0] - (1 - t) * dx, b[1] - (1 - t) * dy)
        )
        if k == 0.0 or 2.0 * k * (at[1] - level_mm) + 1.0 > 0.0:  # the arc's upper half only
            out.append(at)
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
