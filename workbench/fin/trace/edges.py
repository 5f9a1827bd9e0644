"""Which sides of an outline are its top and back edge, and the outline turned to their frame."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from workbench.errors import InputError
from workbench.fin.frame.pose import Point
from workbench.fin.parts.blade import (
    EDGE_REACH_MM,
    Blade,
    Edge,
    Hole,
    area_and_centroid,
    distance_to_segment,
)
from workbench.fin.trace.contour import split_closed
from workbench.frozen import dataclass

STRAIGHT_MM = 0.08
"""Neighbouring sides of an outline make one straight side where no point lies farther off its line
(0.003 in)."""

SAME_LINE_MM = 0.002
"""A point no farther off the line of its neighbours says nothing of a side."""

STRAIGHT_RAD = math.radians(1.5)
"""and where none of them runs farther askew of it, short ones apart: a speck beside the edge."""

SHORT_MM = 2.0

SPECK_MM = 0.25
"""How far off its line a straight side may be by a speck: a point between two short sides."""

PAST_SCRATCH = 4
"""Points that a scratch across a straight side may leave in the outline."""

GAP_MM = 6.0
"""How long a chamfer or rounding may be between the top and the back edge."""

LEAST_BACK_MM = 3.0
"""The shortest back edge that a stud can press on."""

SQUARE_RAD = math.radians(40.0)
"""How far from a right angle the top and the back edge may meet."""

CLEARLY = 1.5
"""Of two sides that meet the top edge the longer one is the back edge, more so where most of the
metal lies near it: a blade sweeps forward (common practice, no source). In doubt where neither is
better by this factor."""

REARWARD = 6.0
"""How much the place of the centroid counts against the logarithm of the lengths."""


MOST_CHOICES = 8
"""Pairs of sides that are offered as top and back edge."""


@dataclass(frozen=True, slots=True)
class Edges:
    """The straight sides that are the top and the back edge, each beginning where they meet.

    ``doubtful``: the side at the other end of the top edge is nearly as likely the back edge.
    """

    top: Edge
    back: Edge
    doubtful: bool = False


def edge_choices(outline: Sequence[Point]) -> tuple[Edges, ...]:
    """Return what can be top and back edge of a closed outline (n x 2, mm), the likeliest first.

    The top edge is the longest straight side with a straight side at one end about square to it;
    of two such ends the likelier one comes first, then shorter sides as the top edge.

    Raises:
        InputError: no two straight sides that meet.
    """
    sides = _straight_sides(outline)
    out: list[Edges] = []
    for top in sorted(sides, key=lambda s: -math.dist(*s)):
        met = [m for end in (0, 1) for m in (_met(sides, top, end),) if m is not None]
        met.sort(key=lambda pair: -_likeness(outline, pair))
        doubtful = len(met) == 2 and (
            _likeness(outline, met[0]) - _likeness(outline, met[1]) < math.log(CLEARLY)
        )
        out += [Edges(*pair, doubtful) for pair in met]
    if not out:
        accepted = "an outline with two long straight sides that meet about at a right angle"
        raise InputError("outline", "no top and back edge", accepted)
    return tuple(out[:MOST_CHOICES])


def other_end(choices: Sequence[Edges]) -> int:
    """Return which choice has the first one's top edge, and the back edge at its other end.

    Raises:
        InputError: no straight side there.
    """
    top = choices[0].top
    for i, edges in enumerate(choices):
        if edges.top == top[::-1]:
            return i
    raise InputError("back edge", "at the other end", "an end with a straight side")


def _likeness(outline: Sequence[Point], edges: tuple[Edge, Edge]) -> float:
    """Return how like the back edge of a blade the second edge is, as a logarithm."""
    centre = _frame(*edges, outline)(area_and_centroid(outline)[1])
    return math.log(math.dist(*edges[1])) - REARWARD * centre[0] / math.dist(*edges[0])


def _straight_sides(outline: Sequence[Point]) -> list[Edge]:
    """Return the straight sides: runs of neighbouring sides that lie on one line, both ways."""
    # A drawing's line may have a point every tenth of a mm: each run of them would be tried.
    outline = [outline[i] for i in split_closed(outline, SAME_LINE_MM)]
    n = len(outline)
    out: list[Edge] = []
    for i in range(n):
        j = at = i + 1
        # A run that ends in a scratch across the edge is not straight; one past it may well be.
        while at - i < n - 1 and at - j < PAST_SCRATCH:
            at += 1
            if _is_straight([outline[k % n] for k in range(i, at + 1)]):
                j = at
        out.append(_side([outline[k % n] for k in range(i, j + 1)]))
    # A run within a longer one is no side of its own.
    return [
        side
        for side in out
        if not any(
            math.dist(*other) > math.dist(*side)
            and all(distance_to_segment(p, *other) < STRAIGHT_MM for p in side)
            for other in out
        )
    ]


def _side(points: Sequence[Point]) -> Edge:
    """Return the straight side of a run: on the line of its longest piece, where that is most of
    it, so that a bit of a curve that it goes over into does not turn it."""
    a, b = max(pairwise(points), key=lambda ab: math.dist(*ab))
    length = math.dist(a, b)
    if length < 0.6 * math.dist(points[0], points[-1]):
        return (points[0], points[-1])
    ex, ey = (b[0] - a[0]) / length, (b[1] - a[1]) / length

    def on_line(p: Point) -> Point:
        along = ex * (p[0] - a[0]) + ey * (p[1] - a[1])
        return (a[0] + along * ex, a[1] + along * ey)

    return (on_line(points[0]), on_line(points[-1]))


def _is_straight(points: Sequence[Point]) -> bool:
    a, b = points[0], points[-1]
    length = math.dist(a, b)
    if length == 0.0:
        return False
    ex, ey = (b[0] - a[0]) / length, (b[1] - a[1]) / length
    was_short = False
    for p, q in pairwise(points):
        dx, dy = q[0] - p[0], q[1] - p[1]
        is_short = math.hypot(dx, dy) <= SHORT_MM
        askew_rad = abs(math.atan2(ex * dy - ey * dx, ex * dx + ey * dy))
        if not is_short and askew_rad > STRAIGHT_RAD:
            return False
        allowed_mm = SPECK_MM if was_short and is_short else STRAIGHT_MM
        if distance_to_segment(p, a, b) > allowed_mm:
            return False
        was_short = is_short
    return True


def _met(sides: Sequence[Edge], top: Edge, end: int) -> tuple[Edge, Edge] | None:
    """Return the top edge from that end on, and the longest side that meets it there."""
    at, far = top[end], top[1 - end]
    best: tuple[Edge, Edge] | None = None
    for side in sides:
        if side == top:
            continue
        for near, away in (side, side[::-1]):
            corner = crossing((at, far), (near, away))
            if corner is None or math.dist(near, away) < LEAST_BACK_MM:
                continue
            if math.dist(near, at) > GAP_MM or math.dist(corner, at) > GAP_MM:
                continue
            if abs(_angle((far, at), (away, near)) - math.pi / 2.0) > SQUARE_RAD:
                continue
            if math.dist(away, at) < math.dist(near, at):
                continue
            if best is None or math.dist(near, away) > math.dist(*best[1]):
                best = ((at, far), (near, away))
    return best


def _angle(one: Edge, two: Edge) -> float:
    """Return the angle (rad, 0 to pi) between the directions of two edges."""
    ax, ay = one[1][0] - one[0][0], one[1][1] - one[0][1]
    bx, by = two[1][0] - two[0][0], two[1][1] - two[0][1]
    return abs(math.atan2(ax * by - ay * bx, ax * bx + ay * by))


def crossing(one: Edge, two: Edge) -> Point | None:
    """Return where the lines of two edges cross; None where they run side by side."""
    (ax, ay), (bx, by) = one
    (cx, cy), (dx, dy) = two
    det = (bx - ax) * (dy - cy) - (by - ay) * (dx - cx)
    if abs(det) < 1e-9 * math.dist(*one) * math.dist(*two):
        return None
    t = ((cx - ax) * (dy - cy) - (cy - ay) * (dx - cx)) / det
    return (ax + t * (bx - ax), ay + t * (by - ay))


def _frame(top: Edge, back: Edge, outline: Sequence[Point]) -> Callable[[Point], Point]:
    """Return what turns a point to the blade frame: origin where the edges meet, u along the top
    edge, v toward the metal. A picture from the other side is turned over."""
    origin = crossing(top, back) or top[0]
    length = math.dist(*top)
    ux, uy = (top[1][0] - top[0][0]) / length, (top[1][1] - top[0][1]) / length
    _, (cx, cy) = area_and_centroid(outline)
    vx, vy = -uy, ux
    if vx * (cx - origin[0]) + vy * (cy - origin[1]) < 0.0:
        vx, vy = -vx, -vy

    def turned(p: Point) -> Point:
        x, y = p[0] - origin[0], p[1] - origin[1]
        return (ux * x + uy * y, vx * x + vy * y)

    return turned


def framed_blade(name: str, outline: Sequence[Point], holes: Sequence[Hole], edges: Edges) -> Blade:
    """Return the blade in its own frame: u forward along the top edge, v outward.

    The origin is where top and back edge meet. The outline begins at the point nearest to it and
    goes along the top edge; holes are given in any frame of the outline.

    Raises:
        InputError: an outline that no blade can have.
    """
    turned = _frame(edges.top, edges.back, outline)
    points = [turned(p) for p in outline]
    if area_and_centroid(points)[0] < 0.0:
        points.reverse()
    first = min(range(len(points)), key=lambda i: math.hypot(*points[i]))
    points = points[first:] + points[:first]
    top = (turned(edges.top[0]), turned(edges.top[1]))
    back = (turned(edges.back[0]), turned(edges.back[1]))
    # The edges reach to where they meet, unless a long chamfer lies between.
    top = ((0.0, 0.0) if top[0][0] <= EDGE_REACH_MM else (top[0][0], 0.0), (top[1][0], 0.0))
    if math.hypot(*back[0]) <= EDGE_REACH_MM:
        back = ((0.0, 0.0), back[1])
    moved = tuple(replace(hole, at_mm=turned(hole.at_mm)) for hole in holes)
    return Blade(name, tuple(points), top, back, moved)
