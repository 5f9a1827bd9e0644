"""The wing of the ski in hand: its angle and gauge, the base's curve and the three holds."""

from __future__ import annotations

from dataclasses import dataclass

from workbench.fin.parts.base import Base
from workbench.fin.wing import (
    HOLDS,
    Arc,
    Held,
    Hold,
    held,
    neighbours,
    read_elsewhere_deg,
    u_difference_deg,
)
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import wing_wanted_from
from workbench.work.text.local_time import local_day
from workbench.work.trust.wing_setup import WingSetup, wing_setup
from workbench.work.wing.base_curve import KeptCurve, latest_curve

_EXAMPLE_DEG = 8.0
"""The angle shown where nothing is set or wanted yet."""


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
    lines = hold_lines(arc, setup, angle, hold, u)
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
    return _EXAMPLE_DEG, "an example: no angle is set yet"


def hold_lines(
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
    for fact in reversed(view.facts):
        if isinstance(fact, rows.WingSetting) and fact.struck is None:
            return fact
    found = [
        fact
        for past in shop.book.history_of_ski(view.ski.id)
        for fact in past.facts
        if isinstance(fact, rows.WingSetting) and fact.struck is None
    ]
    return max(found, key=lambda fact: fact.id, default=None)


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
