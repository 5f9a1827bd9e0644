"""A blade's outline by calipers alone: which distances to take, and the outline through them.

The blade lies with its top edge along one straight edge and its back edge against a square: every
distance is taken from one of the two. The leading and the trailing edge are read at given distances
from the top edge, closest together where the base will be; the outer edge at given distances from
the back edge. A smooth curve runs through them by least squares.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import accumulate, pairwise
from typing import Literal

from workbench.errors import InputError
from workbench.fin.blade import Blade, Hole, area_and_centroid, sides_of
from workbench.fin.frame import Point, direction
from workbench.frozen import dataclass
from workbench.measure.units import MM_PER_INCH

# -- a smooth curve through uncertain numbers ------------------------------------------------------

DIFFUSE_MM2, DIFFUSE_SLOPE = 1e6, 25.0
"""The variances of the value and of the slope at the begin, of which nothing is known but that a
coordinate changes no faster than the way along the curve."""

BENDS = (1e-4, 1.0)
"""The least and the largest bend that is tried: the slope's random walk over 1 mm, per root mm."""


@dataclass(frozen=True, slots=True)
class Smooth:
    """The curve at each place: value and variance; ``likelihood`` is the numbers' logarithm."""

    values: tuple[float, ...]
    variances: tuple[float, ...]
    likelihood: float


def smoothed(
    places: Sequence[float], numbers: Sequence[float | None], u: float, bend: float
) -> Smooth:
    """Return the smooth curve through numbers at ascending places; None where none was taken.

    ``u`` is the numbers' standard uncertainty, ``bend`` how far the curve bends.
    """
    ahead: list[tuple[float, float, float, float, float]] = []
    forecasts: list[tuple[float, float, float, float, float]] = []
    f, g, pff, pfg, pgg = 0.0, 0.0, DIFFUSE_MM2, 0.0, DIFFUSE_SLOPE
    likelihood, seen = 0.0, 0
    for k, number in enumerate(numbers):
        if k:
            d = places[k] - places[k - 1]
            q = bend * bend * d
            f += d * g
            pff += 2.0 * d * pfg + d * d * pgg + q * d * d / 3.0
            pfg += d * pgg + q * d / 2.0
            pgg += q
        forecasts.append((f, g, pff, pfg, pgg))
        if number is not None:
            noise = u * u
            total = pff + noise
            off = number - f
            if seen >= 2:  # two numbers fix a line: only what comes after them tells of the bend
                likelihood -= 0.5 * (math.log(total) + off * off / total)
            seen += 1
            kf, kg = pff / total, pfg / total
            f, g = f + kf * off, g + kg * off
            pgg -= kg * pfg
            pfg *= noise / total
            pff *= noise / total
        ahead.append((f, g, pff, pfg, pgg))
    return _back(places, ahead, forecasts, likelihood)


def _back(
    places: Sequence[float],
    ahead: list[tuple[float, float, float, float, float]],
    forecasts: list[tuple[float, float, float, float, float]],
    likelihood: float,
) -> Smooth:
    """The smoother of H. E. Rauch, F. Tung and C. T. Striebel, AIAA J. 3 (1965) 1445."""
    n = len(ahead)
    values, variances = [0.0] * n, [0.0] * n
    f, g, pff, pfg, pgg = ahead[-1]
    values[-1], variances[-1] = f, pff
    for k in range(n - 2, -1, -1):
        d = places[k + 1] - places[k]
        af, ag, aff, afg, agg = ahead[k]
        cf, cg, cff, cfg, cgg = forecasts[k + 1]
        det = cff * cgg - cfg * cfg
        # The gain: filtered covariance, taken forward, over the forecast's.
        m00, m01 = aff + d * afg, afg
        m10, m11 = afg + d * agg, agg
        g00 = (m00 * cgg - m01 * cfg) / det
        g01 = (m01 * cff - m00 * cfg) / det
        g10 = (m10 * cgg - m11 * cfg) / det
        g11 = (m11 * cff - m10 * cfg) / det
        df, dg = f - cf, g - cg
        sff, sfg, sgg = pff - cff, pfg - cfg, pgg - cgg
        f, g = af + g00 * df + g01 * dg, ag + g10 * df + g11 * dg
        t00, t01 = g00 * sff + g01 * sfg, g00 * sfg + g01 * sgg
        t10, t11 = g10 * sff + g11 * sfg, g10 * sfg + g11 * sgg
        pff = aff + t00 * g00 + t01 * g01
        pfg = afg + t00 * g10 + t01 * g11
        pgg = agg + t10 * g10 + t11 * g11
        values[k], variances[k] = f, max(pff, 0.0)
    return Smooth(tuple(values), tuple(variances), likelihood)


def likeliest_bend(
    places: Sequence[float], curves: Sequence[Sequence[float | None]], u: float
) -> float:
    """Return the bend that makes the numbers of all these curves together most likely."""

    def unlikely(log_bend: float) -> float:
        bend = math.exp(log_bend)
        return -math.fsum(smoothed(places, y, u, bend).likelihood for y in curves)

    low, high = map(math.log, BENDS)
    tried = [(unlikely(low + (high - low) * i / 8.0), i) for i in range(9)]
    _, at = min(tried)
    a = low + (high - low) * max(at - 1, 0) / 8.0
    b = low + (high - low) * min(at + 1, 8) / 8.0
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(8):
        c, d = b - golden * (b - a), a + golden * (b - a)
        if unlikely(c) < unlikely(d):
            b = d
        else:
            a = c
    return math.exp((a + b) / 2.0)


# -- the blade -------------------------------------------------------------------------------------

READ_U_MM = 0.001 * MM_PER_INCH
"""Standard uncertainty of one distance by caliper, and of the place it is taken at (common
practice, no source)."""

BELOW_BACK_IN = (0.05, 0.12, 0.2, 0.3, 0.45, 0.75, 1.2)
"""How far beyond the back edge's end the leading and trailing edge are read: the base lies about a
tenth of an inch beyond it, so most of them near there (common practice, no source)."""

ACROSS = 8
"""Places along the outer edge."""

BETWEEN = 3
"""Points that the outline gets between two places."""

FEWEST_DISTANCES = 6
"""Fewer distances tell nothing of a smooth curve."""

CONTRADICTS = 3.5
"""A distance this many standard uncertainties from where the others put the edge contradicts
them."""

CONTRADICTS_MM = 0.004 * MM_PER_INCH
"""and off by at least this much: less is no slip of a hand."""

Curved = Literal["leading", "outer", "trailing"]
CheckKind = Literal["length", "height", "hole"]


@dataclass(frozen=True, slots=True)
class Frame:
    """The blade's straight sides (mm): top edge, back edge, and the height of the front corner.

    ``height_mm`` is the greatest distance from the top edge to the outer edge.

    Raises:
        InputError: lengths that are no blade's.
    """

    top_mm: float
    back_mm: float
    front_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        for field, value, low, high in (
            ("top edge", self.top_mm, 50.0, 300.0),
            ("back edge", self.back_mm, 3.0, 100.0),
            ("front corner", self.front_mm, 0.0, 100.0),
            ("height", self.height_mm, 20.0, 200.0),
        ):
            if not low <= value <= high:
                raise InputError(field, f"{value:g} mm", f"{low:g} to {high:g} mm")
        if self.height_mm <= max(self.back_mm, self.front_mm) + 10.0:
            accepted = "more than 10 mm beyond the ends of the back edge and the front"
            raise InputError("height", f"{self.height_mm:g} mm", accepted)


@dataclass(frozen=True, slots=True)
class Place:
    """A numbered distance to take: on which edge, and how far (mm) from the other straight side.

    Leading and trailing edge: ``at_mm`` from the top edge, the distance from the back edge is read.
    Outer edge: ``at_mm`` from the back edge, the distance from the top edge is read.
    """

    number: int
    edge: Curved
    at_mm: float

    def point(self, read_mm: float) -> Point:
        """Return where the edge lies (u, v) by this distance."""
        return (self.at_mm, read_mm) if self.edge == "outer" else (read_mm, self.at_mm)


def places_of(frame: Frame) -> tuple[Place, ...]:
    """Return the distances to take, numbered from the front corner round to the back edge."""
    heights = [frame.back_mm + MM_PER_INCH * d for d in BELOW_BACK_IN]
    low = 0.85 * frame.height_mm
    heights = [h for h in heights if h < low]
    leading = [h for h in heights if h > frame.front_mm + 0.5]
    if leading and leading[0] > frame.front_mm + 0.3 * MM_PER_INCH:
        leading.insert(0, (leading[0] + frame.front_mm) / 2.0)
    along = [frame.top_mm * (0.12 + 0.55 * i / (ACROSS - 1)) for i in range(ACROSS)]
    found: list[tuple[Curved, float]] = [
        *(("leading", h) for h in leading),
        *(("outer", u) for u in reversed(along)),
        *(("trailing", h) for h in reversed(heights)),
    ]
    return tuple(Place(n, edge, at) for n, (edge, at) in enumerate(found, 1))


@dataclass(frozen=True, slots=True)
class Known:
    """A point of the curved edge and the standard uncertainty of it across the edge (mm).

    ``number`` is that of the distance taken there; 0 between two.
    """

    at_mm: Point
    u_mm: float
    number: int = 0


def curve_of(frame: Frame, read_mm: Mapping[int, float], *, without: int = 0) -> tuple[Known, ...]:
    """Return the curved edge from the front corner to the end of the back edge.

    ``read_mm`` are distances by their number; ``without`` leaves one out. The curve runs evenly
    through both corners, whose places are known as well as any other's.

    Raises:
        InputError: too few distances, or places that are no way round a blade.
    """
    places = [p for p in places_of(frame) if p.number in read_mm and p.number != without]
    if len(places) < FEWEST_DISTANCES:
        raise InputError("distances", f"{len(places)} taken", f"{FEWEST_DISTANCES} or more")
    numbers = [0, *(p.number for p in places), 0]
    points = [(frame.top_mm, frame.front_mm), *(p.point(read_mm[p.number]) for p in places),
              (0.0, frame.back_mm)]  # fmt: skip
    kept = _in_order(points)
    points, numbers = [points[i] for i in kept], [numbers[i] for i in kept]
    along = [0.0, *accumulate(math.dist(a, b) for a, b in pairwise(points))]
    each = BETWEEN + 1
    fine = [a + (b - a) / each * i for a, b in pairwise(along) for i in range(each)]
    fine.append(along[-1])
    axes = list(zip(*points, strict=True))
    bend = likeliest_bend(along, axes, READ_U_MM)
    whole = []
    for taken in axes:
        read: list[float | None] = [None] * len(fine)
        read[::each] = taken
        whole.append(smoothed(fine, read, READ_U_MM, bend))
    curve = list(zip(whole[0].values, whole[1].values, strict=True))
    out = []
    for k, at in enumerate(curve):
        ex, ey = direction(curve[max(k - 1, 0)], curve[min(k + 1, len(curve) - 1)])
        variance = ey * ey * whole[0].variances[k] + ex * ex * whole[1].variances[k]
        out.append(Known(at, math.sqrt(variance), 0 if k % each else numbers[k // each]))
    return tuple(out)


def _in_order(points: Sequence[Point]) -> list[int]:
    """Return the indices of the points in their order round the blade.

    Where a place of the outer edge lies beyond the end of the leading or trailing places, the
    nearest way round decides.
    """
    left = list(range(1, len(points) - 1))
    out = [0]
    while left:
        here = points[out[-1]]
        # Mostly the next number; a neighbour may lie nearer where two edges meet.
        near = min(left[:3], key=lambda i: math.dist(points[i], here))
        out.append(near)
        left.remove(near)
    return [*out, len(points) - 1]


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A distance that the others contradict (mm): what was read and what they make it."""

    place: Place
    read_mm: float
    others_mm: float
    u_mm: float


def contradiction(frame: Frame, read_mm: Mapping[int, float]) -> Contradiction | None:
    """Return the distance that the others contradict most; None where none does.

    Each is compared with the curve through the others alone (leaving one out), whose bend is found
    without it, too.
    """
    worst: tuple[float, Contradiction] | None = None
    for place in places_of(frame):
        if place.number not in read_mm or len(read_mm) <= FEWEST_DISTANCES:
            continue
        curve = curve_of(frame, read_mm, without=place.number)
        found = _others(curve, place, place.point(read_mm[place.number]))
        if found is None:
            continue
        value, u = found
        off = abs(read_mm[place.number] - value)
        times = off / math.hypot(u, READ_U_MM)
        if times > CONTRADICTS and off > CONTRADICTS_MM and (worst is None or times > worst[0]):
            worst = times, Contradiction(place, read_mm[place.number], value, u)
    return None if worst is None else worst[1]


def _others(curve: Sequence[Known], place: Place, near: Point) -> tuple[float, float] | None:
    """Return what a curve makes the distance at a place, and its standard uncertainty."""
    axis = 0 if place.edge == "outer" else 1
    best: tuple[float, float, float] | None = None
    for a, b in pairwise(curve):
        for t in _crossed(a.at_mm, b.at_mm, axis, place.at_mm):
            value = a.at_mm[1 - axis] + t * (b.at_mm[1 - axis] - a.at_mm[1 - axis])
            off = abs(value - near[1 - axis])
            if best is None or off < best[0]:
                best = off, value, _u_along(a, b, axis)
    return None if best is None else (best[1], best[2])


def _u_along(a: Known, b: Known, axis: int) -> float:
    """Return how well (mm, standard) the edge between two points is known square to an axis.

    Along the line of a reading an edge that lies askew is known less well than across it.
    """
    steep = math.dist(a.at_mm, b.at_mm) / abs(b.at_mm[axis] - a.at_mm[axis])
    return max(a.u_mm, b.u_mm) * steep


def blade_by_calipers(
    name: str, frame: Frame, read_mm: Mapping[int, float], holes: Sequence[Hole] = ()
) -> Blade:
    """Return the blade; its outline's uncertainty is that at the places where it was read (root of
    the mean square). Between two places far apart it is more.

    Raises:
        InputError: too few distances, or an outline that no blade has.
    """
    curve = curve_of(frame, read_mm)
    inner = [k.at_mm for k in curve]
    inner[0], inner[-1] = (frame.top_mm, frame.front_mm), (0.0, frame.back_mm)
    outline = [(0.0, 0.0), (frame.top_mm, 0.0), *inner]
    if frame.front_mm == 0.0:
        outline.pop(1)
    read = [k.u_mm for k in curve if k.number]
    u_mm = math.sqrt(math.fsum(u * u for u in read) / len(read))
    return Blade(
        name, tuple(outline), ((0.0, 0.0), (frame.top_mm, 0.0)),
        ((0.0, 0.0), (0.0, frame.back_mm)), tuple(holes), u_mm,
    )  # fmt: skip


# -- checked on the loose blade --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Check:
    """A check reading on the loose blade (mm) beside what the outline makes it."""

    what: CheckKind
    read_mm: float
    outline_mm: float
    allowed_mm: float

    @property
    def off_mm(self) -> float:
        """Read minus outline."""
        return self.read_mm - self.outline_mm

    @property
    def agrees(self) -> bool:
        """Whether the two agree within twice what both are known to."""
        return abs(self.off_mm) <= self.allowed_mm


def checked(blade: Blade, what: CheckKind, read_mm: float, curve: Sequence[Known] = ()) -> Check:
    """Compare a check reading with the outline: overall length, height, or hole to outer edge.

    ``hole`` is the distance from the first hole's nearer side to the outer edge, straight out from
    the top edge through the hole's centre. ``curve`` says how well each place of the curved edge is
    known, where it was traced by calipers: between two places less than at them.

    Raises:
        InputError: a hole asked for on a blade that has none.
    """
    if what == "length":
        value = blade.length_mm
    elif what == "height":
        vs = [v for _, v in blade.outline_mm]
        value = max(vs) - min(vs)
    else:
        if not blade.holes:
            raise InputError("hole", "none", "a blade with a hole")
        hole = blade.holes[0]
        value = _out_from(blade, hole.at_mm[0]) - hole.at_mm[1] - hole.diameter_mm / 2.0
    # Both ends of the distance lie on the outline, each known so well.
    u_mm = max(blade.outline_u_mm, _edge_u(blade, what, curve))
    known = math.hypot(blade.outline_u_mm, u_mm, READ_U_MM)
    return Check(what, read_mm, value, 2.0 * known)


def _edge_u(blade: Blade, what: str, curve: Sequence[Known]) -> float:
    """Return how well (mm, standard) the outer edge is known where a check reading meets it."""
    if what == "length" or not curve:
        return 0.0
    if what == "height":
        k = max(range(len(curve)), key=lambda i: curve[i].at_mm[1])
        return max(each.u_mm for each in curve[max(k - 1, 0) : k + 2])
    u = blade.holes[0].at_mm[0]
    known = (_u_along(a, b, 0) for a, b in pairwise(curve) if _crossed(a.at_mm, b.at_mm, 0, u))
    return max(known, default=0.0)


def _out_from(blade: Blade, u: float) -> float:
    """Return how far out (v) the outline reaches at a distance from the back edge."""
    return max(
        a[1] + t * (b[1] - a[1])
        for a, b in sides_of(blade.outline_mm)
        for t in _crossed(a, b, 0, u)
    )


def _crossed(a: Point, b: Point, axis: int, at_mm: float) -> list[float]:
    """Return how far along from a (0) to b (1) a coordinate is ``at_mm``, if it is there."""
    low, high = a[axis], b[axis]
    if low == high or not min(low, high) <= at_mm <= max(low, high):
        return []
    return [(at_mm - low) / (high - low)]


def shifted(blade: Blade, first: int, last: int, by_mm: float) -> Blade:
    """Return the blade with an edge shifted outward: points ``first`` to ``last`` (1, 2, ...).

    Each point moves by ``by_mm`` square to the outline, away from the metal.

    Raises:
        InputError: points that there are not, or an outline that no blade has.
    """
    n = len(blade.outline_mm)
    if not 1 <= first <= last <= n:
        raise InputError("points", f"{first} to {last}", f"two numbers from 1 to {n}")
    points = blade.outline_mm
    side = math.copysign(1.0, area_and_centroid(points)[0])
    out = list(points)
    for i in range(first - 1, last):
        before, after = points[i - 1], points[(i + 1) % n]
        ex, ey = direction(before, after)
        out[i] = (points[i][0] + side * by_mm * ey, points[i][1] - side * by_mm * ex)
    return replace(blade, outline_mm=tuple(out))


def moved_point(blade: Blade, number: int, at_mm: Point) -> Blade:
    """Return the blade with one point of its outline (1, 2, ...) elsewhere.

    Raises:
        InputError: no such point, or an outline that no blade has.
    """
    if not 1 <= number <= len(blade.outline_mm):
        raise InputError("point", number, f"1 to {len(blade.outline_mm)}")
    out = list(blade.outline_mm)
    out[number - 1] = at_mm
    return replace(blade, outline_mm=tuple(out))
