"""From the pose now and the readings wanted to the turns of each stud, and what they will do.

pose now -> pose wanted -> change of each stud's travel -> exact turns -> turns a hand can make,
taken together, not each alone -> the order to make them in and the reading to expect after each.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from workbench.errors import OutOfReachError, shown
from workbench.fin.frame import Pose
from workbench.fin.plan.plan import (
    Code,
    Goal,
    Plan,
    Prediction,
    Remark,
    Step,
    StudTurn,
    Target,
    fit_wanted,
    followed,
    following,
    goals_of,
    is_within,
)
from workbench.fin.plan.rounding import rounded
from workbench.fin.plan.uncertainty import (
    after_turns,
    gain_after,
    turns_block_u,
    turns_outline_u,
    u_by,
    u_turns,
)
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.method import TRAITS, Method
from workbench.fin.reading.observe import Observation, observe, observe_all
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud, Travel
from workbench.measure.lengths import check_finest
from workbench.measure.linalg import Three, multiply

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


def plan_from(rig: Rig, fit: Fit, targets: Sequence[Target], finest_turn: float) -> Plan:
    """Work out the turns that bring the readings of ``fit`` to ``targets``.

    A reading without a target is held where it is. With more than three readings, as many of those
    are held as leave the pose fixed, of other quantities than the targets first; the rest follow.
    ``finest_turn`` is the finest part of a turn that the tech works in; 0 means exact.

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


# -- remarks: what a technician should be told beside the turns ------------------------------------

# -- where an uncertainty is only rough ------------------------------------------------------------

REACH = 2.0
"""Each reading is moved by this many of its standard uncertainties."""

_BEND = 0.1
"""A reading that then misses the straight line by more than this share of its own uncertainty over
the same reach has gone over to another part of the outline."""


UNSEEN_MM = 1e3
"""The miss of a reading that could not be taken at all: more than any blade is long."""


def rough_remarks(
    rig: Rig, fit: Fit, methods: Sequence[Method], pose: Pose, when: Literal["now", "wanted"]
) -> list[Remark]:
    """Return a remark for each method whose uncertainty at ``pose`` is only rough, and by what.

    A reading is smooth in the pose while the jaw stays on one corner or edge, and bends where it
    goes over to the next. Within the reach of the readings' own uncertainties such a bend makes the
    linear propagation wrong (JCGM 101:2008, 5.11, names this as the case for Monte Carlo).
    By its own touch (nothing), or by that of the reading beside it, on which it hangs through the
    pose. ``pose`` is the fitted one, or one reached from it by known turns.
    """
    if not methods:
        return []
    gain = gain_after(rig, fit, pose)
    here = [rig.observe(m, pose) for m in methods]
    own = _bends(rig, fit, methods, (pose, here), gain)
    read = _bends(rig, fit, fit.methods, (fit.pose, fit.observations), fit.gain)
    out: list[Remark] = []
    for i, (method, seen) in enumerate(zip(methods, here, strict=True)):
        allowed = _BEND * REACH * u_by(fit, gain, seen.gradient)
        if any(abs(bends[i]) > allowed for bends in own):
            out.append(Remark("rough", method.name, when))
            continue
        # A reading that bends away from its straight line puts the pose off by its gain.
        (through,) = multiply((seen.gradient,), gain)
        for bends in read:
            passed = [s * b for s, b in zip(through, bends, strict=True)]
            if abs(sum(passed)) > allowed:
                worst = max(range(len(passed)), key=lambda j: abs(passed[j]))
                out.append(Remark("rough", method.name, when, by=fit.methods[worst].name))
                break
    return out


def _bends(
    rig: Rig,
    fit: Fit,
    methods: Sequence[Method],
    at: tuple[Pose, Sequence[Observation]],
    gain: Sequence[Sequence[float]],
) -> list[list[float]]:
    """Return how far each method misses its straight line (mm), for each move of a reading."""
    pose, here = at
    out = []
    for j, reading in enumerate(fit.readings):
        for reach in (REACH * reading.u_mm, -REACH * reading.u_mm):
            move = (gain[0][j] * reach, gain[1][j] * reach, gain[2][j] * reach)
            there = observe_all(methods, rig.blade, rig.base, pose.moved(*move))
            out.append([_bend(h, seen, move) for h, seen in zip(here, there, strict=True)])
    return out


def _bend(here: Observation, there: Observation | None, move: Three) -> float:
    """Return how far a reading after a move misses the straight line from before it, in mm."""
    if there is None:
        return UNSEEN_MM
    gx, gy, gt = here.gradient
    return there.value_mm - here.value_mm - gx * move[0] - gy * move[1] - gt * move[2]


# -- remarks ---------------------------------------------------------------------------------------

COVERAGE = 2.0
"""Coverage factor for 'smaller than its own expanded uncertainty' (JCGM 100:2008, 6.2.1: k = 2)."""

ODD_TILT_RAD = math.radians(5.0)
"""A fin set for riding is within a degree or two of level; beyond this a reading is suspect."""


def remarks(
    rig: Rig, fit: Fit, goals: Sequence[Goal], wanted: Pose, after: Pose, within: bool
) -> tuple[Remark, ...]:
    """Return what to tell about this plan: about the pose, its contacts, and each reading."""
    out: list[Remark] = []
    if within:
        out.append(Remark("within"))
    if abs(fit.pose.tilt_rad) > ODD_TILT_RAD:
        out.append(Remark("tilt", angle_rad=fit.pose.tilt_rad))
    if abs(wanted.tilt_rad) > ODD_TILT_RAD and not within:
        out.append(Remark("tilt", when="wanted", angle_rad=wanted.tilt_rad))
    likely = [pose.tilt_rad for pose in fit.others if abs(pose.tilt_rad) <= ODD_TILT_RAD]
    if likely:
        out.append(Remark("ambiguous", angle_rad=min(likely, key=abs), others=len(fit.others) - 1))
    if not any(TRAITS[m.quantity].tells_place for m in fit.methods):
        out.append(Remark("no_tail", limit_mm=COVERAGE * math.sqrt(fit.covariance[0][0])))
    out += contact_remarks(rig, fit.pose, "now")
    if not within:
        out += contact_remarks(rig, wanted, "wanted")
    out += rough_remarks(rig, fit, fit.methods, fit.pose, "now")
    if not within:
        for pose in (wanted, after):
            told = {r.subject for r in out if r.code == "rough"}
            untold = [m for m in fit.methods if m.name not in told]
            out += rough_remarks(rig, fit, untold, pose, "wanted")
    for goal, reading in zip(goals, fit.readings, strict=True):
        if goal.role == "target":
            out += _target_remarks(goal, reading)
    return tuple(out)


def missed_remarks(
    rig: Rig, goals: Sequence[Goal], wanted: Pose, predictions: Sequence[Prediction]
) -> tuple[Remark, ...]:
    """Return which targets the turns of a plan will not reach: too coarse, or out of its hands."""
    out = []
    held = ", ".join(g.target.method.name for g in goals if g.role == "held")
    for p in predictions:
        if not p.within and p.role != "follows":
            off_mm = rig.observe(p.method, wanted).value_mm - p.target_mm
            code: Code = "still_off" if is_within(off_mm, p.tolerance_mm) else "apart"
            by = held if code == "apart" else ""
            out.append(
                Remark(code, p.method.name, value_mm=p.off_mm, limit_mm=p.tolerance_mm, by=by)
            )
    return tuple(out)


def _target_remarks(goal: Goal, reading: Reading) -> list[Remark]:
    """Return what to tell about one target: by a coarse mark, or smaller than it can be known."""
    name, out = reading.method.name, []
    if reading.method.is_coarse:
        out.append(Remark("coarse", name))
    change, expanded = goal.target.value_mm - reading.value_mm, COVERAGE * reading.u_mm
    if not is_within(change, 0.0) and abs(change) < expanded:
        out.append(Remark("insignificant", name, value_mm=change, limit_mm=expanded))
    return out


def contact_remarks(rig: Rig, pose: Pose, when: Literal["now", "wanted"]) -> list[Remark]:
    """Return a remark for each stud whose ball is off its edge or whose travel is at its limit."""
    out = []
    for stud, t in zip(rig.studs, rig.travels(pose), strict=True):
        if not t.on_edge:
            out.append(Remark("off_edge", stud.said, when))
        if stud.limits_mm is None:
            continue
        lo, hi = stud.limits_mm
        end = stud.end_mm(t.mm)
        nearer = lo if end - lo < hi - end else hi
        if not lo <= end <= hi:
            out.append(Remark("travel_limit", stud.said, when, end, nearer))
        elif abs(end - nearer) < stud.lead_mm / 4.0:
            out.append(Remark("near_limit", stud.said, when, end, nearer))
    return out
