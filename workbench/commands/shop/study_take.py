"""What ``study`` does with a study beside showing it: planned, read turn by turn, struck out."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TypeAlias

from workbench.commands.at_ski import unit_of
from workbench.commands.manual import act_asked
from workbench.commands.opened import opened_shop
from workbench.commands.output import say, say_json
from workbench.errors import InputError
from workbench.work.job.shop import Shop
from workbench.work.roster.calipers import standing_words
from workbench.work.study.studies import (
    find_study,
    strike_reading,
    strike_study,
    take,
    take_back,
    view_of,
)
from workbench.work.study.study_lines import (
    due_lines,
    due_report,
    reading_lines,
    reading_meant,
    reading_placed,
    whose_words,
)
from workbench.work.study.study_order import RULE
from workbench.work.study.study_plans import plan_study
from workbench.work.text.words import clean
from workbench.work.trust.study_view import StudyView

PLAN = (
    ("what", "METHOD", "with --plan: what is read, a method's name or your own words"),
    ("near", "LENGTH", "with --plan: about what it reads, to place points by"),
    ("parts", "NAMES", "with --plan: 2 or more, ';' between them: 'Heron 66; Tern 67'"),
    ("people", "INITIALS", "with --plan: those who read, a blank between them: 'KV JT'"),
    ("trials", "N", "with --plan: how often everyone reads every part, 2 to 10; left out: 3"),
)

Act: TypeAlias = Callable[[argparse.Namespace], int]
Did: TypeAlias = "tuple[StudyView, list[str]]"
Do: TypeAlias = "Callable[[Shop, argparse.Namespace], Did]"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options by which a study is planned, read and struck out."""
    for name, words in (
        ("plan", "plan a test of this NAME; its reading order is shuffled"),
        ("due", "say whose turn it is to read what"),
        ("take-back", "take the last reading back; its turn is due again"),
        ("readings", "list the readings with their numbers"),
        ("strike-study", "strike the whole test out, with --reason"),
    ):
        parser.add_argument(f"--{name}", action="store_true", help=words)
    parser.add_argument("--read", metavar="VALUE", help="the reading of the turn that is due")
    parser.add_argument("--strike-reading", metavar="N", help="strike out a reading, with --reason")
    for name, metavar, words in PLAN:
        parser.add_argument(f"--{name}", metavar=metavar, help=words)
    parser.add_argument(
        "--unit", choices=("in", "mm"), help="with --plan: of every reading; left out: the bench's"
    )
    parser.add_argument("--yes", action="store_true", help="take a doubtful reading as it is")
    parser.add_argument("--reason", metavar="WORDS", help="why it is struck out")


def asked_of(args: argparse.Namespace) -> Act | None:
    """Return what is asked for beside showing; None where nothing is.

    Raises:
        InputError: two acts at once, an option without its act, or no study is named.
    """

    name = act_asked(args, _ACTS, _BELONGS)
    if not name:
        return None
    if not args.study:
        raise InputError("study", "(none named)", "its name before the option, or its number")
    return lambda given: _done(given, _ACTS[name])


_BELONGS = {
    **dict.fromkeys(("what", "near", "parts", "people", "trials", "unit"), ("plan",)),
    "yes": ("read",),
    "reason": ("strike_reading", "strike_study"),
}
"""Which acts an option belongs to."""


def _done(args: argparse.Namespace, do: Do) -> int:

    with opened_shop(args) as shop:
        view, said = do(shop, args)
    if args.json:
        say_json(due_report(view, readings=args.readings))
    else:
        say([*said, *due_lines(view)])
    return 0


# -- the acts --------------------------------------------------------------------------------------


def _plan(shop: Shop, args: argparse.Namespace) -> Did:

    fields = {name: getattr(args, name) or "" for name, *_ in PLAN}
    fields |= {"name": args.study, "unit": unit_of(args, shop), "trials": args.trials or "3"}
    view = view_of(shop, plan_study(shop, fields))
    return view, [f"Done: planned: {view.total} readings.", f"Order: {RULE}"]


def _due(shop: Shop, args: argparse.Namespace) -> Did:
    return _named(shop, args), []


def _read(shop: Shop, args: argparse.Namespace) -> Did:
    """Keep a reading; what is said after it does not repeat the number."""

    view = _named(shop, args)
    due, placing = reading_placed(view, args.read, sure=args.yes)
    new = take(shop, view, args.read, placing.mm)
    warning = standing_words(shop)
    return new, [f"Done: kept: {clean(due.words)}.", *([f"Warning: {warning}"] if warning else [])]


def _take_back(shop: Shop, args: argparse.Namespace) -> Did:

    view, last = take_back(shop, _named(shop, args))
    if last is None:
        return view, ["Done: nothing to take back."]
    return view, [f"Done: taken back: {whose_words(last)}; read it again."]


def _readings(shop: Shop, args: argparse.Namespace) -> Did:

    view = _named(shop, args)
    return view, reading_lines(view)


def _strike_reading(shop: Shop, args: argparse.Namespace) -> Did:

    view = _named(shop, args)
    reading = reading_meant(view, args.strike_reading)
    new = strike_reading(shop, view, reading.id, args.reason or "")
    return new, [f"Done: struck out: {whose_words(reading)}; it stays readable."]


def _strike_study(shop: Shop, args: argparse.Namespace) -> Did:

    view = strike_study(shop, _named(shop, args), args.reason or "")
    return view, ["Done: test struck out; it stays readable."]


def _named(shop: Shop, args: argparse.Namespace) -> StudyView:

    return find_study(shop, args.study)


_ACTS: dict[str, Do] = {
    "plan": _plan, "due": _due, "read": _read, "take_back": _take_back, "readings": _readings,
    "strike_reading": _strike_reading, "strike_study": _strike_study,
}  # fmt: skip
