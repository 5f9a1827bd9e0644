"""The metal fin plate: a checked outline, its two hidden edges and its holes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import field

from workbench.errors import InputError, shown
from workbench.fin.frame import Point, direction
from workbench.frozen import dataclass

Edge = tuple[Point, Point]

_NO_EDGE: Edge = ((0.0, 0.0), (0.0, 0.0))
"""The edges of a blade whose outline is not known: of no length, so that no stud can press."""

SMALLEST_MM, LARGEST_MM = 5.0, 1000.0
"""A blade's extent must lie between these: a slip of unit or point falls outside."""

EDGE_REACH_MM = 2.54
"""How far the ends of the top or back edge may lie from the outline: 0.1 in."""

LARGEST_U_MM = 2.0
"""An outline known worse than so is a guess, not a trace."""

MOST_POINTS = 2000
"""More points than any hand-measured or traced outline needs."""

MOST_HOLES = 200
"""More holes than any blade has."""


@dataclass(frozen=True, slots=True)
class Hole:
    """A named round hole, its centre in the blade frame."""

    name: str
    at_mm: Point
    diameter_mm: float

    def __post_init__(self) -> None:
        check_point(f"hole {shown(self.name)} at", self.at_mm)
        if not (math.isfinite(self.diameter_mm) and 0.0 < self.diameter_mm <= 100.0):
            raise InputError(
                f"hole {shown(self.name)} diameter",
                self.diameter_mm,
                "more than 0 and at most 100 mm",
            )

    def edge(self, side: str) -> Point:
        """Return the hole's ``back`` (toward the tail) or ``front`` (toward the tip) edge."""
        if side not in ("back", "front"):
            raise InputError("hole edge", side, "'back' or 'front'")
        u, v = self.at_mm
        shift = self.diameter_mm / 2.0
        return (u - shift if side == "back" else u + shift, v)


@dataclass(frozen=True, slots=True)
class Blade:
    """A blade: outline (n x 2, mm, not repeated at its end), top and back edge, holes.

    ``outline_u_mm`` is the standard uncertainty of a corner of the outline, and of a hole's centre,
    in any direction; 0 takes the outline for exact.
    ``top_normal`` and ``back_normal`` are the edges' unit normals into the metal, ``reach_mm`` how
    far the outline's farthest point lies from the origin. ``centre_mm`` is the outline's centroid
    and ``arm_mm`` how far its farthest point lies from that: the same wherever the origin is.

    :meth:`untraced` gives a blade whose outline nobody knows yet: it has no pose and no contacts.

    Raises:
        InputError: too few points, a self-crossing or degenerate outline, an odd size, or an edge
            away from the outline.
    """

    name: str
    outline_mm: tuple[Point, ...]
    top_edge_mm: Edge
    back_edge_mm: Edge
    holes: tuple[Hole, ...] = ()
    outline_u_mm: float = 0.0
    top_normal: Point = field(init=False, repr=False, compare=False)
    back_normal: Point = field(init=False, repr=False, compare=False)
    reach_mm: float = field(init=False, repr=False, compare=False)
    centre_mm: Point = field(init=False, repr=False, compare=False)
    arm_mm: float = field(init=False, repr=False, compare=False)

    @classmethod
    def untraced(cls, name: str) -> Blade:
        """Return a blade whose outline is not known yet."""
        return cls(name, (), _NO_EDGE, _NO_EDGE)

    @property
    def is_traced(self) -> bool:
        """Whether the outline is known."""
        return bool(self.outline_mm)

    def __post_init__(self) -> None:
        if (self.outline_mm, self.top_edge_mm, self.back_edge_mm) == ((), _NO_EDGE, _NO_EDGE):
            for label in ("top_normal", "back_normal", "centre_mm"):
                object.__setattr__(self, label, (0.0, 0.0))
            for label in ("reach_mm", "arm_mm"):
                object.__setattr__(self, label, 0.0)
            return
        object.__setattr__(self, "outline_mm", _opened(self.outline_mm))
        _check_outline(self.outline_mm)
        for label, edge in (("top", self.top_edge_mm), ("back", self.back_edge_mm)):
            _check_edge(f"{label}_edge", edge, self.outline_mm)
            object.__setattr__(self, f"{label}_normal", inward_normal(self.outline_mm, edge))
        object.__setattr__(self, "reach_mm", max(math.hypot(u, v) for u, v in self.outline_mm))
        _, centre = area_and_centroid(self.outline_mm)
        object.__setattr__(self, "centre_mm", centre)
        object.__setattr__(self, "arm_mm", max(math.dist(centre, p) for p in self.outline_mm))
        if not 0.0 <= self.outline_u_mm <= LARGEST_U_MM:
            accepted = f"0 (taken for exact) to {LARGEST_U_MM:g} mm"
            raise InputError("outline_u", f"{self.outline_u_mm:g} mm", accepted)
        if len(self.holes) > MOST_HOLES:
            raise InputError("holes", f"{len(self.holes)} holes", f"at most {MOST_HOLES}")
        names = [hole.name for hole in self.holes]
        for name in names:
            if names.count(name) > 1:
                raise InputError("hole name", name, "each hole's name used once")

    def hole(self, name: str) -> Hole:
        """Return the hole of that name; an InputError lists the names there are."""
        for hole in self.holes:
            if hole.name == name:
                return hole
        known = (
            ", ".join(shown(hole.name) for hole in self.holes) or "none (this blade has no hole)"
        )
        raise InputError("hole", name, f"one of this blade's holes: {known}")

    @property
    def length_mm(self) -> float:
        """The outline's extent along u."""
        us = [u for u, _ in self.outline_mm]
        return max(us) - min(us)


def area_and_centroid(outline: Sequence[Point]) -> tuple[float, Point]:
    """Return the signed area (mm^2, positive when counter-clockwise) and centroid of a polygon.

    The shoelace formula, taken about the first point so that a far-off origin costs no digits.
    """
    ox, oy = outline[0]
    local = [(x - ox, y - oy) for x, y in outline]
    twice = cx = cy = 0.0
    for (x1, y1), (x2, y2) in sides_of(local):
        cross = x1 * y2 - x2 * y1
        twice += cross
        cx += (x1 + x2) * cross
        cy += (y1 + y2) * cross
    if twice == 0.0:
        return 0.0, (ox, oy)
    return twice / 2.0, (ox + cx / (3.0 * twice), oy + cy / (3.0 * twice))


def inward_normal(outline: Sequence[Point], edge: Edge) -> Point:
    """Return the unit normal of ``edge`` that points into the metal of ``outline``.

    The outline's own edge nearest to the middle of ``edge`` tells the side; where that runs askew,
    the centroid does.
    """
    (u1, v1), (u2, v2) = edge
    eu, ev = direction(*edge)
    n = (-ev, eu)
    area, (cu, cv) = area_and_centroid(outline)
    middle = ((u1 + u2) / 2.0, (v1 + v2) / 2.0)
    a, b = min(sides_of(outline), key=lambda ab: distance_to_segment(middle, *ab))
    along = math.dist(a, b)
    side = math.copysign(1.0, area) * (n[1] * (b[0] - a[0]) - n[0] * (b[1] - a[1])) / along
    if abs(side) < 0.7:
        side = n[0] * (cu - u1) + n[1] * (cv - v1)
    return n if side > 0.0 else (-n[0], -n[1])


def sides_of(outline: Sequence[Point]) -> list[Edge]:
    """Return the sides of a closed outline, one from each of its points to the next."""
    return list(zip(outline, [*outline[1:], outline[0]], strict=True))


def perimeter(outline: Sequence[Point]) -> float:
    """Return the length around a closed outline."""
    return math.fsum(math.dist(a, b) for a, b in sides_of(outline))


def check_point(field: str, point: Sequence[float]) -> None:
    """Raise an InputError unless ``point`` is two finite numbers of a sane size."""
    if len(point) != 2 or not all(math.isfinite(c) and abs(c) <= 10 * LARGEST_MM for c in point):
        raise InputError(field, tuple(point), "two finite numbers [forward, outward]")


def distance_to_segment(point: Point, a: Point, b: Point) -> float:
    """Return the distance (mm) from a point to the segment from a to b."""
    ex, ey = b[0] - a[0], b[1] - a[1]
    square = ex * ex + ey * ey
    t = 0.0 if square == 0.0 else ((point[0] - a[0]) * ex + (point[1] - a[1]) * ey) / square
    t = min(1.0, max(0.0, t))
    return math.hypot(point[0] - a[0] - t * ex, point[1] - a[1] - t * ey)


def _opened(outline: Sequence[Point]) -> tuple[Point, ...]:
    """Drop a last point that repeats the first: both ways of writing a closed outline are usual."""
    points = tuple((p[0], p[1]) if len(p) == 2 else p for p in outline)
    return points[:-1] if len(points) > 1 and points[0] == points[-1] else points


def _check_outline(outline: tuple[Point, ...]) -> None:
    if not 3 <= len(outline) <= MOST_POINTS:
        raise InputError("outline", f"{len(outline)} points", f"3 to {MOST_POINTS} points [u, v]")
    for i, point in enumerate(outline):
        check_point(f"outline point {i + 1}", point)
    for i, point in enumerate(outline):
        if point == outline[i - 1]:
            raise InputError(f"outline point {i + 1}", point, "a point other than the one before")
    us, vs = [p[0] for p in outline], [p[1] for p in outline]
    for axis, values in (("length", us), ("height", vs)):
        extent = max(values) - min(values)
        if not SMALLEST_MM <= extent <= LARGEST_MM:
            raise InputError(
                f"outline {axis}",
                f"{extent:g} mm",
                f"{SMALLEST_MM:g} to {LARGEST_MM:g} mm — is the unit right?",
            )
    crossing = _first_crossing(outline)
    if crossing is not None:
        i, j = crossing
        raise InputError(
            "outline",
            f"edges {i + 1} and {j + 1} meet",
            "a simple outline: edges meet only at shared corners",
        )
    if abs(area_and_centroid(outline)[0]) < SMALLEST_MM * SMALLEST_MM / 10.0:
        raise InputError("outline", "almost no area", "a closed outline around the blade's metal")


def _check_edge(field: str, edge: Edge, outline: tuple[Point, ...]) -> None:
    if len(edge) != 2:
        raise InputError(field, edge, "two points [u, v]")
    for point in edge:
        check_point(field, point)
    if math.dist(edge[0], edge[1]) < 1.0:
        raise InputError(field, edge, "two points at least 1 mm apart")
    for point in edge:
        gap = min(distance_to_segment(point, a, b) for a, b in sides_of(outline))
        if gap > EDGE_REACH_MM:
            raise InputError(
                field,
                point,
                f"a point at most {EDGE_REACH_MM:g} mm off the outline (this is {gap:.2f} mm off)",
            )


def _first_crossing(outline: tuple[Point, ...]) -> tuple[int, int] | None:
    """Return the first pair of edges that meet anywhere but at the corner they share."""
    n = len(outline)
    edges = sides_of(outline)
    boxes = [(min(a[0], b[0]), max(a[0], b[0]), min(a[1], b[1]), max(a[1], b[1])) for a, b in edges]
    for i in range(n):
        for j in range(i + 1, n):
            bi, bj = boxes[i], boxes[j]
            if bi[0] > bj[1] or bj[0] > bi[1] or bi[2] > bj[3] or bj[2] > bi[3]:
                continue
            if j == i + 1 or (i == 0 and j == n - 1):
                if _folds_back(edges[i], edges[j]) and n > 2:
                    return (i, j)
            elif _segments_meet(*edges[i], *edges[j]):
                return (i, j)
    return None


def _cross(o: Point, a: Point, b: Point) -> float:
    return (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])


def _folds_back(one: tuple[Point, Point], two: tuple[Point, Point]) -> bool:
    """Tell whether two neighbouring edges run back over each other."""
    shared = one[1] if one[1] in two else one[0]
    a = one[0] if shared == one[1] else one[1]
    b = two[1] if shared == two[0] else two[0]
    dot = (a[0] - shared[0]) * (b[0] - shared[0]) + (a[1] - shared[1]) * (b[1] - shared[1])
    scale = math.dist(a, shared) * math.dist(b, shared)
    return dot > 0.0 and abs(_cross(shared, a, b)) <= 1e-12 * scale


def _segments_meet(a: Point, b: Point, c: Point, d: Point) -> bool:
    s1, s2 = _cross(a, b, c), _cross(a, b, d)
    s3, s4 = _cross(c, d, a), _cross(c, d, b)
    if ((s1 > 0) != (s2 > 0)) and ((s3 > 0) != (s4 > 0)) and 0.0 not in (s1, s2, s3, s4):
        return True
    touching = ((s1, c, a, b), (s2, d, a, b), (s3, a, c, d), (s4, b, c, d))
    return any(s == 0.0 and distance_to_segment(p, e, f) == 0.0 for s, p, e, f in touching)
