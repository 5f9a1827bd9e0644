"""Whether rows from a file are such as a book of ours holds; every complaint names the place."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from workbench.errors import InputError
from workbench.measure.lengths import check_finest
from workbench.records.exchange.form import Column, Form, Row
from workbench.records.store.faults import DamagedError
from workbench.records.store.ids import is_id
from workbench.records.store.schema import ROSTER, STRIKABLE, Table
from workbench.records.store.values import day_text, keepable, points_of

LONGEST_TEXT = 1_000_000
LARGEST = 1e12
"""No number of a fin shop is larger; one that is was not measured."""

KEPT_FINEST = 1e-4
"""Books of old hold finer turns than a hand works in; what they share must go on travelling."""

EARLIEST, LATEST = datetime(1970, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)
"""No clock of a bench stands outside these, and at the ends of the calendar there is no local time.
Ids of later years are refused: a book's own ids follow the greatest, and would run out."""

_AT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}\+00:00", re.ASCII)


@dataclass(frozen=True, slots=True)
class Arrived:
    """A row of a file, in the form of its table; ``place`` is where it stood."""

    table: Table
    place: str
    row: Row

    @property
    def id(self) -> str:
        """The row's id."""
        return str(self.row["id"])


def arrived(forms: Mapping[Table, Form], data: object) -> list[Arrived]:
    """All rows of a file, in the order in which they go in; raises ``InputError``."""
    if not isinstance(data, dict):
        raise InputError("rows", _brief(data), "a table of lists of rows")
    known = {form.table.value for form in forms.values()}
    for name in data:
        if name not in known:
            accepted = f"one of {', '.join(sorted(known))}"
            raise InputError("rows", name, accepted)
    out = [each for form in forms.values() for each in _table(form, data.get(form.table.value, []))]
    _once_each(out)
    return out


def _table(form: Form, data: object) -> Iterator[Arrived]:
    place = f"rows.{form.table}"
    if not isinstance(data, list):
        raise InputError(place, _brief(data), "a list of rows")
    found = [Arrived(form.table, f"{place}[{i}]", _row(form, row, f"{place}[{i}]"))
             for i, row in enumerate(data)]  # fmt: skip
    return iter(sorted(found, key=lambda each: each.id))


def _brief(value: object) -> object:
    """Return a value for a message: lists and tables, which may be of megabytes, by a word."""
    if isinstance(value, list | dict):
        return "(a list)" if isinstance(value, list) else "(a table)"
    return value


def _once_each(found: list[Arrived]) -> None:
    seen: dict[str, str] = {}
    for each in found:
        if each.id in seen:
            raise InputError(f"{each.place}.id", each.id, f"an id once; {seen[each.id]} has it")
        seen[each.id] = each.place


def _row(form: Form, data: object, place: str) -> Row:
    extra = () if form.part is None else (form.part.value,)
    row = _columns(form.columns, data, place, extra)
    _check_id(row["id"], f"{place}.id")
    _check_time(row["at"], f"{place}.at")
    for name, check in _CHECKS.get(form.table, {}).items():
        check(f"{place}.{name}", row[name])
    if form.table in ROSTER and not (is_id(row["root"]) and row["root"] <= row["id"]):
        raise InputError(f"{place}.root", row["root"], "the id of this row or of an earlier one")
    if form.table in _ROW_CHECKS:
        _ROW_CHECKS[form.table](row, place)
    if form.part is not None:
        assert isinstance(data, dict)
        row[form.part.value] = _parts(form, data.get(form.part.value, []), place)
    return row


def _parts(form: Form, data: object, place: str) -> list[Row]:
    where = f"{place}.{form.part}"
    if not isinstance(data, list):
        raise InputError(where, _brief(data), "a list of rows")
    return [_columns(form.part_columns, part, f"{where}[{i}]") for i, part in enumerate(data)]


def _columns(
    columns: Mapping[str, Column], data: object, place: str, extra: tuple[str, ...] = ()
) -> Row:
    if not isinstance(data, dict):
        raise InputError(place, _brief(data), "a row: names and values")
    for name in data:
        if name not in columns and name not in extra:
            known = ", ".join((*columns, *extra))
            raise InputError(place, name, f"a column that is known: {known}")
    return {name: _value(column, data, f"{place}.{name}") for name, column in columns.items()}


def _value(column: Column, data: Row, where: str) -> object:
    if column.name not in data:
        if column.needed:
            raise InputError(where, "(missing)", _KINDS[column.kind])
        return column.default
    value = data[column.name]
    if value is None and column.nullable:
        return None
    value = _of_kind(column.kind, value, where)
    keepable(where, value)
    return value


_KINDS = {"TEXT": "a text", "REAL": "a number", "INTEGER": "a whole number"}


def _of_kind(kind: str, value: object, where: str) -> object:
    if kind == "TEXT" and isinstance(value, str):
        if len(value) > LONGEST_TEXT:
            raise InputError(where, value, f"at most {LONGEST_TEXT} characters")
        return value
    if isinstance(value, bool) or not isinstance(value, int | float) or kind == "TEXT":
        raise InputError(where, _brief(value), _KINDS[kind])
    if kind == "INTEGER":
        if not isinstance(value, int) or abs(value) > LARGEST:
            raise InputError(where, value, "a whole number of a sane size")
        return value
    if not -LARGEST <= value <= LARGEST or not math.isfinite(value):
        raise InputError(where, value, "a number of a sane size")
    return float(value)


def _check_id(text: str, where: str) -> None:
    accepted = "an id as a book gives them, of a year before 2200"
    if not is_id(text) or time_of(text) > LATEST:
        raise InputError(where, text, accepted)


def time_of(row_id: str) -> datetime:
    """The time that an id stands for; where a clock was set back, the time it followed on."""
    millis = int(row_id[:8] + row_id[9:13], 16)
    try:
        return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=millis)
    except OverflowError:
        return datetime.max.replace(tzinfo=UTC)


def _check_time(text: str, where: str) -> None:
    try:
        if _AT.fullmatch(text):
            datetime.fromisoformat(text)
            return
    except ValueError:
        pass
    raise InputError(where, text, "a time such as 2031-05-06T07:08:09.000000+00:00")


def _check_strike(row: Row, place: str) -> None:
    tables = [table.value for table in STRIKABLE]
    if row["row_table"] not in tables:
        raise InputError(f"{place}.row_table", row["row_table"], f"one of {', '.join(tables)}")
    if not row["reason"].strip():
        raise InputError(f"{place}.reason", row["reason"], "a few words on why")
    if row["replaced_by"] == row["row_id"]:
        raise InputError(f"{place}.replaced_by", row["replaced_by"], "the id of another row")


def _day(where: str, text: str) -> None:
    day_text(where, text)


def _points(where: str, text: str) -> None:
    try:
        if len(points := points_of(text)) >= 2:
            for point in points:
                for coordinate in point:
                    _of_kind("REAL", coordinate, where)
            return
    except (DamagedError, OverflowError, RecursionError):
        pass
    raise InputError(where, text, "points as [[u,v],[u,v]] in mm")


def _finest_turn(where: str, turn: float) -> None:
    check_finest(turn, where, least=KEPT_FINEST)


def _check_wing_aim(row: Row, place: str) -> None:
    """A wanted angle is degrees; its number, where it has one, names the hold."""
    try:
        fine = math.isfinite(float(row["text"]))
    except ValueError:
        fine = False
    if not fine:
        raise InputError(f"{place}.text", row["text"], "degrees such as 7.5")
    if row["number"] not in (None, 1, 2, 3):
        accepted = "1 front, 2 middle, 3 rear, or nothing"
        raise InputError(f"{place}.number", row["number"], accepted)


def _check_mark(row: Row, place: str) -> None:
    if row["kind"] == "wing_aim":
        _check_wing_aim(row, place)
    if row["kind"] != "finest":
        return
    try:
        _finest_turn(f"{place}.text", float(row["text"]))
    except ValueError as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"{place}.text", row["text"], "a finest turn such as 0.125") from None


def _check_study(row: Row, place: str) -> None:
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


_CHECKS: Mapping[Table, Mapping[str, Callable[[str, Any], None]]] = {
    Table.BLADES: {"outline_mm": _points, "top_edge_mm": _points, "back_edge_mm": _points},
    Table.BLOCKS: {"finest_turn": _finest_turn},
    Table.JOBS: {"day": _day, "finest_turn": _finest_turn},
    Table.MOVES: {"day": _day},
    Table.PASSES: {"finest_turn": _finest_turn},
}
_ROW_CHECKS: Mapping[Table, Callable[[Row, str], None]] = {
    Table.MARKS: _check_mark,
    Table.STUDIES: _check_study,
    Table.STRIKES: _check_strike,
}
