"""``pairs``: two methods' numbers of the same fins, and the offset that they teach."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.asked import act_asked
from workbench.commands.at_ski import (
    AtSki,
    add_unit_option,
    at_ski,
    ski_command,
)
from workbench.commands.manual import page
from workbench.commands.output import say
from workbench.errors import InputError
from workbench.work.offsets import pairs
from workbench.work.offsets.offset_words import (
    choice_lines,
    pair_meant,
    restated_words,
    study_lines,
    two_meant,
)
from workbench.work.offsets.offsets import restate_current, restate_typed, study
from workbench.work.offsets.pairs import PairLine, Two
from workbench.work.text.words import clean

WAYS = ("add", "take", "strike", "restate")
_BELONGS = {"reason": ("strike",)}


def add(commands: Any) -> None:
    """Add ``pairs``."""
    parser = ski_command(
        commands, "pairs", "method offsets, learned from fins that were read by two methods",
        "Without TWO the methods of the blade that take one quantity, two by two, with their "
        "numbers. With TWO what their pairs say: the difference with its uncertainty, its limits, "
        "and whether the blade's outline agrees; then each pair, kept or offered out of a round.",
    )  # fmt: skip
    parser.add_argument("two", metavar="TWO", nargs="?", help="two methods by their number")
    parser.add_argument(
        "--turned", action="store_true", help="the other way round: by the second, to the first"
    )
    parser.add_argument(
        "--add", metavar=("FIRST", "SECOND"), nargs=2,
        help="keep a pair: this fin by the first and by the second method",
    )  # fmt: skip
    parser.add_argument("--take", metavar="N", help="keep a pair offered, by its number; or all")
    parser.add_argument("--strike", metavar="N", help="strike out a pair, with --reason")
    parser.add_argument(
        "--restate", metavar="NUMBER", help="a number by the first method, as the second reads it"
    )
    parser.add_argument("--reason", metavar="WORDS", help="why; with --strike")
    add_unit_option(parser, "unit to show, and of a bare number")
    parser.set_defaults(run=_pairs)
    page(
        parser,
        [
            ("pairs", "Which methods of this blade can be compared."),
            ("pairs 1", "What the pairs of the first two say."),
            ("pairs 1 --add 6.9365 6.7640", "The fin in hand, read by both."),
            ("pairs 1 --take all", "What rounds offer; never counted twice."),
            ("pairs 1 --restate 7.0120", "A number off another bench's card, as read here."),
            ("pairs 1 --turned --restate 171.40mm", "The other way round."),
            ('pairs 1 --strike 3 --reason "jaw in the slot"', "It stays readable."),
        ],
        ("restate", "read", "history"),
    )


def _pairs(args: argparse.Namespace) -> int:

    asked = act_asked(args, WAYS, _BELONGS)
    with at_ski(args) as at:
        choices = pairs.choices(at.shop, at.view)
        if args.two is None and not asked:
            lines = choice_lines(at.shop, choices)
        else:
            two = two_meant(choices, args.two or "")
            lines = _two(at, two.turned if args.turned else two, asked, args)
    say(lines)
    return 0


def _two(at: AtSki, two: Two, asked: str, args: argparse.Namespace) -> list[str]:

    done = _done(at, two, asked, args) if asked else []
    now = restate_current(at.shop, at.view, two)
    return [*done, *study_lines(study(at.shop, at.view, two), now, at.view, at.unit)]


def _done(at: AtSki, two: Two, asked: str, args: argparse.Namespace) -> list[str]:
    """Do what is asked with the pairs of two methods; say it."""

    if asked == "restate":
        return _restated(at, two, args.restate)
    if asked == "add":
        fields = dict(zip(("first", "second"), args.add, strict=True))
        pairs.add_pair(at.shop, at.view, two, fields, at.unit)
        return ["Done: pair kept."]
    if asked == "take":
        count = pairs.take_offered(at.shop, two, _offered(at, two, args.take))
        return [f"Done: {count} kept from rounds."]
    pairs.strike_pair(at.shop, _kept(at, two, args.strike), args.reason or "")
    return ["Done: pair struck out; it stays readable."]


def _restated(at: AtSki, two: Two, text: str) -> list[str]:

    number, found = restate_typed(at.shop, at.view, two, text, at.unit)
    names = (clean(two.first.name), clean(two.second.name))
    return [f"Converted: {restated_words(number, found, names, at.unit)}."]


def _offered(at: AtSki, two: Two, text: str) -> tuple[PairLine, ...]:

    kept = pairs.pairs_of(at.shop, two)
    offered = pairs.offered(at.shop, at.view, two, kept)
    if not offered:
        raise InputError("pairs", "(none offered)", "rounds in which both methods were read")
    if text.strip().casefold() == "all":
        return offered
    line = pair_meant((*kept, *offered), text)
    if line.row is not None:
        raise InputError("pair", text, "one that is offered")
    return (line,)


def _kept(at: AtSki, two: Two, text: str) -> PairLine:

    return pair_meant(pairs.pairs_of(at.shop, two), text)
