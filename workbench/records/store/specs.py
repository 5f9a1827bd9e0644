"""The tables of the book, each declared once: what its rows are, and what they can say.

Columns are those that the migrations made (``schema.py``); reading a file, checking it, telling it
from the book, putting it in and finding damage all go by the rows below. A new table is a migration
and a row here; a test holds that no table of a book is without one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import field
from enum import StrEnum
from typing import Any, Literal, TypeAlias

from workbench.errors import InputError
from workbench.fin.blade import LARGEST_U_MM
from workbench.fin.reading.method import LONGEST_SCALE_MM
from workbench.fin.studs import LARGEST_PLACE_U_MM
from workbench.fin.wing import SET_DEG
from workbench.frozen import dataclass
from workbench.measure.calipers import HIGHEST_JAW_MM, LARGEST_MPE_MM, LONGEST_MM, RESOLUTIONS_MM
from workbench.measure.temperature import HIGHEST_C, LOWEST_C, WATER_C
from workbench.records.store import row_checks as check
from workbench.records.store import rows
from workbench.records.store.row_checks import EXACT_MM, MEAN_MM, SHOWN_MM, Between, BookRow, Typed

LARGEST_TYPED_MM = 1e9
"""No longer length is ever understood."""

LARGEST_TOLERANCE_MM = 10.0
MOST_TURNS = 1e5


class Table(StrEnum):
    """The names of the tables."""

    SKIS = "skis"
    SKI_METHODS = "ski_methods"
    BLADES = "blades"
    HOLES = "holes"
    BLOCKS = "blocks"
    STUDS = "studs"
    METHODS = "methods"
    CALIPERS = "calipers"
    BASELINES = "baselines"
    BASELINE_ENTRIES = "baseline_entries"
    SETTINGS = "settings"
    JOBS = "jobs"
    MOVES = "moves"
    QUEUE = "queue"
    READINGS = "readings"
    TARGETS = "targets"
    PASSES = "passes"
    TURNS = "turns"
    MARKS = "marks"
    TICKS = "ticks"
    WINGS = "wings"
    SIGN_OFFS = "sign_offs"
    RIDE_NOTES = "ride_notes"
    STRIKES = "strikes"
    OTHER_STRIKES = "other_strikes"
    CALIPER_CHECKS = "caliper_checks"
    TEMPERATURES = "temperatures"
    PAIRS = "pairs"
    CURVES = "curves"
    STUDIES = "studies"
    STUDY_READINGS = "study_readings"
    LOCKED_READINGS = "locked_readings"
    BENCHES = "benches"
    JOURNAL = "journal"
    SHARES = "shares"
    TAKEN = "taken"
    HELD = "held"


_Kind: TypeAlias = Literal["thing", "fact", "entry", "job", "part", "plain", "derived", "home"]


@dataclass(frozen=True, slots=True)
class TableSpec:
    """What is fixed about a table, beside its columns.

    ``kind``: a ``thing`` of the roster has versions; a ``fact`` is of a job and carries a check
    sum; an ``entry`` is of no job; a ``part`` lies in the rows of another table; ``plain`` rows are
    never struck out; what is ``derived`` from other tables stays at home, and so do the tables of
    kind ``home``, which hold how far this book shares its rows with others (``sharing``). ``row``
    is the type of a fact or entry, ``part`` the table of what lies in a row. ``of`` is the column
    by which rows belong to a ski. ``written`` are checks of a column, ``whole`` of a row, wherever
    it comes from; ``ranges``, ``figures`` and ``sense`` are looked at in rows that are new to this
    book, since rows cannot be taken out again; ``figures`` also tell damage.
    """

    kind: _Kind
    row: type | None = None
    part: Table | None = None
    of: Literal["", "ski_id"] = ""
    written: Mapping[str, Callable[[str, Any], None]] = field(default_factory=dict)
    whole: Callable[[BookRow, str], None] | None = None
    ranges: Mapping[str, Between] = field(default_factory=dict)
    figures: tuple[Typed | check.Angle | check.Aim, ...] = ()
    sense: Callable[[BookRow], None] | None = None


def _check_strike(row: BookRow, place: str) -> None:
    tables = [table.value for table in STRIKABLE]
    if row["row_table"] not in tables:
        raise InputError(f"{place}.row_table", row["row_table"], f"one of {', '.join(tables)}")
    if not row["reason"].strip():
        raise InputError(f"{place}.reason", row["reason"], "a few words on why")
    if row["replaced_by"] == row["row_id"]:
        raise InputError(f"{place}.replaced_by", row["replaced_by"], "the id of another row")


_TOLERANCE = Between(0.0, LARGEST_TOLERANCE_MM, above=True)
_JAW = Between(0.0, HIGHEST_JAW_MM, above=True)
_WARMTH = Between(LOWEST_C, HIGHEST_C)
_LENGTH = Between(0.0, LARGEST_TYPED_MM)
_READ = Between(-LONGEST_SCALE_MM, LONGEST_MM)
_TURNED = Between(-MOST_TURNS, MOST_TURNS)
_FINEST: dict[str, Callable[[str, Any], None]] = {"finest_turn": check.check_kept_finest}
_DAY: dict[str, Callable[[str, Any], None]] = {"day": check.check_day}

SPECS: Mapping[Table, TableSpec] = {
    Table.BLADES: TableSpec(
        "thing",
        part=Table.HOLES,
        ranges={"outline_u_mm": Between(0.0, LARGEST_U_MM)},
        whole=check.check_blade,
        written=dict.fromkeys(("outline_mm", "top_edge_mm", "back_edge_mm"), check.check_points),
    ),
    Table.BLOCKS: TableSpec("thing", part=Table.STUDS, written=_FINEST),
    Table.METHODS: TableSpec(
        "thing", ranges={"tolerance_mm": _TOLERANCE}, sense=check.check_method
    ),
    Table.CALIPERS: TableSpec(
        "thing",
        ranges={
            "resolution_mm": Between(*RESOLUTIONS_MM),
            "mpe_mm": Between(0.0, LARGEST_MPE_MM, above=True),
            "reference_height_mm": _JAW,
            "jaw_height_mm": _JAW,
        },
    ),
    Table.SKIS: TableSpec("thing", part=Table.SKI_METHODS, sense=check.check_ski),
    Table.BASELINES: TableSpec(
        "thing",
        part=Table.BASELINE_ENTRIES,
        of="ski_id",
        ranges={"wing_deg": Between(*SET_DEG)},
        figures=(check.Angle("wing", "wing_deg"),),
    ),
    Table.JOBS: TableSpec("job", of="ski_id", written=_DAY | _FINEST),
    Table.TEMPERATURES: TableSpec(
        "fact", rows.Temperature, ranges={"blade_c": _WARMTH, "caliper_c": _WARMTH}
    ),
    Table.MOVES: TableSpec("plain", written=_DAY),
    Table.READINGS: TableSpec(
        "fact", rows.Reading, ranges={"mm": _READ}, figures=(Typed(EXACT_MM),)
    ),
    Table.LOCKED_READINGS: TableSpec(
        "fact", rows.LockedReading, ranges={"mm": _READ}, figures=(Typed(EXACT_MM),)
    ),
    Table.TARGETS: TableSpec(
        "fact",
        rows.Target,
        ranges={"mm": Between(0.0, 2.0 * LONGEST_MM, above=True), "tolerance_mm": _TOLERANCE},
        figures=(check.Aim(),),
    ),
    Table.PASSES: TableSpec("fact", rows.PassRow, part=Table.TURNS, written=_FINEST),
    Table.MARKS: TableSpec("fact", rows.Mark, whole=check.check_mark),
    Table.TICKS: TableSpec("fact", rows.Tick),
    Table.WINGS: TableSpec(
        "fact",
        rows.WingSetting,
        ranges={"angle_deg": Between(*SET_DEG)},
        figures=(check.Angle("text", "angle_deg"),),
    ),
    Table.SIGN_OFFS: TableSpec("fact", rows.SignOff),
    Table.RIDE_NOTES: TableSpec("fact", rows.RideNote, ranges={"water_c": Between(*WATER_C)}),
    Table.CALIPER_CHECKS: TableSpec(
        "entry",
        rows.CaliperCheck,
        figures=(
            Typed(EXACT_MM, "nominal_text", "nominal_unit", "nominal_mm"),
            Typed(EXACT_MM, "reading_text", "reading_unit", "reading_mm"),
        ),
        sense=check.check_caliper_check,
    ),
    Table.PAIRS: TableSpec(
        "entry",
        rows.Pair,
        of="ski_id",
        ranges={"mm": _LENGTH, "other_mm": _LENGTH},
        figures=(Typed(MEAN_MM), Typed(MEAN_MM, "other_text", "other_unit", "other_mm")),
    ),
    Table.CURVES: TableSpec("entry", rows.Curve, of="ski_id"),
    Table.STUDIES: TableSpec("entry", rows.Study, whole=check.check_study),
    Table.STUDY_READINGS: TableSpec(
        "entry", rows.StudyReading, ranges={"mm": _LENGTH}, figures=(Typed(EXACT_MM),)
    ),
    Table.SETTINGS: TableSpec("plain"),
    Table.STRIKES: TableSpec("plain", whole=_check_strike),
    # What lies in the rows of others, and what stays at home.
    Table.HOLES: TableSpec("part"),
    Table.STUDS: TableSpec(
        "part",
        ranges={
            "place_u_mm": Between(0.0, LARGEST_PLACE_U_MM, above=True),
            "lead_u": Between(0.0, 1.0, above=True),
        },
        sense=check.check_stud,
    ),
    Table.SKI_METHODS: TableSpec("part"),
    Table.BASELINE_ENTRIES: TableSpec(
        "part",
        ranges={"mm": Between(0.0, LONGEST_MM), "tolerance_mm": _TOLERANCE},
        figures=(Typed(SHOWN_MM),),
    ),
    Table.TURNS: TableSpec("part", ranges={"turns_exact": _TURNED, "turns": _TURNED}),
    Table.OTHER_STRIKES: TableSpec("plain"),
    Table.QUEUE: TableSpec("derived"),
    Table.BENCHES: TableSpec("home"),
    Table.JOURNAL: TableSpec("home"),
    Table.SHARES: TableSpec("home"),
    Table.TAKEN: TableSpec("home"),
    Table.HELD: TableSpec("home"),
}
"""By table; those that travel in the order in which rows go in: each after what it refers to."""


def _of_kind(*kinds: _Kind) -> tuple[Table, ...]:
    return tuple(table for table, spec in SPECS.items() if spec.kind in kinds)


ROSTER = _of_kind("thing")
FACTS = _of_kind("fact")
PARTS = _of_kind("part")
AT_HOME = _of_kind("home")
STRIKABLE = _of_kind("fact", "job", "thing", "entry")
WITH_IDS = _of_kind("fact", "job", "thing", "entry", "plain")
ORDER = tuple(table for table in WITH_IDS if table is not Table.OTHER_STRIKES)
"""The tables that travel; the strikes of other benches do so among the strikes."""

PART_OF = {table: spec.part for table, spec in SPECS.items() if spec.part is not None}
OF_SKI = tuple(table for table, spec in SPECS.items() if spec.of == "ski_id")
FACT_TABLES = {row: table for table in FACTS if (row := SPECS[table].row)}
ENTRY_TABLES = {row: table for table in _of_kind("entry") if (row := SPECS[table].row)}
"""By the type of a row."""
