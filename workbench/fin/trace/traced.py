"""A blade from the closed edges that a picture or a drawing shows of it.

Which sides of the outline are its top and back edge, and the outline turned to their frame.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

from workbench.errors import InputError
from workbench.fin.blade import (
    EDGE_REACH_MM,
    Blade,
    Edge,
    Hole,
    area_and_centroid,
    distance_to_segment,
    sides_of,
)
from workbench.fin.frame import Point, direction
from workbench.fin.trace.contour import fit_circle, fit_outline, split_closed
from workbench.frozen import dataclass

# -- top and back edge -----------------------------------------------------------------------------

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
class TopAndBack:
    """The straight sides that are the top and the back edge, each beginning where they meet.

    ``doubtful``: the side at the other end of the top edge is nearly as likely the back edge.
    """

    top: Edge
    back: Edge
    doubtful: bool = False


def edge_choices(outline: Sequence[Point]) -> tuple[TopAndBack, ...]:
    """Return what can be top and back edge of a closed outline (n x 2, mm), the likeliest first.

    The top edge is the longest straight side with a straight side at one end about square to it;
    of two such ends the likelier one comes first, then shorter sides as the top edge.

    Raises:
        InputError: no two straight sides that meet.
    """
    sides = _straight_sides(outline)
    out: list[TopAndBack] = []
    for top in sorted(sides, key=lambda s: -math.dist(*s)):
        met = [m for end in (0, 1) for m in (_met(sides, top, end),) if m is not None]
        met.sort(key=lambda pair: -_likeness(outline, pair))
        doubtful = len(met) == 2 and (
            _likeness(outline, met[0]) - _likeness(outline, met[1]) < math.log(CLEARLY)
        )
        out += [TopAndBack(*pair, doubtful) for pair in met]
    if not out:
        accepted = "an outline with two long straight sides that meet about at a right angle"
        raise InputError("outline", "no top and back edge", accepted)
    return tuple(out[:MOST_CHOICES])


def other_end(choices: Sequence[TopAndBack]) -> int:
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
    if math.dist(a, b) < 0.6 * math.dist(points[0], points[-1]):
        return (points[0], points[-1])
    ex, ey = direction(a, b)

    def on_line(p: Point) -> Point:
        along = ex * (p[0] - a[0]) + ey * (p[1] - a[1])
        return (a[0] + along * ex, a[1] + along * ey)

    return (on_line(points[0]), on_line(points[-1]))


def _is_straight(points: Sequence[Point]) -> bool:
    a, b = points[0], points[-1]
    if a == b:
        return False
    ex, ey = direction(a, b)
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
    ux, uy = direction(*top)
    _, (cx, cy) = area_and_centroid(outline)
    vx, vy = -uy, ux
    if vx * (cx - origin[0]) + vy * (cy - origin[1]) < 0.0:
        vx, vy = -vx, -vy

    def turned(p: Point) -> Point:
        x, y = p[0] - origin[0], p[1] - origin[1]
        return (ux * x + uy * y, vx * x + vy * y)

    return turned


def framed_blade(
    name: str, outline: Sequence[Point], holes: Sequence[Hole], edges: TopAndBack
) -> Blade:
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


# -- the blade -------------------------------------------------------------------------------------

TOLERANCE_MM = 0.0254
"""How far the outline may lie from the contour at best, 0.001 in; more where pixels are larger."""

HOLE_MM = (1.0, 20.0)
"""The least and the largest diameter of a hole."""

ROUND_PART = 0.02
"""An opening whose edge lies farther off a circle than this part of its diameter is no hole."""


@dataclass(frozen=True, slots=True)
class Unframed:
    """A traced blade as it lies in the picture or drawing (mm, any frame), before top and back edge
    are settled, which turn the frame.

    ``choices``: what can be the edges, the likeliest first. ``odd``: openings that are no round
    holes. ``length_mm``: the blade's length along its top edge where it is given: then only the
    shape of the outline counts.
    """

    outline_mm: tuple[Point, ...]
    holes: tuple[Hole, ...]
    odd: tuple[Hole, ...]
    outline_u_mm: float
    choices: tuple[TopAndBack, ...]
    length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Traced:
    """A traced blade in its own frame, and what is to be looked at before it is used, in facts.

    ``choice``: which of the unframed outline's choices of edges it goes by. ``doubtful``: the side
    at the other end of the top edge could be the back edge as well. ``odd_openings_mm``: centres,
    in the blade's frame, of openings that are no round holes. ``hole_names``: those that the
    unframed holes have in the blade.
    """

    blade: Blade
    unframed: Unframed
    hole_names: tuple[str, ...]
    choice: int = 0
    doubtful: bool = False
    odd_openings_mm: tuple[Point, ...] = ()


def framed(name: str, unframed: Unframed, choice: int = 0) -> Traced:
    """Return the blade by one of the choices of edges, counted from 0.

    Raises:
        InputError: an outline that no blade has.
    """
    edges = unframed.choices[choice]
    every = [*unframed.holes, *unframed.odd]
    blade = framed_blade(name, unframed.outline_mm, every, edges)
    count = len(unframed.holes)
    odd = tuple(hole.at_mm for hole in blade.holes[count:])
    # Numbered from the back edge forward.
    forward = sorted(range(count), key=lambda i: blade.holes[i].at_mm)
    names = tuple(str(forward.index(i) + 1) for i in range(count))
    holes = tuple(replace(blade.holes[i], name=names[i]) for i in forward)
    blade = replace(blade, holes=holes, outline_u_mm=unframed.outline_u_mm)
    if unframed.length_mm is not None:
        by = unframed.length_mm / blade.length_mm
        blade, odd = _enlarged(blade, by), tuple((u * by, v * by) for u, v in odd)
    return Traced(blade, unframed, names, choice, edges.doubtful and choice == 0, odd)


def unframed_of_contours(
    contour: Sequence[Point],
    openings: Sequence[Sequence[Point]],
    *,
    pixel_mm: float,
    blur_mm: float,
    length_mm: float | None = None,
    at_step: Callable[[], None] | None = None,
) -> Unframed:
    """Return the blade with this edge and these openings (n x 2, mm, any frame).

    ``pixel_mm`` is the size of a pixel and ``blur_mm`` the standard deviation of the edge's blur.
    The outline's uncertainty is that of its fit, a tenth of a pixel, and a fifth of the blur: by so
    much the level half way between dark and light lies off the edge where a picture's grey levels
    are not in proportion to the light (common practice, no source).

    ``at_step`` is called now and then; what it raises ends the work.

    Raises:
        InputError: no top and back edge.
    """
    reach = 4.0 * (blur_mm + pixel_mm)
    fitted = fit_outline(contour, max(TOLERANCE_MM, 0.35 * pixel_mm), reach, at_step)
    holes: list[Hole] = []
    odd: list[Hole] = []
    for opening in openings:
        circle = fit_circle(opening)
        size = 2.0 * circle.radius_mm
        if size < HOLE_MM[0]:
            continue
        is_round = circle.rms_mm <= max(ROUND_PART * size, 0.5 * pixel_mm)
        if is_round and size <= HOLE_MM[1]:
            holes.append(Hole(f"{len(holes) + 1}", circle.centre_mm, size))
        else:
            odd.append(Hole(f"odd {len(odd) + 1}", circle.centre_mm, min(size, HOLE_MM[1])))
    u_mm = math.hypot(fitted.mean_rms_mm, 0.1 * pixel_mm, 0.2 * blur_mm)
    choices = edge_choices(fitted.outline_mm)
    return Unframed(fitted.outline_mm, tuple(holes), tuple(odd), u_mm, choices, length_mm)


def _enlarged(blade: Blade, by: float) -> Blade:
    def at(p: Point) -> Point:
        return (p[0] * by, p[1] * by)

    (a, b), (c, d) = blade.top_edge_mm, blade.back_edge_mm
    holes = tuple(Hole(h.name, at(h.at_mm), h.diameter_mm * by) for h in blade.holes)
    outline = tuple(map(at, blade.outline_mm))
    return Blade(
        blade.name, outline, (at(a), at(b)), (at(c), at(d)), holes, blade.outline_u_mm * by
    )


def unframed_of_rings(rings: Sequence[Sequence[Point]], *, u_mm: float) -> Unframed:
    """Return the blade whose outline is the largest of closed rings (n x 2, mm), the others holes.

    The rings are taken as they are: a drawing has no noise.

    Raises:
        InputError: two outlines, or no top and back edge.
    """
    by_size = sorted(rings, key=lambda ring: -abs(area_and_centroid(ring)[0]))
    outline, rest = by_size[0], by_size[1:]
    holes: list[Hole] = []
    odd: list[Hole] = []
    for ring in rest:
        centre = area_and_centroid(ring)[1]
        if not _inside(centre, outline):
            raise InputError("drawing", "a closed line beside the outline", "one blade alone")
        circle = fit_circle(ring)
        if circle.rms_mm <= ROUND_PART * circle.radius_mm and len(ring) >= 8:
            holes.append(Hole(f"{len(holes) + 1}", circle.centre_mm, 2.0 * circle.radius_mm))
        else:
            odd.append(Hole(f"odd {len(odd) + 1}", centre, HOLE_MM[0]))
    return Unframed(tuple(outline), tuple(holes), tuple(odd), u_mm, edge_choices(outline))


def _inside(point: Point, ring: Sequence[Point]) -> bool:
    """Tell whether a point lies inside a closed ring (the crossing number of a ray)."""
    x, y = point
    inside = False
    for (ax, ay), (bx, by) in sides_of(ring):
        if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
            inside = not inside
    return inside
