"""What the bench has learned of a block and blade, and whether a job goes by it."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import ski_command
from workbench.commands.manual import Commands
from workbench.commands.opened import opened_shop
from workbench.commands.output import say
from workbench.work.learn import what_learnt
from workbench.work.roster.adding import known_ski
from workbench.work.text.words import clean


def add(commands: Commands) -> None:
    """Add the commands."""
    learned = commands.add_parser(
        "learned",
        help="what a turn of each stud really moves, learned from the kept rounds",
        description="Of the ski's block and blade, from the rounds of all skis that share them. "
        "Nothing learned is stored: it is worked out anew from what was kept, so that what is "
        "struck out leaves no trace. Turns go by it where the setting 'learning' is on.",
        run=_learned,
        see="history, settings, turns",
        examples=[
            ("learned H66-014", "What its block and blade have taught."),
            ("learned H66-014 --moves", "With every turn that it was learned from."),
            ("learned H66-014 --forget tail --reason 'new stud'", "Nothing of the old stud."),
            ("learned H66-014 --bring-back tail", "It was the old stud after all."),
        ],
    )
    learned.place("ski", "SKI", "serial or name of a ski in the book")
    change = learned.add_mutually_exclusive_group()
    change.add_argument(
        "--forget", metavar="STUD", help="forget what was learned of a stud up to now, or of 'all'"
    )
    change.add_argument("--bring-back", metavar="STUD", help="let what was forgotten count again")
    learned.flag("--moves", "each turn too: what was asked for and what it moved")
    learned.option("--reason", "WORDS", "why it is forgotten", default="")
    ski_command(
        commands, "settled", "say that the studs were settled before the first reading",
        "Bolts loose, each stud turned out 1/8 and in 1/8, the blade pushed home, bolts snug: then "
        "it is known on which side each thread has its play. Offered where the setting 'learning' "
        "is on; a reading taken instead goes without.",
        do=lambda at, _: (at.shop.settle(at.view), "settled"), see="read, learned",
        examples=[("settled", "The studs of the ski in hand are settled.")],
    )  # fmt: skip
    without = ski_command(
        commands, "without-learned", "turn this job by the plain geometry",
        "The turns then are those of the geometry alone, as if nothing had been learned. Not in "
        "the middle of a round.",
        do=lambda at, args: (
            at.shop.without_learned(at.view, not args.off),
            "turns by what was learned" if args.off else "turns without what was learned",
        ), see="learned, next",
        examples=[
            ("without-learned", "The plain turns, for this job."),
            ("without-learned --off", "As learned again."),
        ],
    )  # fmt: skip
    without.flag("--off", "go by what was learned again, in this job")


def _learned(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        ski, book = known_ski(shop, args.ski), shop.book
        if args.forget is not None:
            name = what_learnt.forget(book, ski, args.forget, args.reason, shop.who)
            say([f"Forgotten: {clean(name) or 'all studs'}"])
        elif args.bring_back is not None:
            name = what_learnt.bring_back(book, ski, args.bring_back, shop.who)
            say([f"Brought back: {clean(name) or 'all studs'}"])
        say(what_learnt.taught_lines(book, ski))
        if args.moves:
            page_of = what_learnt.learnt_page(book, ski)
            say([line for stud in page_of.studs for line in what_learnt.move_words(stud)])
