"""Rows that do not count: those struck out, and those that no longer say what was written.

A flipped bit of a disk or a memory gives another number that looks like any other: a row's check
sum tells it, and what was typed beside what is kept.
"""

from __future__ import annotations

import zlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import Any, TypeVar

from workbench.errors import shown
from workbench.records.store.database import Database
from workbench.records.store.row_checks import BookRow, Fault
from workbench.records.store.rows import Strike, Written
from workbench.records.store.specs import SPECS, Table


def check_sum(columns: Iterable[tuple[str, object]], parts: Iterable[Mapping[str, object]]) -> int:
    """The CRC-32 of a row's columns, in the order of the table, and of the parts lying in it.

    What is empty is left out, so that a column added later changes no sum; a whole number counts as
    the number that it is, since SQLite gives back 7 as 7.0 where a column holds any.
    """
    kept = [*columns]
    for place, part in enumerate(parts):
        kept += [(f"{place}.{name}", value) for name, value in part.items()]
    said = [
        f"{name}={value}" if isinstance(value, str) else f"{name}={value + 0.0!r}"  # type: ignore[operator]
        for name, value in kept
        if value is not None and value != ""
    ]
    return zlib.crc32("\n".join(said).encode())


def check_sums(columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> list[int]:
    """The check sums of many rows of one table in which no parts lie, of their values by column.

    The same as one by one in about half the time; a column holds either texts or numbers.
    """
    said = []
    for name, values in zip(columns, zip(*rows, strict=True), strict=True):
        begin = f"\n{name}="
        if str in {*map(type, values)}:
            said.append([begin + value if value else "" for value in values])
        else:
            said.append(["" if n is None else f"{begin}{n + 0.0!r}" for n in values])
    return [zlib.crc32("".join(row)[1:].encode()) for row in zip(*said, strict=True)]


def damage_of(
    table: Table,
    row: Mapping[str, object],
    parts: Iterable[Mapping[str, object]] = (),
    part_table: Table | None = None,
) -> str:
    """Say in words what of a row does not agree, or nothing.

    ``row`` has the columns of its table in their order, ``check_sum`` among them; a row of before
    there were sums has none, and of it only what was typed can be compared.
    """
    kept = row.get("check_sum")
    if kept is not None:
        columns = ((name, value) for name, value in row.items() if name != "check_sum")
        if check_sum(columns, parts) == kept:
            return ""
    inner = (contradictions(part_table, part) for part in parts) if part_table else ()
    for column, value, accepted in chain(contradictions(table, row), *inner):
        return f"{column} {shown(value)}, but {accepted}"
    return "" if kept is None else "its check sum is that of something else"


def contradictions(table: Table, row: BookRow) -> Iterator[Fault]:
    """Yield the columns of a row whose figure is not that of its text."""
    for figure in SPECS[table].figures:
        yield from figure.faults(row)


E = TypeVar("E", bound=Written)

JOINED = """s.at AS struck_at, s.who AS struck_who, s.reason AS struck_reason,
    s.replaced_by AS struck_replaced_by"""
"""The strike ``s`` that is joined to a row, as columns; see :func:`struck`."""

BY_DAMAGE = "the book"
"""Who struck a damaged row, as far as anybody did."""

_OTHERS = "SELECT row_id, at, who, reason, replaced_by FROM other_strikes ORDER BY id"


MOST_SOUND = 200_000
"""So many rows are known to be sound before they are looked at anew."""


def struck(row: Mapping[str, Any]) -> Strike | None:
    """The strike that was joined to a row."""
    if row["struck_at"] is None:
        return None
    return Strike(
        row["struck_at"], row["struck_who"], row["struck_reason"], row["struck_replaced_by"]
    )


def of_damage(
    db: Database,
    table: Table,
    row: Mapping[str, object],
    parts: Iterable[Mapping[str, object]] = (),
    part_table: Table | None = None,
) -> Strike | None:
    """What serves as a strike where a row no longer says what was written; else None."""
    row_id = str(row["id"])
    if row_id in db.sound:
        return None
    if why := damage_of(table, row, parts, part_table):
        return Strike(str(row["at"]), BY_DAMAGE, f"damaged in the book: {why}", is_damage=True)
    if len(db.sound) >= MOST_SOUND:
        db.sound.clear()
    db.sound.add(row_id)
    return None


def others_of(db: Database) -> Mapping[str, tuple[Strike, ...]]:
    """The strikes of other benches by the id of the row, oldest first; a book has few of them."""
    found: dict[str, tuple[Strike, ...]] = defaultdict(tuple)
    for row_id, *strike in db.execute(_OTHERS):
        found[row_id] += (Strike(*strike),)
    return found


def with_others(db: Database, rows: Iterable[E]) -> tuple[E, ...]:
    """These rows, what other benches said of the struck ones added."""
    rows = tuple(rows)
    if all(row.struck is None for row in rows):
        return rows
    others = others_of(db)
    return tuple(
        replace(row, struck=replace(row.struck, others=others[row.id]))
        if row.struck is not None and row.id in others
        else row
        for row in rows
    )
