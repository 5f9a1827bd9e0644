"""From a pose near by down to the one that gives the readings.

Readings are smooth functions of the pose between the corners of the outline and have kinks there.
Three readings are first solved with their contacts held (``held``). Where contacts change on the
way, Newton steps (three readings) or Gauss-Newton steps (more) with the exact derivatives are
damped until the misfit falls (Levenberg-Marquardt), and where a kink blocks the way the derivatives
from its other sides are tried. A pose is only returned as a solution when it is one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TypeGuard

from workbench.fin.frame.linear import Row, normal_matrix, solve
from workbench.fin.frame.pose import Pose
from workbench.fin.pose.equations import Equations, Sight
from workbench.fin.pose.fixed_contacts import solve_held

STEEPEST_RAD = math.radians(15.0)
"""Beyond this tilt a fin is not set but fallen over; poses are looked for within it."""

LONGEST_STEP = 0.06
"""Longest single step, as a share of the blade's length."""

_FINEST = 1e-12
"""A step this short (mm) changes nothing that a double holds of a pose."""

QUADRATIC = 1e-6
"""After a plain Newton step this short what is left is of its square: below the last digits."""

_HOLDS = 3
"""So often contacts that have changed are held anew."""

STATIONARY = 1e-9
"""A least-squares minimum is smooth where no derivative is larger, relative to the misfits."""

_AROUND: tuple[Row, ...] = (
    (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0), (0.0, -1.0, 0.0),
    (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 0.7, 0.7), (0.0, -0.7, -0.7),
    (0.0, 0.7, -0.7), (0.0, -0.7, 0.7),
)  # fmt: skip


def descend(equations: Equations, start: Pose, round_kinks: bool = True) -> Sight | None:
    """Go down from ``start``; return the solution as seen, or None where the way leads to none.

    Without ``round_kinks`` a way that a kink blocks is given up: for a search with many starts.
    """
    sight = equations.sight(start)
    if sight is None:
        return None
    if equations.exact:
        held = _held(equations, sight)
        if held is not None:
            return held
    sight = _go_down(equations, sight, round_kinks)
    if abs(sight.pose.tilt_rad) > STEEPEST_RAD:
        return None
    if equations.exact:
        sight = _polish(equations, sight)
        return sight if equations.met(sight) else None
    return sight if _is_stationary(sight) else _settle(equations, sight)


def held_from(equations: Equations, start: Pose) -> Sight | None:
    """Return the solution of three readings where contacts as at ``start`` lead to one, or None."""
    sight = equations.sight(start)
    return None if sight is None else _held(equations, sight)


def _held(equations: Equations, sight: Sight) -> Sight | None:
    """Return the solution with the contacts held, where they do hold or soon come to."""
    for _ in range(_HOLDS):
        pose = solve_held(equations, sight)
        if pose is None or abs(pose.tilt_rad) > STEEPEST_RAD:
            return None
        new = equations.sight(pose)
        if new is None or not new.cost < sight.cost:
            return None
        if equations.met(new):
            return new
        sight = new
    return None


def _go_down(equations: Equations, sight: Sight, round_kinks: bool) -> Sight:
    """Take damped steps until none helps."""
    damping = 0.0
    for _ in range(60):
        step = _step(equations, sight.misfits, sight.rows, damping)
        if step is None:
            damping = max(damping * 10.0, 1e-6)
            if damping > 1e12:
                return sight
            continue
        size = max(map(abs, step))
        new = equations.sight(equations.stepped(sight.pose, step))
        if _is_better(new, sight):
            sight = new
            if damping == 0.0 and size < QUADRATIC and len(sight.rows) == 3:
                return sight
            damping = 0.0 if damping < 1e-4 else damping / 30.0
            if size > 1e-12:
                continue
        if size < 1e-10 or (sight.cost < 1e-18 and size < 1e-7):
            return sight
        if damping < 1e6:
            damping = max(damping * 30.0, 1e-4)
            continue
        around = _around_kink(equations, sight) if round_kinks else None
        if around is None:
            return sight
        sight, damping = around, 0.0
    return sight


def _is_better(new: Sight | None, old: Sight) -> TypeGuard[Sight]:
    return new is not None and new.cost < old.cost and abs(new.pose.tilt_rad) <= 1.5 * STEEPEST_RAD


def _step(
    equations: Equations, misfits: Sequence[float], rows: Sequence[Row], damping: float
) -> Row | None:
    """Return the step that the derivatives ask for, shortened to the longest allowed."""
    if len(rows) == 3 and damping == 0.0:
        out = solve(rows, [-m for m in misfits])
    else:
        n = normal_matrix(rows, [1.0] * len(rows))
        lift = damping * max(n[0][0], n[1][1], n[2][2])
        for i in range(3):
            n[i][i] += lift
        right = [-sum(m * row[i] for m, row in zip(misfits, rows, strict=True)) for i in range(3)]
        out = solve(n, right)
    if out is None:
        return None
    longest = max(map(abs, out))
    limit = LONGEST_STEP * equations.scale_mm
    shrink = limit / longest if longest > limit else 1.0
    return (out[0] * shrink, out[1] * shrink, out[2] * shrink)


def _around_kink(equations: Equations, here: Sight) -> Sight | None:
    """Step with the derivatives of near-by places, where a kink turned the own ones wrong."""
    for reach in (1e-6, 1e-3, 0.1, 1.0):
        for direction in _AROUND:
            near = equations.sight(equations.stepped(here.pose, direction, reach))
            if near is None:
                continue
            for damping in (0.0, 1e-2):
                step = _step(equations, here.misfits, near.rows, damping)
                if step is None:
                    continue
                for share in (1.0, 0.25, 0.02):
                    new = equations.sight(equations.stepped(here.pose, step, share))
                    if new is not None and new.cost < here.cost * (1.0 - 1e-6):
                        return new
    return None


def _polish(equations: Equations, sight: Sight) -> Sight:
    """Take up to three plain Newton steps while they help, to the last digits."""
    for _ in range(3):
        step = _step(equations, sight.misfits, sight.rows, 0.0)
        if step is None or max(map(abs, step)) < _FINEST:
            break
        new = equations.sight(equations.stepped(sight.pose, step))
        if new is None or not new.cost < sight.cost:
            break
        sight = new
    return sight


def _is_stationary(sight: Sight) -> bool:
    """Whether the sum of squares has no slope: a minimum between kinks."""
    if sight.cost == 0.0:
        return True
    size = math.sqrt(sight.cost)
    for i in range(3):
        column = [row[i] for row in sight.rows]
        slope = sum(m * c for m, c in zip(sight.misfits, column, strict=True))
        if abs(slope) > STATIONARY * size * math.hypot(*column):
            return False
    return True


def _settle(equations: Equations, sight: Sight) -> Sight:
    """Close in on a minimum that lies on a kink, by a shrinking pattern search."""
    reach = 0.01
    for _ in range(400):
        if reach < 1e-10:
            break
        for direction in _AROUND:
            new = equations.sight(equations.stepped(sight.pose, direction, reach))
            if new is not None and new.cost < sight.cost * (1.0 - 1e-13):
                sight = new
                break
        else:
            reach /= 4.0
    return sight
