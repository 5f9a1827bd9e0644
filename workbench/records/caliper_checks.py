"""Zero and gauge-block checks of calipers, in the order in which they were made."""

from __future__ import annotations

from typing import Any

from sqlite_utils import Database

from . import parts, roster
from .pen import Pen
from .rows import Caliper, CaliperCheck
from .schema import Table

_CHECKS = """SELECT t.*, s.at AS struck_at, s.who AS struck_who, s.reason AS struck_reason,
    s.replaced_by AS struck_replaced_by
    FROM caliper_checks t LEFT JOIN strikes s ON s.row_id = t.id
    WHERE t.caliper_id = ? ORDER BY t.id"""


def add_check(pen: Pen, caliper_id: str, who: str, /, **columns: Any) -> CaliperCheck:
    """Keep one check."""
    row_id, at = pen.stamp()
    pen.insert(Table.CALIPER_CHECKS, id=row_id, at=at, who=who, caliper_id=caliper_id, **columns)
    return CaliperCheck(id=row_id, at=at, who=who, caliper_id=caliper_id, **columns)


def checks_of(db: Database, caliper_id: str) -> tuple[CaliperCheck, ...]:
    """All checks of a caliper; raises ``UnknownRowError`` for one that is not in the book."""
    roster.one(db, Caliper, caliper_id)
    return tuple(map(_check, db.query(_CHECKS, [caliper_id])))


def _check(row: dict[str, Any]) -> CaliperCheck:
    plain = {name: value for name, value in row.items() if not name.startswith("struck_")}
    return CaliperCheck(struck=parts.struck(row), **plain)
