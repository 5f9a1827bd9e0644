"""Rows on their way out: the whole book, or one ski with everything it needs."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from heapq import merge
from itertools import islice
from operator import itemgetter
from typing import Any, TypeVar

from workbench.records.exchange.form import HOME_STEPS, LOCAL_SETTINGS, Form, Lines, Row, forms
from workbench.records.store.database import DamagedRowError, Database, UnknownRowError
from workbench.records.store.schema import CHECK_SUM, OTHER_STRIKE_SETTING, applied
from workbench.records.store.specs import FACTS, OF_SKI, ORDER, PART_OF, ROSTER, SPECS, Table
from workbench.records.store.strikes import check_sum, check_sums, damage_of

_T = TypeVar("_T")

Chosen = dict[Table, set[str]]

AT_ONCE = 2_000
"""So many rows are read, looked at and written together: a book is never in memory whole."""

_Read = tuple[Any, ...]


def steps_of(db: Database) -> tuple[str, ...]:
    """The names of the migrations that made the form of this book's rows, oldest first."""
    return tuple(step for step in applied(db) if step not in HOME_STEPS)


def lines_out(
    db: Database, ski_id: str | None = None
) -> Iterator[tuple[Table, Iterator[list[str]]]]:
    """Every row that travels, or one ski's with what it needs, as lines of a file in lots.

    By table and id; parts lie in their row. Each table's lots are used up before the next is
    asked for. Raises ``DamagedRowError`` where a row that is not struck out no longer says what
    was written: the book that takes it would make a sum of its own.
    """
    chosen = None if ski_id is None else _chosen_for(db, ski_id)
    for table, form in forms(db).items():
        yield table, _lines(db, form, None if chosen is None else chosen.get(table, set()))


def count_out(db: Database) -> int:
    """How many rows the whole book has, those that stay at home included."""
    return sum(db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ORDER)


def _lines(db: Database, form: Form, ids: set[str] | None) -> Iterator[list[str]]:
    written = Lines(form)
    has_sum = form.table in FACTS and CHECK_SUM in db.columns_of(form.table)
    check = can_tell_damage(form.table)
    for lot, parts in _lots(db, form, ids, more=f", t.{CHECK_SUM}" if has_sum else ""):
        sums = [row[-1] for row in lot] if has_sum else [None] * len(lot)
        rows = [row[:-1] for row in lot] if has_sum else lot
        if check:
            _refuse_damaged(db, form, rows, sums, parts)
        if form.table is Table.SETTINGS:
            rows = [row for row in rows if travels(row[written.names.index("name")])]
        yield [written.line(row, parts.get(row[0], ())) for row in rows]


def lines_of(db: Database, form: Form, ids: Sequence[str]) -> dict[str, str]:
    """The lines of those rows of a table that are here, by their ids."""
    written = Lines(form)
    return {
        row[0]: written.line(row, parts.get(row[0], ()))
        for lot, parts in _lots(db, form, ids)
        for row in lot
    }


def _refuse_damaged(
    db: Database,
    form: Form,
    rows: Sequence[_Read],
    sums: Sequence[int | None],
    parts: Mapping[str, list[Row]],
) -> None:
    names = tuple(form.columns)
    if form.part is None:
        right = check_sums(names, rows)
    else:
        right = [check_sum(zip(names, row, strict=True), parts.get(row[0], ())) for row in rows]
    doubtful = [
        _as_row(form, row, parts)
        for row, total, wanted in zip(rows, sums, right, strict=True)
        if total != wanted
    ]
    if doubtful:
        struck = struck_among(db, [row["id"] for row in doubtful])
        for row_id, why in damaged(db, form.table, doubtful, struck):
            raise DamagedRowError(form.table, row_id, why)


def _as_row(form: Form, values: _Read, parts: Mapping[str, list[Row]]) -> Row:
    row = dict(zip(form.columns, values, strict=True))
    if form.part is not None:
        row[form.part.value] = parts.get(row["id"], [])
    return row


def struck_among(db: Database, ids: Sequence[str]) -> set[str]:
    """Those of these ids whose rows are struck out."""
    sql = "SELECT t.row_id FROM json_each(?) o JOIN strikes t ON t.row_id = o.value"
    return {row_id for (row_id,) in db.execute(sql, [json.dumps(ids)])}


def can_tell_damage(table: Table) -> bool:
    """Whether rows of a table tell that they are damaged: by a check sum, or text and figure."""
    return table in FACTS or bool(SPECS[table].figures)


def damaged(
    db: Database, table: Table, found: Iterable[Row], passed: Container[str]
) -> Iterator[tuple[str, str]]:
    """Yield the id of each row that no longer says what was written, and what differs.

    Rows are in the form they travel in; those whose ids are in ``passed`` are not looked at.
    """
    part = PART_OF.get(table)
    looked_at = [row for row in found if row["id"] not in passed]
    sums = _sums(db, table, [row["id"] for row in looked_at])
    for row in looked_at:
        if row["id"] in sums:
            own = {name: value for name, value in row.items() if part is None or name != part}
            own[CHECK_SUM] = sums[row["id"]]
            parts = [] if part is None else row[part.value]
            if why := damage_of(table, own, parts, part):
                yield row["id"], why


def _sums(db: Database, table: Table, ids: list[str]) -> dict[str, int | None]:
    """The check sums of rows, None where a table or a row has none."""
    if table not in FACTS or CHECK_SUM not in db.columns_of(table):
        return dict.fromkeys(ids)
    sql = f"SELECT t.id, t.{CHECK_SUM} FROM json_each(?) o JOIN {table} t ON t.id = o.value"
    return dict(db.execute(sql, [json.dumps(ids)]))


def rows_of(db: Database, form: Form, ids: Iterable[str] | None = None) -> Iterator[Row]:
    """The rows of a table in the form they travel in, by id; all of them, or those of ``ids``."""
    for lot, parts in _lots(db, form, ids):
        for values in lot:
            row = _as_row(form, values, parts)
            if form.table is not Table.SETTINGS or travels(row["name"]):
                yield row


def _lots(
    db: Database, form: Form, ids: Iterable[str] | None, more: str = ""
) -> Iterator[tuple[list[_Read], Mapping[str, list[Row]]]]:
    """Rows of a table by id in lots, each with the parts that lie in its rows."""
    wanted = None if ids is None else json.dumps(sorted(ids))
    tables: tuple[Table, ...] = (form.table,)
    if form.table is Table.STRIKES:  # a file knows no difference between ours and those of others
        tables = (Table.STRIKES, Table.OTHER_STRIKES)
    found = merge(*(_select(db, form, table, wanted, more) for table in tables), key=_first)
    for lot in in_lots(found, AT_ONCE):
        yield lot, _parts(db, form, lot)


def in_lots(found: Iterable[_T], most: int) -> Iterator[list[_T]]:
    """Yield what is found in lists of so many at most."""
    left = iter(found)
    while lot := list(islice(left, most)):
        yield lot


def _first(row: _Read) -> str:
    return str(row[0])


def _select(
    db: Database, form: Form, table: Table, wanted: str | None, more: str
) -> Iterator[_Read]:
    sql = f"SELECT {form.select()}{more} FROM {table} t"
    if wanted is None:
        return db.execute(f"{sql} ORDER BY t.id")
    return db.execute(f"{sql} JOIN json_each(?) o ON o.value = t.id ORDER BY t.id", [wanted])


def _parts(db: Database, form: Form, lot: Sequence[_Read]) -> Mapping[str, list[Row]]:
    out: dict[str, list[Row]] = defaultdict(list)
    if form.part is not None:
        names = ", ".join(f"t.{name}" for name in form.part_columns)
        sql = f"""SELECT t.owner, {names} FROM json_each(?) o JOIN {form.part} t
            ON t.owner = o.value ORDER BY t.owner, t.place"""
        for row in db.query(sql, [json.dumps([row[0] for row in lot])]):
            out[row.pop("owner")].append(row)
    return out


def travels(setting: str) -> bool:
    """Whether a setting is one of the shop, and not of one bench."""
    return setting not in LOCAL_SETTINGS and not setting.startswith(OTHER_STRIKE_SETTING)


# One ski -------------------------------------------------------------------------------------


def _chosen_for(db: Database, ski_id: str) -> Chosen:
    chosen: Chosen = {table: set() for table in ORDER}
    chosen[Table.SKIS] = _ids(db, Table.SKIS, "root", {ski_id})
    if not chosen[Table.SKIS]:
        raise UnknownRowError("ski", ski_id)
    for table in OF_SKI:
        chosen[table] = _ids(db, table, "ski_id", {ski_id})
    for table in (*FACTS, Table.MOVES):
        chosen[table] = _ids(db, table, "job_id", chosen[Table.JOBS])
    size = 0
    while size != (size := sum(map(len, chosen.values()))):
        _add_needed(db, chosen)
    return chosen


def _add_needed(db: Database, chosen: Chosen) -> None:
    """Add what the chosen rows refer to: all versions of a thing, a blade's methods, strikes."""
    for form in forms(db).values():
        rows = [*rows_of(db, form, chosen[form.table])]
        for table, ids in referred_to(form, rows).items():
            chosen[table].update(ids)
    for table in ROSTER:
        chosen[table] |= _ids(db, table, "root", chosen[table])
    chosen[Table.METHODS] |= _ids(db, Table.METHODS, "blade_id", chosen[Table.BLADES])
    every = set().union(*chosen.values())
    chosen[Table.STRIKES] |= _ids(db, Table.STRIKES, "row_id", every)
    chosen[Table.STRIKES] |= _ids(db, Table.OTHER_STRIKES, "row_id", every)


def referred_to(form: Form, rows: Sequence[Row]) -> dict[Table, list[str]]:
    """The ids of what rows of a table and their parts refer to, by its table, each once."""
    out: dict[Table, dict[str, None]] = defaultdict(dict)
    parts = [] if form.part is None else [part for row in rows for part in row[form.part.value]]
    for columns, found in ((form.columns, rows), (form.part_columns, parts)):
        for name, column in columns.items():
            if column.refers_to is not None:
                out[column.refers_to].update(dict.fromkeys(map(itemgetter(name), found)))
    for row in rows if form.table is Table.STRIKES else ():
        out[Table(row["row_table"])] |= {row["row_id"]: None, row["replaced_by"]: None}
    return {table: [each for each in ids if each is not None] for table, ids in out.items()}


def _ids(db: Database, table: Table, column: str, values: Iterable[str]) -> set[str]:
    sql = f"SELECT t.id FROM json_each(?) o JOIN {table} t ON t.{column} = o.value"
    return {row["id"] for row in db.query(sql, [json.dumps(sorted(values))])}
