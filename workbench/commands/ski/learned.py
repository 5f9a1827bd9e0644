"""What was learned: of studs by turning them, and of two methods by reading both."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import AtSki, Did, at_ski, ski_act, ski_command
from workbench.commands.manual import (
    act_asked,
    command,
    flag,
    one_of,
    option,
    options,
    place,
    unit_option,
)
from workbench.commands.opened import KNOWN, opened_shop
from workbench.commands.output import say
from workbench.errors import InputError, PoseError
from workbench.work.learn import what_learnt
from workbench.work.roster.adding import known_ski
from workbench.work.study import offsets
from workbench.work.study.offset_words import (
    choice_lines,
    method_lines,
    pair_meant,
    restated_words,
    study_lines,
    two_meant,
)
from workbench.work.study.offsets import PAIR, RESTATED, PairLine, Two
from workbench.work.study.restating import learnt_beside, restated
from workbench.work.text.fields import REASON
from workbench.work.text.words import clean, error_words


@ski_act(
    "settled",
    "say that the studs were settled before the first reading",
    "Bolts loose, each stud turned out 1/8 and in 1/8, the blade pushed home, bolts snug: then it "
    "is known on which side each thread has its play. Offered where the setting 'learning' is on; "
    "a reading taken instead goes without.",
    see="read, learned",
    examples=[("settled", "The studs of the ski in hand are settled.")],
)
def _settled(at: AtSki, args: argparse.Namespace) -> Did:
    return at.shop.settle(at.view), "settled"


@ski_act(
    "without-learned",
    "turn this job by the plain geometry",
    "The turns then are those of the geometry alone, as if nothing had been learned. Not in the "
    "middle of a round.",
    see="learned, next",
    examples=[
        ("without-learned", "The plain turns, for this job."),
        ("without-learned --off", "As learned again."),
    ],
    takes=[flag("--off", "go by what was learned again, in this job")],
)
def _without_learned(at: AtSki, args: argparse.Namespace) -> Did:
    said = "turns by what was learned" if args.off else "turns without what was learned"
    return at.shop.without_learned(at.view, not args.off), said


@command(
    "learned",
    "what a turn of each stud really moves, learned from the kept rounds",
    "Of the ski's block and blade, from the rounds of all skis that share them. Nothing learned "
    "is stored: it is worked out anew from what was kept, so that what is struck out leaves no "
    "trace. Turns go by it where the setting 'learning' is on.",
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


WAYS = ("add", "take", "strike", "restate")
_BELONGS = {"reason": ("strike",)}


@ski_command(
    "methods",
    "this fin by every method of its blade",
    "What each method would read on the fin as it is by the readings of this round in both units, "
    "with its standard uncertainty and its difference from the reading of the same quantity; and, "
    "where pairs of two methods were kept, what these make of the reading.",
    see="restate, pairs, read",
    examples=[
        ("methods", "The fin of the ski in hand."),
        ("methods --ski LK64/22 --unit mm", "Another one's, in mm."),
    ],
    takes=[unit_option("unit of uncertainties and differences; left out: the bench's own")],
)
def _methods(args: argparse.Namespace) -> None:
    with at_ski(args) as at:
        try:
            found = restated(at.shop, at.view, at.unit)
        except PoseError as why:
            raise PoseError(error_words(why, at.unit)) from None
        lines = method_lines(found, learnt_beside(at.shop, at.view, found), at.unit)
    say(lines)


@ski_command(
    "pairs",
    "method offsets, learned from fins that were read by two methods",
    "Without TWO the methods of the blade that take one quantity, two by two, with their numbers. "
    "With TWO what their pairs say: the difference with its uncertainty, its limits, and whether "
    "the blade's outline agrees; then each pair, kept or offered out of a round.",
    see="restate, read, history",
    examples=[
        ("pairs", "Which methods of this blade can be compared."),
        ("pairs 1", "What the pairs of the first two say."),
        ("pairs 1 --add 6.9365 6.7640", "The fin in hand, read by both."),
        ("pairs 1 --take all", "What rounds offer; never counted twice."),
        ("pairs 1 --restate 7.0120", "A number off another bench's card, as read here."),
        ("pairs 1 --turned --restate 171.40mm", "The other way round."),
        ('pairs 1 --strike 3 --reason "jaw in the slot"', "It stays readable."),
    ],
    takes=[
        place("two", "TWO", "two methods by their number", nargs="?"),
        flag("--turned", "the other way round: by the second, to the first"),
        option(
            "--add",
            tuple(f.typed for f in PAIR),
            f"keep a pair: {', '.join(f.words for f in PAIR)}",
            nargs=2,
        ),
        option("--take", "N", "keep a pair offered, by its number; or all"),
        option("--strike", "N", "strike out a pair, with --reason"),
        option("--restate", RESTATED.typed, RESTATED.words),
        options([REASON], more="; with --strike", default=None),
        unit_option("unit to show, and of a bare number; left out: the bench's own"),
    ],
)
def _pairs(args: argparse.Namespace) -> None:
    asked = act_asked(args, WAYS, _BELONGS)
    with at_ski(args) as at:
        choices = offsets.choices(at.shop, at.view)
        if args.two is None and not asked:
            lines = choice_lines(at.shop, choices)
        else:
            two = two_meant(choices, args.two or "")
            lines = _two(at, two.turned if args.turned else two, asked, args)
    say(lines)


def _two(at: AtSki, two: Two, asked: str, args: argparse.Namespace) -> list[str]:
    done = _done(at, two, asked, args) if asked else []
    return [*done, *study_lines(offsets.study(at.shop, at.view, two), at.unit)]


def _done(at: AtSki, two: Two, asked: str, args: argparse.Namespace) -> list[str]:
    """Do what is asked with the pairs of two methods; say it."""
    if asked == "restate":
        return _restated(at, two, args.restate)
    if asked == "add":
        fields = {f.key: text for f, text in zip(PAIR, args.add, strict=True)}
        offsets.add_pair(at.shop, at.view, two, fields, at.unit)
        return ["Done: pair kept."]
    if asked == "take":
        count = offsets.take_offered(at.shop, two, _offered(at, two, args.take))
        return [f"Done: {count} kept from rounds."]
    offsets.strike_pair(at.shop, _kept(at, two, args.strike), args.reason or "")
    return ["Done: pair struck out; it stays readable."]


def _restated(at: AtSki, two: Two, text: str) -> list[str]:
    found = offsets.restate_typed(at.shop, at.view, two, text, at.unit)
    names = (clean(two.first.name), clean(two.second.name))
    return [f"Converted: {restated_words(*found, names, at.unit)}."]


def _offered(at: AtSki, two: Two, text: str) -> tuple[PairLine, ...]:
    kept = offsets.pairs_of(at.shop, two)
    offered = offsets.offered(at.shop, at.view, two, kept)
    if not offered:
        raise InputError("pairs", "(none offered)", "rounds in which both methods were read")
    if text.strip().casefold() == "all":
        return offered
    line = pair_meant((*kept, *offered), text)
    if line.row is not None:
        raise InputError("pair", text, "one that is offered")
    return (line,)


def _kept(at: AtSki, two: Two, text: str) -> PairLine:
    return pair_meant(offsets.pairs_of(at.shop, two), text)
