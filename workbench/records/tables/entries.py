"""Rows that belong to no job: caliper checks, paired readings, curves of a base, studies."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from typing import Any, TypeVar

from workbench.records.store.database import Database
from workbench.records.store.faults import DamagedError, UnknownRowError
from workbench.records.store.rows import Written
from workbench.records.store.specs import ENTRY_TABLES
from workbench.records.store.writer import Pen
from workbench.records.tables import strikes

Entry = TypeVar("Entry", bound=Written)

_LISTS = ("parts", "people", "sequence")

_ENTRIES = f"""SELECT t.*, {strikes.JOINED}
    FROM {{table}} t LEFT JOIN strikes s ON s.row_id = t.id WHERE {{where}} ORDER BY t.id"""

_STUDIES_READ = """SELECT t.id, count(*) || ' ' || ifnull(group_concat(s.row_id), '')
    FROM studies t JOIN study_readings r ON r.study_id = t.id
    LEFT JOIN strikes s ON s.row_id = r.id
    WHERE NOT EXISTS (SELECT 1 FROM strikes x WHERE x.row_id = t.id) GROUP BY t.id"""


def add_entry(pen: Pen, entry: Entry, who: str) -> Entry:
    """Keep one entry."""
    row_id, at = pen.stamp()
    kept = {f.name: getattr(entry, f.name) for f in fields(entry) if f.name != "struck"}
    kept |= {name: json.dumps(kept[name]) for name in _LISTS if name in kept}
    pen.insert(ENTRY_TABLES[type(entry)], **kept | {"id": row_id, "at": at, "who": who})
    return replace(entry, id=row_id, at=at, who=who)


def entries_of(db: Database, kind: type[Entry], /, **where: str) -> tuple[Entry, ...]:
    """All entries whose columns are as given, in order, struck ones included."""
    of = " AND ".join(f"t.{column} = ?" for column in where) or "1"
    found = db.query(_ENTRIES.format(table=ENTRY_TABLES[kind], where=of), list(where.values()))
    return strikes.with_others(db, [_entry(db, kind, row) for row in found])


def entry(db: Database, kind: type[Entry], entry_id: str) -> Entry:
    """The entry of this id, struck out or not; raises ``UnknownRowError``."""
    found = entries_of(db, kind, id=entry_id)
    if not found:
        raise UnknownRowError(str(ENTRY_TABLES[kind]), entry_id)
    return found[0]


def studies_read(db: Database) -> tuple[tuple[str, str], ...]:
    """Each study with readings that is not struck out: its id, and a mark of its readings.

    The mark is another one after a reading was kept or struck out.
    """
    return tuple((study_id, mark) for study_id, mark in db.execute(_STUDIES_READ))


def _entry(db: Database, kind: type[Entry], row: dict[str, Any]) -> Entry:
    plain = {name: value for name, value in row.items() if not name.startswith("struck_")}
    for name in _LISTS:
        if name in plain:
            plain[name] = _list(plain[name])
    struck = strikes.of_damage(db, ENTRY_TABLES[kind], row)
    return kind(struck=strikes.struck(row) or struck, **plain)


def _list(text: str) -> tuple[Any, ...]:
    try:
        return tuple(tuple(x) if isinstance(x, list) else x for x in json.loads(text))
    except (ValueError, TypeError) as error:
        raise DamagedError(f"a list {text!r:.60}") from error
