"""The strikes that other benches made of rows which were struck out here first.

``strikes`` holds one strike for a row, the one this bench knew first; neither of two may be lost.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, TypeVar

from workbench.records.store.damage import damage_of
from workbench.records.store.database import Database
from workbench.records.store.rows import Strike, Written
from workbench.records.store.specs import Table

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
