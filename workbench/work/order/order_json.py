"""What an order comes to: turns, predicted readings and readings restated, as plain tables of data.

The dictionaries are what ``--json`` prints: lengths in the order's unit at full precision, angles
in degrees.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from workbench.errors import InputError
from workbench.fin.frame.pose import Pose
from workbench.fin.parts.studs import named
from workbench.fin.plan.guidance import (
    Plan,
    Step,
    StudTurn,
    contact_remarks,
    plan,
    u_after,
)
from workbench.fin.plan.remarks import rough_remarks
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.observe import Method, observe_all
from workbench.measure.units import MM_PER
from workbench.work.order.exposed_words import exposed_report, exposure_of
from workbench.work.order.order_file import DEFAULT_TOLERANCE_MM, Order
from workbench.work.order.solved_jobs import finer_of
from workbench.work.text.words import remark_words, step_words
from workbench.work.trust.plausibility import agreement_report, suspects_of


def plan_of(order: Order) -> Plan:
    """Return the plan of an order."""
    return plan(order.rig, order.readings, order.targets, order.finest_turn, DEFAULT_TOLERANCE_MM)


def finer_turn(order: Order, result: Plan) -> float | None:
    """Return the coarsest finer turn that would meet every target where the order's does not."""
    if result.kept:
        return None
    return finer_of(order.rig, order.readings, order.targets, order.finest_turn)


def fit_of(order: Order) -> Fit:
    """Return the fit of an order's readings."""
    return fit_pose(order.rig.blade, order.rig.base, order.readings, every=True)


def turns_report(order: Order, result: Plan | None = None) -> dict[str, Any]:
    """Return pose, stud turns, predictions, steps and warnings of an order."""
    result = result or plan_of(order)
    finer = finer_turn(order, result)
    per = MM_PER[order.unit]
    return {
        "unit": order.unit,
        "finest_turn": order.finest_turn,
        "pose": {
            "now": _pose(result.fit.pose, per),
            "wanted": _pose(result.wanted, per),
            "after": _pose(result.after, per),
        },
        "within": result.within,
        "studs": [_stud(t, per) for t in result.turns],
        "predicted": [
            {
                "method": p.method.name,
                "now": p.now_mm / per,
                "target": p.target_mm / per,
                "after": p.after_mm / per,
                "off": p.off_mm / per,
                "tolerance": p.tolerance_mm / per,
                "within": p.within,
                "u": p.u_after_mm / per,
                "role": p.role,
            }
            for p in result.predictions
        ],
        "steps": [_step(s, per) for s in result.steps],
        "suspect": [
            {"method": s.method, "normalised_residual": s.normalised, "cause": s.cause}
            for s in suspects_of(order.rig, result.fit, order.methods, order.unit)
        ],
        "agreement": agreement_report(result.fit, per),
        "warnings": [remark_words(r, order.unit, finer) for r in result.remarks],
    }


def predict_report(order: Order, turns: Mapping[str, float]) -> dict[str, Any]:
    """Return the readings after these turns by stud name (positive is in).

    Raises:
        InputError: a stud that the order does not have.
    """
    names = [s.name for s in order.rig.studs]
    made: dict[str, float] = {}
    for name, turn in turns.items():
        meant = named(name, names)
        if meant is None:
            raise InputError("--turn", name, f"one of the studs: {', '.join(map(repr, names))}")
        if meant in made:
            raise InputError("--turn", name, "each stud once")
        made[meant] = turn
    fit = fit_of(order)
    after = order.rig.seated(fit.pose, [made.get(name, 0.0) for name in names])
    per = MM_PER[order.unit]
    methods = [r.method for r in order.readings]
    remarks = contact_remarks(order.rig, after, "wanted")
    remarks += rough_remarks(order.rig, fit, methods, after, "wanted")
    return {
        "unit": order.unit,
        "pose": {"now": _pose(fit.pose, per), "after": _pose(after, per)},
        "readings": _values(order, fit, methods, after),
        "warnings": [remark_words(r, order.unit).replace("at the target", "then") for r in remarks],
    }


def restate_report(order: Order, methods: Sequence[Method], skip: bool = False) -> dict[str, Any]:
    """Return what other methods would read on the fin as it is.

    With ``skip`` a method that would meet no part of the blade says so in its line.

    Raises:
        OutOfReachError: without ``skip``, a method would meet no part of the blade.
    """
    fit = fit_of(order)
    per = MM_PER[order.unit]
    blade, base = order.rig.blade, order.rig.base
    seen = observe_all(methods, blade, base, fit.pose)
    read = [m for m, o in zip(methods, seen, strict=True) if o is not None or not skip]
    values = {v["method"]: v for v in _values(order, fit, read, fit.pose)}
    remarks = rough_remarks(order.rig, fit, read, fit.pose, "now")
    return {
        "unit": order.unit,
        "pose": {"now": _pose(fit.pose, per)},
        "restated": [values.get(m.name) or _unread(m) for m in methods],
        "exposed": exposed_report(exposure_of(order.rig, fit), order.unit),
        "warnings": [remark_words(r, order.unit) for r in remarks],
    }


def _unread(method: Method) -> dict[str, Any]:
    trouble = "the caliper would meet no part of the blade"
    return {"method": method.name, "reading": None, "u": None, "trouble": trouble}


def _values(order: Order, fit: Fit, methods: Sequence[Method], pose: Pose) -> list[dict[str, Any]]:
    per = MM_PER[order.unit]
    return [
        {
            "method": method.name,
            "reading": order.rig.observe(method, pose).value_mm / per,
            "u": u_after(order.rig, fit, method, pose) / per,
        }
        for method in methods
    ]


def _pose(pose: Pose, per: float) -> dict[str, float]:
    return {
        "x": pose.x_mm / per,
        "y": pose.y_mm / per,
        "tilt_deg": math.degrees(pose.tilt_rad),
    }


def _stud(turn: StudTurn, per: float) -> dict[str, Any]:
    return {
        "name": turn.stud.name,
        "travel": turn.travel_mm / per,
        "turns_exact": turn.exact,
        "turns": turn.turns,
        "direction": turn.direction,
        "clockwise": turn.stud.clockwise(turn.turns),
        "u_turns": turn.u_turns,
    }


def _step(step: Step, per: float) -> dict[str, Any]:
    out: dict[str, Any] = {"do": step.do}
    if step.turn is not None:
        out |= {
            "stud": step.turn.stud.name,
            "turns": step.turn.turns,
            "direction": step.turn.direction,
            "clockwise": step.turn.stud.clockwise(step.turn.turns),
            "expect": [
                {"method": method.name, "reading": value / per} for method, value in step.expect
            ],
        }
    out["say"] = step_words(step)
    return out
