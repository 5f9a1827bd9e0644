"""From a pose near by down to the one that gives the readings.

Readings are smooth functions of the pose between the corners of the outline and have kinks there.
Three readings are first solved with their contacts held, as if each jaw kept the edge it touches
now: between kinks a reading is a closed form of the pose, and to follow that costs a fraction of
looking for the contacts anew at each step; whether they hold where it ends, one look there tells.
Where contacts change on the way, Newton steps (three readings) or Gauss-Newton steps (more) with
the exact derivatives are damped until the misfit falls (Levenberg-Marquardt), and where a kink
blocks the way the derivatives from its other sides are tried. A pose is only returned as a solution
when it is one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from workbench.fin.blade import Edge
from workbench.fin.frame import Base, Point, Pose
from workbench.fin.pose.equations import AtPose, Equations
from workbench.fin.reading.method import TRAITS, Method
from workbench.fin.reading.observe import Observation
from workbench.measure.linalg import Three, inverse_of_three, normal_matrix, solve

# -- contacts held ---------------------------------------------------------------------------------

Form = Callable[[float, float, float, float], float]
"""A reading in mm from where the blade's origin lies (x, y in mm) and the cosine and sine of how
far it has turned since the contacts were seen."""

_STEPS = 12
"""A solution near by takes five or six steps."""

DONE_MM = 1e-11
"""A next step this short is left undone: far below the last digit of any reading."""


def solve_held(equations: Equations, sight: AtPose) -> Pose | None:
    """Return the pose that gives three readings if the contacts stay those of ``sight``, or None.

    Newton's method with the derivatives of ``sight`` kept throughout (the chord method): near a
    solution each step leaves a small share of the misfit. None where it does not close in, and for
    coarse marks, which touch nothing.
    """
    back = inverse_of_three(sight.rows)
    forms = [
        closed_form(r.method, o, sight.pose, equations.base)
        for r, o in zip(equations.readings, sight.observations, strict=True)
    ]
    if back is None or None in forms:
        return None
    return _closed_in(equations, sight, [f for f in forms if f is not None], back)


def _closed_in(
    equations: Equations, sight: AtPose, forms: list[Form], back: tuple[Three, Three, Three]
) -> Pose | None:
    """Step until the next one would be done; None where one is over half as long as the last."""
    (a, b, c), (d, e, f), (g, h, i) = back
    first, second, third = forms
    (v1, w1), (v2, w2), (v3, w3) = [(r.value_mm, 1.0 / r.u_mm) for r in equations.readings]
    x, y, turned = sight.pose.x_mm, sight.pose.y_mm, 0.0
    scale = equations.scale_mm
    m1, m2, m3 = sight.misfits
    last, shrunk = 0.0, 1.0
    for _ in range(_STEPS):
        dx, dy = a * m1 + b * m2 + c * m3, d * m1 + e * m2 + f * m3
        dt = g * m1 + h * m2 + i * m3
        size = abs(dx) + abs(dy) + abs(dt)
        if last:
            shrunk = size / last
            if not shrunk < 0.5:
                return None
        x, y, turned = x - dx, y - dy, turned - dt / scale
        if size * shrunk < DONE_MM:
            break
        last = size
        cos, sin = math.cos(turned), math.sin(turned)
        m1 = (first(x, y, cos, sin) - v1) * w1
        m2 = (second(x, y, cos, sin) - v2) * w2
        m3 = (third(x, y, cos, sin) - v3) * w3
    return Pose(x, y, sight.pose.tilt_rad + turned)


def closed_form(method: Method, seen: Observation, pose: Pose, base: Base) -> Form | None:
    """Return a reading's closed form with its contacts held."""
    if not seen.edges_mm:
        return None
    at, edge = seen.contacts_mm[0], seen.edges_mm[0]
    ends = TRAITS[method.quantity].ends
    if not ends:
        if edge is None:
            return _corner_height(at, pose, base)
        assert method.station is not None, "only a station's wall crosses an edge"
        return _height_at_wall(pose.place(method.station.at_mm), at, edge, pose, base)
    near = _x_of(at, edge, pose, base)
    if len(ends) == 1:
        return near
    far = _x_of(seen.contacts_mm[1], seen.edges_mm[1], pose, base)
    return lambda x, y, c, s: far(x, y, c, s) - near(x, y, c, s)


def _x_of(at: Point, edge: Edge | None, pose: Pose, base: Base) -> Form:
    """Return the x of a contact: a corner, or where an edge stays at the height it has there."""
    if edge is None:
        qx, qy = at[0] - pose.x_mm, at[1] - pose.y_mm
        return lambda x, y, c, s: x + c * qx - s * qy
    nx, ny, m = _line(edge, pose)
    level = base.height(*at)
    if base.radius_mm is None:

        def over_flat(x: float, y: float, c: float, s: float) -> float:
            return x + (m - (s * nx + c * ny) * (level - y)) / (c * nx - s * ny)

        return over_flat
    return _x_over_arc(at, (nx, ny, m), level, (base.apex_mm, base.radius_mm))


def _x_over_arc(
    at: Point, line: tuple[float, float, float], level: float, arc: tuple[float, float]
) -> Form:
    """Return the x where a line crosses a circle: that of the two crossings which ``at`` is."""
    nx, ny, m = line
    apex, radius = arc
    middle = level - radius
    along = nx * (at[1] - middle) - ny * (at[0] - apex)
    side = math.copysign(1.0, along)

    def over_arc(x: float, y: float, c: float, s: float) -> float:
        rx, ry = c * nx - s * ny, s * nx + c * ny
        off = rx * (x - apex) + ry * (y - middle) + m
        under = radius * radius - off * off
        if under < 0.0:
            return math.nan
        return apex + rx * off - side * ry * math.sqrt(under)

    return over_arc


def _corner_height(at: Point, pose: Pose, base: Base) -> Form:
    qx, qy = at[0] - pose.x_mm, at[1] - pose.y_mm
    height = base.height
    return lambda x, y, c, s: height(x + c * qx - s * qy, y + s * qx + c * qy)


def _height_at_wall(station: Point, at: Point, edge: Edge, pose: Pose, base: Base) -> Form:
    """Return the height where an edge crosses a wall that keeps its distance from a station."""
    nx, ny, m = _line(edge, pose)
    qx, qy = station[0] - pose.x_mm, station[1] - pose.y_mm
    beside = at[0] - station[0]
    height = base.height

    def at_wall(x: float, y: float, c: float, s: float) -> float:
        along = c * qx - s * qy + beside
        return height(x + along, y + (m - (c * nx - s * ny) * along) / (s * nx + c * ny))

    return at_wall


def _line(edge: Edge, pose: Pose) -> tuple[float, float, float]:
    """Return an edge's unit normal and how far along it the edge lies from the blade's origin."""
    (ax, ay), (bx, by) = edge
    length = math.hypot(bx - ax, by - ay)
    nx, ny = (ay - by) / length, (bx - ax) / length
    return nx, ny, nx * (ax - pose.x_mm) + ny * (ay - pose.y_mm)


# -- the way down ----------------------------------------------------------------------------------

STEEPEST_RAD = math.radians(15.0)
"""Beyond this tilt a fin is not set but fallen over; poses are looked for within it."""

LONGEST_STEP = 0.06
"""Longest single step, as a share of the blade's length."""

_FINEST = 1e-12
"""A step this short (mm) changes nothing that a double holds of a pose."""

QUADRATIC = 1e-6
"""After a plain Newton step this short what is left is of its square: below the last digits."""

_HOLDS = 3
"""So often contacts that have changed are held anew."""

STATIONARY = 1e-9
"""A least-squares minimum is smooth where no derivative is larger, relative to the misfits."""

_AROUND: tuple[Three, ...] = (
    (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0), (0.0, -1.0, 0.0),
    (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 0.7, 0.7), (0.0, -0.7, -0.7),
    (0.0, 0.7, -0.7), (0.0, -0.7, 0.7),
)  # fmt: skip


def descend(equations: Equations, start: Pose, round_kinks: bool = True) -> AtPose | None:
    """Descend from ``start`` to a solution and return it as seen; None where there is none.

    Without ``round_kinks`` a way that a kink blocks is given up: for a search with many starts.
    """
    sight = equations.sight(start)
    if sight is None:
        return None
    if equations.exact:
        held = _held(equations, sight)
        if held is not None:
            return held
    sight = _go_down(equations, sight, round_kinks)
    if abs(sight.pose.tilt_rad) > STEEPEST_RAD:
        return None
    if equations.exact:
        sight = _polish(equations, sight)
        return sight if equations.met(sight) else None
    return sight if _is_stationary(sight) else _settle(equations, sight)


def held_from(equations: Equations, start: Pose) -> AtPose | None:
    """Return the solution of three readings where contacts as at ``start`` lead to one, or None."""
    sight = equations.sight(start)
    return None if sight is None else _held(equations, sight)


def _held(equations: Equations, sight: AtPose) -> AtPose | None:
    """Return the solution with the contacts held, where they do hold or soon come to."""
    for _ in range(_HOLDS):
        pose = solve_held(equations, sight)
        if pose is None or abs(pose.tilt_rad) > STEEPEST_RAD:
            return None
        new = equations.sight(pose)
        if new is None or not new.cost < sight.cost:
            return None
        if equations.met(new):
            return new
        sight = new
    return None


def _go_down(equations: Equations, sight: AtPose, round_kinks: bool) -> AtPose:
    """Take damped steps until none helps."""
    damping = 0.0
    for _ in range(60):
        step = _step(equations, sight.misfits, sight.rows, damping)
        if step is None:
            damping = max(damping * 10.0, 1e-6)
            if damping > 1e12:
                return sight
            continue
        size = max(map(abs, step))
        new = equations.sight(equations.stepped(sight.pose, step))
        is_level = new is not None and abs(new.pose.tilt_rad) <= 1.5 * STEEPEST_RAD
        if new is not None and is_level and new.cost < sight.cost:
            sight = new
            if damping == 0.0 and size < QUADRATIC and len(sight.rows) == 3:
                return sight
            damping = 0.0 if damping < 1e-4 else damping / 30.0
            if size > 1e-12:
                continue
        if size < 1e-10 or (sight.cost < 1e-18 and size < 1e-7):
            return sight
        if damping < 1e6:  # shorter and more along the slope, until a kink alone can be in the way
            damping = max(damping * 30.0, 1e-4)
            continue
        around = _around_kink(equations, sight) if round_kinks else None
        if around is None:
            return sight
        sight, damping = around, 0.0
    return sight


def _step(
    equations: Equations, misfits: Sequence[float], rows: Sequence[Three], damping: float
) -> Three | None:
    """Return the step that the derivatives ask for, shortened to the longest allowed."""
    # Three equations are solved as they are: their normal matrix would square the condition.
    if len(rows) == 3 and damping == 0.0:
        out = solve(rows, [-m for m in misfits])
    else:
        n = normal_matrix(rows, [1.0] * len(rows))
        lift = damping * max(n[0][0], n[1][1], n[2][2])
        for i in range(3):
            n[i][i] += lift
        right = [-sum(m * row[i] for m, row in zip(misfits, rows, strict=True)) for i in range(3)]
        out = solve(n, right)
    if out is None:
        return None
    longest = max(map(abs, out))
    limit = LONGEST_STEP * equations.scale_mm
    shrink = limit / longest if longest > limit else 1.0
    return (out[0] * shrink, out[1] * shrink, out[2] * shrink)


def _around_kink(equations: Equations, here: AtPose) -> AtPose | None:
    """Step with the derivatives of near-by places, where a kink turned the own ones wrong."""
    for reach in (1e-6, 1e-3, 0.1, 1.0):
        for direction in _AROUND:
            near = equations.sight(equations.stepped(here.pose, direction, reach))
            if near is None:
                continue
            for damping in (0.0, 1e-2):
                step = _step(equations, here.misfits, near.rows, damping)
                if step is None:
                    continue
                for share in (1.0, 0.25, 0.02):
                    new = equations.sight(equations.stepped(here.pose, step, share))
                    if new is not None and new.cost < here.cost * (1.0 - 1e-6):
                        return new
    return None


def _polish(equations: Equations, sight: AtPose) -> AtPose:
    """Take up to three plain Newton steps while they help, to the last digits."""
    for _ in range(3):
        step = _step(equations, sight.misfits, sight.rows, 0.0)
        if step is None or max(map(abs, step)) < _FINEST:
            break
        new = equations.sight(equations.stepped(sight.pose, step))
        if new is None or not new.cost < sight.cost:
            break
        sight = new
    return sight


def _is_stationary(sight: AtPose) -> bool:
    """Whether the sum of squares has no slope: a minimum between kinks."""
    if sight.cost == 0.0:
        return True
    size = math.sqrt(sight.cost)
    for i in range(3):
        column = [row[i] for row in sight.rows]
        slope = sum(m * c for m, c in zip(sight.misfits, column, strict=True))
        if abs(slope) > STATIONARY * size * math.hypot(*column):
            return False
    return True


def _settle(equations: Equations, sight: AtPose) -> AtPose:
    """Close in on a minimum that lies on a kink, by a shrinking pattern search."""
    reach = 0.01
    for _ in range(400):
        if reach < 1e-10:
            break
        for direction in _AROUND:
            new = equations.sight(equations.stepped(sight.pose, direction, reach))
            if new is not None and new.cost < sight.cost * (1.0 - 1e-13):
                sight = new
                break
        else:
            reach /= 4.0
    return sight
