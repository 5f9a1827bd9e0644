"""Whether a row from a file says what can be: no number beyond what is taken at entry, no two that
contradict each other.

Only rows that are new here are looked at. Rows cannot be taken out again, so that two books which
share an old one must go on giving each other their rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from workbench.errors import InputError, shown
from workbench.fin.parts.base import Base
from workbench.fin.parts.threads import lead_of_thread
from workbench.fin.reading.coarse import LONGEST_SCALE_MM, Scribe
from workbench.fin.reading.method import Method, Station
from workbench.fin.wing import SET_DEG
from workbench.measure.calipers import (
    BLOCKS_MM,
    HIGHEST_JAW_MM,
    LARGEST_MPE_MM,
    RESOLUTION_MM,
    ZERO_REACH_MM,
    block_window_mm,
)
from workbench.measure.mpe_tables import LONGEST_MM
from workbench.measure.temperature import HIGHEST_C, LOWEST_C
from workbench.measure.temperature_text import WATER_C
from workbench.records.exchange.form import PART_OF, Row
from workbench.records.exchange.form_checks import EARLIEST, LATEST, Arrived
from workbench.records.store.damage import HAIR_MM, contradictions
from workbench.records.store.schema import Table

_EARLIEST, _LATEST = (at.isoformat(timespec="microseconds") for at in (EARLIEST, LATEST))
"""As the texts of a book, which sort as their times do."""

LARGEST_TYPED_MM = 1e9
"""No longer length is ever understood."""

LARGEST_TOLERANCE_MM = 10.0
MOST_TURNS = 1e5


@dataclass(frozen=True, slots=True)
class Between:
    """The ends of what a number can be; ``above`` leaves out the lower one."""

    low: float
    high: float
    above: bool = False

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high and not (self.above and value == self.low)

    def __str__(self) -> str:
        if self.above:
            return f"more than {self.low:g}, at most {self.high:g}"
        return f"{self.low:g} to {self.high:g}"


_TOLERANCE = Between(0.0, LARGEST_TOLERANCE_MM, above=True)
_JAW = Between(0.0, HIGHEST_JAW_MM, above=True)
_WARMTH = Between(LOWEST_C, HIGHEST_C)
_LENGTH = Between(0.0, LARGEST_TYPED_MM)

RANGES: Mapping[Table, Mapping[str, Between]] = {
    Table.METHODS: {"tolerance_mm": _TOLERANCE},
    Table.CALIPERS: {
        "resolution_mm": Between(*RESOLUTION_MM),
        "mpe_mm": Between(0.0, LARGEST_MPE_MM, above=True),
        "reference_height_mm": _JAW,
        "jaw_height_mm": _JAW,
    },
    Table.BASELINES: {"wing_deg": Between(*SET_DEG)},
    Table.BASELINE_ENTRIES: {"mm": Between(0.0, LONGEST_MM), "tolerance_mm": _TOLERANCE},
    Table.READINGS: {"mm": Between(-LONGEST_SCALE_MM, LONGEST_MM)},
    Table.LOCKED_READINGS: {"mm": Between(-LONGEST_SCALE_MM, LONGEST_MM)},
    Table.TARGETS: {
        "mm": Between(0.0, 2.0 * LONGEST_MM, above=True),
        "tolerance_mm": _TOLERANCE,
    },
    Table.TURNS: {
        "turns_exact": Between(-MOST_TURNS, MOST_TURNS),
        "turns": Between(-MOST_TURNS, MOST_TURNS),
    },
    Table.STUDS: {
        "place_u_mm": Between(0.0, 50.0, above=True),
        "lead_u": Between(0.0, 1.0, above=True),
    },
    Table.TEMPERATURES: {"blade_c": _WARMTH, "caliper_c": _WARMTH},
    Table.WINGS: {"angle_deg": Between(*SET_DEG)},
    Table.RIDE_NOTES: {"water_c": Between(*WATER_C)},
    Table.PAIRS: {"mm": _LENGTH, "other_mm": _LENGTH},
    Table.STUDY_READINGS: {"mm": _LENGTH},
}
"""By table and column, what is taken where it is typed; a column that is empty is passed over."""


def check_sense(each: Arrived) -> None:
    """Raise ``InputError`` for a row that no entry of ours could have made."""
    if not _EARLIEST <= each.row["at"] <= _LATEST:
        raise InputError(_column(each, "at"), each.row["at"], "a time of the years 1970 to 2199")
    _check(each, each.table, each.row, "")
    part = PART_OF.get(each.table)
    if part is not None:
        for i, row in enumerate(each.row[part.value]):
            _check(each, part, row, f"{part}[{i}].")


def _check(each: Arrived, table: Table, row: Row, inner: str) -> None:
    for column, value, accepted in _faults(table, row):
        raise InputError(_column(each, inner + column), value, accepted)


def _column(each: Arrived, column: str) -> str:
    return f"{each.place}.{column} (row {each.id})"


def _faults(table: Table, row: Row) -> Iterator[tuple[str, object, str]]:
    """Yield the columns of a row that cannot be: name, value and what would be accepted."""
    for column, range_ in RANGES.get(table, {}).items():
        if row[column] is not None and row[column] not in range_:
            yield column, row[column], str(range_)
    yield from contradictions(table, row)
    if table in _MORE:
        try:
            _MORE[table](row)
        except InputError as why:
            yield why.field, why.value, why.accepted


# What no table of ranges says: raises InputError by the column's name ------------------------


def _check_method(row: Row) -> None:
    """Build the kernel's method; of a hole's place only the blade knows."""
    station = None
    if row["station_hole"] is not None and row["station_edge"] is not None:
        station = Station((0.0, 0.0), row["station_hole"], row["station_edge"])
    elif row["station_u_mm"] is not None and row["station_v_mm"] is not None:
        station = Station((row["station_u_mm"], row["station_v_mm"]))
    band = scribe = None
    if row["band_lo_mm"] is not None and row["band_hi_mm"] is not None:
        band = (row["band_lo_mm"], row["band_hi_mm"])
    if row["scribe_x_mm"] is not None and row["scribe_y_mm"] is not None:
        at = (row["scribe_x_mm"], row["scribe_y_mm"])
        scribe = Scribe(at, row["scribe_zero_mm"] or 0.0, row["station_edge"] == "front")
    name, quantity, width = row["name"], row["quantity"], row["jaw_width_mm"]
    try:
        Method(name, quantity, station, width, band, scribe, row["u_mm"])
    except InputError as why:
        column = _METHOD_COLUMNS.get(why.field.rpartition(" ")[2], "name")
        raise InputError(column, why.value, why.accepted) from None


_METHOD_COLUMNS = {
    "quantity": "quantity", "u": "u_mm", "jaw_width": "jaw_width_mm", "band": "band_lo_mm",
    "station": "station_u_mm", "scribe": "scribe_x_mm", "at": "scribe_x_mm",
    "zero": "scribe_zero_mm",
}  # fmt: skip


def _check_ski(row: Row) -> None:
    try:
        Base(row["base_radius_mm"], row["base_apex_mm"] or 0.0)
    except InputError as why:
        raise InputError("base_radius_mm", why.value, why.accepted) from None


def _check_stud(row: Row) -> None:
    """A lead that was typed as such has no thread beside it."""
    if not row["thread"].strip():
        return
    lead = lead_of_thread(row["thread"])
    if abs(row["lead_mm"] - lead) > HAIR_MM:
        accepted = f"{lead:.10g}, the lead of {shown(row['thread'])}; or another thread, or none"
        raise InputError("lead_mm", row["lead_mm"], accepted)


def _check_caliper_check(row: Row) -> None:
    nominal, reading = row["nominal_mm"], row["reading_mm"]
    if row["kind"] == "zero":
        if nominal != 0.0:
            raise InputError("nominal_mm", nominal, "0, or another kind")
        window = Between(-ZERO_REACH_MM, ZERO_REACH_MM)
    else:
        if nominal not in Between(*BLOCKS_MM):
            raise InputError("nominal_mm", nominal, f"a block of {Between(*BLOCKS_MM)} mm")
        window = Between(*block_window_mm(nominal))
    if reading not in window:
        raise InputError("reading_mm", reading, f"{window}, near its nominal")


_MORE: Mapping[Table, Callable[[Row], None]] = {
    Table.SKIS: _check_ski,
    Table.METHODS: _check_method,
    Table.STUDS: _check_stud,
    Table.CALIPER_CHECKS: _check_caliper_check,
}
