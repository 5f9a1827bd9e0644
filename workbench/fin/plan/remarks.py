"""What a technician should be told beside the turns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from workbench.fin.frame import Pose, Row, multiply
from workbench.fin.plan.goals import Goal
from workbench.fin.plan.plan import Code, Prediction, Remark, is_within
from workbench.fin.plan.uncertainty import gain_after, u_by
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import Observation, observe_all
from workbench.fin.reading.quantities import TRAITS
from workbench.fin.reading.rig import Rig

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


def _bend(here: Observation, there: Observation | None, move: Row) -> float:
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
        told = {r.subject for r in out if r.code == "rough"}
        for pose in (wanted, after):
            untold = [m for m in fit.methods if m.name not in told]
            out += rough_remarks(rig, fit, untold, pose, "wanted")
            told = {r.subject for r in out if r.code == "rough"}
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
