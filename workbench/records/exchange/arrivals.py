"""Which rows the last imported file brought, kept beside the book for as long as it is open.

They lie in temporary tables of the connection, so that a file of any size takes no memory; the next
file empties them.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager

from workbench.records.store.database import Database
from workbench.records.store.specs import ORDER, Table

MANY = 20_000
"""From so many new rows on, whole tables are gone through once instead of row by row."""

_TABLES = {
    "came_new": "of TEXT, id TEXT, PRIMARY KEY (of, id)",
    "came_known": "of TEXT, id TEXT, PRIMARY KEY (of, id)",
    "came_jobs": "id TEXT PRIMARY KEY",
}


@contextmanager
def begun(db: Database) -> Iterator[None]:
    """Begin with none, within an open transaction that checks references when it ends."""
    for name, columns in _TABLES.items():
        db.execute(f"CREATE TEMP TABLE IF NOT EXISTS {name} ({columns}) WITHOUT ROWID")
    forget_brought(db)
    db.execute("PRAGMA defer_foreign_keys = ON")
    yield


def forget_brought(db: Database) -> None:
    """Let go of what came."""
    db.execute("DROP INDEX IF EXISTS temp.came_new_id")
    for name in _TABLES:
        db.execute(f"DELETE FROM temp.{name}")


def add(db: Database, table: Table, ids: Collection[str], *, is_new: bool) -> None:
    """Note rows of a table."""
    name = "came_new" if is_new else "came_known"
    sql = f"INSERT INTO temp.{name} SELECT ?, value FROM json_each(?)"
    if ids:
        db.execute(sql, [table.value, json.dumps([*ids])])


def add_jobs(db: Database, ids: Collection[str]) -> None:
    """Note jobs of which new facts came."""
    sql = "INSERT OR IGNORE INTO temp.came_jobs SELECT value FROM json_each(?)"
    db.execute(sql, [json.dumps(sorted(ids))])


def new_values(db: Database, table: Table, column: str) -> tuple[str, ...]:
    """What the new rows of a table say in a column, each once and sorted."""
    tables = (table, Table.OTHER_STRIKES) if table is Table.STRIKES else (table,)
    sql = " UNION ".join(
        f"""SELECT t.{column} FROM temp.came_new a JOIN {name} t ON t.id = a.id
        WHERE a.of = '{table}'"""
        for name in tables
    )
    return tuple(value for (value,) in db.execute(f"{sql} ORDER BY 1"))


def new_among(db: Database, ids: Iterable[str]) -> set[str]:
    """Those of these ids that are of new rows, whatever their table."""
    sql = f"""SELECT o.value FROM json_each(?) o WHERE EXISTS (SELECT 1 FROM temp.came_new a
        WHERE a.of IN ({", ".join(f"'{table}'" for table in ORDER)}) AND a.id = o.value)"""
    return {row_id for (row_id,) in db.execute(sql, [json.dumps([*ids])])}


def ids_twice(db: Database, count_new: int) -> Iterator[tuple[str, Table, str]]:
    """Yield each new id that a row of another table has: its table, the other one, the id.

    A strike would strike out both.
    """
    if count_new >= MANY:
        db.execute("CREATE INDEX temp.came_new_id ON came_new(id)")
    for table in ORDER if count_new else ():
        if count_new >= MANY:
            joined = f"{table} t CROSS JOIN temp.came_new a ON a.id = t.id"
        else:
            joined = f"temp.came_new a CROSS JOIN {table} t ON t.id = a.id"
        sql = f"SELECT a.of, a.id FROM {joined} WHERE a.of <> ?"
        for of, row_id in db.execute(sql, [table.value]):
            yield of, table, row_id
