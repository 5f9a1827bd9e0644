"""The pen: what a write holds while it writes, so that every row gets its id, time and checks."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from functools import lru_cache

from workbench.frozen import dataclass
from workbench.records.store.database import Database
from workbench.records.store.faults import UnknownRowError, refused
from workbench.records.store.ids import Mint
from workbench.records.store.schema import Table
from workbench.records.store.values import keepable


@dataclass(frozen=True, slots=True)
class Pen:
    """The database inside an open transaction, with the mint and the clock."""

    db: Database
    mint: Mint
    clock: Callable[[], datetime]

    def stamp(self) -> tuple[str, str]:
        """A new id, and the time it stands for as ISO UTC text with microseconds."""
        now = self.clock().astimezone(UTC)
        return self.mint.next(now), now.isoformat(timespec="microseconds")

    def insert(self, table: Table, **columns: object) -> None:
        """Add a row; raises ``InputError`` or ``UnknownRowError`` naming the column to blame."""
        kept = {name: keepable(name, value) for name, value in columns.items()}
        try:
            self.db.execute(_insert_sql(table, tuple(kept)), tuple(kept.values()))
        except sqlite3.IntegrityError as error:
            fault = refused(columns, error) or self._dangling(table, columns)
            if fault is None:
                raise
            raise fault from error

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
