"""A book begun, and its blades and blocks: from files, by caliper, or found from known turns."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import replace

from workbench.commands.at_ski import at_ski, fields_of, ski_command
from workbench.commands.manual import (
    Command,
    Run,
    command,
    flag,
    option,
    options,
    place_of,
    unit_option,
)
from workbench.commands.opened import opened_shop, path_of
from workbench.commands.output import facts, say
from workbench.errors import BenchError, InputError, PoseError
from workbench.measure.display import turn_text
from workbench.places import is_there
from workbench.records.book import Book
from workbench.work.demo import build_demo
from workbench.work.exchange.backup import lost_words
from workbench.work.roster.adding import (
    BLADE,
    BLOCK,
    add_blade,
    add_block,
    ensure_starter,
    known_parts,
    pick,
)
from workbench.work.roster.measured_block import (
    MEASURED,
    PLACE_ACCEPTED,
    THREAD_ACCEPTED,
    TIP_ACCEPTED,
    drawn_block,
    found_from,
    found_lines,
    keep_found,
    keep_measured,
    measured_block,
)
from workbench.work.text.fields import Field, some
from workbench.work.text.words import clean, error_words


@command(
    "parts",
    "the blades and blocks of the book, with their numbers",
    "What a new ski can be given.",
    see="add-ski, add-blade, add-block",
    examples=[("parts", "Blades first, then blocks.")],
)
def _parts(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        facts(
            blades=[{"id": b.id, "name": b.name} for b in known_parts(shop.book.blades())],
            blocks=[
                {"id": b.id, "name": b.name, "finest_turn": b.finest_turn}
                for b in known_parts(shop.book.blocks())
            ],
        )
        out = [
            f"Blade {i}: {clean(b.name)}" for i, b in enumerate(known_parts(shop.book.blades()), 1)
        ]
        for i, block in enumerate(known_parts(shop.book.blocks()), 1):
            turn = turn_text(block.finest_turn) if block.finest_turn else "exact"
            out.append(f"Block {i}: {clean(block.name)}, finest turn {turn}")
    say(out or ["No blade and no block yet."])


def _adding(kind: str, fields: tuple[Field, ...], words: str) -> Callable[[Run], Command]:
    name, file = some(fields, "name file")
    return command(
        f"add-{kind}",
        f"add a {kind} from a file",
        f"TOML or JSON with its {words}, as in a work order.",
        see="parts, add-ski",
        examples=[
            (f"add-{kind} practice-plate.toml --name 'Practice {kind}'", "Under a new name.")
        ],
        takes=[place_of(file), options([replace(name, blank="the file's own")])],
    )


@_adding("blade", BLADE, "outline and reading methods")
def _add_blade(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        kept = shop.book.blade(add_blade(shop, {"file": args.file, "name": args.name}))
    say([f"Done: blade added: {clean(kept.name)}."])


@_adding("block", BLOCK, "three studs")
def _add_block(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        kept = shop.book.block(add_block(shop, {"file": args.file, "name": args.name}))
    say([f"Done: block added: {clean(kept.name)}."])


@command(
    "begin",
    "begin a book, without opening the bench",
    "A new book with a starter blade and block, at --book PATH or the shop's own place; with "
    "--demo the invented shop, at --book PATH. A book that is there is never touched.",
    see="paths, add-ski, restore",
    examples=[
        ("begin", "The shop's own book."),
        ("--book demo.db begin --demo", "The invented shop, to try the commands on."),
    ],
    takes=[flag("--demo", "fill it with the invented shop")],
)
def _begin(args: argparse.Namespace) -> None:
    path = path_of(args)
    if is_there(path):
        raise InputError("book", str(path), "a place where no book is yet")
    if args.demo and not args.book:
        raise InputError("--demo", "(no --book)", "--book PATH before the command")
    if args.demo:
        build_demo(path).close()
    else:
        with Book(path, make_folder=not args.book) as book:
            ensure_starter(book, args.who or "")
    then = "take 1" if args.demo else "add-ski NAME"
    lost = lost_words(path)
    notes = [f"! {lost}"] if lost else []
    say([f"Done: book begun: {clean(str(path))}", *notes, f"Command: quarterturn {then}"])


_PLACES = tuple(field for field in MEASURED if field.key.endswith("_at"))


@command(
    "measure-block",
    "keep a block measured by caliper, stud by stud",
    "Top studs are square to the base and the tail stud lies along it where no "
    f"lean is given. A place is {PLACE_ACCEPTED}. A thread is {THREAD_ACCEPTED}. "
    f"A tip is {TIP_ACCEPTED}. "
    "What a closed block hides may be left rough; find-block learns it from rounds.",
    see="add-block, find-block, correct-block",
    examples=[
        (
            "measure-block 'Heron block' --front 6.90 --rear 1.50 --tail=-0.6±0.1 "
            "--front-thread '10 turns 0.3125'",
            "One thread for all, measured; the tail stud's height is rough.",
        )
    ],
    takes=[
        place_of(MEASURED[0]),
        options(_PLACES, required=True),
        options(f for f in MEASURED[1:] if f not in _PLACES),
        unit_option("of bare numbers; else the bench's"),
        option("--draw-on", "BLADE", "draw it with this blade of the book; keeps it as well"),
    ],
)
def _measure(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        unit = shop.unit_typed(args.unit)
        found = measured_block(fields_of(args, MEASURED), unit)
        blade = pick(args.draw_on, shop.book.blades(), "--draw-on") if args.draw_on else None
        block = keep_measured(shop, found)
        lines = [f"Done: block measured: {clean(block.name)}.", *found.words]
        if blade is not None:
            lines += ["", *drawn_block(block, blade)]
        say(lines)


@ski_command(
    "find-block",
    "find where a ski's studs are from its rounds of known turns",
    "Three rounds or more of one job, five are better, each read before and after: a whole turn "
    "of each stud tells most. Says what was well fixed and what was not; --keep corrects the "
    "block by it.",
    see="measure-block, correct-block, turns",
    examples=[
        ("find-block", "What the rounds of the ski in hand tell of its block."),
        ("find-block --ski LK64/22 --keep 'five rounds'", "And the block is corrected by it."),
    ],
    takes=[
        option("--keep", "REASON", "correct the block by what was found"),
        unit_option("left out: the bench's own"),
    ],
)
def _find(args: argparse.Namespace) -> None:
    with at_ski(args) as at:
        try:
            found = found_from(at.shop, at.view)
        except InputError:
            raise
        except BenchError as why:
            raise PoseError(error_words(why, at.unit)) from None
        lines = found_lines(found, at.unit)
        if args.keep is not None:
            done = keep_found(at.shop, at.view, found, args.keep)
            lines += ["Done: block corrected.", *done.changes]
    say(lines)
