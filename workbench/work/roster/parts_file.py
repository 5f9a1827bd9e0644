"""What a shop owns, from a file into the book: blades, blocks and the methods of each blade."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from workbench.fin.parts.blade import Blade
from workbench.measure.lengths import check_finest, parse_turn
from workbench.measure.units import check_unit
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.files.table_files import Table
from workbench.work.order.order_file import (
    DEFAULT_TOLERANCE_MM,
    read_blade,
    read_method,
    read_stud,
)
from workbench.work.order.rigs import row_of_blade, row_of_method, row_of_stud

_STAND_IN = "stand_in"
"""The key by which a part of a shop's file says that it is invented."""


@dataclass(slots=True)
class Stock:
    """What the shop owns, by name, as it is put in the book."""

    blades: dict[str, tuple[str, Blade]]
    blocks: dict[str, str]
    methods: dict[str, tuple[str, ...]]


def stock_shop(book: Book, data: Mapping[str, Any], who: str) -> Stock:
    """Put blades, blocks and methods of a shop file in the book."""
    unit = check_unit(data.get("unit"))
    stock = Stock({}, {}, {})
    for i, raw in enumerate(data.get("blades", ())):
        blade = read_blade(Table(_without_word(raw), f"blades[{i}]", unit))
        kept = replace(row_of_blade(blade), stand_in=_is_stand_in(raw))
        stock.blades[blade.name] = (book.add_blade(kept, who=who).id, blade)
    for i, raw in enumerate(data.get("blocks", ())):
        table = Table(_without_word(raw), f"blocks[{i}]", unit)
        name = table.name()
        studs = []
        for inner in table.tables("studs"):
            thread = inner.text("thread", default="")
            studs.append(row_of_stud(read_stud(inner), thread))
        text, where = table.text("finest_turn", default="1/8"), table.where("finest_turn")
        finest = check_finest(parse_turn(text, where), where, text)
        table.done()
        block = rows.Block("", name, tuple(studs), finest, stand_in=_is_stand_in(raw))
        stock.blocks[name] = book.add_block(block, who=who).id
    for i, raw in enumerate(data.get("methods", ())):
        table = Table(raw, f"methods[{i}]", unit)
        blade_id, blade = stock.blades[table.text("blade")]
        ids = []
        for inner in table.tables("list"):
            row = row_of_method(read_method(inner, blade), blade_id, DEFAULT_TOLERANCE_MM)
            ids.append(book.add_method(row, who=who).id)
        stock.methods[blade.name] = tuple(ids)
    return stock


def _is_stand_in(raw: Mapping[str, Any]) -> bool:
    """Whether a part of the file says of itself that it is invented."""
    return raw.get(_STAND_IN) is True


def _without_word(raw: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in raw.items() if key != _STAND_IN}
