"""What a shop owns: skis, blades, blocks, methods, calipers, baselines, and its settings.

A thing keeps its id for life: the id of its first row, which is ``root`` in the rows that correct
it. The latest row of a root is what the thing is now.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar, cast

from workbench.records.store.database import Database
from workbench.records.store.faults import UnknownRowError
from workbench.records.store.rows import (
    Baseline,
    Blade,
    Block,
    Method,
    PartVersion,
    Ski,
    SkiVersion,
    Strike,
)
from workbench.records.store.specs import Table
from workbench.records.store.writer import Pen
from workbench.records.tables import parts, strikes
from workbench.records.tables.parts import SHAPES, Thing

V = TypeVar("V", bound=Thing)
P = TypeVar("P", Blade, Block, Baseline)

_NOW = """SELECT t.*, s.at AS struck_at, s.who AS struck_who, s.reason AS struck_reason,
    s.replaced_by AS struck_replaced_by
    FROM {table} t LEFT JOIN strikes s ON s.row_id = t.root
    WHERE t.id = (SELECT max(v.id) FROM {table} v WHERE v.root = t.root) AND {where}
    ORDER BY t.root"""

_STANDING = "s.id IS NULL"


def add(pen: Pen, thing: V, *, who: str) -> V:
    """Keep a new thing; whatever id it carries is replaced by the book's."""
    row_id, at = pen.stamp()
    _keep(pen, thing, id=row_id, at=at, who=who, root=row_id, replaces=None)
    return replace(thing, id=row_id, struck=None)


def correct(pen: Pen, thing: V, *, who: str, reason: str = "") -> V:
    """Keep a new row for the thing with this id, in place of its latest."""
    table = SHAPES[type(thing)].table
    latest = f"SELECT max(id) AS id FROM {table} WHERE root = ?"
    replaced = next(pen.db.query(latest, [thing.id]))["id"]
    if replaced is None:
        raise UnknownRowError(_kind(table), thing.id)
    row_id, at = pen.stamp()
    _keep(
        pen, thing, id=row_id, at=at, who=who, root=thing.id, replaces=replaced, reason=reason
    )  # fmt: skip
    return one(pen.db, type(thing), thing.id)


def _keep(pen: Pen, thing: Thing, **row: object) -> None:
    shape = SHAPES[type(thing)]
    pen.insert(shape.table, **row, **shape.columns(thing))
    if shape.part_table is not None:
        for place, part in enumerate(shape.parts(thing)):
            pen.insert(shape.part_table, owner=row["id"], place=place, **part)


def every(db: Database, kind: type[V]) -> tuple[V, ...]:
    """All things of a kind that are not struck out, oldest first."""
    return _things(db, kind, _STANDING)


def one(db: Database, kind: type[V], thing_id: str) -> V:
    """The thing of this id as it is now; raises ``UnknownRowError``."""
    found = _things(db, kind, "t.root = ?", [thing_id])
    if not found:
        raise UnknownRowError(_kind(SHAPES[kind].table), thing_id)
    return found[0]


def ski_versions(db: Database, ski_id: str) -> tuple[SkiVersion, ...]:
    """Everything that was ever written down of a ski, oldest first."""
    shape = SHAPES[Ski]
    sql = """SELECT t.*, s.at AS struck_at, s.who AS struck_who, s.reason AS struck_reason,
        s.replaced_by AS struck_replaced_by
        FROM skis t LEFT JOIN strikes s ON s.row_id = t.id AND t.id <> t.root
        WHERE t.root = ? ORDER BY t.id"""
    found = list(db.query(sql, [ski_id]))
    owned = _parts_of(db, shape.part_table, [row["id"] for row in found])
    return tuple(
        SkiVersion(
            id=row["id"],
            at=row["at"],
            who=row["who"],
            ski=cast("Ski", shape.thing(row, None, owned.get(row["id"], []))),
            struck=parts.struck(row),
            reason=row["reason"],
        )
        for row in found
    )


def versions(db: Database, kind: type[P], thing_id: str) -> tuple[PartVersion, ...]:
    """A blade, block or baseline as it was first written down and each time it was corrected.

    The latest carries the strike, where the thing was struck out.
    """
    shape = SHAPES[kind]
    found = list(db.query(f"SELECT * FROM {shape.table} WHERE root = ? ORDER BY id", [thing_id]))
    owned = _parts_of(db, shape.part_table, [row["id"] for row in found])
    strike = one(db, kind, thing_id).struck
    return tuple(
        PartVersion(
            id=row["id"],
            at=row["at"],
            who=row["who"],
            reason=row["reason"],
            part=cast("P", shape.thing(row, None, owned.get(row["id"], []))),
            struck=strike if row is found[-1] else None,
        )
        for row in found
    )


def every_baseline(db: Database) -> tuple[Baseline, ...]:
    """All baselines, struck out or not, oldest first."""
    return _things(db, Baseline, "1")


def methods_of(db: Database, blade_id: str) -> tuple[Method, ...]:
    """The methods of a blade that are not struck out."""
    return _things(db, Method, f"{_STANDING} AND t.blade_id = ?", [blade_id])


def baselines_of(db: Database, ski_id: str) -> tuple[Baseline, ...]:
    """The baselines of a ski that are not struck out."""
    return _things(db, Baseline, f"{_STANDING} AND t.ski_id = ?", [ski_id])


def _things(
    db: Database, kind: type[V], where: str, values: Sequence[object] = ()
) -> tuple[V, ...]:
    shape = SHAPES[kind]
    rows = list(db.query(_NOW.format(table=shape.table, where=where), list(values)))
    owned = _parts_of(db, shape.part_table, [row["id"] for row in rows])
    made = (
        shape.thing(row, _struck(db, shape, row, owned), owned.get(row["id"], [])) for row in rows
    )
    if where.startswith(_STANDING):
        made = (thing for thing in made if thing.struck is None)
    return cast("tuple[V, ...]", tuple(made))


def _struck(
    db: Database, shape: parts.Shape, row: parts.Columns, owned: Mapping[str, parts.Parts]
) -> Strike | None:
    """The strike of a thing; a baseline with a damaged number is none to start from."""
    if shape.table is not Table.BASELINES or row["struck_at"] is not None:
        return parts.struck(row)
    return strikes.of_damage(db, shape.table, row, owned.get(row["id"], []), shape.part_table)


def _parts_of(
    db: Database, table: Table | None, owners: Iterable[str]
) -> dict[str, list[dict[str, Any]]]:
    """The parts of many rows with one query, in their order."""
    owned: dict[str, list[dict[str, Any]]] = defaultdict(list)
    if table is None:
        return owned
    sql = f"""SELECT p.* FROM json_each(?) o JOIN {table} p ON p.owner = o.value
        ORDER BY p.owner, p.place"""
    for part in db.query(sql, [json.dumps(list(owners))]):
        owned[part["owner"]].append(part)
    return owned


def _kind(table: Table) -> str:
    return table.removesuffix("s")


def set_setting(pen: Pen, name: str, value: str, *, who: str) -> None:
    """Keep a setting."""
    row_id, at = pen.stamp()
    pen.insert(Table.SETTINGS, id=row_id, at=at, who=who, name=name, value=value)


def setting(db: Database, name: str, default: str | None) -> str | None:
    """The latest value kept under ``name``, or ``default``."""
    sql = "SELECT value FROM settings WHERE name = ? ORDER BY id DESC LIMIT 1"
    for row in db.query(sql, [name]):
        return str(row["value"])
    return default


def settings(db: Database) -> dict[str, str]:
    """The latest value of every name."""
    sql = """SELECT s.name, s.value FROM settings s
        WHERE s.id = (SELECT max(v.id) FROM settings v WHERE v.name = s.name) ORDER BY s.name"""
    return {row["name"]: row["value"] for row in db.query(sql)}


def settings_kept(db: Database, names: Sequence[str]) -> dict[str, tuple[tuple[str, str], ...]]:
    """Every value kept under each of these names with its row's id, oldest first."""
    sql = """SELECT s.name, s.id, s.value FROM json_each(?) o JOIN settings s ON s.name = o.value
        ORDER BY s.id"""
    out: dict[str, tuple[tuple[str, str], ...]] = {}
    for row in db.query(sql, [json.dumps(list(names))]):
        out[row["name"]] = (*out.get(row["name"], ()), (row["id"], row["value"]))
    return out
