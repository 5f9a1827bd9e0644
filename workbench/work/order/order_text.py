"""Reports as plain text for people: one thing a line, no drawing, fit for a screen reader."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from workbench.fin.plan.guidance import Plan, Prediction, StudTurn
from workbench.measure.display import (
    FINE,
    change_between,
    change_text,
    degrees_text,
    fine_text,
    length_text,
)
from workbench.measure.units import MM_PER, Unit
from workbench.work.order.exposed_words import report_words
from workbench.work.order.order_file import Order
from workbench.work.order.order_json import finer_turn
from workbench.work.text.words import (
    CAUTION_EDGES,
    CAUTION_RIDE,
    clean,
    exact_words,
    remark_words,
    step_words,
    turn_words,
)
from workbench.work.trust.plausibility import agreement_words, suspects_of


def turns_table(order: Order, result: Plan) -> str:
    """Return the plan of an order as text."""
    unit = order.unit
    lines = [_pose_line("Pose now", result.fit.pose, unit)]
    lines.append(_pose_line("Pose wanted", result.wanted, unit))
    heads = ["stud", "turn", "exact turns", f"travel ({unit})"]
    lines += ["", *_columns(heads, [_stud_row(t, unit) for t in result.turns])]
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
    finer = finer_turn(order, result)
    lines += _warnings([remark_words(r, unit, finer) for r in result.remarks])
    lines += ["", CAUTION_EDGES, CAUTION_RIDE]
    return "\n".join(lines)


def _stud_row(turn: StudTurn, unit: Unit) -> list[str]:
    travel = change_text(turn.travel_mm, unit, FINE[unit])
    return [clean(turn.stud.said), turn_words(turn), exact_words(turn), travel]


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


def _pose_line(label: str, pose: Any, unit: Unit) -> str:
    x, y = length_text(pose.x_mm, unit), length_text(pose.y_mm, unit)
    tilt = degrees_text(pose.tilt_rad * 57.29577951308232, 3)
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
