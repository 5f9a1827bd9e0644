"""``measure-block`` and ``find-block``: a block by caliper, and one found from known turns."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import at_ski, ski_command, unit_of
from workbench.commands.manual import Commands
from workbench.commands.opened import opened_shop
from workbench.commands.output import say
from workbench.errors import BenchError, InputError, PoseError
from workbench.work.roster.adding import pick
from workbench.work.roster.measured_block import (
    PLACE_ACCEPTED,
    STUD_NAMES,
    THREAD_ACCEPTED,
    TIP_ACCEPTED,
    drawn_block,
    found_from,
    found_lines,
    keep_found,
    keep_measured,
    measured_block,
)
from workbench.work.text.words import clean, error_words

WHERE = {
    "front": "from the tail end to where the top front stud's axis meets the base",
    "rear": "the same of the top rear stud",
    "tail": "how far out of the base the tail stud's axis lies; minus: under it",
}


def add(commands: Commands) -> None:
    """Add the commands."""
    _add_measure(commands)
    _add_find(commands)


def _add_measure(commands: Commands) -> None:
    measure = commands.add_parser(
        "measure-block",
        help="keep a block measured by caliper, stud by stud",
        description="Top studs are square to the base and the tail stud lies along it where no "
        f"lean is given. A place is {PLACE_ACCEPTED}. A thread is {THREAD_ACCEPTED}. "
        f"A tip is {TIP_ACCEPTED}. "
        "What a closed block hides may be left rough; find-block learns it from rounds.",
        run=_measure,
        see="add-block, find-block, correct-block",
        examples=[
            (
                "measure-block 'Heron block' --front 6.90 --rear 1.50 --tail=-0.6±0.1 "
                "--front-thread '10 turns 0.3125'",
                "One thread for all, measured; the tail stud's height is rough.",
            )
        ],
    )
    measure.place("name", "NAME", "a name of its own")
    for name in STUD_NAMES:
        measure.option(f"--{name}", "PLACE", WHERE[name], required=True)
    for name in STUD_NAMES:
        way = "out of the base" if name == "tail" else "toward the tip"
        measure.option(
            f"--{name}-lean",
            "DEGREES",
            f"by which the {name} stud's end leans {way}; left out: none",
            default="",
        )
    for name in STUD_NAMES:
        more = "" if name == "front" else "; left out: as of the stud before"
        measure.option(f"--{name}-thread", "THREAD", f"of the {name} stud{more}", default="")
        measure.option(f"--{name}-hand", "HAND", "right or left; left out: as before", default="")
        measure.option(f"--{name}-tip", "TIP", "left out: as before, or a point", default="")
    measure.option("--finest-turn", "TURN", "left out: 1/8", default="")
    measure.unit("of bare numbers; else the bench's")
    measure.option("--draw-on", "BLADE", "draw it with this blade of the book; keeps it as well")


def _measure(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        unit = unit_of(args, shop)
        fields = {"name": args.name, "finest_turn": args.finest_turn}
        for name in STUD_NAMES:
            fields[f"{name}_at"] = getattr(args, name)
            for key in ("thread", "hand", "tip", "lean"):
                fields[f"{name}_{key}"] = getattr(args, f"{name}_{key}")
        found = measured_block(fields, unit)
        blade = pick(args.draw_on, shop.book.blades(), "--draw-on") if args.draw_on else None
        block = keep_measured(shop, found)
        lines = [f"Done: block measured: {clean(block.name)}.", *found.words]
        if blade is not None:
            lines += ["", *drawn_block(block, blade)]
        say(lines)


def _add_find(commands: Commands) -> None:
    find = ski_command(
        commands, "find-block", "find where a ski's studs are from its rounds of known turns",
        "Three rounds or more of one job, five are better, each read before and after: a whole "
        "turn of each stud tells most. Says what was well fixed and what was not; --keep corrects "
        "the block by it.",
        run=_find, see="measure-block, correct-block, turns",
        examples=[
            ("find-block", "What the rounds of the ski in hand tell of its block."),
            ("find-block --ski LK64/22 --keep 'five rounds'", "And the block is corrected by it."),
        ],
    )  # fmt: skip
    find.option("--keep", "REASON", "correct the block by what was found")
    find.unit("left out: the bench's own")


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
