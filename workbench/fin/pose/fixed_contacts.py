"""Three readings solved with their contacts held, as if each jaw kept the edge it touches now.

Between kinks a reading is a closed form of the pose. To follow it costs a fraction of looking for
the contacts anew at each step; whether they hold where it ends, one look there tells.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from workbench.fin.frame.linear import Row, inverse_of_three
from workbench.fin.frame.pose import Point, Pose
from workbench.fin.parts.base import Base
from workbench.fin.pose.equations import Equations, Sight
from workbench.fin.reading.observation import Edge
from workbench.fin.reading.observe import Method, Observation
from workbench.fin.reading.quantities import TRAITS

Form = Callable[[float, float, float, float], float]
"""A reading in mm from where the blade's origin lies (x, y in mm) and the cosine and sine of how
far it has turned since the contacts were seen."""

_STEPS = 12
"""A solution near by takes five or six steps."""

DONE_MM = 1e-11
"""A next step this short is left undone: far below the last digit of any reading."""


def solve_held(equations: Equations, sight: Sight) -> Pose | None:
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
    equations: Equations, sight: Sight, forms: list[Form], back: tuple[Row, Row, Row]
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
