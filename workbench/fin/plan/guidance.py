"""From the pose now and the readings wanted to the turns of each stud, and what they will do.

pose now -> pose wanted -> change of each stud's travel -> exact turns -> turns a hand can make,
taken together, not each alone -> the order to make them in and the reading to expect after each.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.errors import OutOfReachError, shown
from workbench.fin.frame import Pose
from workbench.fin.parts.studs import Stud, Travel
from workbench.fin.plan.goals import (
    Goal,
    fit_wanted,
    followed,
    following,
    goals_of,
)
from workbench.fin.plan.plan import Plan, Prediction, Step, StudTurn, Target, is_within
from workbench.fin.plan.remarks import missed_remarks, remarks
from workbench.fin.plan.rounding import rounded
from workbench.fin.plan.uncertainty import after_turns, turns_block_u, turns_outline_u, u_turns
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.observe import observe
from workbench.fin.reading.rig import Rig
from workbench.measure.lengths import check_finest

FARTHEST_MM = 12.7
"""How far one stud can be moved where its block states no limits: half an inch, 16 turns of 32 tpi,
about all the thread that such a stud has (common practice, no source)."""


class StudLimitError(OutOfReachError):
    """A stud's end would have to lie beyond its limits."""

    def __init__(self, stud: Stud, end_mm: float, limit_mm: float, side: str) -> None:
        self.stud, self.end_mm, self.limit_mm, self.side = stud, end_mm, limit_mm, side
        super().__init__(
            f"stud {shown(stud.name)} would be at {end_mm:.3f} mm, "
            f"beyond its {side} travel of {limit_mm:.3f} mm"
        )


class StudTurnsError(OutOfReachError):
    """A stud without stated limits would have to turn more than any stud can."""

    def __init__(self, stud: Stud, turns: float) -> None:
        self.stud, self.turns = stud, turns
        self.most_turns = FARTHEST_MM / stud.lead_mm
        super().__init__(
            f"stud {shown(stud.name)} would have to turn {abs(turns):.1f} turns "
            f"{'in' if turns > 0.0 else 'out'}, more than the {self.most_turns:.1f} that a stud "
            "can where its limits are not stated"
        )


def plan(
    rig: Rig,
    readings: Sequence[Reading],
    targets: Sequence[Target],
    finest_turn: float,
    start: Pose | None = None,
) -> Plan:
    """Work out the turns that bring ``readings`` to ``targets``.

    A reading without a target is held where it is. With more than three readings, as many of those
    are held as leave the pose fixed, of other quantities than the targets first; the rest follow.
    ``finest_turn`` is the finest part of a turn that the tech works in; 0 means exact.

    Raises:
        InputError: a target without a reading, two for one method, or an odd ``finest_turn``.
        NoPoseError: the readings fix no pose.
        OutOfReachError: the blade or a stud cannot get there.
    """
    check_finest(finest_turn, "finest_turn", least=0.0)
    fit = fit_pose(rig.blade, rig.base, readings, start, every=True)
    return plan_from(rig, fit, targets, finest_turn)


def plan_from(
    rig: Rig,
    fit: Fit,
    targets: Sequence[Target],
    finest_turn: float,
) -> Plan:
    """Work out the turns as :func:`plan` does, from a pose that the readings gave already.

    Raises:
        InputError: a target without a reading, two for one method, or an odd ``finest_turn``.
        OutOfReachError: the blade or a stud cannot get there.
    """
    check_finest(finest_turn, "finest_turn", least=0.0)
    goals = goals_of(fit, targets)
    within = _are_within(fit, goals)
    wanted_fit = fit_wanted(rig, fit, goals)
    wanted = wanted_fit.pose
    goals = following(rig, goals, wanted)
    now_at, wanted_at = rig.travels(fit.pose), rig.travels(wanted)
    exact = [
        (w.mm - n.mm) / stud.lead_mm
        for w, n, stud in zip(wanted_at, now_at, rig.studs, strict=True)
    ]
    turns = [0.0] * 3
    if not within:
        _check_limits(rig, wanted_at, exact)
        turns = rounded(rig, fit.pose, goals, exact, finest_turn)
    known = [
        math.hypot(*both)
        for both in zip(
            u_turns(rig, fit, now_at, wanted_at, followed(wanted_fit, goals)),
            turns_outline_u(rig, fit, wanted_fit, now_at, wanted_at),
            turns_block_u(rig.studs, now_at, wanted_at),
            strict=True,
        )
    ]
    stud_turns = tuple(
        StudTurn(stud, w.mm - n.mm, e, t, u)
        for stud, w, n, e, t, u in zip(
            rig.studs, wanted_at, now_at, exact, turns, known, strict=True
        )
    )
    after = rig.seated(fit.pose, turns)
    predictions = _predictions(rig, fit, goals, after)
    notes = remarks(rig, fit, goals, wanted, after, within)
    if not within:
        notes += missed_remarks(rig, goals, wanted, predictions)
    steps = _steps(rig, fit, stud_turns) or (
        Step("leave" if within else "coarse" if finest_turn else "best"),
    )
    return Plan(fit, wanted, after, stud_turns, predictions, steps, notes, within)


def _are_within(fit: Fit, goals: Sequence[Goal]) -> bool:
    """Tell whether every reading with a target of its own is within its tolerance already."""
    return all(
        is_within(reading.value_mm - goal.target.value_mm, goal.target.tolerance_mm)
        for reading, goal in zip(fit.readings, goals, strict=True)
        if goal.role == "target"
    )


def _check_limits(rig: Rig, travels: Sequence[Travel], turns: Sequence[float]) -> None:
    for stud, t, n in zip(rig.studs, travels, turns, strict=True):
        if stud.limits_mm is None:
            if abs(n * stud.lead_mm) > FARTHEST_MM:
                raise StudTurnsError(stud, n)
            continue
        lo, hi = stud.limits_mm
        end = stud.end_mm(t.mm)
        if end < lo - 1e-9:
            raise StudLimitError(stud, end, lo, "least")
        if end > hi + 1e-9:
            raise StudLimitError(stud, end, hi, "most")


def _predictions(rig: Rig, fit: Fit, goals: Sequence[Goal], after: Pose) -> tuple[Prediction, ...]:
    there = after_turns(rig, fit, [goal.target.method for goal in goals], after)
    return tuple(
        Prediction(
            goal.target.method, reading.value_mm, goal.target.value_mm, then.seen.value_mm,
            goal.target.tolerance_mm, then.u_mm, goal.role, then.by_outline_mm, then.by_block_mm,
        )
        for goal, reading, then in zip(goals, fit.readings, there, strict=True)
    )  # fmt: skip


def _steps(rig: Rig, fit: Fit, stud_turns: Sequence[StudTurn]) -> tuple[Step, ...]:
    """Order the acts, none where no stud turns: those that go out make room before others push."""
    moving = [t for t in stud_turns if t.turns]
    if not moving:
        return ()
    moving.sort(key=lambda t: t.turns > 0)
    made = {t.stud.name: 0.0 for t in stud_turns}
    steps = [Step("loosen")]
    for turn in moving:
        made[turn.stud.name] = turn.turns
        pose = rig.seated(fit.pose, [made[s.name] for s in rig.studs])
        expect = []
        for reading in fit.readings:
            seen = observe(reading.method, rig.blade, rig.base, pose)
            if seen is not None:
                expect.append((reading.method, seen.value_mm))
        steps.append(Step("turn", turn, tuple(expect)))
    return (*steps, Step("seat"), Step("snug"), Step("measure"))
