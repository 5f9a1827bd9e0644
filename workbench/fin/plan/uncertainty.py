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
from collections.abc import Sequence

from workbench.fin.frame import Point, Pose, inverse, multiply
from workbench.fin.parts.blade import Blade, distance_to_segment
from workbench.fin.parts.studs import Stud, Travel
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.contacts import Observation
from workbench.fin.reading.method import Method
from workbench.fin.reading.quantities import TRAITS
from workbench.fin.reading.rig import Rig

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
        length = math.dist(a, b)
        if t <= 0.0 or t >= 1.0:
            corner = k if t <= 0.0 else (k + 1) % n
            _add(out, str(corner), (sign * line[0], sign * line[1]))
            continue
        normal = ((b[1] - a[1]) / length, -(b[0] - a[0]) / length)
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


def after_outline_u(rig: Rig, fit: Fit, method: Method, after: Pose) -> float:
    """Return the standard uncertainty (mm) of what ``method`` reads at ``after``, for the outline's
    sake; ``after`` is reached from the fitted pose by known turns."""
    if rig.blade.outline_u_mm == 0.0:
        return 0.0
    before = _pose_moves(fit, rig.blade)
    seen = rig.observe(method, after)
    gain = rig.pose_gain(fit.pose, after) if after != fit.pose else None
    pose = before if gain is None else [_sum(list(zip(row, before, strict=True))) for row in gain]
    parts = [(seen.gradient[k], pose[k]) for k in range(3)]
    return outline_u(_sum([*parts, (1.0, moves_of(method, seen, rig.blade, after))]), rig.blade)


# -- the block -------------------------------------------------------------------------------------


def _is_exact(studs: Sequence[Stud]) -> bool:
    return all(stud.place_u_mm == 0.0 and stud.lead_u == 0.0 for stud in studs)


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


def after_block_u(rig: Rig, fit: Fit, method: Method, after: Pose) -> float:
    """Return the standard uncertainty (mm) of what ``method`` reads at ``after``, for the block's
    sake; ``after`` is reached from the fitted pose by known turns."""
    if after == fit.pose or _is_exact(rig.studs):
        return 0.0
    now_at, after_at = rig.travels(fit.pose), rig.travels(after)
    per_travel = inverse([t.gradient for t in after_at])
    if per_travel is None:
        return 0.0
    gradient = rig.observe(method, after).gradient
    parts = []
    for j, stud in enumerate(rig.studs):
        slope = math.fsum(gradient[k] * per_travel[k][j] for k in range(3))
        parts.append(slope * move_u(stud, now_at[j], after_at[j]))
    return math.hypot(*parts)


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


def u_after(rig: Rig, fit: Fit, method: Method, after: Pose) -> float:
    """Return the standard uncertainty (mm) of what ``method`` will read at ``after``.

    ``after`` is reached from the fitted pose by known turns; the readings, the outline and the
    studs are uncertain.
    """
    by_readings = u_by(fit, gain_after(rig, fit, after), rig.observe(method, after).gradient)
    return math.hypot(
        by_readings,
        after_outline_u(rig, fit, method, after),
        after_block_u(rig, fit, method, after),
    )
