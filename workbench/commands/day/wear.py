"""``wear``: a ski gets another blade or block, with the reason; ``carry`` says how to begin."""

from __future__ import annotations

import argparse
from itertools import pairwise
from typing import Any

from workbench.commands.at_ski import unit_of
from workbench.commands.opened import opened_shop
from workbench.commands.output import say
from workbench.errors import InputError
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.order.carried import carried_lines
from workbench.work.roster.adding import blade_meant, known_ski
from workbench.work.roster.ski_sheet import (
    FOLLOWS,
    NEVER_DONE,
    change_parts,
    last_carried,
    last_change,
    methods_text,
    strike_change,
)
from workbench.work.text.local_time import day_and_time
from workbench.work.text.words import clean


def add(commands: Any) -> None:
    """Add ``wear``."""
    parser = commands.add_parser(
        "wear",
        help="give a ski another blade or block, or show what it wears",
        description="What was read before stays with the parts it was read on; the next job is "
        "shown by the new ones, and the ski is not released until it is measured and its clamp "
        f"bolts are checked. {NEVER_DONE}",
        run=_wear,
        see="parts, correct-ski, carry",
        examples=[
            ("wear H66-014", "What it wears, and each change."),
            ("wear H66-014 --blade 2 --reason 'new blade'", "Another blade from now on."),
            ("wear H66-014 --never-made 'the wrong ski'", "The change was entered by mistake."),
        ],
    )
    parser.place("ski", "SKI", "serial or name of a ski in the book")
    parser.option("--blade", "BLADE", "by name or number in 'parts', or none", default="")
    parser.option("--block", "BLOCK", "by name or number in 'parts', or none", default="")
    parser.option("--reason", "WORDS", "such as 'new blade'", default="")
    parser.option("--never-made", "REASON", "strike the last change out: it was never made")
    parser.unit("left out: the bench's own")


def _wear(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        ski = known_ski(shop, args.ski)
        if args.never_made is not None:
            if args.blade or args.block:
                raise InputError("--never-made", args.never_made, "it alone: no new part with it")
            last = last_change(shop.book.ski_versions(ski.id))
            if last is None:
                raise InputError("--never-made", ski.name, "a ski whose parts were changed")
            strike_change(shop, ski.id, last.id, args.never_made)
            say(["Done: the change is struck out.", *_worn(shop, shop.book.ski(ski.id))])
            return
        if not (args.blade or args.block):
            if args.reason:
                raise InputError("--reason", args.reason, "--blade or --block with it")
            say(_worn(shop, ski))
            return
        blade = blade_meant(shop, args.blade, "--blade") if args.blade else None
        unit = unit_of(args, shop)
        carried = last_carried(shop, ski, blade, unit) if blade is not None else None
        fields = {"blade": args.blade, "block": args.block, "reason": args.reason}
        worn = change_parts(shop, ski.id, fields)
        lines = [f"Done: {clean(', '.join(worn.changes))}.", FOLLOWS]
        lines += [f"Read by: {clean(methods_text(shop, worn.ski))}."]
        if carried is not None:
            lines += ["", *carried_lines(carried, unit)]
        say(lines)


def _worn(shop: Shop, ski: rows.Ski) -> list[str]:
    out = [
        f"Blade: {clean(shop.book.blade(ski.blade_id).name)}",
        f"Block: {clean(shop.book.block(ski.block_id).name)}",
        f"Read by: {clean(methods_text(shop, ski))}",
    ]
    versions = shop.book.ski_versions(ski.id)
    for before, version in pairwise(versions):
        parts = [
            f"{word} {clean(get(a).name)} → {clean(get(b).name)}"
            for word, get, a, b in (
                ("blade", shop.book.blade, before.ski.blade_id, version.ski.blade_id),
                ("block", shop.book.block, before.ski.block_id, version.ski.block_id),
            )
            if a != b
        ]
        if parts:
            struck = f"; struck out: {clean(version.struck.reason)}" if version.struck else ""
            by = f" {clean(version.who)}" if version.who else ""
            why = f": {clean(version.reason)}" if version.reason else ""
            out.append(f"{day_and_time(version.at)}{by}  {', '.join(parts)}{why}{struck}")
    state = shop.ski_state(ski.id)
    return [*out, f"! {state.danger}"] if state.danger else out
