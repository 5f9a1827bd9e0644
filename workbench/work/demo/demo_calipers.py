"""The demo shop's calipers, one for each unit, with their checks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from workbench.measure.units import Unit, check_unit
from workbench.work.job.shop import Shop
from workbench.work.roster.calipers import (
    add_caliper,
    block_size,
    check_block,
    check_zero,
    take_in_hand,
)


def add_demo_calipers(shop: Shop, data: Mapping[str, Any]) -> dict[Unit, str]:
    """Keep the calipers of a shop file, the first of them in hand; return an id for each unit."""
    out: dict[Unit, str] = {}
    for raw in data.get("calipers", ()):
        fields = {key: str(raw[key]) for key in ("name", "unit", "resolution") if key in raw}
        caliper_id = add_caliper(shop, fields)
        out.setdefault(check_unit(raw.get("unit")), caliper_id)
    if out:
        take_in_hand(shop, next(iter(out.values())))
    return out


def check_demo_calipers(shop: Shop, data: Mapping[str, Any]) -> None:
    """Keep a zero and a gauge-block check of each of them, as the shop file says they read."""
    by_name = {row.name: row for row in shop.book.calipers()}
    for raw in data.get("calipers", ()):
        row = by_name[str(raw["name"])]
        check_zero(shop, row, str(raw["zero"]))
        block = block_size(str(raw["block"]), row.unit)
        check_block(shop, row, block, str(raw["block_reads"]))
