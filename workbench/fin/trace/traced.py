"""A blade from the closed edges that a picture or a drawing shows of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from workbench.errors import InputError
from workbench.fin.frame.pose import Point
from workbench.fin.parts.blade import Blade, Hole, area_and_centroid
from workbench.fin.trace.circle import fit_circle
from workbench.fin.trace.contour import fit_outline
from workbench.fin.trace.edges import Edges, edge_choices, framed_blade
from workbench.frozen import dataclass

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
    choices: tuple[Edges, ...]
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

    return Blade(
        blade.name,
        tuple(map(at, blade.outline_mm)),
        (at(blade.top_edge_mm[0]), at(blade.top_edge_mm[1])),
        (at(blade.back_edge_mm[0]), at(blade.back_edge_mm[1])),
        tuple(Hole(h.name, at(h.at_mm), h.diameter_mm * by) for h in blade.holes),
        blade.outline_u_mm * by,
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
    for (ax, ay), (bx, by) in zip(ring, [*ring[1:], ring[0]], strict=True):
        if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
            inside = not inside
    return inside
