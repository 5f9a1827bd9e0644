"""Where the blade's trailing and leading edge really run, near the heights that a jaw touches.

The outline is known to some hundredths of an inch at each corner. What counts for a reading is how
far an edge lies from where the outline has it at the height of the contact: a constant part never
shows, a slope changes what a turn does, and beside a corner of the outline it changes most.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from workbench.fin.blade import Blade
from workbench.fin.frame import Point, Pose
from workbench.fin.reading.method import TRAITS, Method
from workbench.fin.reading.observe import Observation
from workbench.frozen import dataclass
from workbench.measure.linalg import Three
from workbench.measure.units import MM_PER_INCH

Side = Literal["trailing", "leading"]
SIDES: tuple[Side, Side] = ("trailing", "leading")

REACH_MM = 0.075 * MM_PER_INCH
"""How far above and below a contact the edge is followed."""

LEVELS = 21
"""At so many heights within that reach."""

APART_MM = 0.1 * MM_PER_INCH
"""Corners closer than this are not known apart: a dense outline is wrong smoothly."""

FARTHEST_OFF_MM = 0.1 * MM_PER_INCH
"""No edge is looked for farther than this from its outline, whatever rounds that contradict one
another seem to tell."""

STEEPEST = 5.0
"""du/dv beyond which an edge lies along the base and its height tells nothing."""

Share = tuple[int, int, float]

Weights = list[tuple[int, float]]
"""Places of offsets in a state, and the derivative by each."""


@dataclass(frozen=True, slots=True)
class EdgePart:
    """The outline's edges (corner to corner, mm) near the contacts of one side.

    ``edges`` holds pairs of indices of ``corners``; ``shares`` says by which offsets each corner
    moves: (offset, axis, share), where axis 0 is along u and 1 along v.
    """

    side: Side
    corners: tuple[Point, ...]
    edges: tuple[tuple[int, int], ...]
    shares: tuple[tuple[Share, ...], ...]

    def course(self, v_mm: float, corners: Sequence[Point]) -> tuple[float, int, int, float] | None:
        """Return u (mm) at a height, the corners (i, j) of the edge there, and du/dv.

        ``corners`` are the part's own, as told or moved. Beyond the part's ends u stays as at the
        end. None where no edge crosses any height.
        """
        best: tuple[float, float, int, int, float] | None = None
        for i, j in self.edges:
            (ua, va), (ub, vb) = corners[i], corners[j]
            rise = vb - va
            if abs(rise) < 1e-9:
                continue
            along = (v_mm - va) / rise
            share = 0.0 if along < 0.0 else 1.0 if along > 1.0 else along
            off = abs(along - share) * abs(rise)
            u = ua + share * (ub - ua)
            # Of several edges at this height the outermost is the one that a jaw meets.
            rank = u if self.side == "trailing" else -u
            if best is None or (off, rank) < best[:2]:
                best = (off, rank, i, j, 0.0 if off else (ub - ua) / rise)
        if best is None:
            return None
        _, rank, i, j, steepness = best
        return (rank if self.side == "trailing" else -rank), i, j, steepness

    def weights(self, v_mm: float, i: int, j: int) -> Weights:
        """Return the derivatives by the offsets of u at a height, on the edge of these corners."""
        # The derivatives are those of the outline as told: were they to follow the offsets, rounds
        # would seem to tell apart what they cannot, such as a slope from a lead.
        (ua, va), (ub, vb) = self.corners[i], self.corners[j]
        rise = vb - va
        share = min(1.0, max(0.0, (v_mm - va) / rise)) if rise else 0.5
        slope = min(STEEPEST, max(-STEEPEST, (ub - ua) / rise)) if rise else 0.0
        weights: dict[int, float] = {}
        for corner, part in ((i, 1.0 - share), (j, share)):
            for offset, axis, of in self.shares[corner]:
                by = -part * of * slope if axis else part * of
                weights[offset] = weights.get(offset, 0.0) + by
        return list(weights.items())

    def nearest(self, point: Point) -> int:
        """Return the place of the corner nearest to ``point``."""
        u, v = point
        return min(
            range(len(self.corners)),
            key=lambda k: abs(self.corners[k][0] - u) + abs(self.corners[k][1] - v),
        )

    def moved(self, offsets: Sequence[float]) -> list[Point]:
        """Return the corners (mm) moved by the offsets, which are those of all parts."""
        return [self._moved(k, offsets) for k in range(len(self.corners))]

    def _moved(self, corner: int, offsets: Sequence[float]) -> Point:
        u, v = self.corners[corner]
        for offset, axis, of in self.shares[corner]:
            if axis:
                v += of * offsets[offset]
            else:
                u += of * offsets[offset]
        return u, v


@dataclass(frozen=True, slots=True)
class Edges:
    """The parts of a blade's edges whose course is learnt.

    ``widths`` holds for each offset its standard uncertainty over that of a corner of the outline.
    """

    parts: tuple[EdgePart, ...]
    widths: tuple[float, ...]

    @property
    def count(self) -> int:
        """How many offsets (mm) there are in all."""
        return len(self.widths)

    def moved(self, offsets_mm: Sequence[float]) -> MovedEdges:
        """Return the edges as these offsets have them, each within its farthest."""
        near = tuple([max(-FARTHEST_OFF_MM, min(FARTHEST_OFF_MM, mm)) for mm in offsets_mm])
        return MovedEdges(near, tuple([(part, part.moved(near)) for part in self.parts]))


Touched = tuple[float, float, EdgePart, int, int]
"""A contact of a jaw: the sign of its u in the reading, its height (mm) and the part it lies on.

On the edge between two corners, or at one corner, which is then named twice.
"""


@dataclass(frozen=True, slots=True)
class Offset:
    """How much more a method reads (mm) than on the outline as told.

    ``by_pose`` are its derivatives by x, y and tilt, ``touched`` the contacts that it comes from.
    """

    mm: float
    by_pose: Three
    touched: tuple[Touched, ...]

    @property
    def weights(self) -> Weights:
        """The derivatives by the edges' offsets."""
        out: dict[int, float] = {}
        for sign, v_mm, part, i, j in self.touched:
            if i == j:
                by = [(k, of) for k, axis, of in part.shares[i] if axis == 0]
            else:
                by = part.weights(v_mm, i, j)
            for k, w in by:
                out[k] = out.get(k, 0.0) + sign * w
        return list(out.items())


_UNTOUCHED = Offset(0.0, (0.0, 0.0, 0.0), ())


@dataclass(frozen=True, slots=True)
class MovedEdges:
    """The parts of a blade's edges, each with its corners (mm) as these offsets have them."""

    offsets_mm: tuple[float, ...]
    parts: tuple[tuple[EdgePart, list[Point]], ...]

    def as_told(self) -> MovedEdges:
        """Return the same edges where the outline has them."""
        parts = tuple(part for part, _ in self.parts)
        return Edges(parts, (1.0,) * len(self.offsets_mm)).moved((0.0,) * len(self.offsets_mm))

    def offset(self, method: Method, seen: Observation, pose: Pose) -> Offset:
        """Return how the edges' offsets change what a method reads.

        ``seen`` is what it reads on the outline as told. A depth and a coarse mark touch no edge
        whose place matters.
        """
        touched: list[Touched] = []
        total = by_x = by_y = by_tilt = 0.0
        for side, sign, at, edge in contacts(method, seen):
            own = [each for each in self.parts if each[0].side == side]
            if not own:
                continue
            part, moved = own[0]
            point = u, v = pose.locate(at)
            if edge is None:
                k = part.nearest(point)
                touched.append((sign, v, part, k, k))
                total += sign * (moved[k][0] - part.corners[k][0])
                continue
            course, told = part.course(v, moved), part.course(v, part.corners)
            if course is None or told is None:
                continue
            across, i, j, steep = course
            touched.append((sign, v, part, i, j))
            total += sign * (across - told[0])
            # The contact stays at its height: by that much it runs along a blade that moves.
            lean = sign * max(-STEEPEST, min(STEEPEST, steep - told[3]))
            by_x += lean * math.sin(pose.tilt_rad)
            by_y -= lean * math.cos(pose.tilt_rad)
            by_tilt -= lean * u
        if not touched:
            return _UNTOUCHED
        return Offset(total, (by_x, by_y, by_tilt), tuple(touched))


def contacts(
    method: Method, seen: Observation
) -> list[tuple[Side, float, Point, tuple[Point, Point] | None]]:
    """Return (side, sign of its u in the reading, contact, edge) of each edge a method touches."""
    ends = TRAITS[method.quantity].ends if method.scribe is None else ()
    signs = (-1.0, 1.0) if len(ends) == 2 else (1.0,)
    return [
        ("trailing" if end == "rear" else "leading", sign, at, edge)
        for end, sign, at, edge in zip(ends, signs, seen.contacts_mm, seen.edges_mm, strict=False)
    ]


def edges_of(
    blade: Blade, methods: Sequence[Method], seen: Sequence[Observation | None], pose: Pose
) -> Edges:
    """Return the parts of the edges that these methods touch about ``pose``."""
    heights: dict[Side, list[float]] = {side: [] for side in SIDES}
    for method, each in zip(methods, seen, strict=True):
        for side, _, at, _ in contacts(method, each) if each is not None else ():
            heights[side].append(pose.locate(at)[1])
    parts: list[EdgePart] = []
    widths: list[float] = []
    for side in SIDES:
        found = sorted({e for v in heights[side] for e in _near(blade.outline_mm, side, v)})
        if found:
            parts.append(_part(blade.outline_mm, side, found, widths))
    return Edges(tuple(parts), tuple(widths))


def _near(outline: Sequence[Point], side: Side, v_mm: float) -> list[int]:
    """Return the outline's edges (by their first corner) that bound it about a height."""
    out = []
    for k in range(LEVELS):
        level = v_mm + REACH_MM * (2.0 * k / (LEVELS - 1) - 1.0)
        best: tuple[float, int] | None = None
        for i, b in enumerate(outline):
            a = outline[i - 1]
            if a[1] != b[1] and min(a[1], b[1]) <= level <= max(a[1], b[1]):
                u = a[0] + (level - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
                rank = u if side == "trailing" else -u
                if best is None or rank < best[0]:
                    best = (rank, (i - 1) % len(outline))
        if best is not None:
            out.append(best[1])
    return out


def _part(
    outline: Sequence[Point], side: Side, found: Sequence[int], widths: list[float]
) -> EdgePart:
    """Return the part made of these edges, its offsets added to ``widths``.

    One straight edge is as well described by its ends' offsets along u alone.
    """
    n = len(outline)
    wanted = sorted({c for i in found for c in (i, (i + 1) % n)})
    corners = tuple(outline[c] for c in wanted)
    edges = tuple((wanted.index(i), wanted.index((i + 1) % n)) for i in found)
    axes = 2
    width = 1.0
    if len(edges) == 1:
        (ua, va), (ub, vb) = corners
        slope = (ub - ua) / (vb - va)
        axes, width = 1, math.hypot(1.0, max(-STEEPEST, min(STEEPEST, slope)))
    known: list[int] = []
    for k in sorted(range(len(corners)), key=lambda k: corners[k][1]):
        if not known or math.dist(corners[k], corners[known[-1]]) >= APART_MM:
            known.append(k)
    place = {k: len(widths) + axes * i for i, k in enumerate(known)}
    widths += [width] * (axes * len(known))
    shares = tuple(
        tuple(
            (place[j] + axis, axis, of) for j, of in _mix(corners, known, k) for axis in range(axes)
        )
        for k in range(len(corners))
    )
    return EdgePart(side, corners, edges, shares)


def _mix(corners: Sequence[Point], known: Sequence[int], k: int) -> list[tuple[int, float]]:
    """Return with which corners a corner moves: itself alone, or the known ones about it."""
    if k in known:
        return [(k, 1.0)]
    v = corners[k][1]
    below = [j for j in known if corners[j][1] <= v]
    above = [j for j in known if corners[j][1] > v]
    if not below or not above:
        return [((above or below[-1:])[0], 1.0)]
    low, high = below[-1], above[0]
    share = (v - corners[low][1]) / (corners[high][1] - corners[low][1])
    return [(low, 1.0 - share), (high, share)]
