"""Studs: their threads, how far each is in when the blade is seated, and where the blade seats.

A stud ends in a ball of radius ``tip_radius_mm`` (0: a point). Its travel is the distance along its
axis, from its reference point, at which that ball touches the line of the edge it stops.

Pitches are from the published tables: ISO 261 coarse and fine series (pitch in mm) and ASME B1.1
UNC and UNF series (threads per inch). Studs are single-start, so that the lead is the pitch.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

from workbench.errors import InputError, OutOfReachError, shown
from workbench.fin.blade import Blade, check_point
from workbench.fin.frame import Point, Pose
from workbench.frozen import dataclass
from workbench.measure.linalg import Three, solve
from workbench.measure.units import MM_PER_INCH

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

    def allows(self, travel_mm: float, slack_mm: float = 0.0) -> bool:
        """Return whether its limits, where it has any, let it have this travel."""
        if self.limits_mm is None:
            return True
        lo, hi = self.limits_mm
        return lo - slack_mm <= self.end_mm(travel_mm) <= hi + slack_mm

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
    gradient: Three
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


def travel(stud: Stud, blade: Blade, pose: Pose) -> Travel:
    """Return the stud's travel with the blade seated at ``pose``.

    Raises:
        InputError: the stud does not point at its edge's outer side.
    """
    edge, (nu, nv) = (
        (blade.top_edge_mm, blade.top_normal)
        if stud.touches == "top"
        else (blade.back_edge_mm, blade.back_normal)
    )
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
    # A blade that moves along the edge's normal drives the ball back by one over ``press``; one
    # that slides along its edge does not move it.
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
    tops: list[Three] = []
    backs: list[Three] = []
    for stud, mm in zip(studs, travels_mm, strict=True):
        x, y = stud.at_mm[0] + mm * stud.axis[0], stud.at_mm[1] + mm * stud.axis[1]
        (tops if stud.touches == "top" else backs).append((x, y, stud.tip_radius_mm))
    tilt = _common_tangent_tilt(tops[0], tops[1], blade.top_normal, near)
    c, s = math.cos(tilt), math.sin(tilt)
    rows, right = [], []
    for (x, y, radius), edge, (nu, nv) in (
        (tops[0], blade.top_edge_mm, blade.top_normal),
        (backs[0], blade.back_edge_mm, blade.back_normal),
    ):
        n = (c * nu - s * nv, s * nu + c * nv)
        rows.append(n)
        right.append(n[0] * x + n[1] * y + radius - (nu * edge[0][0] + nv * edge[0][1]))
    out = solve(rows, right)
    if out is None:
        raise OutOfReachError("the blade's top and back edges are parallel: no stop along the base")
    return Pose(out[0], out[1], tilt)


def _common_tangent_tilt(one: Three, two: Three, normal: Point, near: Pose) -> float:
    """Return the tilt at which the top edge touches both balls: n . (c2 - c1) = r1 - r2."""
    dx, dy = two[0] - one[0], two[1] - one[1]
    apart = math.hypot(dx, dy)
    if apart <= abs(one[2] - two[2]):
        raise OutOfReachError("the two top studs are too close together for an edge to touch both")
    # That fixes the normal's angle to the line of the centres but for its sign: an edge can lie on
    # either side of the balls.
    lean = math.acos((one[2] - two[2]) / apart)
    own = math.atan2(normal[1], normal[0])
    tilts = []
    for sign in (1.0, -1.0):
        tilt = math.atan2(dy, dx) + sign * lean - own
        tilts.append(math.remainder(tilt - near.tilt_rad, math.tau) + near.tilt_rad)
    return min(tilts, key=lambda tilt: abs(tilt - near.tilt_rad))


# -- threads ---------------------------------------------------------------------------------------

ISO_COARSE_MM = {
    "1.6": 0.35, "2": 0.4, "2.5": 0.45, "3": 0.5, "3.5": 0.6, "4": 0.7, "5": 0.8, "6": 1.0,
    "8": 1.25, "10": 1.5, "12": 1.75, "14": 2.0, "16": 2.0,
}  # fmt: skip

ISO_FINE_MM = {"8": (1.0, 0.75), "10": (1.25, 1.0), "12": (1.5, 1.25)}

UNIFIED_TPI = {
    "0": {"UNF": 80}, "1": {"UNC": 64, "UNF": 72}, "2": {"UNC": 56, "UNF": 64},
    "3": {"UNC": 48, "UNF": 56}, "4": {"UNC": 40, "UNF": 48}, "5": {"UNC": 40, "UNF": 44},
    "6": {"UNC": 32, "UNF": 40}, "8": {"UNC": 32, "UNF": 36}, "10": {"UNC": 24, "UNF": 32},
    "12": {"UNC": 24, "UNF": 28}, "1/4": {"UNC": 20, "UNF": 28}, "5/16": {"UNC": 18, "UNF": 24},
    "3/8": {"UNC": 16, "UNF": 24}, "7/16": {"UNC": 14, "UNF": 20}, "1/2": {"UNC": 13, "UNF": 20},
}  # fmt: skip

_ACCEPTED = "a thread such as M5x0.8, M5, 10-32 UNF or 1/4-28, or give the lead, pitch or tpi"

_METRIC = re.compile(
    r"M\s*(\d{1,3}(?:[.,]\d{1,3})?)(?:\s*[x×*]\s*(\d{0,2}[.,]?\d{1,4}))?"
    r"(?:\s*-\s*\d[egh](?:\d[egh])?)?",
    re.IGNORECASE | re.ASCII,
)
_UNIFIED = re.compile(
    r"(?:#|No\.?\s*)?(\d{1,2}(?:/\d{1,2})?)\s*(?:-\s*(\d{1,3})\s*)?(?:(UN[CF]?)(?:-?\d?[AB])?)?",
    re.IGNORECASE | re.ASCII,
)


def lead_of_thread(designation: str, field: str = "thread") -> float:
    """Return the lead in mm of a thread designation.

    Metric with its pitch (``M5x0.8``) or coarse without (``M5``), with a tolerance class (``-6g``)
    or not; unified with its threads per inch (``10-32``, ``#10-32 UNF``, ``1/4-28``) or its series
    (``10 UNF``).

    Raises:
        InputError: not a designation, not in the table, or a series that contradicts the pitch.
    """
    text = designation.strip()
    if match := _METRIC.fullmatch(text):
        return _metric_lead(designation, field, match[1].replace(",", "."), match[2])
    match = _UNIFIED.fullmatch(text)
    if match is not None and (match[2] or match[3]):
        return _unified_lead(designation, field, match[1], match[2], (match[3] or "").upper())
    raise InputError(field, designation, _ACCEPTED)


def lead_of_tpi(tpi: float, field: str = "tpi") -> float:
    """Return the lead in mm for this many threads per inch (ASME B1.1: pitch = 1/tpi)."""
    if not 4.0 <= tpi <= 200.0:
        raise InputError(field, tpi, "4 to 200 threads per inch")
    return MM_PER_INCH / tpi


@lru_cache(maxsize=1)
def known_leads() -> tuple[tuple[str, float], ...]:
    """Return the designations of the tables with their leads in mm."""
    metric = {f"M{size}x{pitch:g}": pitch for size, pitch in ISO_COARSE_MM.items()}
    metric |= {f"M{size}x{p:g}": p for size, pitches in ISO_FINE_MM.items() for p in pitches}
    unified = {
        f"{size}-{tpi} {series}": MM_PER_INCH / tpi
        for size, table in UNIFIED_TPI.items()
        for series, tpi in table.items()
    }
    return (*metric.items(), *unified.items())


def _metric_lead(designation: str, field: str, size: str, pitch: str | None) -> float:
    key = f"{float(size):g}"
    coarse = ISO_COARSE_MM.get(key)
    if coarse is None:
        raise InputError(field, designation, f"a size among M{', M'.join(ISO_COARSE_MM)}")
    if pitch is None:
        return coarse
    value = float(pitch.replace(",", "."))
    # A special pitch is a real thing on a stud, so it is taken when it is sane for the size.
    if not 0.1 <= value <= coarse * 1.0001 and value not in ISO_FINE_MM.get(key, ()):
        raise InputError(field, designation, f"a pitch from 0.1 to {coarse:g} mm for M{key}")
    return value


def _unified_lead(designation: str, field: str, size: str, pitch: str | None, name: str) -> float:
    """Return the lead by threads per inch (``pitch``) or by the series of that name, or by both."""
    table = UNIFIED_TPI.get(size, {})
    tpi = table.get(name, 0) if pitch is None else int(pitch)
    if table.get(name, tpi) != tpi:
        raise InputError(field, designation, f"{size}-{table[name]} {name}, or another series")
    # UN alone says that the pitch is a special one.
    is_known = tpi in table.values() and (name in table or name not in ("UNC", "UNF"))
    if not table or not (is_known or (name == "UN" and pitch is not None)):
        raise InputError(field, designation, _known_unified(size))
    if not 4 <= tpi <= 200:
        raise InputError(field, designation, "4 to 200 threads per inch")
    return MM_PER_INCH / tpi


def _known_unified(size: str) -> str:
    table = UNIFIED_TPI.get(size)
    if not table:
        return f"a size among {', '.join(UNIFIED_TPI)}"
    known = " or ".join(f"{size}-{tpi} {name}" for name, tpi in table.items())
    return f"{known}; for a special pitch give tpi"
