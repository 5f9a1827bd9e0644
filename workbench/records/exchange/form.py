"""The form in which rows go from book to book: which tables, columns and references.

It is read off the tables themselves, so that what a later migration adds travels too. Four things
differ from the tables: ``queue`` stays at home, as it is computed; ``replaces`` does too, as it is
the version before within ``root``; a check sum is made anew by the book that takes its row in; and
the parts of a row (a block's studs, say) lie in the row.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from workbench.records.store.database import Database
from workbench.records.store.schema import CHECK_SUM
from workbench.records.store.specs import ORDER, PART_OF, ROSTER, Table

LOCAL_SETTINGS = frozenset(
    (
        "job",
        "draft",
        "forms",
        "unit",
        "drawing",
        "theme",
        "who",
        "caliper",
        "card_folder",
        "tour",
        "mouse",
        "keys",
        "trace_draft",
        "known_files",
    )
)
"""Settings of one bench, not of the shop: where it is, how it draws, whose hands, what tool."""

HOME_STEPS = frozenset(
    ("other_strikes", "unique_numbers", "seen_readings", "check_sums", "shared_books")
)
"""Migrations that change nothing of the form: a file does not name them, so that a bench without
them takes it in too. The strikes of other benches have always travelled among the strikes."""

Row: TypeAlias = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its storage class, what it is where left out, and whether that will do."""

    name: str
    kind: str
    needed: bool
    nullable: bool
    default: object
    refers_to: Table | None


@dataclass(frozen=True, slots=True)
class Form:
    """The columns of a table as they travel, and those of its parts."""

    table: Table
    columns: Mapping[str, Column]
    part: Table | None
    part_columns: Mapping[str, Column]

    def select(self) -> str:
        """The columns as a query names them, of a table called ``t``."""
        return ", ".join(f"t.{name}" for name in self.columns)


def forms(db: Database) -> dict[Table, Form]:
    """The form of every table that travels, in the order in which rows go in."""
    return {table: _form(db, table) for table in ORDER}


def _form(db: Database, table: Table) -> Form:
    part = PART_OF.get(table)
    own = _columns(db, table, {"replaces" if table in ROSTER else CHECK_SUM})
    return Form(table, own, part, {} if part is None else _columns(db, part, {"owner", "place"}))


def _columns(db: Database, table: Table, stay: set[str]) -> dict[str, Column]:
    refers = {
        key["from"]: Table(key["table"]) for key in db.query(f"PRAGMA foreign_key_list({table})")
    }
    found = db.query(f"PRAGMA table_info({table})")
    return {row["name"]: _column(db, row, refers) for row in found if row["name"] not in stay}


def _column(db: Database, row: Row, refers: Mapping[str, Table]) -> Column:
    default = None
    if row["dflt_value"] is not None:
        default = db.execute(f"SELECT {row['dflt_value']}").fetchone()[0]
    needed = bool(row["notnull"] or row["pk"]) and row["dflt_value"] is None
    return Column(
        name=row["name"],
        kind=row["type"],
        needed=needed,
        nullable=not (row["notnull"] or row["pk"]),
        default=default,
        refers_to=refers.get(row["name"]),
    )
