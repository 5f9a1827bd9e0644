"""What an order comes to, turns, predicted readings and readings restated: as data and as text.

The reports are what ``--json`` prints: lengths in the order's unit at full precision, areas in its
square, angles in degrees. The text is one thing a line, no drawing, fit for a screen reader. What
of a blade is out of the base is told of any pose.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from workbench.errors import InputError
from workbench.fin.frame import Pose
from workbench.fin.plan.exposed import Exposed, exposed, u_exposed
from workbench.fin.plan.guidance import contact_remarks, rough_remarks
from workbench.fin.plan.plan import Plan, Prediction, Step, StudTurn
from workbench.fin.plan.uncertainty import u_after
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import observe_all
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import named
from workbench.frozen import dataclass
from workbench.measure.display import (
    FINE,
    change_between,
    change_text,
    degrees_text,
    fine_text,
    length_text,
)
from workbench.measure.units import MM_PER, Unit
from workbench.work.order.order_file import Order
from workbench.work.order.rigs import finer_of, fit_of, plan_of
from workbench.work.text.words import (
    CAUTION_EDGES,
    CAUTION_RIDE,
    clean,
    exact_words,
    remark_words,
    step_words,
    turn_words,
)
from workbench.work.trust.plausibility import agreement_report, agreement_words, suspects_of


def order_plan(order: Order) -> Plan:
    """Return the plan of an order."""
    return plan_of(order.rig, order.readings, order.targets, order.finest_turn)


def _finer(order: Order, result: Plan) -> float | None:
    """Return the coarsest finer turn that would meet every target where the order's does not."""
    if result.kept:
        return None
    return finer_of(order.rig, order.readings, order.targets, order.finest_turn)


def turns_report(order: Order, result: Plan | None = None) -> dict[str, Any]:
    """Return pose, stud turns, predictions, steps and warnings of an order."""
    result = result or order_plan(order)
    finer = _finer(order, result)
    per = MM_PER[order.unit]
    return {
        "unit": order.unit,
        "finest_turn": order.finest_turn,
        "pose": {
            "now": pose_report(result.fit.pose, per),
            "wanted": pose_report(result.wanted, per),
            "after": pose_report(result.after, per),
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
    fit = fit_of(order.rig, order.readings)
    after = order.rig.seated(fit.pose, [made.get(name, 0.0) for name in names])
    per = MM_PER[order.unit]
    methods = [r.method for r in order.readings]
    remarks = contact_remarks(order.rig, after, "wanted")
    remarks += rough_remarks(order.rig, fit, methods, after, "wanted")
    return {
        "unit": order.unit,
        "pose": {"now": pose_report(fit.pose, per), "after": pose_report(after, per)},
        "readings": _values(order, fit, methods, after),
        "warnings": [remark_words(r, order.unit).replace("at the target", "then") for r in remarks],
    }


def restate_report(order: Order, methods: Sequence[Method], skip: bool = False) -> dict[str, Any]:
    """Return what other methods would read on the fin as it is.

    With ``skip`` a method that would meet no part of the blade says so in its line.

    Raises:
        OutOfReachError: without ``skip``, a method would meet no part of the blade.
    """
    fit = fit_of(order.rig, order.readings)
    per = MM_PER[order.unit]
    blade, base = order.rig.blade, order.rig.base
    seen = observe_all(methods, blade, base, fit.pose)
    read = [m for m, o in zip(methods, seen, strict=True) if o is not None or not skip]
    values = {v["method"]: v for v in _values(order, fit, read, fit.pose)}
    remarks = rough_remarks(order.rig, fit, read, fit.pose, "now")
    return {
        "unit": order.unit,
        "pose": {"now": pose_report(fit.pose, per)},
        "restated": [
            values.get(m.name)
            or {"method": m.name, "reading": None, "u": None, "trouble": _MEETS_NOTHING}
            for m in methods
        ],
        "exposed": exposed_report(exposure_at(order.rig, fit.pose, fit), order.unit),
        "warnings": [remark_words(r, order.unit) for r in remarks],
    }


_MEETS_NOTHING = "the caliper would meet no part of the blade"


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


def pose_report(pose: Pose, per: float) -> dict[str, float]:
    """Return a pose as data; ``per``: the mm of a unit."""
    return {"x": pose.x_mm / per, "y": pose.y_mm / per, "tilt_deg": math.degrees(pose.tilt_rad)}


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


def turns_table(order: Order, result: Plan) -> str:
    """Return the plan of an order as text."""
    unit = order.unit
    lines = [_pose_line("Pose now", result.fit.pose, unit)]
    lines.append(_pose_line("Pose wanted", result.wanted, unit))
    heads = ["stud", "turn", "exact turns", f"travel ({unit})"]
    studs = [
        [clean(t.stud.said), turn_words(t), exact_words(t),
         change_text(t.travel_mm, unit, FINE[unit])]
        for t in result.turns
    ]  # fmt: skip
    lines += ["", *_columns(heads, studs)]
    heads = ["reading", "now", "target", "after", "off", ""]
    lines += ["", *_columns(heads, [_reading_row(p, unit) for p in result.predictions])]
    lines += ["", "Steps"]
    for i, step in enumerate(result.steps, 1):
        expect = ", ".join(f"{clean(m.name)} {length_text(v, unit)}" for m, v in step.expect)
        lines.append(f"{i:>2}. {step_words(step)}" + (f"  Expect: {expect}" if expect else ""))
    agreed = agreement_words(result.fit)
    if agreed:
        lines += ["", agreed]
    suspects = suspects_of(order.rig, result.fit, order.methods, unit)
    if suspects:
        lines += ["", "Take again"]
        lines += [f" ?  {clean(s.method)} ({s.normalised:+.1f}): {s.cause}" for s in suspects]
    finer = _finer(order, result)
    lines += _warnings([remark_words(r, unit, finer) for r in result.remarks])
    lines += ["", CAUTION_EDGES, CAUTION_RIDE]
    return "\n".join(lines)


def _reading_row(prediction: Prediction, unit: Unit) -> list[str]:
    p = prediction
    verdict = "within" if p.within else "OUTSIDE"
    return [
        clean(p.method.name),
        *(fine_text(mm, unit) for mm in (p.now_mm, p.target_mm, p.after_mm)),
        change_between(p.target_mm, p.after_mm, unit, FINE[unit]),
        p.role if p.role == "follows" else f"{verdict} ±{fine_text(p.tolerance_mm, unit)}",
    ]


def readings_table(report: dict[str, Any], key: str, unit: Unit) -> str:
    """Return the ``readings`` or ``restated`` of a report as text."""
    per = MM_PER[unit]
    rows = [
        [
            clean(r["method"]),
            "nothing" if r["u"] is None else f"{length_text(r['reading'] * per, unit)} {unit}",
            "—" if r["u"] is None else f"±{fine_text(r['u'] * per, unit)}",
        ]
        for r in report[key]
    ]
    lines = _columns(["method", "reads", "standard uncertainty"], rows)
    for i, r in enumerate(report[key], 1):
        if r["u"] is None:
            lines[i] += f"  {r['trouble']}"
    out = report.get("exposed")
    lines += ["", f"{report_words(out, unit)}."] if out else []
    return "\n".join(lines + _warnings(report.get("warnings", [])))


def _pose_line(label: str, pose: Pose, unit: Unit) -> str:
    x, y = length_text(pose.x_mm, unit), length_text(pose.y_mm, unit)
    tilt = degrees_text(math.degrees(pose.tilt_rad), 3)
    return f"{label + ':':<13}x {x} {unit}, y {y} {unit}, tilt {tilt}"


def _warnings(texts: Sequence[str]) -> list[str]:
    return ["", "Warnings", *(f" !  {text}" for text in texts)] if texts else []


def _columns(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    table = [list(heads), *map(list, rows)]
    widths = [max(len(row[i]) for row in table) for i in range(len(heads))]
    out = []
    for row in table:
        cells = [
            cell.ljust(w) if i == 0 else cell.rjust(w)
            for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        ]
        out.append("  ".join(cells).rstrip())
    return out


@dataclass(frozen=True, slots=True)
class Exposure:
    """What is exposed, with the standard uncertainties of its figures where the pose has any."""

    seen: Exposed
    u: tuple[float, ...] | None = None


def exposure_at(rig: Rig, pose: Pose, fit: Fit | None = None) -> Exposure | None:
    """Return what is out of the base at ``pose``, None where nothing is; with what ``fit`` leaves
    open of it."""
    seen = exposed(rig.blade, rig.base, pose)
    if seen is None:
        return None
    u = u_exposed(rig.blade, rig.base, pose, fit.covariance) if fit is not None else None
    return Exposure(seen, u)


def figures_in(figures: tuple[float, ...], unit: Unit) -> tuple[float, float, float, float, float]:
    """Return area, centroid forward and out, leading edge (degrees) and aspect in ``unit``."""
    per = MM_PER[unit]
    area, x, y, angle, aspect = figures
    return area / per**2, x / per, y / per, math.degrees(angle), aspect


def exposed_report(found: Exposure | None, unit: Unit) -> dict[str, Any] | None:
    """Return what is exposed as data, with ``u`` of each figure; None where nothing is."""
    if found is None:
        return None
    out = _as_data(found.seen.figures, unit)
    if found.u is not None:
        out["u"] = _as_data(found.u, unit)
    return out


def _as_data(figures: tuple[float, ...], unit: Unit) -> dict[str, Any]:
    area, x, y, angle, aspect = figures_in(figures, unit)
    centroid = {"x": x, "y": y}
    return {"area": area, "centroid": centroid, "leading_edge_deg": angle, "aspect": aspect}


def exposed_words(seen: Exposed, unit: Unit) -> str:
    """Return what is exposed as one sentence without its end."""
    return report_words(_as_data(seen.figures, unit), unit)


def report_words(data: dict[str, Any], unit: Unit) -> str:
    """Return what :func:`exposed_report` gives, as one sentence without its end."""
    per, at = MM_PER[unit], data["centroid"]
    x, y = (f"{length_text(at[k] * per, unit, _COARSE[unit])} {unit}" for k in ("x", "y"))
    return (
        f"Exposed {data['area']:.{_AREA_PLACES[unit]}f} sq {unit}, centroid {x} forward and "
        f"{y} out, leading edge {data['leading_edge_deg']:.1f}°, aspect {data['aspect']:.3f}"
    )


_COARSE: dict[Unit, str] = {"in": "0.001", "mm": "0.01"}
_AREA_PLACES: dict[Unit, int] = {"in": 2, "mm": 0}


def exposed_short(seen: Exposed, unit: Unit) -> str:
    """Return the same in little room, its lengths without their unit."""
    area, _, _, angle, aspect = figures_in(seen.figures, unit)
    x, y = (length_text(mm, unit, _COARSE[unit]) for mm in seen.centroid_mm)
    return (
        f"exposed {area:.{_AREA_PLACES[unit]}f} sq {unit}, centre {x} {y}, edge {angle:.1f}°, "
        f"aspect {aspect:.3f}"
    )


def exposed_change(first: Exposed, second: Exposed, unit: Unit) -> str:
    """Return how the second of two settings differs from the first in what it exposes."""
    before, after = (figures_in(e.figures, unit) for e in (first, second))
    area, x, y, angle, aspect = (b - a for a, b in zip(before, after, strict=True))
    share = 100.0 * area / before[0]
    per = MM_PER[unit]
    x_text, y_text = (change_text(v * per, unit, _COARSE[unit]) for v in (x, y))
    return (
        f"area {share:+.1f} %, centroid {x_text} {unit} forward and {y_text} {unit} out, "
        f"leading edge {angle:+.1f}°, aspect {aspect:+.3f}"
    ).replace("-", "−")
