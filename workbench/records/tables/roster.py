"""What a shop owns: skis, blades, blocks, methods, calipers, baselines, and its settings.

A thing keeps its id for life: the id of its first row, which is ``root`` in the rows that correct
it. The latest row of a root is what the thing is now.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, fields, replace
from functools import lru_cache
from typing import Any, TypeAlias, TypeVar, cast

from workbench.fin.blade import Blade, Hole
from workbench.fin.frame import Base
from workbench.fin.reading.method import Method, Scribe, Station
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud
from workbench.frozen import dataclass
from workbench.records.store import rows, strikes
from workbench.records.store.database import Database, UnknownRowError
from workbench.records.store.row_checks import points_of, points_text, taken_at
from workbench.records.store.specs import Table
from workbench.records.store.writer import Pen

Thing: TypeAlias = rows.Ski | rows.Blade | rows.Block | rows.Method | rows.Caliper | rows.Baseline
Columns: TypeAlias = dict[str, Any]
Parts: TypeAlias = Sequence[Mapping[str, Any]]
V = TypeVar("V", bound=Thing)
Part = TypeVar("Part", rows.Blade, rows.Block, rows.Baseline)
Inner = TypeVar("Inner", rows.Hole, rows.Stud, rows.BaselineEntry)


@dataclass(frozen=True, slots=True)
class Shape:
    """A table, the columns of a thing in it, its parts, and the way back."""

    table: Table
    columns: Callable[[Any], Columns]
    thing: Callable[[Columns, rows.Strike | None, Parts], Thing]
    part_table: Table | None = None
    parts: Callable[[Any], Iterable[Columns]] = lambda _thing: ()


def _named(thing: Thing, *left_out: str) -> Columns:
    out = {"id", "struck", *left_out}
    return {f.name: getattr(thing, f.name) for f in fields(thing) if f.name not in out}


def _back(kind: type[V], row: Columns, strike: rows.Strike | None, **rest: Any) -> V:
    """Build ``kind`` from the columns that carry its fields' names, and ``rest``."""
    names = {f.name for f in fields(kind)} - {"id", "struck", *rest}
    plain: Columns = {name: row[name] for name in names}
    return kind(**plain, **rest, id=row["root"], struck=strike)


def _ski(row: Columns, strike: rows.Strike | None, owned: Parts) -> rows.Ski:
    methods = tuple(part["method_id"] for part in owned)
    return _back(rows.Ski, row, strike, methods=methods, has_wing=bool(row["has_wing"]))


_LINES = ("outline_mm", "top_edge_mm", "back_edge_mm")

STARTERS = ("Starter blade", "Starter block")
"""The invented parts that a book of before it was asked began with."""


def _is_stand_in(row: Columns) -> bool:
    stated = row["stand_in"]
    return bool(stated) if stated is not None else row["name"] in STARTERS


def _blade_columns(blade: rows.Blade) -> Columns:
    lines = {name: points_text(name, getattr(blade, name)) for name in _LINES}
    return _named(blade, "holes", *_LINES) | lines


def _blade(row: Columns, strike: rows.Strike | None, owned: Parts) -> rows.Blade:
    lines = {name: points_of(row[name]) for name in _LINES}
    holes = tuple(_part(rows.Hole, part) for part in owned)
    return _back(rows.Blade, row, strike, holes=holes, stand_in=_is_stand_in(row), **lines)


def _part(kind: type[Inner], part: Mapping[str, Any]) -> Inner:
    return kind(**{f.name: part[f.name] for f in fields(kind)})


_PAIRS = {
    "at_mm": ("at_x_mm", "at_y_mm"),
    "axis": ("axis_x", "axis_y"),
    "travel_mm": ("travel_lo_mm", "travel_hi_mm"),
}
"""The fields of a stud that lie in two columns each."""


def _stud_columns(stud: rows.Stud) -> Columns:
    columns = asdict(stud)
    for field, ends in _PAIRS.items():
        columns.update(zip(ends, columns.pop(field) or (None, None), strict=True))
    return columns


def _stud(part: Mapping[str, Any]) -> rows.Stud:
    pairs: Columns = {field: (part[a], part[b]) for field, (a, b) in _PAIRS.items()}
    if pairs["travel_mm"][0] is None:
        pairs["travel_mm"] = None
    return _part(rows.Stud, {**part, **pairs})


def _method_columns(method: rows.Method) -> Columns:
    station = method.station or Station((0.0, 0.0))
    scribe = method.scribe or Scribe((0.0, 0.0))
    bare = method.station is not None and station.hole is None
    ends = {
        ("band_lo_mm", "band_hi_mm"): method.band_mm,
        ("station_u_mm", "station_v_mm"): station.at_mm if bare else None,
        ("scribe_x_mm", "scribe_y_mm", "scribe_zero_mm"):
            (*scribe.at_mm, scribe.zero_mm) if method.scribe is not None else None,
    }  # fmt: skip
    columns = _named(method, "band_mm", "station", "scribe")
    for names, values in ends.items():
        columns.update(zip(names, values or (None,) * len(names), strict=True))
    edge = "front" if scribe.is_reversed else station.edge
    return columns | {"station_hole": station.hole, "station_edge": edge}


def _method(row: Columns, strike: rows.Strike | None, _: Parts) -> rows.Method:
    band, station, scribe = taken_at(row)
    return _back(rows.Method, row, strike, band_mm=band, station=station, scribe=scribe)


def _block(row: Columns, strike: rows.Strike | None, owned: Parts) -> rows.Block:
    return _back(
        rows.Block, row, strike, studs=tuple(map(_stud, owned)), stand_in=_is_stand_in(row)
    )


SHAPES: dict[type, Shape] = {
    rows.Ski: Shape(
        Table.SKIS,
        lambda ski: _named(ski, "methods"),
        _ski,
        Table.SKI_METHODS,
        lambda ski: ({"method_id": method} for method in ski.methods),
    ),
    rows.Blade: Shape(
        Table.BLADES,
        _blade_columns,
        _blade,
        Table.HOLES,
        lambda blade: (asdict(hole) for hole in blade.holes),
    ),
    rows.Block: Shape(
        Table.BLOCKS,
        lambda block: _named(block, "studs"),
        _block,
        Table.STUDS,
        lambda block: map(_stud_columns, block.studs),
    ),
    rows.Method: Shape(Table.METHODS, _method_columns, _method),
    rows.Caliper: Shape(
        Table.CALIPERS, _named, lambda row, strike, _: _back(rows.Caliper, row, strike)
    ),
    rows.Baseline: Shape(
        Table.BASELINES,
        lambda baseline: _named(baseline, "entries"),
        lambda row, strike, owned: _back(
            rows.Baseline,
            row,
            strike,
            entries=tuple(_part(rows.BaselineEntry, part) for part in owned),
        ),
        Table.BASELINE_ENTRIES,
        lambda baseline: (asdict(entry) for entry in baseline.entries),
    ),
}

_NOW = f"""SELECT t.*, {strikes.JOINED}
    FROM {{table}} t LEFT JOIN strikes s ON s.row_id = t.root
    WHERE t.id = (SELECT max(v.id) FROM {{table}} v WHERE v.root = t.root) AND {{where}}
    ORDER BY t.root"""

_STANDING = "s.id IS NULL"


def add_thing(pen: Pen, thing: V, *, who: str = "") -> V:
    """Keep a new thing (``id=""``); returns it with its id."""
    row_id, at = pen.stamp()
    _keep(pen, thing, id=row_id, at=at, who=who, root=row_id, replaces=None)
    return replace(thing, id=row_id, struck=None)


def correct(pen: Pen, thing: V, *, who: str = "", reason: str = "") -> V:
    """Keep a corrected thing under its old id; what it said before stays in the book.

    Another blade or block of a ski is a change of the ski itself and has its ``reason``.
    """
    table = SHAPES[type(thing)].table
    latest = f"SELECT max(id) AS id FROM {table} WHERE root = ?"
    replaced = next(pen.db.query(latest, [thing.id]))["id"]
    if replaced is None:
        raise UnknownRowError(_kind(table), thing.id)
    row_id, at = pen.stamp()
    row = {"id": row_id, "at": at, "who": who, "root": thing.id, "replaces": replaced}
    _keep(pen, thing, **row, reason=reason)
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


def ski_versions(db: Database, ski_id: str) -> tuple[rows.SkiVersion, ...]:
    """A ski as it was first written down and each time it was corrected, oldest first."""
    shape = SHAPES[rows.Ski]
    sql = f"""SELECT t.*, {strikes.JOINED}
        FROM skis t LEFT JOIN strikes s ON s.row_id = t.id AND t.id <> t.root
        WHERE t.root = ? ORDER BY t.id"""
    found = list(db.query(sql, [ski_id]))
    owned = _parts_of(db, shape.part_table, [row["id"] for row in found])
    return tuple(
        rows.SkiVersion(
            id=row["id"],
            at=row["at"],
            who=row["who"],
            ski=cast("rows.Ski", shape.thing(row, None, owned.get(row["id"], []))),
            struck=strikes.struck(row),
            reason=row["reason"],
        )
        for row in found
    )


def versions(db: Database, kind: type[Part], thing_id: str) -> tuple[rows.PartVersion, ...]:
    """A blade, block or baseline as it was first written down and each time it was corrected.

    The latest carries the strike, where the thing was struck out.
    """
    shape = SHAPES[kind]
    found = list(db.query(f"SELECT * FROM {shape.table} WHERE root = ? ORDER BY id", [thing_id]))
    owned = _parts_of(db, shape.part_table, [row["id"] for row in found])
    strike = one(db, kind, thing_id).struck
    return tuple(
        rows.PartVersion(
            id=row["id"],
            at=row["at"],
            who=row["who"],
            reason=row["reason"],
            part=cast("Part", shape.thing(row, None, owned.get(row["id"], []))),
            struck=strike if row is found[-1] else None,
        )
        for row in found
    )


def every_baseline(db: Database) -> tuple[rows.Baseline, ...]:
    """All baselines, struck out or not, oldest first."""
    return _things(db, rows.Baseline, "1")


def methods_of(db: Database, blade_id: str) -> tuple[rows.Method, ...]:
    """The methods of a blade that are not struck out, oldest first."""
    return _things(db, rows.Method, f"{_STANDING} AND t.blade_id = ?", [blade_id])


def baselines_of(db: Database, ski_id: str) -> tuple[rows.Baseline, ...]:
    """The baselines of a ski that are not struck out, oldest first."""
    return _things(db, rows.Baseline, f"{_STANDING} AND t.ski_id = ?", [ski_id])


def _things(
    db: Database, kind: type[V], where: str, values: Sequence[object] = ()
) -> tuple[V, ...]:
    shape = SHAPES[kind]
    found = list(db.query(_NOW.format(table=shape.table, where=where), list(values)))
    owned = _parts_of(db, shape.part_table, [row["id"] for row in found])
    made = (
        shape.thing(row, _struck(db, shape, row, owned), owned.get(row["id"], [])) for row in found
    )
    if where.startswith(_STANDING):
        made = (thing for thing in made if thing.struck is None)
    return cast("tuple[V, ...]", tuple(made))


def _struck(
    db: Database, shape: Shape, row: Columns, owned: Mapping[str, Parts]
) -> rows.Strike | None:
    """The strike of a thing; a baseline with a damaged number is none to start from."""
    if shape.table is not Table.BASELINES or row["struck_at"] is not None:
        return strikes.struck(row)
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


def set_setting(pen: Pen, name: str, value: str, *, who: str = "") -> None:
    """Keep a setting; the latest of a name is the one in force."""
    row_id, at = pen.stamp()
    pen.insert(Table.SETTINGS, id=row_id, at=at, who=who, name=name, value=value)


def setting(db: Database, name: str, default: str | None = None) -> str | None:
    """The setting in force under ``name``, or ``default``."""
    sql = "SELECT value FROM settings WHERE name = ? ORDER BY id DESC LIMIT 1"
    for row in db.query(sql, [name]):
        return str(row["value"])
    return default


def settings(db: Database) -> dict[str, str]:
    """All settings in force."""
    sql = """SELECT s.name, s.value FROM settings s
        WHERE s.id = (SELECT max(v.id) FROM settings v WHERE v.name = s.name) ORDER BY s.name"""
    return {row["name"]: row["value"] for row in db.query(sql)}


def settings_kept(db: Database, names: Iterable[str]) -> dict[str, tuple[tuple[str, str], ...]]:
    """Every value kept under each of these names with the id of its row, oldest first.

    A name that was never set is left out.
    """
    sql = """SELECT s.name, s.id, s.value FROM json_each(?) o JOIN settings s ON s.name = o.value
        ORDER BY s.id"""
    out: dict[str, tuple[tuple[str, str], ...]] = {}
    for row in db.query(sql, [json.dumps(list(names))]):
        out[row["name"]] = (*out.get(row["name"], ()), (row["id"], row["value"]))
    return out


@dataclass(frozen=True, slots=True)
class KnownSki:
    """A ski as a list shows it."""

    id: str
    name: str
    rider: str
    serial: str
    model: str
    note: str


_KNOWN = """SELECT t.root, t.name, t.rider, t.serial, t.model, t.note FROM skis t
    WHERE t.id = (SELECT max(v.id) FROM skis v WHERE v.root = t.root)
    AND NOT EXISTS (SELECT 1 FROM strikes s WHERE s.row_id = t.root)
    ORDER BY t.root DESC"""


def known_skis(db: Database) -> tuple[KnownSki, ...]:
    """All skis that are not struck out, newest first, with one query."""
    return tuple(KnownSki(*row) for row in db.execute(_KNOWN))


# -- the kernel's values of rows, and back --------------------------------------------------------


@lru_cache(maxsize=64)
def blade_of(row: rows.Blade) -> Blade:
    """Return the kernel's blade of a row, checked once and kept."""
    if not row.outline_mm:
        return Blade.untraced(row.name)
    return Blade(
        row.name,
        row.outline_mm,
        (row.top_edge_mm[0], row.top_edge_mm[1]),
        (row.back_edge_mm[0], row.back_edge_mm[1]),
        tuple(Hole(h.name, (h.u_mm, h.v_mm), h.diameter_mm) for h in row.holes),
        row.outline_u_mm,
    )


def row_of_blade(blade: Blade, source_text: str = "") -> rows.Blade:
    """Return the row that keeps a blade."""
    return rows.Blade(
        "",
        blade.name,
        blade.outline_mm,
        blade.top_edge_mm,
        blade.back_edge_mm,
        tuple(rows.Hole(h.name, *h.at_mm, h.diameter_mm) for h in blade.holes),
        source_text,
        outline_u_mm=blade.outline_u_mm,
    )


def stud_of(row: rows.Stud) -> Stud:
    """Return the kernel's stud of a row, whose travel is that of the ball's centre."""
    limits = row.travel_mm
    if limits is not None:
        limits = (limits[0] + row.tip_radius_mm, limits[1] + row.tip_radius_mm)
    return Stud(
        row.name, row.touches, row.at_mm, row.axis, row.lead_mm, row.hand, row.tip_radius_mm,
        limits, row.place_u_mm or 0.0, row.lead_u or 0.0,
    )  # fmt: skip


def row_of_stud(stud: Stud, thread: str) -> rows.Stud:
    """Return the row that keeps a stud, with its thread as it was written."""
    travel = stud.limits_mm
    if travel is not None:
        travel = (travel[0] - stud.tip_radius_mm, travel[1] - stud.tip_radius_mm)
    return rows.Stud(
        stud.name, stud.touches, stud.at_mm, stud.axis, thread, stud.lead_mm, stud.hand,
        stud.tip_radius_mm, travel, stud.place_u_mm or None, stud.lead_u or None,
    )  # fmt: skip


def method_of(row: rows.Method, blade: Blade) -> Method:
    """Return the kernel's method of a row on its blade."""
    station = row.station
    if station is not None and station.hole is not None and station.edge is not None:
        station = replace(station, at_mm=blade.hole(station.hole).edge(station.edge))
    return Method(
        row.name, row.quantity, station, row.jaw_width_mm, row.band_mm, row.scribe, row.u_mm
    )


def row_of_method(method: Method, blade_id: str, tolerance_mm: float) -> rows.Method:
    """Return the row that keeps a method of a blade."""
    return rows.Method(
        "", blade_id, method.name, method.quantity, method.band_mm, method.station,
        method.jaw_width_mm, tolerance_mm, scribe=method.scribe, u_mm=method.u_mm,
    )  # fmt: skip


def rig_of(ski: rows.Ski, blade: Blade, studs: Sequence[rows.Stud]) -> Rig:
    """Return the rig of a ski."""
    radius_mm = ski.base_radius_mm
    base = Base() if radius_mm is None else Base(radius_mm, ski.base_apex_mm or 0.0)
    return Rig(blade, base, tuple(stud_of(s) for s in studs))
