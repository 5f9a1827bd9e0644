"""How each thing of the roster is laid out in its table and the table of its parts."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, fields
from typing import Any, TypeAlias, TypeVar

from workbench.frozen import dataclass
from workbench.records.store.rows import (
    Baseline,
    BaselineEntry,
    Blade,
    Block,
    Caliper,
    Hole,
    Method,
    Ski,
    Strike,
    Stud,
)
from workbench.records.store.specs import Table
from workbench.records.store.values import points_of, points_text

Thing: TypeAlias = Ski | Blade | Block | Method | Caliper | Baseline
Columns: TypeAlias = dict[str, Any]
Parts: TypeAlias = Sequence[Mapping[str, Any]]
K = TypeVar("K", Ski, Blade, Block, Method, Caliper, Baseline)
Q = TypeVar("Q", Hole, BaselineEntry)


@dataclass(frozen=True, slots=True)
class Shape:
    """A table, the columns of a thing in it, its parts, and the way back."""

    table: Table
    columns: Callable[[Any], Columns]
    thing: Callable[[Columns, Strike | None, Parts], Thing]
    part_table: Table | None = None
    parts: Callable[[Any], Iterable[Columns]] = lambda _thing: ()


def struck(row: Columns) -> Strike | None:
    """The strike that was joined to a row."""
    if row["struck_at"] is None:
        return None
    return Strike(
        row["struck_at"], row["struck_who"], row["struck_reason"], row["struck_replaced_by"]
    )


def _named(thing: Thing, *left_out: str) -> Columns:
    out = {"id", "struck", *left_out}
    return {f.name: getattr(thing, f.name) for f in fields(thing) if f.name not in out}


def _back(kind: type[K], row: Columns, strike: Strike | None, **rest: Any) -> K:
    """Build ``kind`` from the columns that carry its fields' names, and ``rest``."""
    names = {f.name for f in fields(kind)} - {"id", "struck", *rest}
    plain: Columns = {name: row[name] for name in names}
    return kind(**plain, **rest, id=row["root"], struck=strike)


def _ski(row: Columns, strike: Strike | None, owned: Parts) -> Ski:
    methods = tuple(part["method_id"] for part in owned)
    return _back(Ski, row, strike, methods=methods, has_wing=bool(row["has_wing"]))


_LINES = ("outline_mm", "top_edge_mm", "back_edge_mm")


STARTERS = ("Starter blade", "Starter block")
"""The invented parts that a book of before it was asked began with."""


def _is_stand_in(row: Columns) -> bool:
    stated = row["stand_in"]
    return bool(stated) if stated is not None else row["name"] in STARTERS


def _blade_columns(blade: Blade) -> Columns:
    lines = {name: points_text(name, getattr(blade, name)) for name in _LINES}
    return _named(blade, "holes", *_LINES) | lines


def _blade(row: Columns, strike: Strike | None, owned: Parts) -> Blade:
    lines = {name: points_of(row[name]) for name in _LINES}
    holes = tuple(_part(Hole, part) for part in owned)
    return _back(Blade, row, strike, holes=holes, stand_in=_is_stand_in(row), **lines)


def _part(kind: type[Q], part: Mapping[str, Any]) -> Q:
    return kind(**{f.name: part[f.name] for f in fields(kind)})


def _stud_columns(stud: Stud) -> Columns:
    lo, hi = stud.travel_mm or (None, None)
    return {
        "name": stud.name,
        "touches": stud.touches,
        "at_x_mm": stud.at_mm[0],
        "at_y_mm": stud.at_mm[1],
        "axis_x": stud.axis[0],
        "axis_y": stud.axis[1],
        "thread": stud.thread,
        "lead_mm": stud.lead_mm,
        "hand": stud.hand,
        "tip_radius_mm": stud.tip_radius_mm,
        "travel_lo_mm": lo,
        "travel_hi_mm": hi,
        "place_u_mm": stud.place_u_mm,
        "lead_u": stud.lead_u,
    }


def _stud(part: Mapping[str, Any]) -> Stud:
    lo, hi = part["travel_lo_mm"], part["travel_hi_mm"]
    return Stud(
        name=part["name"],
        touches=part["touches"],
        at_mm=(part["at_x_mm"], part["at_y_mm"]),
        axis=(part["axis_x"], part["axis_y"]),
        thread=part["thread"],
        lead_mm=part["lead_mm"],
        hand=part["hand"],
        tip_radius_mm=part["tip_radius_mm"],
        travel_mm=None if lo is None else (lo, hi),
        place_u_mm=part["place_u_mm"],
        lead_u=part["lead_u"],
    )


def _block(row: Columns, strike: Strike | None, owned: Parts) -> Block:
    return _back(Block, row, strike, studs=tuple(map(_stud, owned)), stand_in=_is_stand_in(row))


SHAPES: dict[type, Shape] = {
    Ski: Shape(
        Table.SKIS,
        lambda ski: _named(ski, "methods"),
        _ski,
        Table.SKI_METHODS,
        lambda ski: ({"method_id": method} for method in ski.methods),
    ),
    Blade: Shape(
        Table.BLADES,
        _blade_columns,
        _blade,
        Table.HOLES,
        lambda blade: (asdict(hole) for hole in blade.holes),
    ),
    Block: Shape(
        Table.BLOCKS,
        lambda block: _named(block, "studs"),
        _block,
        Table.STUDS,
        lambda block: map(_stud_columns, block.studs),
    ),
    Method: Shape(Table.METHODS, _named, lambda row, strike, _: _back(Method, row, strike)),
    Caliper: Shape(Table.CALIPERS, _named, lambda row, strike, _: _back(Caliper, row, strike)),
    Baseline: Shape(
        Table.BASELINES,
        lambda baseline: _named(baseline, "entries"),
        lambda row, strike, owned: _back(
            Baseline, row, strike, entries=tuple(_part(BaselineEntry, part) for part in owned)
        ),
        Table.BASELINE_ENTRIES,
        lambda baseline: (asdict(entry) for entry in baseline.entries),
    ),
}
