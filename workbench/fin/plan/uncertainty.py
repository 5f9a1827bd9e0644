"""How far turns and predicted readings are known, carried from what they are worked out from.

Three things are uncertain, each by itself: the readings, the outline and the block. What both ends
of a move share cancels (JCGM 100:2008, 5.1.2), so that each is followed through both at once.

The outline: every corner, and every hole's centre, may lie off by the blade's ``outline_u_mm`` in
any direction, each by itself; a reading follows the corners of the edge that the caliper touches.
An outline that is off by the same at a reading and at its target costs nothing.

The block: where a stud's axis lies beside itself (``Stud.place_u_mm``) and its lead
(``Stud.lead_u``) may each be off, each stud by itself. A stud that lies off by d touches a blade at
an angle to it by d * tan earlier or later, tan being that of the angle between its axis and the
edge's normal: a move that keeps the blade's tilt costs nothing. A lead that is off counts with the
whole turn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from operator import mul
from typing import Literal

from workbench.errors import BenchError
from workbench.fin.blade import Blade, distance_to_segment
from workbench.fin.frame import Point, Pose, direction
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.method import TRAITS, Method
from workbench.fin.reading.observe import Observation
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud, Travel
from workbench.frozen import dataclass
from workbench.measure.distributions import chi2_quantile
from workbench.measure.linalg import inverse, multiply

# -- the outline -----------------------------------------------------------------------------------

Moves = dict[tuple[str, int], float]
"""How a figure follows (mm/mm) a coordinate of a corner, ``("7", 0)``, or of a hole, ``("hole 2",
0)``; in the blade's frame."""

FLATTEST = 0.2
"""An edge that lies flatter to the line of the reading counts as if it lay so: beyond it, a
straight-line estimate says nothing."""


def moves_of(method: Method, seen: Observation, blade: Blade, pose: Pose) -> Moves:
    """Return how a reading follows the places of the outline's corners and of its hole."""
    if method.is_coarse:
        return {}
    ends = TRAITS[method.quantity].ends
    axis = 0 if ends else 1
    signs = (-1.0, 1.0) if len(ends) == 2 else (1.0,)
    c, s = math.cos(pose.tilt_rad), math.sin(pose.tilt_rad)
    out: Moves = {}
    for sign, contact in zip(signs, seen.contacts_mm, strict=False):
        at = pose.locate(contact)
        k, t = _touched(blade, at)
        n = len(blade.outline_mm)
        a, b = blade.outline_mm[k], blade.outline_mm[(k + 1) % n]
        line = (c, -s) if axis == 0 else (s, c)  # the reading's line in the blade's frame
        if t <= 0.0 or t >= 1.0:
            corner = k if t <= 0.0 else (k + 1) % n
            _add(out, str(corner), (sign * line[0], sign * line[1]))
            continue
        # An edge that moves by 1 along its normal moves its crossing with the reading's line by
        # one over the cosine between the two; either corner has its share of that.
        eu, ev = direction(a, b)
        normal = (ev, -eu)
        across = normal[0] * line[0] + normal[1] * line[1]
        across = math.copysign(max(abs(across), FLATTEST), across)
        by = (sign * normal[0] / across, sign * normal[1] / across)
        _add(out, str(k), ((1.0 - t) * by[0], (1.0 - t) * by[1]))
        _add(out, str((k + 1) % n), (t * by[0], t * by[1]))
        station = method.station
        if axis == 1 and station is not None and station.hole is not None:
            # The station moves along the edge with its hole: the depth follows the edge's slope.
            ahead = normal[0] * c + normal[1] * s
            _add(out, f"hole {station.hole}", (-ahead / across * c, -ahead / across * -s))
    return out


def _touched(blade: Blade, at: Point) -> tuple[int, float]:
    """Return the side of the outline that a contact lies on, and how far along it (0 to 1)."""
    points = blade.outline_mm
    n = len(points)
    k = min(range(n), key=lambda i: distance_to_segment(at, points[i], points[(i + 1) % n]))
    a, b = points[k], points[(k + 1) % n]
    along = (at[0] - a[0]) * (b[0] - a[0]) + (at[1] - a[1]) * (b[1] - a[1])
    t = along / math.dist(a, b) ** 2
    near = 1e-6 / math.dist(a, b)
    return k, 0.0 if t < near else 1.0 if t > 1.0 - near else t


def _add(moves: Moves, name: str, by: Point) -> None:
    for i in (0, 1):
        moves[name, i] = moves.get((name, i), 0.0) + by[i]


def outline_u(moves: Moves, blade: Blade) -> float:
    """Return the standard uncertainty that the outline brings to what follows it so."""
    return blade.outline_u_mm * math.hypot(*moves.values())


def reading_outline_u(method: Method, seen: Observation, blade: Blade, pose: Pose) -> float:
    """Return by how much (mm, standard) a reading can be off for the outline's sake."""
    return outline_u(moves_of(method, seen, blade, pose), blade)


def _pose_moves(fit: Fit, blade: Blade) -> list[Moves]:
    """Return how each of the fitted pose's three values follows the outline, readings as read."""
    each = [
        moves_of(reading.method, seen, blade, fit.pose)
        for reading, seen in zip(fit.readings, fit.observations, strict=True)
    ]
    return [_sum([(-row[j], moves) for j, moves in enumerate(each)]) for row in fit.gain]


def _sum(parts: Sequence[tuple[float, Moves]]) -> Moves:
    out: Moves = {}
    for factor, moves in parts:
        for key, value in moves.items():
            out[key] = out.get(key, 0.0) + factor * value
    return out


def turns_outline_u(
    rig: Rig, fit: Fit, wanted: Fit, now_at: Sequence[Travel], wanted_at: Sequence[Travel]
) -> list[float]:
    """Return the standard uncertainty of each stud's exact turns for the outline's sake.

    The pose now and the pose wanted are both found through the same outline.
    """
    blade = rig.blade
    if blade.outline_u_mm == 0.0:
        return [0.0] * len(rig.studs)
    before, after = _pose_moves(fit, blade), _pose_moves(wanted, blade)
    out = []
    for stud, n, w in zip(rig.studs, now_at, wanted_at, strict=True):
        parts = [(w.gradient[k], after[k]) for k in range(3)]
        parts += [(-n.gradient[k], before[k]) for k in range(3)]
        out.append(outline_u(_sum(parts), blade) / stud.lead_mm)
    return out


def _moves_after(rig: Rig, fit: Fit, after: Pose) -> list[Moves] | None:
    """Return how the pose reached by known turns follows the outline; None: that is exact."""
    if rig.blade.outline_u_mm == 0.0:
        return None
    before = _pose_moves(fit, rig.blade)
    if after == fit.pose:
        return before
    gain = rig.pose_gain(fit.pose, after)
    return [_sum(list(zip(row, before, strict=True))) for row in gain]


# -- the block -------------------------------------------------------------------------------------


def _askew(stud: Stud, at: Travel) -> float:
    """Return how the travel follows (mm/mm) a shift of the axis square to itself: the tan."""
    ax, ay = stud.axis
    return at.gradient[0] * ay - at.gradient[1] * ax


def move_u(stud: Stud, start: Travel, end: Travel) -> float:
    """Return the standard uncertainty (mm) of a stud's move between two places of the blade."""
    turned = _askew(stud, end) - _askew(stud, start)
    return math.hypot(stud.place_u_mm * turned, stud.lead_u * (end.mm - start.mm))


def turns_block_u(
    studs: Sequence[Stud], now_at: Sequence[Travel], wanted_at: Sequence[Travel]
) -> list[float]:
    """Return the standard uncertainty of each stud's exact turns for the block's sake."""
    return [
        move_u(stud, now, wanted) / stud.lead_mm
        for stud, now, wanted in zip(studs, now_at, wanted_at, strict=True)
    ]


def _block_parts(rig: Rig, fit: Fit, after: Pose) -> tuple[list[list[float]], list[float]] | None:
    """Return how the pose follows each travel, and how well that is known; None: it is exact."""
    is_exact = all(stud.place_u_mm == 0.0 and stud.lead_u == 0.0 for stud in rig.studs)
    if after == fit.pose or is_exact:
        return None
    ends = zip(rig.studs, rig.travels(fit.pose), rig.travels(after), strict=True)
    return rig.per_travel(after), [move_u(stud, now, then) for stud, now, then in ends]


# -- the readings, and all together ----------------------------------------------------------------


def u_turns(
    rig: Rig,
    fit: Fit,
    now: Sequence[Travel],
    wanted: Sequence[Travel],
    wanted_gain: list[list[float]],
) -> list[float]:
    """Return the standard uncertainty of each stud's exact turns, carried from the readings.

    A held or relative target moves with its own reading, so the two ends of the change are followed
    together from each reading (JCGM 100:2008, 5.1.2, with the readings as the independent inputs).
    """
    out = []
    for stud, n, w in zip(rig.studs, now, wanted, strict=True):
        total = 0.0
        for j, reading in enumerate(fit.readings):
            moved = sum(
                w.gradient[k] * wanted_gain[k][j] - n.gradient[k] * fit.gain[k][j] for k in range(3)
            )
            total += (moved / stud.lead_mm * reading.u_mm) ** 2
        out.append(math.sqrt(total))
    return out


def gain_after(rig: Rig, fit: Fit, after: Pose) -> list[list[float]]:
    """Return (3 x n) how the pose reached by known turns follows each reading before them."""
    return multiply(rig.pose_gain(fit.pose, after), fit.gain)


def u_by(fit: Fit, gain: Sequence[Sequence[float]], gradient: Sequence[float]) -> float:
    """Return the standard uncertainty (mm) of what changes so with a pose that follows so."""
    (through,) = multiply((gradient,), gain)
    return math.sqrt(sum((g * r.u_mm) ** 2 for g, r in zip(through, fit.readings, strict=True)))


@dataclass(frozen=True, slots=True)
class AfterTurns:
    """What a method reads after known turns, and the parts (mm, standard) of its uncertainty."""

    seen: Observation
    by_readings_mm: float
    by_outline_mm: float
    by_block_mm: float

    @property
    def u_mm(self) -> float:
        """The standard uncertainty of the reading: the readings, outline and studs together."""
        return math.hypot(self.by_readings_mm, self.by_outline_mm, self.by_block_mm)


def after_turns(rig: Rig, fit: Fit, methods: Sequence[Method], after: Pose) -> list[AfterTurns]:
    """Return what each method will read at ``after``, reached from the fitted pose by known turns.

    Raises:
        OutOfReachError: a caliper would meet no part of the blade.
    """
    gain = gain_after(rig, fit, after)
    moves, block = _moves_after(rig, fit, after), _block_parts(rig, fit, after)
    out = []
    for method in methods:
        seen = rig.observe(method, after)
        outline_mm = block_mm = 0.0
        if moves is not None:
            parts = [(seen.gradient[k], moves[k]) for k in range(3)]
            parts.append((1.0, moves_of(method, seen, rig.blade, after)))
            outline_mm = outline_u(_sum(parts), rig.blade)
        if block is not None:
            per_travel, each_u = block
            slopes = (math.fsum(map(mul, seen.gradient, c)) for c in zip(*per_travel, strict=True))
            block_mm = math.hypot(*map(mul, slopes, each_u))
        out.append(AfterTurns(seen, u_by(fit, gain, seen.gradient), outline_mm, block_mm))
    return out


def u_after(rig: Rig, fit: Fit, method: Method, after: Pose) -> float:
    """Return the standard uncertainty (mm) of what ``method`` will read at ``after``."""
    return after_turns(rig, fit, (method,), after)[0].u_mm


# -- what readings should be after known turns -----------------------------------------------------

U_TURN = 0.01
"""Standard uncertainty of a turn made by hand against a mark, in turns (3.6 degrees): our
default (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Expected:
    """What a method should read (mm), the standard uncertainty of that (mm), and by how much the
    reading changes per mm of contact height."""

    method: Method
    value_mm: float
    u_mm: float
    height_slope: float = 0.0


def expected_after(
    rig: Rig, fit: Fit, turns: Sequence[float], methods: Sequence[Method], u_turn: float = U_TURN
) -> tuple[Expected, ...]:
    """Return what each of ``methods`` should read after ``turns`` (positive is in) from ``fit``.

    Each stud that was turned adds its hand's uncertainty through the seated blade (JCGM 100:2008,
    5.1.2); a stud that was left alone adds none.
    """
    after = rig.seated(fit.pose, turns)
    per_travel = rig.per_travel(after)
    out = []
    for method, there in zip(methods, after_turns(rig, fit, methods, after), strict=True):
        seen = there.seen
        squares = there.by_readings_mm**2 + there.by_outline_mm**2 + there.by_block_mm**2
        for j, (stud, turn) in enumerate(zip(rig.studs, turns, strict=True)):
            if turn:
                slope = sum(seen.gradient[k] * per_travel[k][j] for k in range(3))
                squares += (slope * stud.lead_mm * u_turn) ** 2
        out.append(Expected(method, seen.value_mm, math.sqrt(squares), seen.height_slope))
    return tuple(out)


# -- which turns were made -------------------------------------------------------------------------

Made = Literal["meant", "instead", "exchanged", "other way", "not turned", "twice"]

DOUBTED_FROM = 1.0 - 0.003
FITS_TO = 1.0 - 0.01
"""Levels of chi-square: beyond the first the turns told are doubted, within the second another
explanation fits (our choice: the first is the chance at which one reading is called out)."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """Turns that may have been made, and how well the readings after them fit.

    ``stud`` is the one meant and ``other`` the one turned in its place, None where there is none;
    ``turns`` are those really made, by stud (positive is in); ``back`` brings the stud that was
    turned back to where it was meant to be, 0 where two were exchanged. ``chi_square`` has as many
    degrees of freedom as there are readings; ``worst_mm`` is the reading that misses most.
    """

    made: Made
    turns: tuple[float, ...]
    chi_square: float
    worst_mm: float
    stud: Stud | None = None
    other: Stud | None = None
    back: float = 0.0


def explanations(
    rig: Rig, before: Fit, turns: Sequence[float], after: Sequence[Reading]
) -> tuple[Explanation, ...]:
    """Return the turns meant, and before them every other explanation that fits where they do not.

    The best is first; the turns meant are always the last. One alone: they are borne out, or
    nothing explains the readings. Turns by which the blade could not be read are left out.

    Raises:
        BenchError: the turns meant lead nowhere that can be read.
    """
    meant = _explanation(rig, before, "meant", tuple(turns), after)
    if meant.chi_square <= chi2_quantile(DOUBTED_FROM, len(after)):
        return (meant,)
    found = []
    for made, trial, stud, other, back in _slips(rig.studs, turns):
        try:
            one = replace(
                _explanation(rig, before, made, trial, after), stud=stud, other=other, back=back
            )
        except BenchError:
            continue
        if one.chi_square <= chi2_quantile(FITS_TO, len(after)):
            found.append(one)
    return (*sorted(found, key=lambda e: e.chi_square), meant)


def _slips(
    studs: Sequence[Stud], turns: Sequence[float]
) -> Iterator[tuple[Made, tuple[float, ...], Stud, Stud | None, float]]:
    """Yield what a hand may have done instead: turns by stud, the stud meant and the one turned,
    and how far that one is to be turned back."""
    for i, turn in enumerate(turns):
        if not turn:
            continue
        yield "not turned", _with(turns, {i: 0.0}), studs[i], None, turn
        yield "other way", _with(turns, {i: -turn}), studs[i], None, 2.0 * turn
        yield "twice", _with(turns, {i: 2.0 * turn}), studs[i], None, -turn
        for j, its in enumerate(turns):
            if j != i:
                yield "instead", _with(turns, {i: 0.0, j: its + turn}), studs[i], studs[j], -turn
            if j > i and its and its != turn:
                yield "exchanged", _with(turns, {i: its, j: turn}), studs[i], studs[j], 0.0


def _with(turns: Sequence[float], changed: dict[int, float]) -> tuple[float, ...]:
    return tuple(changed.get(i, turn) for i, turn in enumerate(turns))


def _explanation(
    rig: Rig, before: Fit, made: Made, turns: tuple[float, ...], after: Sequence[Reading]
) -> Explanation:
    """Return how well the readings fit these turns: chi-square of the misses with the covariance of
    what is predicted (JCGM 102:2011, 6.2): readings before and after, and the hand that turned."""
    pose = rig.seated(before.pose, turns)
    seen = [rig.observe(reading.method, pose) for reading in after]
    misses = [reading.value_mm - s.value_mm for reading, s in zip(after, seen, strict=True)]
    gradients = [s.gradient for s in seen]
    by_reading = multiply(gradients, gain_after(rig, before, pose))
    by_stud = multiply(gradients, rig.per_travel(pose))
    spread = [r.u_mm for r in before.readings]
    hand = [s.lead_mm * U_TURN if turn else 0.0 for s, turn in zip(rig.studs, turns, strict=True)]
    covariance = [
        [
            _along(by_reading[i], by_reading[k], spread)
            + _along(by_stud[i], by_stud[k], hand)
            + (after[i].u_mm ** 2 if i == k else 0.0)
            for k in range(len(after))
        ]
        for i in range(len(after))
    ]
    weights = inverse(covariance)
    chi_square = math.inf
    if weights is not None:
        (weighted,) = multiply([misses], weights)
        chi_square = math.fsum(w * m for w, m in zip(weighted, misses, strict=True))
    return Explanation(made, turns, chi_square, max(map(abs, misses)))


def _along(one: Sequence[float], two: Sequence[float], u: Sequence[float]) -> float:
    return math.fsum(a * b * s**2 for a, b, s in zip(one, two, u, strict=True))
