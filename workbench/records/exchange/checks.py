"""Whether rows from a file are such as a book of ours holds, by the tables' specifications.

Every row has to be of its table's form; one that is new here also has to say what can be. Every
complaint names the place.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from itertools import chain
from typing import Any, NamedTuple

from workbench.errors import InputError
from workbench.records.exchange.form import Column, Form, Row
from workbench.records.store.row_checks import LARGEST, Between, Fault, Typed, keepable
from workbench.records.store.specs import PART_OF, ROSTER, SPECS, Table
from workbench.records.store.strikes import contradictions
from workbench.records.store.writer import is_id

LONGEST_TEXT = 1_000_000
EARLIEST, LATEST = datetime(1970, 1, 1, tzinfo=UTC), datetime(2200, 1, 1, tzinfo=UTC)
"""No clock of a bench is outside these, and at the ends of the calendar there is no local time.
Ids of later years are refused: a book's own ids follow the greatest, and would run out."""

_AT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}\+00:00", re.ASCII)


class Arrived(NamedTuple):
    """A row of a file, in the form of its table; ``number`` is its place in the table's list."""

    table: Table
    number: int
    row: Row

    @property
    def place(self) -> str:
        """Where it stood in the file."""
        return f"rows.{self.table}[{self.number}]"

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
    found = [
        Arrived(form.table, i, checked_row(form, row, f"{place}[{i}]"))
        for i, row in enumerate(data)
    ]
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


def checked_row(form: Form, data: object, place: str) -> Row:
    """The row that a file's data says, with what it leaves out; raises ``InputError``."""
    extra = () if form.part is None else (form.part.value,)
    row = _columns(form.columns, data, place, extra)
    _check_whole(form, row, place)
    if form.part is not None:
        assert isinstance(data, dict)
        row[form.part.value] = _parts(form, data.get(form.part.value, []), place)
    return row


def _check_whole(form: Form, row: Row, place: str) -> None:
    _check_id(row["id"], f"{place}.id")
    _check_time(row["at"], f"{place}.at")
    spec = SPECS[form.table]
    for name, check in spec.written.items():
        check(f"{place}.{name}", row[name])
    if form.table in ROSTER and not (is_id(row["root"]) and row["root"] <= row["id"]):
        raise InputError(f"{place}.root", row["root"], "the id of this row or of an earlier one")
    if spec.whole is not None:
        spec.whole(row, place)


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
    if not is_id(text) or text >= _TOO_LATE:
        raise InputError(where, text, accepted)


def first_id_after(moment: datetime) -> str:
    """What every id of a later millisecond sorts behind, and none of an earlier one."""
    millis = (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1) + 1
    text = f"{millis:012x}"
    return f"{text[:8]}-{text[8:]}"


_TOO_LATE = first_id_after(LATEST)


def _check_time(text: str, where: str) -> None:
    try:
        if _AT.fullmatch(text):
            datetime.fromisoformat(text)
            return
    except ValueError:
        pass
    raise InputError(where, text, "a time such as 2031-05-06T07:08:09.000000+00:00")


# -- rows that are new here ------------------------------------------------------------------------

_EARLIEST, _LATEST = (at.isoformat(timespec="microseconds") for at in (EARLIEST, LATEST))
"""As the texts of a book, which sort as their times do."""


def check_sense(each: Arrived) -> None:
    """Raise ``InputError`` for a row that no entry of ours could have made.

    Only rows that are new here are looked at. Rows cannot be taken out again, so that two books
    which share an old one must go on giving each other their rows.
    """
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


def _faults(table: Table, row: Row) -> Iterator[Fault]:
    """Yield the columns of a row that cannot be: name, value and what would be accepted."""
    spec = SPECS[table]
    for column, range_ in spec.ranges.items():
        if row[column] is not None and row[column] not in range_:
            yield column, row[column], str(range_)
    yield from contradictions(table, row)
    if spec.sense is not None:
        try:
            spec.sense(row)
        except InputError as why:
            yield why.field, why.value, why.accepted


# -- many rows at once -----------------------------------------------------------------------------

_TYPES = {"TEXT": str, "REAL": float, "INTEGER": int}


def are_plain(form: Form, rows: Sequence[Any]) -> bool:
    """Whether neither ``checked_row`` nor ``check_sense`` has anything against any of these rows.

    They come from lines as we write them, whose texts a book can keep. A column is looked at as a
    whole, at a fraction of what each row by itself costs. False says no more than that it is not
    plain: each row is then checked by itself, which finds the one to blame and says why.
    """
    try:
        return _are_plain(form, rows)
    except (InputError, ValueError):
        return False


def _are_plain(form: Form, rows: Sequence[Any]) -> bool:
    if not rows:
        return True
    part = form.part
    if not _are_of(form.table, form.columns, rows, () if part is None else (part.value,)):
        return False
    ids, ats = _column_of(rows, "id"), _column_of(rows, "at")
    if not all(map(is_id, ids)) or max(ids) >= _TOO_LATE:
        return False
    if not all(map(_AT.fullmatch, ats)) or min(ats) < _EARLIEST or max(ats) > _LATEST:
        return False
    if not all(map(datetime.fromisoformat, ats)):  # which are all true: one that is none raises
        return False
    spec = SPECS[form.table]
    for name, check in spec.written.items():
        for value in {*_column_of(rows, name)}:
            check(name, value)
    if form.table in ROSTER or spec.whole is not None:
        for row in rows:
            _check_whole(form, row, "")
    if part is None:
        return True
    lists = _column_of(rows, part.value)
    return {*map(type, lists)} == {list} and _are_of(part, form.part_columns, [*chain(*lists)])


def _are_of(
    table: Table, columns: Mapping[str, Column], rows: Sequence[Any], extra: tuple[str, ...] = ()
) -> bool:
    """Whether rows have the columns of their table, each of its kind, within its bounds."""
    if not rows:
        return True
    if {*map(type, rows)} != {dict} or {*map(tuple, rows)} != {(*columns, *extra)}:
        return False
    spec = SPECS[table]
    for name, column in columns.items():
        values = _column_of(rows, name)
        types = {*map(type, values)}
        if type(None) in types and column.nullable:
            types.remove(type(None))
            values = [value for value in values if value is not None]
        if types and types != {_TYPES[column.kind]}:
            return False
        if column.kind != "TEXT" and values:
            least, most = min(values), max(values)
            range_ = spec.ranges.get(name, _ANY)
            if not (least >= -LARGEST and most <= LARGEST and least in range_ and most in range_):
                return False
    if spec.sense is not None:
        for row in rows:
            spec.sense(row)
    return not any(
        any(figure.faults(row))
        for figure in spec.figures
        for row in rows
        if not isinstance(figure, Typed) or not figure.is_plain(row)
    )


_ANY = Between(-LARGEST, LARGEST)


def _column_of(rows: Sequence[Any], name: str) -> list[Any]:
    return [row[name] for row in rows]
