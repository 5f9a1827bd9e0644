"""What the bench has learned of a block and blade, and whether a job goes by it."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import AtSki, Did, ski_act
from workbench.commands.manual import command, flag, one_of, option, options
from workbench.commands.opened import KNOWN, opened_shop
from workbench.commands.output import say
from workbench.work.learn import what_learnt
from workbench.work.roster.adding import known_ski
from workbench.work.text.fields import REASON
from workbench.work.text.words import clean


@ski_act(
    "settled",
    "say that the studs were settled before the first reading",
    "Bolts loose, each stud turned out 1/8 and in 1/8, the blade pushed home, bolts snug: then "
    "it is known on which side each thread has its play. Offered where the setting 'learning' "
    "is on; a reading taken instead goes without.",
    see="read, learned",
    examples=[("settled", "The studs of the ski in hand are settled.")],
)
def _settled(at: AtSki, args: argparse.Namespace) -> Did:
    return at.shop.settle(at.view), "settled"


@ski_act(
    "without-learned",
    "turn this job by the plain geometry",
    "The turns then are those of the geometry alone, as if nothing had been learned. Not in "
    "the middle of a round.",
    see="learned, next",
    examples=[
        ("without-learned", "The plain turns, for this job."),
        ("without-learned --off", "As learned again."),
    ],
    takes=[
        flag("--off", "go by what was learned again, in this job"),
    ],
)
def _without_learned(at: AtSki, args: argparse.Namespace) -> Did:
    said = "turns by what was learned" if args.off else "turns without what was learned"
    return at.shop.without_learned(at.view, not args.off), said


@command(
    "learned",
    "what a turn of each stud really moves, learned from the kept rounds",
    "Of the ski's block and blade, from the rounds of all skis that share them. "
    "Nothing learned is stored: it is worked out anew from what was kept, so that what is "
    "struck out leaves no trace. Turns go by it where the setting 'learning' is on.",
    see="history, settings, turns",
    examples=[
        ("learned H66-014", "What its block and blade have taught."),
        ("learned H66-014 --moves", "With every turn that it was learned from."),
        ("learned H66-014 --forget tail --reason 'new stud'", "Nothing of the old stud."),
        ("learned H66-014 --bring-back tail", "It was the old stud after all."),
    ],
    takes=[
        KNOWN,
        one_of(
            option("--forget", "STUD", "forget what was learned of a stud up to now, or of 'all'"),
            option("--bring-back", "STUD", "let what was forgotten count again"),
        ),
        flag("--moves", "each turn too: what was asked for and what it moved"),
        options([REASON], more="; with --forget"),
    ],
)
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
