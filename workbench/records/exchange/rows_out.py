"""Rows on their way out: the whole book, or one ski with everything it needs."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Container, Iterable, Iterator

from workbench.records.exchange.form import HOME_STEPS, LOCAL_SETTINGS, Form, Row, forms
from workbench.records.store.damage import damage_of
from workbench.records.store.database import Database
from workbench.records.store.faults import DamagedRowError, UnknownRowError
from workbench.records.store.schema import CHECK_SUM, OTHER_STRIKE_SETTING, applied
from workbench.records.store.specs import FACTS, OF_SKI, ORDER, PART_OF, ROSTER, SPECS, Table

Chosen = dict[Table, set[str]]
TRIED = 100
"""So many rows of a table stand for all of them where a file's size is foretold."""


def steps_of(db: Database) -> tuple[str, ...]:
    """The names of the migrations that made the form of this book's rows, oldest first."""
    return tuple(step for step in applied(db) if step not in HOME_STEPS)


def book_rows(db: Database) -> dict[Table, list[Row]]:
    """Every row that travels, by table and id; parts lie in their row.

    Raises ``DamagedRowError`` where one that is not struck out no longer says what was written.
    """
    return _sound(db, {table: list(rows_of(db, form)) for table, form in forms(db).items()})


def likely_size(db: Database) -> int:
    """About how many bytes the whole book takes as a file: its rows times what the first take."""
    size = 0
    for table, form in forms(db).items():
        first = [row["id"] for row in db.query(f"SELECT id FROM {table} ORDER BY id LIMIT {TRIED}")]
        if first:
            count = db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            taken = sum(len(json.dumps(row)) + 2 for row in rows_of(db, form, first))
            size += count * taken // len(first)
    return size


def ski_rows(db: Database, ski_id: str) -> dict[Table, list[Row]]:
    """One ski with its jobs and all that they refer to, strikes included; no settings.

    Raises ``DamagedRowError`` as ``book_rows`` does.
    """
    chosen = _chosen_for(db, ski_id)
    found = {
        table: list(rows_of(db, form, chosen.get(table, set())))
        for table, form in forms(db).items()
    }
    return _sound(db, found)


def _sound(db: Database, found: dict[Table, list[Row]]) -> dict[Table, list[Row]]:
    """Pass on rows that are what was written: the book that takes them makes sums of its own."""
    struck = {strike["row_id"] for strike in found[Table.STRIKES]}
    for table in filter(can_tell_damage, found):
        for row_id, why in damaged(db, table, found[table], struck | db.sound):
            raise DamagedRowError(table, row_id, why)
    return found


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
    wanted = None if ids is None else json.dumps(sorted(ids))
    parts = _parts(db, form, wanted)
    for row in _plain_rows(db, form, wanted):
        if form.part is not None:
            row[form.part.value] = parts.get(row["id"], [])
        yield row


def _plain_rows(db: Database, form: Form, wanted: str | None) -> Iterator[Row]:
    if form.table is Table.STRIKES:
        return iter(sorted(_strikes(db, form, wanted), key=_by_id))
    found = _select(db, f"SELECT {form.select()} FROM {form.table} t", "t.id", wanted)
    if form.table is Table.SETTINGS:
        return (row for row in found if travels(row["name"]))
    return found


def _by_id(row: Row) -> str:
    return str(row["id"])


def _select(db: Database, sql: str, key: str, wanted: str | None) -> Iterator[Row]:
    order = key if key == "t.id" else f"{key}, t.place"
    if wanted is None:
        return db.query(f"{sql} ORDER BY {order}")
    return db.query(f"{sql} JOIN json_each(?) o ON o.value = {key} ORDER BY {order}", [wanted])


def _parts(db: Database, form: Form, wanted: str | None) -> dict[str, list[Row]]:
    out: dict[str, list[Row]] = defaultdict(list)
    if form.part is not None:
        names = ", ".join(f"t.{name}" for name in form.part_columns)
        sql = f"SELECT t.owner, {names} FROM {form.part} t"
        for row in _select(db, sql, "t.owner", wanted):
            out[row.pop("owner")].append(row)
    return out


def travels(setting: str) -> bool:
    """Whether a setting is one of the shop, and not of one bench."""
    return setting not in LOCAL_SETTINGS and not setting.startswith(OTHER_STRIKE_SETTING)


def _strikes(db: Database, form: Form, wanted: str | None) -> Iterator[Row]:
    """Those of this bench and those of others: a file knows no difference."""
    for table in (Table.STRIKES, Table.OTHER_STRIKES):
        yield from _select(db, f"SELECT {form.select()} FROM {table} t", "t.id", wanted)


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
        for row in rows_of(db, form, chosen[form.table]):
            for table, row_id in references(form, row):
                chosen[table].add(row_id)
    for table in ROSTER:
        chosen[table] |= _ids(db, table, "root", chosen[table])
    chosen[Table.METHODS] |= _ids(db, Table.METHODS, "blade_id", chosen[Table.BLADES])
    every = set().union(*chosen.values())
    chosen[Table.STRIKES] |= _ids(db, Table.STRIKES, "row_id", every)
    chosen[Table.STRIKES] |= _ids(db, Table.OTHER_STRIKES, "row_id", every)


def references(form: Form, row: Row) -> Iterator[tuple[Table, str]]:
    """The rows that a row and its parts refer to."""
    for column in form.columns.values():
        if column.refers_to is not None and row[column.name] is not None:
            yield column.refers_to, row[column.name]
    if form.part is not None:
        for part in row[form.part.value]:
            for column in form.part_columns.values():
                if column.refers_to is not None and part[column.name] is not None:
                    yield column.refers_to, part[column.name]
    if form.table is Table.STRIKES:
        yield Table(row["row_table"]), row["row_id"]
        if row["replaced_by"] is not None:
            yield Table(row["row_table"]), row["replaced_by"]


def _ids(db: Database, table: Table, column: str, values: Iterable[str]) -> set[str]:
    sql = f"SELECT t.id FROM json_each(?) o JOIN {table} t ON t.{column} = o.value"
    return {row["id"] for row in db.query(sql, [json.dumps(sorted(values))])}
