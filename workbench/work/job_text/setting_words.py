"""A setting in words, its lengths in both units, as cards and day sheets say it, and as a QR code.

A code carries ``QT;SERIAL;depth=2.4835 in;tail=...;wing=7.5;DAY``: a scanner that works as a
keyboard types it where a serial could be typed. In a serial, what is no plain letter, digit or sign
is written as ``%3B``.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import assert_never
from urllib.parse import quote, unquote

from workbench.advice.holds import HOLDS
from workbench.fin.plan.plan import is_within
from workbench.fin.reading.method import TRAITS, Grip, Method, Station
from workbench.measure.display import change_between, fine_text, length_text
from workbench.measure.units import UNITS, Unit
from workbench.work.job.job_view import JobView
from workbench.work.text.safe_text import visible
from workbench.work.trust.job_reading import Line

NAME, NOTE = 60, 200
"""Columns that a name and a note may take on a card."""

NOT_READ = "not read"
OUTSIDE = "OUTSIDE tolerance"

_MOVED = {True: "clamping moved it", False: "since it left it moved"}
"""What moved a reading with the bolts tight: at a setting, and at a re-check after the ride."""


def both(value_mm: float) -> str:
    """Return a length in both units."""
    return f"{length_text(value_mm, 'in')} in = {length_text(value_mm, 'mm')} mm"


def fine_both(value_mm: float) -> str:
    """Return a small length in both units."""
    return f"{fine_text(value_mm, 'in')} in = {fine_text(value_mm, 'mm')} mm"


def result_words(line: Line) -> str:
    """Return how a reading came out against what was wanted."""
    if line.final_mm is None:
        return NOT_READ
    if line.target_mm is None:
        return "no target"
    off = line.final_mm - line.target_mm
    if is_within(off, line.tolerance_mm):
        return "within tolerance"
    return f"{OUTSIDE}, {'over' if off > 0 else 'under'} by {both(abs(off))}"


def locked_words(line: Line) -> str:
    """Return that a number was read with the clamp bolts tight, and what clamping moved it by."""
    if line.moved_by_lock_mm is None:
        return ""
    by = " = ".join(f"{_moved(line, unit)} {unit}" for unit in UNITS)
    return f"read with the clamp bolts tight; {_MOVED[line.left_mm is None]} {by}"


def moved_words(line: Line, unit: Unit) -> str:
    """Return what moved a reading taken with the bolts tight; nothing where none was taken."""
    if line.moved_by_lock_mm is None:
        return ""
    return f"{_MOVED[line.left_mm is None]} {_moved(line, unit)} {unit}"


def moved_short(line: Line, unit: Unit) -> str:
    """Return the same in little room."""
    if line.moved_by_lock_mm is None:
        return ""
    return f"{'lock' if line.left_mm is None else 'moved'} {_moved(line, unit)}"


def _moved(line: Line, unit: Unit) -> str:
    assert line.before_lock_mm is not None
    assert line.locked_mm is not None
    return change_between(line.before_lock_mm, line.locked_mm, unit)


def base_shape_words(view: JobView) -> str:
    """Return the base's shape in both units."""
    base = view.rig.base
    if base.radius_mm is None:
        return "flat"
    radius, apex = (
        f"{length_text(v, 'in', '0.01')} in = {length_text(v, 'mm', '0.1')} mm"
        for v in (base.radius_mm, base.apex_mm)
    )
    return f"bulges out, radius {radius}; highest {apex} from the tail end"


def wing_as_set_words(view: JobView) -> str:
    """Return the wing's angle with how it was held and by which gauge, or why there is none."""
    if not view.ski.has_wing:
        return "no wing"
    kept = view.wing_set
    if kept is None:
        return "not set"
    held = f"straightedge at the {kept.hold}" if kept.hold else "where it was held is not noted"
    gauge = f", gauge {visible(kept.gauge, 30)}" if kept.gauge.strip() else ""
    return f"{kept.angle_deg:g}° to the base, {held}{gauge}"


def target_words(line: Line) -> str:
    """Return what was wanted, with its tolerance, in both units."""
    if line.target_mm is None:
        return "none"
    held = "" if line.target is not None else ", kept as received"
    return f"{both(line.target_mm)}, ± {fine_both(line.tolerance_mm)}{held}"


def where_words(method: Method, view: JobView) -> str:
    """Return where a method touches the blade, its heights in both units."""
    if method.band_mm is None:
        return visible(place_words(method, view.ski.unit), NOTE)
    lo, hi = method.band_mm
    if method.is_tips:
        return f"Jaw tips at {both(lo)} over the base."
    return f"Jaws can touch from {both(lo)} to {both(hi)} over the base."


# -- how a reading is taken ------------------------------------------------------------------------


def kind_of(method: Method) -> Grip:
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


# -- as a line that a QR code carries --------------------------------------------------------------

_MARK = "QT"
_LONGEST = 800
_PLAIN = " /-._~+:,()#*"


def code_text(serial: str, numbers: Iterable[tuple[str, str]], day: str) -> str:
    """Return the line of a setting: ``numbers`` are (what, value with its unit).

    Nothing where it would be longer than a code that a hand scanner reads.
    """
    said = (f"{_safe(what)}={_safe(value)}" for what, value in numbers)
    text = ";".join((_MARK, _safe(serial), *said, _safe(day)))
    return text if len(text) <= _LONGEST else ""


def serial_in(text: str) -> str:
    """Return the serial that a setting's line names; any other text as it is."""
    mark, _, rest = text.strip().partition(";")
    serial = unquote(rest.partition(";")[0])
    return serial if mark.upper() == _MARK and serial.strip() else text


def _safe(text: str) -> str:
    return quote(text.strip(), safe=_PLAIN, errors="replace")
