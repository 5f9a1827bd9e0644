"""``calipers`` and ``add-caliper``: the shop's calipers, their checks, and the one in hand."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.at_ski import fields_of
from workbench.commands.manual import command, flag, option, options, place, place_of
from workbench.commands.opened import opened_shop
from workbench.commands.output import facts, say
from workbench.errors import InputError
from workbench.measure.display import fine_text
from workbench.records.store.rows import Caliper
from workbench.work.job.shop import Shop
from workbench.work.roster.calipers import (
    CALIPER,
    add_caliper,
    block_size,
    caliper_meant,
    check_block,
    check_zero,
    register,
    take_in_hand,
)
from workbench.work.text.words import clean
from workbench.work.trust.reading_tools import held_caliper


@command(
    "calipers",
    "list the calipers, take one in hand, keep its zero and gauge-block checks",
    "Without options the register: whether each may be trusted today, and which is in hand. A "
    "check is of the caliper named, else of the one in hand.",
    see="add-caliper, read, settings",
    examples=[
        ("calipers", "The register."),
        ('calipers "Bench caliper, inch" --take', "Readings are taken with it from now on."),
        ("calipers --zero 0.0000", "The zero of the one in hand."),
        ("calipers 2 --block 100mm 100.01", "A gauge block, with the second one."),
    ],
    takes=[
        place("caliper", "CALIPER", "by name or number", nargs="?"),
        flag("--take", "take it in hand"),
        option("--zero", "READING", "what its closed jaws read"),
        option("--block", ("SIZE", "READING"), "a gauge block, and what it reads", nargs=2),
    ],
)
def _calipers(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        acts = _acts(shop, args) if args.caliper or args.zero or args.block or args.take else []
        known = register(shop)
    facts(
        calipers=[
            {
                "id": each.row.id, "name": each.row.name, "unit": each.row.unit,
                "resolution_mm": each.row.resolution_mm, "mpe_mm": each.row.mpe_mm,
                "in_hand": each.in_hand, "state": each.standing.state,
                "why": each.standing.words,
            }
            for each in known
        ]
    )  # fmt: skip
    listed = [_line(i, each) for i, each in enumerate(known, 1)]
    say([*acts, *(listed or ["No caliper yet: quarterturn add-caliper NAME"])])


def _line(number: int, each: Any) -> str:
    row, standing = each.row, each.standing
    held = ", in hand" if each.in_hand else ""
    step = f"{fine_text(row.resolution_mm, row.unit)} {row.unit}"
    why = f": {clean(standing.words)}" if standing.words else ""
    return f"Caliper {number}: {clean(row.name)}, step {step}{held}, {standing.state}{why}"


def _acts(shop: Shop, args: argparse.Namespace) -> list[str]:
    """Do what is asked with a caliper; say it."""
    row = _meant(shop, args.caliper)
    out = []
    if args.take:
        take_in_hand(shop, row.id)
        out.append(f"Done: in hand: {clean(row.name)}.")
    return out + _checks(shop, row, args)


def _checks(shop: Shop, row: Caliper, args: argparse.Namespace) -> list[str]:
    out = []
    if args.zero is not None:
        out.append(_result("zero", check_zero(shop, row, args.zero)))
    if args.block is not None:
        size, reading = args.block
        out.append(_result("block", check_block(shop, row, block_size(size, row.unit), reading)))
    return out


def _result(kind: str, found: Any) -> str:
    return f"Done: {kind} checked: {clean(found.words)}"


def _meant(shop: Shop, text: str | None) -> Caliper:
    if text:
        return caliper_meant(shop, text)
    held = held_caliper(shop.book)
    if held is None:
        raise InputError("caliper", "(none in hand)", "a caliper by name or number")
    return held


@command(
    "add-caliper",
    "add a caliper to the register",
    "How sure a reading is rests on these figures.",
    see="calipers",
    examples=[
        ('add-caliper "Window caliper" --unit mm --resolution 0.01', "By DIN 862."),
        ('add-caliper "Dial" --unit in --resolution 0.001 --mpe 0.002', "As stated for it."),
    ],
    takes=[place_of(CALIPER[0]), options(CALIPER[1:])],
)
def _add(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        add_caliper(shop, fields_of(args, CALIPER))
    say([f"Done: caliper added: {clean(args.name)}.", "Command: quarterturn calipers --take"])
