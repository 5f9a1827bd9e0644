"""A closer look at a reading: how it is held, and what it is by other methods."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import assert_never

from workbench.advice.holds import HOLDS, Kind
from workbench.errors import BenchError
from workbench.fin.plan.uncertainty import u_after
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import Method, Station
from workbench.fin.reading.quantities import TRAITS
from workbench.fin.reading.rig import Rig
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.records.tables.roster import method_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.text.words import error_words

# -- how to hold it ----------------------------------------------------------------------------


def kind_of(method: Method) -> Kind:
    """Return in which way a method takes its number."""
    match TRAITS[method.quantity].taken_at:
        case "station":
            return "deepest" if method.station is None else "station"
        case "band":
            return "tips" if method.is_tips else "flat"
        case _ as unknown:
            assert_never(unknown)


def hold_words(method: Method) -> tuple[str, ...]:
    """Return how to hold the caliper for a method, one act to a sentence."""
    return HOLDS[method.quantity, kind_of(method)]


def place_words(method: Method, unit: Unit) -> str:
    """Return where a method touches the blade: its station, or its heights over the base."""
    if method.band_mm is None:
        width = method.jaw_width_mm
        jaw = f", with a jaw {length_text(width, unit)} {unit} wide" if width else ""
        return f"Station: {_station_words(method.station, unit)}{jaw}."
    lo, hi = (f"{length_text(v, unit)} {unit}" for v in method.band_mm)
    if method.is_tips:
        return f"Tips at {lo} over the base."
    below = " (minus: below the base)" if method.band_mm[0] < 0 else ""
    return f"Jaws can touch from {lo} to {hi} over the base{below}."


def _station_words(station: Station | None, unit: Unit) -> str:
    if station is None:
        return "the deepest point of the blade"
    if station.hole is not None:
        end = "tail" if station.edge == "back" else "tip"
        return f"{station.edge} edge of hole '{station.hole}', the edge toward the {end}"
    u, v = (length_text(x, unit) for x in station.at_mm)
    return f"the point {u} {unit} forward and {v} {unit} out in the blade's own frame"


# -- restated ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Restated:
    """What one method reads on the fin as it is (mm), and how far that is known.

    ``read``: whether it was read in this round. ``against`` is the method of the same quantity that
    was read and ``difference_mm`` this one minus that one, both None where none was. ``trouble``
    says why there is no value, and is empty where there is one.
    """

    method: Method
    value_mm: float | None
    u_mm: float | None
    read: bool
    against: Method | None = None
    difference_mm: float | None = None
    trouble: str = ""


def restated(shop: Shop, view: JobView, unit: Unit = "mm") -> tuple[Restated, ...]:
    """Return the readings of this round restated by every method of the blade.

    The ski's own methods come first, in its order; ``unit`` is that of any trouble in words.

    Raises:
        NoPoseError: readings are missing, or those of this round fix no pose.
    """
    methods = [line.method for line in view.lines]
    names = {m.name for m in methods}
    for row in shop.book.methods_of(view.ski.blade_id):
        if row.name not in names:
            methods.append(method_of(row, view.rig.blade))
    return restate_all(view, methods, unit)


def restate_all(view: JobView, methods: Sequence[Method], unit: Unit) -> tuple[Restated, ...]:
    """Return what each of ``methods`` reads at the pose that this round's readings fix.

    Raises:
        NoPoseError: readings are missing, or those of this round fix no pose.
    """
    readings = _readings_of_pass(view)
    start = view.pose
    fit = fit_pose(view.rig.blade, view.rig.base, readings, start=start, every=start is None)
    read = [r.method for r in readings]
    return tuple(_restate(view.rig, fit, method, read, unit) for method in methods)


def _readings_of_pass(view: JobView) -> list[Reading]:
    readings = [
        Reading(line.method, line.now_mm, line.u_mm)
        for line in view.lines
        if line.now_mm is not None and line.u_mm is not None
    ]
    if len(readings) < 3:
        missing = ", ".join(f"'{x.method.name}'" for x in view.lines if x.now_mm is None)
        raise NoPoseError(
            f"{len(readings)} of {len(view.lines)} readings are taken in this round and three fix "
            f"the blade's place; missing: {missing or 'a third method for this ski'}"
        )
    return readings


def _restate(rig: Rig, fit: Fit, method: Method, read: Sequence[Method], unit: Unit) -> Restated:
    is_read = any(m.name == method.name for m in read)
    try:
        value = rig.observe(method, fit.pose).value_mm
        u = u_after(rig, fit, method, fit.pose)
    except BenchError as why:
        return Restated(method, None, None, is_read, trouble=error_words(why, unit))
    against = next((m for m in read if m.quantity == method.quantity), None)
    if is_read or against is None or method.is_coarse:  # a scale's zero lies anywhere
        return Restated(method, value, u, is_read)
    difference = value - rig.observe(against, fit.pose).value_mm
    return Restated(method, value, u, is_read, against, difference)
