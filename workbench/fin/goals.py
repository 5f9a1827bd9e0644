"""What each reading should become: a target, held where it is, or following from the others."""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.errors import InputError, OutOfReachError, shown
from workbench.fin.diagnosis import range_beside_others
from workbench.fin.equations import Equations
from workbench.fin.fit import Fit, NoPoseError, Reading, fit_pose
from workbench.fin.linear import multiply
from workbench.fin.methods import Method, Quantity
from workbench.fin.plans import Role, Target
from workbench.fin.pose import Pose
from workbench.fin.rig import Rig
from workbench.frozen import dataclass

WELL_FIXED, JUST_FIXED = 0.1, 1e-4
"""How much of a reading's derivatives (at most 1; tilt over 100 mm) the others must leave open for
it to fix the pose well, or at all."""


@dataclass(frozen=True, slots=True)
class Goal:
    """A target with its role and how it follows the readings (1: moves with its own reading)."""

    target: Target
    role: Role
    follows_reading: tuple[float, ...]
    u_mm: float


class TargetOutOfReachError(OutOfReachError):
    """The targets together lie outside what this blade can read; ``why`` holds the figures."""

    def __init__(self, why: NoPoseError) -> None:
        self.why = why
        super().__init__(f"the target is out of the blade's reach: {why}")


def goals_of(fit: Fit, targets: Sequence[Target], default_tolerance_mm: float) -> list[Goal]:
    """Return a goal for each reading of ``fit``: its target, or to be held, or to follow.

    Raises:
        InputError: two targets for one method, or a target for a method without a reading.
    """
    given = {t.method.name: t for t in targets}
    if len(given) < len(targets):
        raise InputError("targets", [t.method.name for t in targets], "one target for each method")
    known = {r.method.name for r in fit.readings}
    for name in given:
        if name not in known:
            raise InputError("target method", name, f"a method with a reading: {_listed(known)}")
    n = len(fit.readings)
    goals = []
    for i, (reading, seen) in enumerate(zip(fit.readings, fit.observations, strict=True)):
        target = given.get(reading.method.name)
        if target is not None:
            own = tuple(1.0 if target.is_change and j == i else 0.0 for j in range(n))
            goals.append(Goal(target, "target", own, reading.u_mm))
            continue
        held = Target(reading.method, seen.value_mm, default_tolerance_mm)
        through = tuple(sum(seen.gradient[k] * fit.gain[k][j] for k in range(3)) for j in range(n))
        goals.append(Goal(held, "held", through, reading.u_mm))
    return goals if n == 3 else _freed(goals, fit)


def _listed(names: set[str]) -> str:
    return ", ".join(map(shown, sorted(names)))


def _freed(goals: list[Goal], fit: Fit) -> list[Goal]:
    """Keep only as many held readings as the targets leave the pose open for; free the others.

    A reading is held that fixes what is open; one that hardly does (over a curved base a depth
    changes a little with the place fore and aft) only where no other can. Coarse marks come last:
    where the fine readings fix the pose they follow.
    """
    rows = [o.gradient for o in fit.observations]
    targeted = [i for i, g in enumerate(goals) if g.role == "target"]
    if not targeted:
        return goals
    busy = {goals[i].target.method.quantity for i in targeted}
    spare = [i for i in range(len(goals)) if i not in targeted]
    spare.sort(key=lambda i: _held_later(goals[i].target.method, busy))
    chosen = list(targeted)
    for least in (WELL_FIXED, JUST_FIXED):
        for i in spare:
            before = _rank([rows[j] for j in chosen], least)
            if i not in chosen and _rank([rows[j] for j in (*chosen, i)], least) > before:
                chosen.append(i)
    return [
        g if i in chosen else Goal(g.target, "follows", g.follows_reading, g.u_mm)
        for i, g in enumerate(goals)
    ]


def _held_later(method: Method, busy: set[Quantity]) -> tuple[bool, bool]:
    return (method.is_coarse, method.quantity in busy)


def _rank(rows: Sequence[Sequence[float]], least: float) -> int:
    """Return the rank of a few design rows, by elimination on rows of at most unit length.

    A row counts where more than ``least`` of it is left beside those before it.
    """
    kept: list[list[float]] = []
    for row in rows:
        scaled = [row[0], row[1], row[2] / 100.0]
        size = max(1.0, math.hypot(*scaled))
        rest = [c / size for c in scaled]
        for base in kept:
            along = sum(a * b for a, b in zip(rest, base, strict=True))
            rest = [a - along * b for a, b in zip(rest, base, strict=True)]
        left = math.hypot(*rest)
        if left > least:
            kept.append([c / left for c in rest])
    return len(kept)


def wanted_pose(rig: Rig, fit: Fit, goals: Sequence[Goal]) -> tuple[Pose, list[list[float]]]:
    """Return the wanted pose, and (3 x n) how it follows each reading of now."""
    active = [g for g in goals if g.role != "follows"]
    as_readings = [Reading(g.target.method, g.target.value_mm, g.u_mm) for g in active]
    try:
        wanted_fit = fit_pose(rig.blade, rig.base, as_readings, fit.pose)
    except NoPoseError as why:
        raise TargetOutOfReachError(_why_no_target(rig, fit, active) or why) from why
    follows = [list(g.follows_reading) for g in active]
    return wanted_fit.pose, multiply([list(row) for row in wanted_fit.gain], follows)


def _why_no_target(rig: Rig, fit: Fit, active: Sequence[Goal]) -> NoPoseError | None:
    """Return which of three targets lies outside what the others leave it, and the range of those.

    It is the one farthest from where it reads now; a reading taken again would not help. None where
    each alone lies within, or with more than three.
    """
    if len(active) != 3:
        return None
    now = {r.method.name: r.value_mm for r in fit.readings}
    readings = [Reading(g.target.method, g.target.value_mm, g.u_mm) for g in active]
    equations = Equations(rig.blade, rig.base, readings)
    worst: tuple[float, NoPoseError] | None = None
    for i, goal in enumerate(active):
        method, asked = goal.target.method, goal.target.value_mm
        here = now[method.name]
        reach = range_beside_others(equations, i, here)
        if goal.role != "target" or reach is None or reach[0] <= asked <= reach[1]:
            continue
        if worst is None or abs(asked - here) > worst[0]:
            why = NoPoseError("beside the others it cannot be", method, asked, reach)
            worst = abs(asked - here), why
    return None if worst is None else worst[1]


def following(rig: Rig, goals: Sequence[Goal], wanted: Pose) -> list[Goal]:
    """Give each reading that follows the value it will have at the wanted pose."""
    out = []
    for g in goals:
        if g.role == "follows":
            value = rig.observe(g.target.method, wanted).value_mm
            target = Target(g.target.method, value, g.target.tolerance_mm)
            g = Goal(target, g.role, g.follows_reading, g.u_mm)
        out.append(g)
    return out
