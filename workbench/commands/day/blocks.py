"""``measure-block`` and ``find-block``: a block by caliper, and one found from known turns."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import at_ski, fields_of, ski_command
from workbench.commands.manual import command, option, options, place_of, unit_option
from workbench.commands.opened import opened_shop
from workbench.commands.output import say
from workbench.errors import BenchError, InputError, PoseError
from workbench.work.roster.adding import pick
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
from workbench.work.text.words import clean, error_words

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
    "Three rounds or more of one job, five are better, each read before and after: a whole "
    "turn of each stud tells most. Says what was well fixed and what was not; --keep corrects "
    "the block by it.",
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
