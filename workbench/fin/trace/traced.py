"""A blade from the closed edges that a picture or a drawing shows of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from workbench.errors import InputError
from workbench.fin.frame.pose import Point
from workbench.fin.parts.blade import Blade, Hole, area_and_centroid
from workbench.fin.trace.circle import fit_circle
from workbench.fin.trace.contour import fit_outline
from workbench.fin.trace.edges import find_edges, framed_blade
from workbench.frozen import dataclass

TOLERANCE_MM = 0.0254
"""How far the outline may lie from the contour at best, 0.001 in; more where pixels are larger."""

HOLE_MM = (1.0, 20.0)
"""The least and the largest diameter of a hole."""

ROUND_PART = 0.02
"""An opening whose edge lies farther off a circle than this part of its diameter is no hole."""


@dataclass(frozen=True, slots=True)
class Traced:
    """A traced blade, and what is to be looked at before it is used, in facts.

    ``doubtful``: the side at the other end of the top edge could be the back edge as well.
    ``odd_openings_mm``: centres, in the blade's frame, of openings that are no round holes.
    """

    blade: Blade
    doubtful: bool = False
    odd_openings_mm: tuple[Point, ...] = ()


def blade_of_contours(
    name: str,
    contour: Sequence[Point],
    openings: Sequence[Sequence[Point]],
    *,
    pixel_mm: float,
    blur_mm: float,
    other_end: bool = False,
) -> Traced:
    """Return the blade with this edge and these openings (n x 2, mm, any frame).

    ``pixel_mm`` is the size of a pixel and ``blur_mm`` the standard deviation of the edge's blur.
    The outline's uncertainty is that of its fit, a tenth of a pixel, and a fifth of the blur: by so
    much the level half way between dark and light lies off the edge where a picture's grey levels
    are not in proportion to the light (common practice, no source).

    Raises:
        InputError: no top and back edge, or an outline that no blade has.
    """
    reach = 4.0 * (blur_mm + pixel_mm)
    fitted = fit_outline(contour, max(TOLERANCE_MM, 0.35 * pixel_mm), reach)
    edges = find_edges(fitted.outline_mm, other_end=other_end)
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
    blade = framed_blade(name, fitted.outline_mm, [*holes, *odd], edges)
    u_mm = math.hypot(fitted.mean_rms_mm, 0.1 * pixel_mm, 0.2 * blur_mm)
    return Traced(
        replace(blade, holes=_in_order(blade.holes[: len(holes)]), outline_u_mm=u_mm),
        edges.doubtful and not other_end,
        tuple(hole.at_mm for hole in blade.holes[len(holes) :]),
    )


def _in_order(holes: Sequence[Hole]) -> tuple[Hole, ...]:
    """Number the holes from the back edge forward."""
    forward = sorted(holes, key=lambda hole: hole.at_mm)
    return tuple(replace(hole, name=str(i)) for i, hole in enumerate(forward, 1))


def scaled(traced: Traced, length_mm: float) -> Traced:
    """Return the blade made so large that it is ``length_mm`` long along its top edge."""
    blade = traced.blade
    by = length_mm / blade.length_mm

    def at(p: Point) -> Point:
        return (p[0] * by, p[1] * by)

    return replace(
        traced,
        blade=Blade(
            blade.name,
            tuple(map(at, blade.outline_mm)),
            (at(blade.top_edge_mm[0]), at(blade.top_edge_mm[1])),
            (at(blade.back_edge_mm[0]), at(blade.back_edge_mm[1])),
            tuple(Hole(h.name, at(h.at_mm), h.diameter_mm * by) for h in blade.holes),
            blade.outline_u_mm * by,
        ),
        odd_openings_mm=tuple(map(at, traced.odd_openings_mm)),
    )


def blade_of_rings(
    name: str, rings: Sequence[Sequence[Point]], *, u_mm: float, other_end: bool
) -> Traced:
    """Return the blade whose outline is the largest of closed rings (n x 2, mm), the others holes.

    The rings are taken as they are: a drawing has no noise.

    Raises:
        InputError: two outlines, no top and back edge, or an outline that no blade has.
    """
    by_size = sorted(rings, key=lambda ring: -abs(area_and_centroid(ring)[0]))
    outline, rest = by_size[0], by_size[1:]
    edges = find_edges(outline, other_end=other_end)
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
    blade = framed_blade(name, outline, [*holes, *odd], edges)
    return Traced(
        replace(blade, holes=_in_order(blade.holes[: len(holes)]), outline_u_mm=u_mm),
        edges.doubtful and not other_end,
        tuple(hole.at_mm for hole in blade.holes[len(holes) :]),
    )


def _inside(point: Point, ring: Sequence[Point]) -> bool:
    """Tell whether a point lies inside a closed ring (the crossing number of a ray)."""
    x, y = point
    inside = False
    for (ax, ay), (bx, by) in zip(ring, [*ring[1:], ring[0]], strict=True):
        if (ay > y) != (by > y) and x < ax + (y - ay) * (bx - ax) / (by - ay):
            inside = not inside
    return inside
