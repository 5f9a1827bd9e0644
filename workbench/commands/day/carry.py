"""``carry``: what is unfinished to another day, or with ``--to`` a setting to another blade."""

from __future__ import annotations

import argparse
import os
from pathlib import Path

from workbench.commands.manual import command, flag, option, place
from workbench.commands.opened import opened_shop, path_of
from workbench.commands.output import say, say_json
from workbench.errors import BenchError, InputError, OutOfReachError, PoseError
from workbench.fin.blade import Blade
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.places import is_there
from workbench.records.tables.roster import blade_of, method_of
from workbench.work.job_text.typed_lines import job_meant
from workbench.work.order.carried import (
    CarriedSetting,
    carried_lines,
    carried_report,
    carried_setting,
    methods_on,
)
from workbench.work.order.order_file import Order, read_order
from workbench.work.order.rigs import fit_of
from workbench.work.roster import queue
from workbench.work.roster.adding import pick
from workbench.work.roster.parts_typed import blade_in, open_parts, within
from workbench.work.text.local_time import day_typed
from workbench.work.text.words import clean, error_words


@command(
    "carry",
    "carry what is unfinished to another day, or a setting to another blade",
    "A ski, or all that is unfinished; nothing of what was read is lost. With --to, a work "
    "order's setting: the readings at which another blade has the same exposed area and centroid, "
    "or the nearest. A starting point (common practice, no source): the maker's numbers come "
    "first.",
    see="queue, move, restate",
    examples=[
        ("carry all", "What is left goes to tomorrow."),
        ("carry 3 --day 2026-11-28", "One ski goes to Saturday."),
        ("carry heron.toml --to new-blade.toml", "The three numbers to begin with."),
    ],
    takes=[
        place(
            "ski",
            "SKI|ORDER",
            "serial, name or number in the queue; or 'all'; with --to a work-order file, or -",
        ),
        option("--day", "DAY", "YYYY-MM-DD; left out: tomorrow"),
        option(
            "--to",
            "BLADE",
            "a file with a [blade] table, such as trace prints, or a blade of the book by name",
        ),
        flag("--json", "with --to: print JSON for machines"),
    ],
)
def _carry(args: argparse.Namespace) -> None:
    if args.to is not None:
        _to_blade(args)
        return
    if args.json:
        raise InputError("--json", "without --to", "--to BLADE with it: a ski is carried in words")
    with opened_shop(args) as shop:
        day = day_typed("--day", args.day) if args.day else queue.day_after(shop.day)
        if args.ski == "all":
            count = queue.carry_all(shop, shop.roster(), day)
            say([f"Done: {count} carried to {day}."])
        else:
            _, line = job_meant(shop, args.ski)
            queue.carry(shop, line, day)
            say([f"Done: {clean(line.ski_name)} carried to {day}."])


def _to_blade(args: argparse.Namespace) -> None:
    if args.day:
        raise InputError("--day", args.day, "no day with --to: a setting is carried to a blade")
    with within("--to"):
        blade, methods = _blade_meant(args)
    args.order = args.ski  # what is wrong from here on is told with the order's name
    order = read_order(args.ski)
    try:
        found = _carried(order, blade, methods)
    except InputError:
        raise
    except BenchError as why:
        words = error_words(why, order.unit)
        kind = OutOfReachError if isinstance(why, OutOfReachError) else PoseError
        raise kind(words) from None
    if args.json:
        say_json(carried_report(found, order.unit))
    else:
        say(carried_lines(found, order.unit))


def _carried(order: Order, blade: Blade, methods: tuple[Method, ...]) -> CarriedSetting:
    pose = fit_of(order.rig, order.readings).pose
    new = Rig(blade, order.rig.base, order.rig.studs)
    pairs = methods_on(blade, [r.method for r in order.readings], methods)
    return carried_setting(order.rig, pose, new, pairs, order.unit)


def _blade_meant(args: argparse.Namespace) -> tuple[Blade, tuple[Method, ...]]:
    """Return the blade that ``--to`` names, with its methods: a file, else one of the book."""
    text = args.to
    if text.endswith((".toml", ".json")) or os.sep in text or Path(text).is_file():
        return blade_in(open_parts(text), "")
    if not is_there(path_of(args)):
        raise InputError("--to", text, "a TOML or JSON file with a [blade] table: there is no book")
    with opened_shop(args) as shop:
        row = pick(text, shop.book.blades(), "--to")
        blade = blade_of(row)
        return blade, tuple(method_of(m, blade) for m in shop.book.methods_of(row.id))
