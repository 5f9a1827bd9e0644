"""``checks``: the shop's checklists and torque notes, shown and changed."""

from __future__ import annotations

import argparse
from collections.abc import Callable

from workbench.commands.manual import act_asked, command, option, place
from workbench.commands.opened import opened_shop
from workbench.commands.output import say
from workbench.errors import InputError
from workbench.work.job.shop import Shop
from workbench.work.roster.check_lists import (
    add_item,
    check_item_meant,
    check_lines,
    fastener_meant,
    move_item,
    remove_item,
    reword_item,
    reword_torque,
)
from workbench.work.trust.shop_policy import shop_rules

LISTS = ("received", "final", "torque")


@command(
    "checks",
    "the shop's checklists and torque notes: shown, or one item changed",
    "Both lists item by item, then how each fastener is brought up. A change counts from now on; "
    "what was passed stays passed. The clamp bolts end the final check, always. The maker's "
    "figure wins over every torque note.",
    see="tick, settings",
    examples=[
        ("checks", "Both lists and the torque notes."),
        ('checks final --add "Wing is straight" --after block', "One more item."),
        ('checks received --reword 2 "Block: no crack, no play"', "By its number or key."),
        ("checks received --move hardware up", "One place earlier."),
        ("checks final --remove studs", "Off the list from now on."),
        ('checks torque --reword block "crosswise, in three rounds"', "The shop's own note."),
        ("checks torque --remove block", "The note as it was shipped."),
    ],
    takes=[
        place(
            "list",
            "LIST",
            "received, final or torque; left out: all of them",
            nargs="?",
            choices=LISTS,
        ),
        option("--add", "WORDS", "a new item; last, or behind --after ITEM"),
        option("--reword", ("ITEM", "WORDS"), "other words for an item, or a note", nargs=2),
        option("--remove", "ITEM", "take an item off; a note is then as it was shipped"),
        option("--move", ("ITEM", "WAY"), "an item one place up or down", nargs=2),
        option("--after", "ITEM", "where --add puts the new item"),
    ],
)
def _checks(args: argparse.Namespace) -> None:
    change = _change_asked(args)
    with opened_shop(args) as shop:
        done = [f"Done: {change(shop, args)}"] if change is not None else []
        lines = check_lines(shop_rules(shop.book), [args.list] if args.list else LISTS)
    say([*done, *lines])


Change = Callable[["Shop", argparse.Namespace], str]


def _change_asked(args: argparse.Namespace) -> Change | None:
    """Return what does the change that is asked for; None where there is none."""
    ways: dict[str, Change] = {
        "add": _add, "reword": _reword, "remove": _remove, "move": _move,
    }  # fmt: skip
    name = act_asked(args, ways, {"after": ("add",)})
    if name and not args.list:
        raise InputError("list", "(missing)", f"one of: {', '.join(LISTS)}")
    if args.list == "torque" and name in ("add", "move"):
        raise InputError(f"--{name}", "torque", "received or final: fasteners are as they are")
    return ways.get(name)


def _add(shop: Shop, args: argparse.Namespace) -> str:
    after = check_item_meant(shop, args.list, args.after).key if args.after is not None else ""
    add_item(shop, args.list, args.add, after)
    return "item added."


def _reword(shop: Shop, args: argparse.Namespace) -> str:
    what, words = args.reword
    if args.list == "torque":
        reword_torque(shop, fastener_meant(shop, what), words)
        return "note kept."
    reword_item(shop, args.list, check_item_meant(shop, args.list, what).key, words)
    return "words changed."


def _remove(shop: Shop, args: argparse.Namespace) -> str:
    if args.list == "torque":
        reword_torque(shop, fastener_meant(shop, args.remove), "")
        return "the words as shipped again."
    item = check_item_meant(shop, args.list, args.remove)
    remove_item(shop, args.list, item.key)
    return "taken off the list."


def _move(shop: Shop, args: argparse.Namespace) -> str:
    what, way = args.move
    if way not in ("up", "down"):
        raise InputError("--move", way, "up or down")
    item = check_item_meant(shop, args.list, what)
    move_item(shop, args.list, item.key, -1 if way == "up" else 1)
    return "order changed."
