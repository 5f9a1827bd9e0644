"""What a row can say: what SQLite keeps exactly, how a column is written, what goes with its text.

Each check is named once in :mod:`workbench.records.store.specs`. Those of one column or row raise
``InputError``; those that compare a row's columns yield its faults.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from functools import lru_cache
from typing import Any, TypeAlias

from workbench.errors import InputError, shown
from workbench.fin.frame import Base
from workbench.fin.reading.method import Method, Scribe, Station
from workbench.fin.studs import lead_of_thread
from workbench.frozen import dataclass
from workbench.measure.calipers import BLOCKS_MM, ZERO_REACH_MM, block_window_mm
from workbench.measure.display import STEP
from workbench.measure.lengths import LONGEST, check_finest, kept_as, parse_length
from workbench.measure.units import MM_PER, UNITS, Unit, degrees_typed
from workbench.records.store.database import DamagedError

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_WIDEST = 1 << 63


def keepable(field: str, value: object) -> object:
    """``value`` as it will be kept; raises ``InputError`` for what SQLite would bend or drop.

    SQLite keeps a NaN as nothing at all, and cuts or refuses text with a NUL or half a surrogate
    pair in it.
    """
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, str):
        return _text(field, value)
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError(field, value, "a finite number")
    if isinstance(value, int) and not -_WIDEST <= value < _WIDEST:
        raise InputError(field, value, "a whole number below 9.2e18")
    return value


def _text(field: str, value: str) -> str:
    if "\0" in value:
        raise InputError(field, value, "text without a NUL character")
    if not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value):
        raise InputError(field, value, "text of whole characters, no lone surrogates")
    return value


def day_text(field: str, value: str) -> str:
    """A day as YYYY-MM-DD, checked against the calendar."""
    try:
        if _DAY.fullmatch(value):
            date.fromisoformat(value)
            return value
    except ValueError:
        pass
    raise InputError(field, value, "a day as YYYY-MM-DD")


def points_text(field: str, points: Iterable[tuple[float, float]]) -> str:
    """Points as the text they are kept as; floats come back exactly."""
    kept = [[_coordinate(field, u), _coordinate(field, v)] for u, v in points]
    return json.dumps(kept, separators=(",", ":"))


def _coordinate(field: str, value: float) -> float:
    keepable(field, value)
    return float(value)


def points_of(text: str) -> tuple[tuple[float, float], ...]:
    """The points that :func:`points_text` wrote; raises ``DamagedError`` for anything else."""
    try:
        return tuple((float(u), float(v)) for u, v in json.loads(text))
    except (ValueError, TypeError) as error:
        raise DamagedError(f"points {shown(text)}") from error


BookRow: TypeAlias = Mapping[str, Any]

Fault: TypeAlias = tuple[str, object, str]
"""The column of a row that cannot be: its name, its value and what would be accepted."""

LARGEST = 1e12
"""No number of a fin shop is larger; one that is was not measured."""

KEPT_FINEST = 1e-4
"""Books of old hold finer turns than a hand works in; what they share must go on travelling."""

HAIR_MM = 1e-6
"""Less than any text says: what arithmetic may leave behind."""

EXACT_MM: Mapping[Unit, float] = dict.fromkeys(UNITS, HAIR_MM)

SHOWN_MM: Mapping[Unit, float] = {
    unit: float(STEP[unit]) * MM_PER[unit] / 2.0 + HAIR_MM for unit in UNITS
}
"""A baseline may have been written out as shown, and a target taken from it."""

MEAN_MM: Mapping[Unit, float] = {"in": 0.000005 * MM_PER["in"] + HAIR_MM, "mm": 0.00005 + HAIR_MM}
"""A pair out of repeats has their mean, written out to a digit more."""


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


@dataclass(frozen=True, slots=True)
class Typed:
    """The columns of a length that was typed, and how far (mm) its figure may be from its text."""

    within_mm: Mapping[Unit, float]
    text: str = "text"
    unit: str = "unit"
    mm: str = "mm"

    def is_plain(self, row: BookRow) -> bool:
        """Whether a text is a bare decimal that gives its figure; most of a book's are."""
        text, mm_per = row[self.text], MM_PER.get(row[self.unit])
        digits = text.replace(".", "", 1)
        if mm_per is None or not (digits.isascii() and digits.isdigit() and len(text) <= LONGEST):
            return False
        return bool(abs(float(text) * mm_per - row[self.mm]) <= HAIR_MM)

    def faults(self, row: BookRow) -> Iterator[Fault]:
        """Yield the column that does not go with the other two."""
        text, unit, mm = row[self.text], row[self.unit], row[self.mm]
        if unit not in UNITS:
            return  # refused by its table
        assert isinstance(text, str)
        assert isinstance(mm, float)
        if self.is_plain(row):
            return
        try:
            values = _kept_as(text, unit)
        except InputError as why:
            yield self.text, text, why.accepted
            return
        if all(abs(mm - value) > self.within_mm[unit] for value in values):
            accepted = f"{values[0]:.10g}, which is {shown(text)} in {unit}; or another text"
            yield self.mm, mm, accepted


@dataclass(frozen=True, slots=True)
class Angle:
    """The columns of a wing's angle: what was typed, and its degrees."""

    text: str
    degrees: str

    def faults(self, row: BookRow) -> Iterator[Fault]:
        """Yield the column that does not go with the other."""
        text, degrees = str(row[self.text]), row[self.degrees]
        if not text.strip() and degrees is None:
            return
        try:
            typed = degrees_typed(text)
        except ValueError:
            yield self.text, text, "degrees such as 7.5"
            return
        if not isinstance(degrees, float) or not abs(typed - degrees) <= HAIR_MM:
            yield self.degrees, degrees, f"{typed:g}, as {self.text} says"


@dataclass(frozen=True, slots=True)
class Aim:
    """A target's columns. A change gives no length of its own: what it was added to is not there.

    What was typed was understood in the row's unit.
    """

    def faults(self, row: BookRow) -> Iterator[Fault]:
        """Yield the column that does not go with the others."""
        unit, text = row["unit"], row["text"]
        if unit not in UNITS:
            return
        if row["kind"] != "change":
            yield from Typed(SHOWN_MM).faults(row)
            return
        try:
            if parse_length(str(text), unit, "text").unit != unit:
                yield "text", text, f"a length in {unit}, as its row says"
        except InputError as why:
            yield why.field, why.value, why.accepted


@lru_cache(maxsize=20_000)
def _kept_as(text: str, unit: Unit) -> tuple[float, ...]:
    return kept_as(text, unit)


# -- how a column is written, in any file ----------------------------------------------------------


def check_day(where: str, text: str) -> None:
    """A day as the book writes it."""
    day_text(where, text)


def check_points(where: str, text: str) -> None:
    """Two points or more, in mm; or none, of a blade whose outline is not known yet."""
    try:
        points = points_of(text)
        numbers = [number for point in points for number in point]
        if len(points) != 1 and all(_is_sane(number) for number in numbers):
            return
    except (DamagedError, OverflowError, RecursionError):
        pass
    raise InputError(where, text, "points as [[u,v],[u,v]] in mm")


def _is_sane(number: float) -> bool:
    return math.isfinite(number) and abs(number) <= LARGEST


def check_kept_finest(where: str, turn: float) -> None:
    """A finest turn, as fine as books of old may hold."""
    check_finest(turn, where, least=KEPT_FINEST)


# -- a whole row, in any file: ``place`` says where it is ----------------------------------------


def check_mark(row: BookRow, place: str) -> None:
    """A wanted angle is degrees, its number the hold; a finest turn is one."""
    if row["kind"] == "wing_aim":
        try:
            fine = math.isfinite(float(row["text"]))
        except ValueError:
            fine = False
        if not fine:
            raise InputError(f"{place}.text", row["text"], "degrees such as 7.5")
        if row["number"] not in (None, 1, 2, 3):
            accepted = "1 front, 2 middle, 3 rear, or nothing"
            raise InputError(f"{place}.number", row["number"], accepted)
    if row["kind"] == "finest":
        try:
            turn = float(row["text"])
        except ValueError:
            raise InputError(f"{place}.text", row["text"], "a finest turn such as 0.125") from None
        check_kept_finest(f"{place}.text", turn)


def check_study(row: BookRow, place: str) -> None:
    """Each number of the sequence must be that of a part, a person and a trial of the study."""
    parts, people, sequence = (_list(row[name]) for name in ("parts", "people", "sequence"))
    for name, listed in (("parts", parts), ("people", people)):
        if listed is None or not all(isinstance(each, str) for each in listed):
            raise InputError(f"{place}.{name}", row[name], "a list of names")
    ends = (len(parts or ()), len(people or ()), row["trials"])
    if sequence is None or not all(_is_turn(each, ends) for each in sequence):
        accepted = "a list of [part, person, trial], each by its number from 0"
        raise InputError(f"{place}.sequence", row["sequence"], accepted)


def _is_turn(each: object, ends: tuple[int, ...]) -> bool:
    if not isinstance(each, list) or len(each) != len(ends):
        return False
    return all(type(n) is int and 0 <= n < end for n, end in zip(each, ends, strict=True))


def _list(text: str) -> list[object] | None:
    try:
        listed = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return listed if isinstance(listed, list) else None


def check_blade(row: BookRow, place: str) -> None:
    """An outline with its two edges, or none of the three."""
    columns = ("outline_mm", "top_edge_mm", "back_edge_mm")
    empty = [column for column in columns if not points_of(row[column])]
    if empty and len(empty) < len(columns):
        raise InputError(f"{place}.{empty[0]}", "no point", "points, as the other two have them")


# -- a whole row that is new here: no entry of ours could have made another ------------------------


def taken_at(
    row: BookRow,
) -> tuple[tuple[float, float] | None, Station | None, Scribe | None]:
    """Return band, station and scribe of a method's row; of a hole's place only the blade knows.

    A mark's ``station_edge`` is ``front`` where its scale's figures grow the other way than usual.
    """
    station = band = scribe = None
    if row["station_hole"] is not None and row["station_edge"] is not None:
        station = Station((0.0, 0.0), row["station_hole"], row["station_edge"])
    elif row["station_u_mm"] is not None and row["station_v_mm"] is not None:
        station = Station((row["station_u_mm"], row["station_v_mm"]))
    if row["band_lo_mm"] is not None and row["band_hi_mm"] is not None:
        band = (row["band_lo_mm"], row["band_hi_mm"])
    if row["scribe_x_mm"] is not None and row["scribe_y_mm"] is not None:
        at = (row["scribe_x_mm"], row["scribe_y_mm"])
        scribe = Scribe(at, row["scribe_zero_mm"] or 0.0, row["station_edge"] == "front")
    return band, station, scribe


def check_method(row: BookRow) -> None:
    """Build the kernel's method; of a hole's place only the blade knows."""
    band, station, scribe = taken_at(row)
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


def check_ski(row: BookRow) -> None:
    """The base's curve is one that a ski can have."""
    try:
        Base(row["base_radius_mm"], row["base_apex_mm"] or 0.0)
    except InputError as why:
        raise InputError("base_radius_mm", why.value, why.accepted) from None


def check_stud(row: BookRow) -> None:
    """A lead that was typed as such has no thread beside it."""
    if not row["thread"].strip():
        return
    lead = lead_of_thread(row["thread"])
    if abs(row["lead_mm"] - lead) > HAIR_MM:
        accepted = f"{lead:.10g}, the lead of {shown(row['thread'])}; or another thread, or none"
        raise InputError("lead_mm", row["lead_mm"], accepted)


def check_caliper_check(row: BookRow) -> None:
    """Zero or a block, and a reading near it."""
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
