"""Studs: how far each is in when the blade is seated, and where the blade seats for them.

A stud ends in a ball of radius ``tip_radius_mm`` (0: a point). Its travel is the distance along its
axis, from its reference point, at which that ball touches the line of the edge it stops.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from workbench.errors import InputError, OutOfReachError, shown
from workbench.fin.frame import Point, Pose, Row, solve
from workbench.fin.parts.blade import Blade, Edge, check_point
from workbench.frozen import dataclass

Touches = Literal["top", "back"]
Hand = Literal["right", "left"]

TAIL = "tail"
TAIL_BEFORE = "back"
"""What the stud behind the blade is called in files and books, and what older ones call it."""

LARGEST_PLACE_U_MM = 50.0
"""The most that a stud's place may be uncertain by: beyond that nothing was looked at."""

LEAST_PRESS = 0.2
"""Least cosine between a stud's axis and the edge's normal: a flatter stud would slide."""


@dataclass(frozen=True, slots=True)
class Stud:
    """A threaded stop. ``at_mm`` lies on its axis (ski frame), ``axis`` points to the blade.

    ``lead_mm`` is the travel of one turn; ``limits_mm`` are how far from ``at_mm`` along the axis
    its end may lie, least and most. ``place_u_mm`` is the standard uncertainty of where its axis
    lies beside itself, ``lead_u`` that of its lead as a share of it; 0 takes them for exact.
    """

    name: str
    touches: Touches
    at_mm: Point
    axis: Point
    lead_mm: float
    hand: Hand = "right"
    tip_radius_mm: float = 0.0
    limits_mm: tuple[float, float] | None = None
    place_u_mm: float = 0.0
    lead_u: float = 0.0

    def __post_init__(self) -> None:
        where = f"stud {shown(self.name)}"
        if self.touches not in ("top", "back"):
            raise InputError(f"{where} touches", self.touches, "'top' or 'back'")
        if self.hand not in ("right", "left"):
            raise InputError(f"{where} hand", self.hand, "'right' or 'left'")
        check_point(f"{where} at", self.at_mm)
        check_point(f"{where} axis", self.axis)
        size = math.hypot(*self.axis)
        if size < 1e-9:
            raise InputError(f"{where} axis", self.axis, "a direction toward the blade, not [0, 0]")
        object.__setattr__(self, "axis", (self.axis[0] / size, self.axis[1] / size))
        if not (math.isfinite(self.lead_mm) and 0.05 <= self.lead_mm <= 10.0):
            raise InputError(f"{where} lead", self.lead_mm, "0.05 to 10 mm a turn")
        if not (math.isfinite(self.tip_radius_mm) and 0.0 <= self.tip_radius_mm <= 20.0):
            raise InputError(f"{where} tip_radius", self.tip_radius_mm, "0 to 20 mm")
        if not 0.0 <= self.place_u_mm <= LARGEST_PLACE_U_MM:
            accepted = f"0 (taken for exact) to {LARGEST_PLACE_U_MM:g} mm"
            raise InputError(f"{where} place_u", f"{self.place_u_mm:g} mm", accepted)
        if not 0.0 <= self.lead_u <= 1.0:
            accepted = "a share of the lead: 0 (taken for exact) to 1"
            raise InputError(f"{where} lead_u", self.lead_u, accepted)
        if self.limits_mm is not None:
            lo, hi = self.limits_mm
            if not (math.isfinite(lo) and math.isfinite(hi) and lo < hi):
                raise InputError(
                    f"{where} limits", self.limits_mm, "[least, most] travel with least < most"
                )

    def end_mm(self, travel_mm: float) -> float:
        """Return how far along the axis the stud's end lies at a travel: its tip radius further."""
        return travel_mm + self.tip_radius_mm

    @property
    def said(self) -> str:
        """What it is called on screen and paper."""
        return said(self.name, self.touches)

    def clockwise(self, turns: float) -> bool | None:
        """Tell whether these turns (positive is in) are clockwise at its head; None for no turn."""
        if turns == 0.0:
            return None
        return (turns > 0.0) == (self.hand == "right")


@dataclass(frozen=True, slots=True)
class Travel:
    """A stud's travel (mm) at a pose, its derivatives, and where on the edge its ball lies.

    ``along`` is 0 at the edge's first point and 1 at its second; outside that, the ball is off it.
    """

    mm: float
    gradient: Row
    contact_mm: Point
    along: float

    @property
    def on_edge(self) -> bool:
        """Whether the ball touches the edge itself and not only the line through it."""
        return 0.0 <= self.along <= 1.0


def said(name: str, touches: Touches | None = None) -> str:
    """Return what a stud of this name is called on screen and paper, so that none is mixed up.

    ``front`` and ``rear`` are told from the tail stud, which was ``back`` in older books and files.
    Where ``touches`` is not known, a ``back`` is the tail stud.
    """
    if name in ("front", "rear"):
        return name if touches == "back" else f"top {name}"
    if name == TAIL_BEFORE:
        return f"top {name}" if touches == "top" else TAIL
    return name


def named(name: str, names: Sequence[str]) -> str | None:
    """Return which of these names is meant: itself, or what the tail stud was called before."""
    if name in names:
        return name
    other = {TAIL: TAIL_BEFORE, TAIL_BEFORE: TAIL}.get(name)
    return other if other in names else None


def edge_of(stud: Stud, blade: Blade) -> Edge:
    """Return the edge (blade frame, mm) that the stud presses on."""
    return blade.top_edge_mm if stud.touches == "top" else blade.back_edge_mm


def normal_of(stud: Stud, blade: Blade) -> Point:
    """Return that edge's unit normal into the metal (blade frame)."""
    return blade.top_normal if stud.touches == "top" else blade.back_normal


def travel(stud: Stud, blade: Blade, pose: Pose) -> Travel:
    """Return the stud's travel with the blade seated at ``pose``.

    Raises:
        InputError: the stud does not point at its edge's outer side.
    """
    edge = edge_of(stud, blade)
    nu, nv = normal_of(stud, blade)
    c, s = math.cos(pose.tilt_rad), math.sin(pose.tilt_rad)
    n = (c * nu - s * nv, s * nu + c * nv)
    press = n[0] * stud.axis[0] + n[1] * stud.axis[1]
    if press < LEAST_PRESS:
        raise InputError(
            f"stud {shown(stud.name)} axis",
            stud.axis,
            f"an axis that points from outside the blade onto its {stud.touches} edge",
        )
    e1, e2 = pose.place(edge[0]), pose.place(edge[1])
    gap = (e1[0] - stud.at_mm[0]) * n[0] + (e1[1] - stud.at_mm[1]) * n[1]
    mm = (gap - stud.tip_radius_mm) / press
    contact = (
        stud.at_mm[0] + mm * stud.axis[0] + stud.tip_radius_mm * n[0],
        stud.at_mm[1] + mm * stud.axis[1] + stud.tip_radius_mm * n[1],
    )
    ex, ey = e2[0] - e1[0], e2[1] - e1[1]
    along = ((contact[0] - e1[0]) * ex + (contact[1] - e1[1]) * ey) / (ex * ex + ey * ey)
    turn = n[1] * (contact[0] - pose.x_mm) - n[0] * (contact[1] - pose.y_mm)
    return Travel(mm, (n[0] / press, n[1] / press, turn / press), contact, along)


def check_studs(studs: Sequence[Stud]) -> None:
    """Raise an InputError unless there are two studs on the top edge and one on the back edge."""
    if len(studs) != 3:
        raise InputError("studs", f"{len(studs)} studs", "three: two on 'top', one on 'back'")
    names = [stud.name for stud in studs]
    for name in names:
        if names.count(name) > 1:
            raise InputError("stud name", name, "each stud's name used once")
    tops = [stud for stud in studs if stud.touches == "top"]
    if len(tops) != 2:
        raise InputError("studs touching 'top'", len(tops), "two on 'top' and one on 'back'")
    if math.dist(tops[0].at_mm, tops[1].at_mm) < 2.0:
        raise InputError(
            f"stud {shown(tops[1].name)} at",
            tops[1].at_mm,
            "a place at least 2 mm from the other stud",
        )
    if _beside_mm(tops[0], tops[1]) < 2.0 and _beside_mm(tops[1], tops[0]) < 2.0:
        raise InputError(
            f"stud {shown(tops[1].name)} at",
            tops[1].at_mm,
            f"a place beside the axis of stud {shown(tops[0].name)}: "
            "two studs on one line do not hold the blade's tilt",
        )


def _beside_mm(one: Stud, other: Stud) -> float:
    """Return how far beside the axis of ``one`` the place of another stud lies."""
    dx, dy = other.at_mm[0] - one.at_mm[0], other.at_mm[1] - one.at_mm[1]
    return abs(one.axis[0] * dy - one.axis[1] * dx)


def seat(studs: Sequence[Stud], blade: Blade, travels_mm: Sequence[float], near: Pose) -> Pose:
    """Return the pose of a blade pushed home against three studs with these travels.

    Closed form: the top edge is the common tangent of the two top studs' balls, on the side that
    lies nearest to the tilt of ``near``; the tail stud's ball then fixes the place along it.

    Raises:
        OutOfReachError: no line touches both balls, or the edges are parallel.
    """
    balls = {
        stud.name: (
            stud.at_mm[0] + mm * stud.axis[0],
            stud.at_mm[1] + mm * stud.axis[1],
            stud.tip_radius_mm,
        )
        for stud, mm in zip(studs, travels_mm, strict=True)
    }
    one, two = (balls[stud.name] for stud in studs if stud.touches == "top")
    back = next(balls[stud.name] for stud in studs if stud.touches == "back")
    tilt = _common_tangent_tilt(one, two, blade.top_normal, near)
    pose = _against(one, back, blade, tilt)
    if pose is None:
        raise OutOfReachError("the blade's top and back edges are parallel: no stop along the base")
    return pose


def _common_tangent_tilt(
    one: tuple[float, float, float], two: tuple[float, float, float], normal: Point, near: Pose
) -> float:
    """Return the tilt at which the top edge touches both balls: n . (c2 - c1) = r1 - r2."""
    dx, dy = two[0] - one[0], two[1] - one[1]
    apart = math.hypot(dx, dy)
    if apart <= abs(one[2] - two[2]):
        raise OutOfReachError("the two top studs are too close together for an edge to touch both")
    lean = math.acos((one[2] - two[2]) / apart)
    own = math.atan2(normal[1], normal[0])
    tilts = []
    for sign in (1.0, -1.0):
        tilt = math.atan2(dy, dx) + sign * lean - own
        tilts.append(math.remainder(tilt - near.tilt_rad, math.tau) + near.tilt_rad)
    return min(tilts, key=lambda tilt: abs(tilt - near.tilt_rad))


def _against(
    top: tuple[float, float, float], back: tuple[float, float, float], blade: Blade, tilt: float
) -> Pose | None:
    """Return the pose at this tilt whose top and back edges touch these balls."""
    c, s = math.cos(tilt), math.sin(tilt)
    rows, right = [], []
    for (x, y, radius), edge, (nu, nv) in (
        (top, blade.top_edge_mm, blade.top_normal),
        (back, blade.back_edge_mm, blade.back_normal),
    ):
        n = (c * nu - s * nv, s * nu + c * nv)
        rows.append(n)
        right.append(n[0] * x + n[1] * y + radius - (nu * edge[0][0] + nv * edge[0][1]))
    out = solve(rows, right)
    return None if out is None else Pose(out[0], out[1], tilt)
