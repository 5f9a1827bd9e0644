"""The wing of the ski in hand: its angle and gauge, the base's curve and the three holds."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from workbench.errors import InputError
from workbench.fin.frame import Base
from workbench.fin.wing import (
    HOLDS,
    Arc,
    Held,
    Hold,
    MeasuredCurve,
    angle_of,
    from_sagitta,
    held,
    neighbours,
    read_elsewhere_deg,
    u_difference_deg,
)
from workbench.measure.display import degrees_text, length_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER, Unit
from workbench.records.store import rows
from workbench.work.job.base_curve import U_FEELER_MM, U_PLACE_MM, KeptCurve, latest_curve
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import wing_wanted_from
from workbench.work.order.round_records import last_of, live
from workbench.work.text.local_time import local_day
from workbench.work.trust.wing_setup import WingSetup, hold_of, lead_of, setting_words, wing_setup

EXAMPLE_DEG = 8.0
"""The angle shown where nothing is set or wanted yet."""

_RADIUS_STEP: dict[Unit, str] = {"in": "0.1", "mm": "1"}
"""To what a radius of the base is rounded."""


@dataclass(frozen=True, slots=True)
class HoldLine:
    """One hold: how the straightedge lies, what this very wing reads there, and how far off.

    ``off_deg`` is that reading less the reading at the shop's own hold; ``u_deg`` its standard
    uncertainty from the curve's, None where nobody knows how well the base is known.
    """

    held: Held
    reads_deg: float
    off_deg: float
    u_deg: float | None
    shops: bool


@dataclass(frozen=True, slots=True)
class WingReport:
    """Everything the bench shows of a wing and of the base it is read against.

    ``angle_deg`` is what the holds are worked out for: the wing as set, else as wanted, else an
    example, which ``angle_from`` says in words. ``below`` and ``above`` are the gauges next to the
    wanted angle. ``target_from`` says whose it is: the baseline's, or by which hold it was read.
    """

    has_wing: bool
    setting: rows.WingSetting | None
    target_deg: float | None
    target_from: str
    angle_deg: float
    angle_from: str
    setup: WingSetup
    arc: Arc
    base_from: str
    curve: KeptCurve | None
    curve_in_use: bool
    holds: tuple[HoldLine, ...]
    below: float | None
    above: float | None

    def at(self, hold: str) -> HoldLine:
        """The line of one hold."""
        return next(line for line in self.holds if line.held.hold == hold)


def wing_report(shop: Shop, view: JobView) -> WingReport:
    """Return what is known of the ski's wing and of the line it is read against."""
    setup = wing_setup(shop.book)
    curve = latest_curve(shop, view.ski.id)
    arc, base_from = _arc(view.rig.base, curve)
    u = curve.measured.u_curvature if curve is not None else None
    setting = last_wing(shop, view) if view.ski.has_wing else None
    target = view.wing_wanted_deg
    angle, angle_from = _angle(setting, target)
    named = setting.hold if setting is not None else view.wing_wanted_hold
    hold = named or setup.hold
    lines = holds_for(arc, setup, angle, hold, u)
    below, above = neighbours(setup.gauges, target if target is not None else angle)
    return WingReport(
        view.ski.has_wing, setting, target, wing_wanted_from(view), angle, angle_from, setup, arc,
        base_from, curve, _in_use(view.ski, curve), lines, below, above,
    )  # fmt: skip


def _angle(setting: rows.WingSetting | None, target: float | None) -> tuple[float, str]:
    if setting is not None:
        return setting.angle_deg, "as set"
    if target is not None:
        return target, "as wanted"
    return EXAMPLE_DEG, "an example: no angle is set yet"


def holds_for(
    arc: Arc, setup: WingSetup, angle_deg: float, read_at: str, u_curvature: float | None
) -> tuple[HoldLine, ...]:
    """Return the three holds for a wing that reads ``angle_deg`` where it was held.

    Raises:
        InputError: the base's arc does not reach as far as the straightedge.
    """
    length, place = setup.straightedge_mm, setup.place_mm
    ways = {hold: held(arc, hold, length, place) for hold in HOLDS}
    here, shops = ways[_hold(read_at)], ways[setup.hold]
    at_shop = read_elsewhere_deg(angle_deg, here, shops, setup.lead)
    out = []
    for hold, way in ways.items():
        reads = read_elsewhere_deg(angle_deg, here, way, setup.lead)
        u = None if u_curvature is None else u_difference_deg(way, shops, u_curvature)
        out.append(HoldLine(way, reads, reads - at_shop, u, hold == setup.hold))
    return tuple(out)


def _hold(text: str) -> Hold:
    return next((hold for hold in HOLDS if hold == text), "middle")


def last_wing(shop: Shop, view: JobView) -> rows.WingSetting | None:
    """Return the wing's angle as last set: in this job, else in an earlier one of this ski."""
    if (own := last_of(view.facts, rows.WingSetting)) is not None:
        return own
    history = shop.book.history_of_ski(view.ski.id)
    found = [w for past in history for w in live(past.facts, rows.WingSetting)]
    return max(found, key=lambda w: w.id, default=None)


def _arc(base: Base, curve: KeptCurve | None) -> tuple[Arc, str]:
    if curve is None:
        return Arc.of(base), "by its card"
    found = curve.measured
    return Arc(found.curvature, found.apex_mm), f"measured {local_day(curve.row.at)}"


def _in_use(ski: rows.Ski, curve: KeptCurve | None) -> bool:
    """Whether the ski's base is the measured one."""
    if curve is None:
        return False
    found = curve.measured
    if not found.told_from_flat:
        return ski.base_radius_mm is None
    return (ski.base_radius_mm, ski.base_apex_mm) == (found.radius_mm, found.apex_mm)


# -- in words ------------------------------------------------------------------------------------


NO_WING = "this ski has no wing: there is no angle to set"


def elsewhere_words(report: WingReport) -> tuple[str, ...]:
    """Return in sentences what other holds read for the same wing."""
    if not report.has_wing:
        return (NO_WING,)
    if report.arc.curvature < 0.0:
        return (
            "A hollow base: the straightedge rests on both its ends wherever it is held, so that "
            "every hold reads the same.",
        )
    if report.arc.curvature == 0.0:
        return ("A flat base: every hold reads the same.",)
    shops = next(line for line in report.holds if line.shops)
    front, rear = report.at("front"), report.at("rear")
    others = [line for line in report.holds if not line.shops]
    said = " and ".join(f"{line.reads_deg:.1f}° at the {line.held.hold}" for line in others)
    words = [
        f"{shops.reads_deg:.1f}° held at the {shops.held.hold} is {said}.",
        f"Front to rear differ by {abs(front.reads_deg - rear.reads_deg):.2f}°.",
    ]
    if any(line.held.overhangs for line in report.holds):
        words.append("The straightedge reaches out beyond the tail end: held there, over it.")
    return tuple(words)


def curve_words(report: WingReport, unit: Unit) -> str:
    """Return the base's curve in words, with its standard uncertainty where it was measured."""
    arc = report.arc
    if arc.curvature == 0.0:
        return f"flat, {report.base_from}"
    shape = "bulges" if arc.curvature > 0.0 else "hollow"
    step = _RADIUS_STEP[unit]
    radius = length_text(abs(1.0 / arc.curvature), unit, step)
    found = report.curve.measured if report.curve is not None else None
    u = ""
    if found is not None and found.u_radius_mm is not None:
        if not found.told_from_flat:
            return f"flat within what was measured (radius {radius} {unit}), {report.base_from}"
        u = f" ±{length_text(found.u_radius_mm, unit, step)}"
    apex = length_text(arc.apex_mm, unit)
    return f"{shape}, radius {radius}{u} {unit}, apex at {apex} {unit}, {report.base_from}"


def used_words(report: WingReport, ski: rows.Ski, unit: Unit) -> tuple[str, ...]:
    """Return by which base readings are worked out, where that is not what was measured last."""
    if report.curve is None or report.curve_in_use:
        return ()
    radius, apex = ski.base_radius_mm, ski.base_apex_mm
    if radius is None or apex is None:
        return ("Worked out by: a flat base, not by what was measured",)
    told = f"radius {length_text(radius, unit, _RADIUS_STEP[unit])} {unit}"
    at = f"apex at {length_text(apex, unit)} {unit}"
    return (f"Worked out by: {told}, {at}, not by what was measured",)


def gauge_words(report: WingReport) -> str:
    """Return which gauges of the shop stand next to the wanted angle."""
    gauges: Sequence[float] = report.setup.gauges
    if not gauges:
        return "no gauge named yet: s names the angles that the shop has"
    wanted = report.target_deg if report.target_deg is not None else report.angle_deg
    if report.below is not None and report.above == report.below:
        return f"{report.below:g}° is in the set"
    below = f"{report.below:g}° below" if report.below is not None else "none below"
    above = f"{report.above:g}° above" if report.above is not None else "none above"
    return f"for {wanted:g}°: {below}, {above}"


def when_words(setting: rows.WingSetting) -> str:
    """Return an angle as it was kept: with its hold and gauge, when and by whom."""
    return f"{setting_words(setting)}, {local_day(setting.at)} {setting.who}".rstrip()


# -- the arithmetic alone, without a ski -----------------------------------------------------------


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
        "unit": unit, "base": _base(found, unit),
        "straightedge": setup.straightedge_mm / MM_PER[unit],
        "at": setup.place_mm / MM_PER[unit], "held": setup.hold, "lead": setup.lead,
        "angle_deg": angle,
        "holds": [_hold_report(line, unit, angle is not None) for line in lines],
        "warnings": _warnings(found, lines),
    }  # fmt: skip


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
    return {
        "shape": "flat" if radius is None else "bulges" if found.curvature > 0.0 else "hollow",
        "radius": None if radius is None else radius / per,
        "u_radius": None if u is None else u / per,
        "apex": found.apex_mm / per,
        "told_from_flat": found.told_from_flat,
    }


def _hold_report(line: HoldLine, unit: Unit, read: bool) -> dict[str, Any]:
    return {
        "hold": line.held.hold, "touches": [x / MM_PER[unit] for x in line.held.touches_mm],
        "reference_deg": math.degrees(line.held.angle_rad),
        "reads_deg": line.reads_deg if read else None,
        "difference_deg": line.off_deg, "u_deg": line.u_deg,
    }  # fmt: skip


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
        radius = length_text(abs(base["radius"]) * per, unit, _RADIUS_STEP[unit])
        u = length_text(base["u_radius"] * per, unit, _RADIUS_STEP[unit])
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
