"""What is known of a wing and its base, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.text.local_time import local_day
from workbench.work.trust.wing_setup import setting_words
from workbench.work.wing.wing_report import WingReport

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


def base_words(report: WingReport, unit: Unit) -> str:
    """Return the base's curve in words, with its standard uncertainty where it was measured."""
    arc = report.arc
    if arc.curvature == 0.0:
        return f"flat, {report.base_from}"
    shape = "bulges" if arc.curvature > 0.0 else "hollow"
    step = "0.1" if unit == "in" else "1"
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
    step = "0.1" if unit == "in" else "1"
    told = f"radius {length_text(radius, unit, step)} {unit}, apex at {length_text(apex, unit)}"
    return (f"Worked out by: {told} {unit}, not by what was measured",)


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
