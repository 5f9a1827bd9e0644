"""The form in which rows go from book to book: which tables, columns and references.

It is read off the tables themselves, so that what a later migration adds travels too. Four things
differ from the tables: ``queue`` stays at home, as it is computed; ``replaces`` does too, as it is
the version before within ``root``; a check sum is made anew by the book that takes its row in; and
the parts of a row (a block's studs, say) lie in the row.

In a file a row is a line: what ``json.dumps`` makes of it, in ASCII. It is known again without
being read where nothing differs; what is written in another way is left to a reader of whole files.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from json.encoder import encode_basestring_ascii
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


# -- a row as a line -------------------------------------------------------------------------------

ID_AT = len('{"id": "')
ID_LENGTH = 36

LONGEST_FAST = 1_000_000
"""A longer line is looked at column by column: one text in it may be too long."""

_DOUBTFUL = re.compile(r"\\u(0000|d[89a-f])")
"""An escaped NUL or half of a surrogate pair."""

encode = json.JSONEncoder(ensure_ascii=True, allow_nan=False).encode

Writer = Callable[[Any], str]


class OtherLayoutError(Exception):
    """A file that may be one of ours, but not laid out as we write them; ``place`` says where."""

    def __init__(self, place: str) -> None:
        self.place = place
        super().__init__(place)


class Lines:
    """The lines of one table: ``names`` are its columns in their order."""

    def __init__(self, form: Form) -> None:
        self.names = tuple(form.columns)
        self._part = form.part.value if form.part is not None else ""
        self._writers = tuple(_writer(column) for column in form.columns.values())
        pairs = ", ".join(f"{encode(name)}: %s" for name in self.names)
        more = f", {encode(self._part)}: %s" if self._part else ""
        self._line = f"{{{pairs}{more}}}"

    def line(self, values: Sequence[Any], parts: Sequence[Row] = ()) -> str:
        """A row's line, of the values of its columns and of the parts that lie in it.

        Raises ``TypeError`` for a value of another kind than its column's.
        """
        written = [write(value) for write, value in zip(self._writers, values, strict=True)]
        if self._part:
            written.append(encode([*parts]))
        return self._line % tuple(written)


def rows_said(lines: Sequence[str]) -> list[Any] | None:
    """What many lines say, None where one of them is doubtful and each is to be read by itself.

    Doubtful is one that is very long, names a column twice, has a number without end, or may hold
    what no book can keep.
    """
    text = f"[{', '.join(lines)}]"
    if _DOUBTFUL.search(text) or max(map(len, lines), default=0) > LONGEST_FAST:
        return None
    try:
        found: list[Any] = _decode(text)
    except (ValueError, RecursionError):
        return None
    return found if len(found) == len(lines) else None


def _once_each(pairs: list[tuple[str, Any]]) -> Row:
    row = dict(pairs)
    if len(row) < len(pairs):
        raise ValueError("a column twice")
    return row


def _no_constant(word: str) -> float:
    raise ValueError(word)


_decode = json.JSONDecoder(object_pairs_hook=_once_each, parse_constant=_no_constant).decode


def row_said(line: str, place: str) -> Row:
    """The row that a line says; raises ``OtherLayoutError`` for one not written as ours are."""
    try:
        row = json.loads(line)
        if isinstance(row, dict) and encode(row) == line:
            return row
    except (ValueError, RecursionError):
        pass
    raise OtherLayoutError(place)


def _writer(column: Column) -> Writer:
    write = _WRITERS[column.kind]
    return _or_null(write) if column.nullable else write


def _or_null(write: Writer) -> Writer:
    return lambda value: "null" if value is None else write(value)


def _finite(value: float) -> str:
    text = float.__repr__(value)
    if text[-1] in "fn":  # inf, nan
        raise ValueError(text)
    return text


_WRITERS: dict[str, Writer] = {
    "TEXT": encode_basestring_ascii,
    "REAL": _finite,
    "INTEGER": int.__repr__,
}
