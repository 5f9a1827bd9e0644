"""From the book's rows to the kernel's values, and back for what is added at the bench."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import assert_never

from workbench.fin.blade import Blade, Hole
from workbench.fin.frame import Base
from workbench.fin.reading.method import Method, Scribe, Station
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud
from workbench.records.store import rows


@lru_cache(maxsize=64)
def blade_of(row: rows.Blade) -> Blade:
    """Return the kernel's blade of a row, checked once and kept."""
    if not row.outline_mm:
        return Blade.untraced(row.name)
    return Blade(
        row.name,
        row.outline_mm,
        (row.top_edge_mm[0], row.top_edge_mm[1]),
        (row.back_edge_mm[0], row.back_edge_mm[1]),
        tuple(Hole(h.name, (h.u_mm, h.v_mm), h.diameter_mm) for h in row.holes),
        row.outline_u_mm,
    )


def row_of_blade(blade: Blade, source_text: str = "") -> rows.Blade:
    """Return the row that keeps a blade."""
    return rows.Blade(
        "",
        blade.name,
        blade.outline_mm,
        blade.top_edge_mm,
        blade.back_edge_mm,
        tuple(rows.Hole(h.name, *h.at_mm, h.diameter_mm) for h in blade.holes),
        source_text,
        outline_u_mm=blade.outline_u_mm,
    )


def stud_of(row: rows.Stud) -> Stud:
    """Return the kernel's stud of a row, whose travel is that of the ball's centre."""
    limits = row.travel_mm
    if limits is not None:
        limits = (limits[0] + row.tip_radius_mm, limits[1] + row.tip_radius_mm)
    return Stud(
        row.name, row.touches, row.at_mm, row.axis, row.lead_mm, row.hand, row.tip_radius_mm,
        limits, row.place_u_mm or 0.0, row.lead_u or 0.0,
    )  # fmt: skip


def row_of_stud(stud: Stud, thread: str) -> rows.Stud:
    """Return the row that keeps a stud, with its thread as it was written."""
    travel = stud.limits_mm
    if travel is not None:
        travel = (travel[0] - stud.tip_radius_mm, travel[1] - stud.tip_radius_mm)
    return rows.Stud(
        stud.name, stud.touches, stud.at_mm, stud.axis, thread, stud.lead_mm, stud.hand,
        stud.tip_radius_mm, travel, stud.place_u_mm or None, stud.lead_u or None,
    )  # fmt: skip


def method_of(row: rows.Method, blade: Blade) -> Method:
    """Return the kernel's method of a row on its blade."""
    station = None
    if row.station_hole is not None and row.station_edge is not None:
        at = blade.hole(row.station_hole).edge(row.station_edge)
        station = Station(at, row.station_hole, row.station_edge)
    elif row.station_u_mm is not None and row.station_v_mm is not None:
        station = Station((row.station_u_mm, row.station_v_mm))
    band = None
    if row.band_lo_mm is not None and row.band_hi_mm is not None:
        band = (row.band_lo_mm, row.band_hi_mm)
    return Method(
        row.name, row.quantity, station, row.jaw_width_mm, band, _scribe_of(row), row.u_mm
    )


def _scribe_of(row: rows.Method) -> Scribe | None:
    """Return the scribe of a coarse mark; its station edge says which way the figures grow.

    None and ``back`` are as usual (toward the rear, the lines' toward the top edge).
    """
    if row.scribe_x_mm is None or row.scribe_y_mm is None:
        return None
    at = (row.scribe_x_mm, row.scribe_y_mm)
    return Scribe(at, row.scribe_zero_mm or 0.0, row.station_edge == "front")


def row_of_method(method: Method, blade_id: str, tolerance_mm: float) -> rows.Method:
    """Return the row that keeps a method of a blade."""
    named = method.station is not None and method.station.hole is not None
    at = method.station.at_mm if method.station is not None and not named else (None, None)
    edge = method.station.edge if method.station is not None else None
    scribe = method.scribe
    if scribe is not None:
        edge = "front" if scribe.is_reversed else None
    return rows.Method(
        "",
        blade_id,
        method.name,
        method.quantity,
        method.band_mm[0] if method.band_mm else None,
        method.band_mm[1] if method.band_mm else None,
        method.station.hole if method.station is not None else None,
        "back" if edge == "back" else "front" if edge == "front" else None,
        at[0],
        at[1],
        method.jaw_width_mm,
        tolerance_mm,
        scribe_x_mm=scribe.at_mm[0] if scribe is not None else None,
        scribe_y_mm=scribe.at_mm[1] if scribe is not None else None,
        scribe_zero_mm=scribe.zero_mm if scribe is not None else None,
        u_mm=method.u_mm,
    )


def rig_of(ski: rows.Ski, blade: Blade, studs: Sequence[rows.Stud]) -> Rig:
    """Return the rig of a ski."""
    base = (
        Base() if ski.base_radius_mm is None else Base(ski.base_radius_mm, ski.base_apex_mm or 0.0)
    )
    return Rig(blade, base, tuple(stud_of(s) for s in studs))


LEAST_OUT = 0.35
"""Share of a blade's height that is outside the block at least (common practice, no source)."""

TILTED = 0.05
"""Share that a length may differ from the chord along the blade for its tilt and its band."""

LOOKS = 8
"""Chords looked at between the two ends."""


ANY_FIN_MM = {
    "depth": (25.0, 100.0), "tail": (5.0, 49.0), "length": (75.0, 300.0), "mark": (1.0, 100.0),
}  # fmt: skip
"""What a reading of any slalom fin lies in (common practice, no source)."""


def usual_range_mm(method: Method, blade: Blade) -> tuple[float, float]:
    """Return the range (mm) that a reading of this method plausibly lies in on this blade.

    What the blade can show at all: the block hides at least half of the back edge, and a third of
    the height is outside. The tail distance depends on the block's place on the ski alone: 5 to 49
    mm (common practice, no source). Narrower than a factor of ten, so that bare digits can be
    placed in one way only. Of a blade that is not known yet it is what any fin has.
    """
    if not blade.is_traced:
        return ANY_FIN_MM["mark" if method.is_coarse else method.quantity]
    if method.is_coarse:
        return (1.0, 0.5 * blade.length_mm)
    vs = [v for _, v in blade.outline_mm]
    out, height = max(vs), max(vs) - min(vs)
    hidden = sum(v for _, v in blade.back_edge_mm) / 2.0
    match method.quantity:
        case "depth":
            return (LEAST_OUT * height, out - hidden)
        case "length":
            return _lengths_mm(blade, hidden, out - LEAST_OUT * height)
        case "tail":
            return (5.0, 49.0)
        case _:
            assert_never(method.quantity)


def _lengths_mm(blade: Blade, least_v: float, most_v: float) -> tuple[float, float]:
    """Return the shortest and the longest chord (mm) along u between two depths of the blade."""
    chords = []
    for i in range(LOOKS + 1):
        v = least_v + (most_v - least_v) * i / LOOKS
        ends = [
            u1 + (u2 - u1) * (v - v1) / (v2 - v1)
            for (u1, v1), (u2, v2) in zip(
                blade.outline_mm, (*blade.outline_mm[1:], blade.outline_mm[0]), strict=True
            )
            if min(v1, v2) <= v <= max(v1, v2) and v1 != v2
        ]
        chords.append(max(ends) - min(ends))
    return ((1.0 - TILTED) * min(chords), (1.0 + TILTED) * max(chords))
