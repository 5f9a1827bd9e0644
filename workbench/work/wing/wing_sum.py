"""The wing's arithmetic as a report and as plain text, one thing a line."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from workbench.errors import InputError
from workbench.fin.wing import Arc, MeasuredCurve, angle_of, from_sagitta
from workbench.measure.display import degrees_text, length_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER, Unit
from workbench.work.trust.wing_setup import WingSetup, hold_of, lead_of
from workbench.work.wing.base_curve import U_FEELER_MM, U_PLACE_MM
from workbench.work.wing.wing_report import HoldLine, holds_for

EXAMPLE_DEG = 8.0


def report_of(texts: Mapping[str, str], unit: Unit) -> dict[str, Any]:
    """Return the base's curve and what a wing reads at each hold; lengths in ``unit``.

    ``texts``: chord, sagitta, start, straightedge, at, angle, held, lead; all but the first two may
    be blank. Without an angle there are differences and references, and no readings.

    Raises:
        InputError: naming the option that cannot be used.
    """
    chord, start = (_length(texts, key, unit) for key in ("chord", "start"))
    found = _curve(start, chord, texts["sagitta"], unit)
    setup = _setup(texts, unit, chord)
    angle = angle_of(texts["angle"], "--angle") if texts.get("angle", "").strip() else None
    lines = holds_for(
        Arc(found.curvature, found.apex_mm), setup, angle if angle is not None else EXAMPLE_DEG,
        setup.hold, found.u_curvature,
    )  # fmt: skip
    return {
        "unit": unit,
        "base": _base(found, unit),
        "straightedge": setup.straightedge_mm / MM_PER[unit],
        "at": setup.place_mm / MM_PER[unit],
        "held": setup.hold,
        "lead": setup.lead,
        "angle_deg": angle,
        "holds": [_hold(line, unit, angle is not None) for line in lines],
        "warnings": _warnings(found, lines),
    }


def _curve(start_mm: float, chord_mm: float, text: str, unit: Unit) -> MeasuredCurve:
    sagitta = parse_length(text, unit, "--sagitta").mm
    try:
        return from_sagitta(start_mm + chord_mm / 2.0, chord_mm, sagitta, U_PLACE_MM, U_FEELER_MM)
    except InputError as why:
        option = "--chord" if why.field == "chord" else "--sagitta"
        given = f"{chord_mm:g} mm" if option == "--chord" else text
        raise InputError(option, given, why.accepted) from None


def _setup(texts: Mapping[str, str], unit: Unit, chord_mm: float) -> WingSetup:
    straightedge = _length(texts, "straightedge", unit, chord_mm)
    place = _length(texts, "at", unit, straightedge / 2.0)
    hold, lead = hold_of(texts["held"] or "middle"), lead_of(texts["lead"] or "out")
    return WingSetup(hold, straightedge, place, lead, (), ())


def _length(
    texts: Mapping[str, str], key: str, unit: Unit, default_mm: float | None = None
) -> float:
    text, option = texts.get(key, ""), {"start": "--from"}.get(key, f"--{key}")
    if default_mm is not None and not text.strip():
        return default_mm
    mm = parse_length(text, unit, option).mm
    if mm < 0.0:
        raise InputError(option, text, "a length that is not negative")
    return mm


def _base(found: MeasuredCurve, unit: Unit) -> dict[str, Any]:
    per = MM_PER[unit]
    radius, u = found.radius_mm, found.u_radius_mm
    flat = radius is None
    return {
        "shape": "flat" if flat else "bulges" if found.curvature > 0.0 else "hollow",
        "radius": None if radius is None else radius / per,
        "u_radius": None if u is None else u / per,
        "apex": found.apex_mm / per,
        "told_from_flat": found.told_from_flat,
    }


def _hold(line: HoldLine, unit: Unit, read: bool) -> dict[str, Any]:
    return {
        "hold": line.held.hold,
        "touches": [x / MM_PER[unit] for x in line.held.touches_mm],
        "reference_deg": math.degrees(line.held.angle_rad),
        "reads_deg": line.reads_deg if read else None,
        "difference_deg": line.off_deg,
        "u_deg": line.u_deg,
    }


def _warnings(found: MeasuredCurve, lines: tuple[HoldLine, ...]) -> list[str]:
    out = []
    if not found.told_from_flat:
        out.append("the curve is not larger than its own expanded uncertainty: it may be flat")
    if any(line.held.overhangs for line in lines):
        out.append("the straightedge reaches out beyond the tail end: held there, over it")
    return out


def table_of(report: Mapping[str, Any]) -> str:
    """Return a report as text: one thing a line, fit for a screen reader."""
    unit: Unit = report["unit"]
    per = MM_PER[unit]
    base = report["base"]
    if base["radius"] is None:
        out = ["Base: flat"]
    else:
        step = "0.1" if unit == "in" else "1"
        radius = length_text(abs(base["radius"]) * per, unit, step)
        u = length_text(base["u_radius"] * per, unit, step)
        out = [f"Base: {base['shape']}, radius {radius} {unit}, standard uncertainty {u} {unit}"]
    out.append(
        f"Straightedge: {length_text(report['straightedge'] * per, unit)} {unit}, its middle "
        f"{length_text(report['at'] * per, unit)} {unit} from the tail end"
    )
    out += [_hold_text(hold, report, per, unit) for hold in report["holds"]]
    return "\n".join([*out, *(f"Warning: {text}" for text in report["warnings"])])


def _hold_text(hold: Mapping[str, Any], report: Mapping[str, Any], per: float, unit: Unit) -> str:
    touches = " and ".join(length_text(x * per, unit) for x in hold["touches"])
    off = degrees_text(hold["difference_deg"])
    reads = f"reads {hold['reads_deg']:.2f}°, " if hold["reads_deg"] is not None else ""
    against = (
        "the hold it was read at" if hold["hold"] == report["held"]
        else f"{off} (u {hold['u_deg']:.2f}°) against held at the {report['held']}"
    )  # fmt: skip
    return (
        f"Held at the {hold['hold']}: touches at {touches} {unit}, reference "
        f"{degrees_text(hold['reference_deg'])}, {reads}{against}"
    )
