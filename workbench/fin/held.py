"""Three readings solved with their contacts held, as if each jaw kept the edge it touches now.

Between kinks a reading is a closed form of the pose. To follow it costs a fraction of looking for
the contacts anew at each step; whether they hold where it ends, one look there tells.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from workbench.fin.base import Base
from workbench.fin.equations import Equations, Sight
from workbench.fin.linear import Matrix3, Row, inverse_of_three
from workbench.fin.methods import Method, Observation
from workbench.fin.observation import Edge
from workbench.fin.pose import Point, Pose
from workbench.fin.readings import Reading
from workbench.frozen import dataclass

Form = Callable[[float, float, float, float], float]
"""A reading in mm from where the blade's origin lies (x, y in mm) and the cosine and sine of how
far it has turned since the contacts were seen."""

STEPS = 12
"""A solution near by takes five or six steps."""

DONE_MM = 1e-11
"""A next step this short is left undone: far below the last digit of any reading."""


@dataclass(frozen=True, slots=True)
class Held:
    """Three readings with the contacts that they have at ``pose``.

    ``values_mm`` are what they read there, ``forms`` what they read elsewhere with these contacts,
    and ``back`` is the inverse of their derivatives, the tilt in mm at the blade's length
    (``scale_mm``).
    """

    pose: Pose
    values_mm: Row
    forms: tuple[Form, Form, Form]
    back: Matrix3
    scale_mm: float


def hold(equations: Equations, sight: Sight) -> Held | None:
    """Hold three readings' contacts as they are at ``sight``.

    None where the derivatives fix no pose, and for coarse marks, which touch nothing.
    """
    seen = sight.observations
    scale = equations.scale_mm
    back = inverse_of_three([(gx, gy, gt / scale) for gx, gy, gt in (o.gradient for o in seen)])
    forms = [
        closed_form(r.method, o, sight.pose, equations.base)
        for r, o in zip(equations.readings, seen, strict=True)
    ]
    first, second, third = forms
    if back is None or first is None or second is None or third is None:
        return None
    values = (seen[0].value_mm, seen[1].value_mm, seen[2].value_mm)
    return Held(sight.pose, values, (first, second, third), back, scale)


def solve_held(held: Held, readings: Sequence[Reading]) -> Pose | None:
    """Return the pose that gives three readings if the contacts stay those held, or None.

    Newton's method with the derivatives where they were seen kept throughout (the chord method):
    near a solution each step leaves a small share of the misfit. The last one taken is that after
    which the next would be done; None where a step is over half as long as the one before.
    """
    (a, b, c), (d, e, f), (g, h, i) = held.back
    first, second, third = held.forms
    v1, v2, v3 = [r.value_mm for r in readings]
    x, y, turned = held.pose.x_mm, held.pose.y_mm, 0.0
    scale = held.scale_mm
    m1, m2, m3 = held.values_mm
    m1, m2, m3 = m1 - v1, m2 - v2, m3 - v3
    last, shrunk = 0.0, 1.0
    for _ in range(STEPS):
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
        m1 = first(x, y, cos, sin) - v1
        m2 = second(x, y, cos, sin) - v2
        m3 = third(x, y, cos, sin) - v3
    return Pose(x, y, held.pose.tilt_rad + turned)


def closed_form(method: Method, seen: Observation, pose: Pose, base: Base) -> Form | None:
    """Return a reading's closed form with its contacts held."""
    if not seen.edges_mm:
        return None
    at, edge = seen.contacts_mm[0], seen.edges_mm[0]
    if method.quantity == "depth":
        if edge is None:
            return _corner_height(at, pose, base)
        assert method.station is not None, "only a station's wall crosses an edge"
        return _height_at_wall(pose.place(method.station.at_mm), at, edge, pose, base)
    rear = _x_of(at, edge, pose, base)
    if method.quantity == "tail":
        return rear
    front = _x_of(seen.contacts_mm[1], seen.edges_mm[1], pose, base)
    return lambda x, y, c, s: front(x, y, c, s) - rear(x, y, c, s)


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
