"""The pen: what a write holds while it writes, so that every row gets its id, time and checks."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache

from workbench.frozen import dataclass
from workbench.records.store.database import Database, UnknownRowError, refused
from workbench.records.store.ids import Mint
from workbench.records.store.row_checks import keepable
from workbench.records.store.schema import CHECK_SUM
from workbench.records.store.specs import FACTS, Table
from workbench.records.store.strikes import check_sum, check_sums


@dataclass(frozen=True, slots=True)
class Pen:
    """The database inside an open transaction, with the mint and the clock."""

    db: Database
    mint: Mint
    clock: Callable[[], datetime]

    def stamp(self) -> tuple[str, str]:
        """A new id, and the time it means as ISO UTC text with microseconds."""
        now = self.clock().astimezone(UTC)
        return self.mint.next(now), now.isoformat(timespec="microseconds")

    def insert(
        self, table: Table, parts: Sequence[Mapping[str, object]] = (), /, **columns: object
    ) -> None:
        """Add a row; raises ``InputError`` or ``UnknownRowError`` naming the column to blame.

        ``parts`` are what will lie in a row that carries a check sum.
        """
        kept = {name: keepable(name, value) for name, value in columns.items()}
        if table in FACTS and (total := self._sum(table, kept, parts)) is not None:
            kept[CHECK_SUM] = total
        try:
            self.db.execute(_insert_sql(table, tuple(kept)), tuple(kept.values()))
        except sqlite3.IntegrityError as error:
            fault = refused(columns, error) or self._dangling(table, columns)
            if fault is None:
                raise
            raise fault from error

    def insert_many(
        self,
        table: Table,
        columns: Sequence[str],
        rows: Sequence[Sequence[object]],
        parts: Sequence[Sequence[Mapping[str, object]]],
    ) -> None:
        """Add rows by values of their columns that were looked at, each with what will lie in it.

        Raises ``IntegrityError`` for one that its table does not take.
        """
        names = self.db.columns_of(table)
        columns = tuple(columns)
        if table in FACTS and CHECK_SUM in names:
            assert columns == tuple(name for name in names if name in columns)  # the order counts
            if any(parts):
                sums = [
                    check_sum(zip(columns, values, strict=True), inner)
                    for values, inner in zip(rows, parts, strict=True)
                ]
            else:
                sums = check_sums(columns, rows)
            rows = [(*values, total) for values, total in zip(rows, sums, strict=True)]
            columns = (*columns, CHECK_SUM)
        self.db.conn.executemany(_insert_sql(table, columns), rows)

    def insert_parts(
        self, part: Table, owners: Sequence[str], parts: Sequence[Sequence[Mapping[str, object]]]
    ) -> None:
        """Add what lies in rows that were added, in the order in which it lies."""
        listed = [
            (owner, place, each)
            for owner, inner in zip(owners, parts, strict=True)
            for place, each in enumerate(inner)
        ]
        if listed:
            columns = tuple(listed[0][2])
            rows = [(owner, place, *map(each.get, columns)) for owner, place, each in listed]
            self.insert_many(part, ("owner", "place", *columns), rows, [()] * len(rows))

    def _sum(
        self, table: Table, kept: dict[str, object], parts: Sequence[Mapping[str, object]]
    ) -> int | None:
        """The check sum of a row about to be added; None in a book made before there were sums."""
        names = self.db.columns_of(table)
        if CHECK_SUM not in names:
            return None
        return check_sum(((name, kept[name]) for name in names if name in kept), parts)

    def _dangling(self, table: Table, columns: dict[str, object]) -> UnknownRowError | None:
        """Find the reference that points at no row."""
        for key in self.db.query(f"PRAGMA foreign_key_list({table})"):
            value = columns.get(key["from"])
            looked = f"SELECT 1 FROM {key['table']} WHERE {key['to']} = ?"
            if value is not None and not list(self.db.query(looked, [value])):
                return UnknownRowError(str(key["table"]).removesuffix("s"), value)
        return None


@lru_cache(maxsize=64)
def _insert_sql(table: Table, columns: tuple[str, ...]) -> str:
    marks = ", ".join("?" * len(columns))
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
