"""The strikes that other benches made of rows which were struck out here first.

``strikes`` holds one strike for a row, the one this bench knew first; neither of two may be lost.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TypeVar

from workbench.records.store.database import Database
from workbench.records.store.rows import (
    CaliperCheck,
    Curve,
    Pair,
    Strike,
    Study,
    StudyReading,
)

E = TypeVar("E", CaliperCheck, Pair, Curve, Study, StudyReading)

_OTHERS = "SELECT row_id, at, who, reason, replaced_by FROM other_strikes ORDER BY id"


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
