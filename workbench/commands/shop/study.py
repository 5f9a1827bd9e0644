"""``study``: the repeatability studies of the book, planned, read, shown and struck out."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping
from typing import TypeAlias

from workbench.commands.at_ski import fields_of
from workbench.commands.manual import (
    JSON,
    act_asked,
    command,
    flag,
    one_of,
    option,
    options,
    place,
    unit_option,
)
from workbench.commands.opened import opened_shop
from workbench.commands.output import progress, say, say_json
from workbench.errors import InputError
from workbench.work.job.shop import Shop
from workbench.work.roster.calipers import standing_words
from workbench.work.study import studies, study_words
from workbench.work.study.studies import PLAN
from workbench.work.text.fields import REASON, some
from workbench.work.text.words import clean
from workbench.work.trust.study_results import StudyView, result_of

_Done: TypeAlias = tuple[StudyView, list[str]]
"""The study as it is after an act, and what is said of the act."""


(_UNIT,) = some(PLAN, "unit")
_PLANNED = some(PLAN, "what near parts people trials")


@command(
    "study",
    "how well the shop agrees: repeatability tests planned, read and shown",
    "List the repeatability tests, or show one: variation by source, and which change of setting "
    "the shop can honestly distinguish. A test is planned once and then read turn by turn, blind: "
    "no earlier reading is shown before it is complete.",
    see="calipers, settings",
    examples=[
        ("study", "The tests with their numbers."),
        ("study 1", "The first of them."),
        ("study 1 --json", "The same for a script."),
        (
            'study "slow hour" --plan --what "depth, hole 2 back edge" --near 2.45 '
            '--parts "Heron 66; Tern 67" --people "KV JT" --trials 3',
            "Two skis, two people, three times each.",
        ),
        ('study "slow hour" --due', "Whose turn it is to read what."),
        ('study "slow hour" --read 2.4505', "The reading of that turn."),
        ("study 2 --take-back", "The last reading; its turn comes again."),
        ("study 2 --readings", "All readings with their numbers."),
        ('study 2 --strike-reading 7 --reason "jaw on the bevel"', "One of them."),
        ('study 2 --strike-study --reason "the wrong caliper"', "The whole test."),
    ],
    takes=[
        place("study", "NAME", "a test's name or number in the list", nargs="?", default=""),
        one_of(JSON, flag("--plain", "print plain lines (the default)")),
        *(
            flag(f"--{name}", words)
            for name, words in (
                ("plan", "plan a test of this NAME; its reading order is shuffled"),
                ("due", "say whose turn it is to read what"),
                ("take-back", "take the last reading back; its turn is due again"),
                ("readings", "list the readings with their numbers"),
                ("strike-study", "strike the whole test out, with --reason"),
            )
        ),
        option("--read", "VALUE", "the reading of the turn that is due"),
        option("--strike-reading", "N", "strike out a reading, with --reason"),
        options(_PLANNED, more="; with --plan", default=None),
        unit_option("with --plan: of every reading; left out: the bench's"),
        flag("--yes", "take a doubtful reading as it is"),
        options([REASON], default=None),
    ],
)
def _study(args: argparse.Namespace) -> int:
    """List the studies, show the one that was named, or do with it what is asked for."""
    act = act_asked(args, _ACTS, _BELONGS)
    if act and not args.study:
        raise InputError("study", "(none named)", "its name before the option, or its number")
    with opened_shop(args) as shop:
        if act:
            view, said = _ACTS[act](shop, args)
            report: Mapping[str, object] = study_words.due_report(view, readings=args.readings)
            lines = [*said, *study_words.due_lines(view)]
        elif args.study:
            with progress("Computing the test"):
                result = result_of(studies.find_study(shop, args.study))
            report = study_words.result_report(result)
            lines = [study_words.result_text(result, result.view.study.unit)]
        else:
            views = studies.studies_of(shop)
            report, lines = study_words.list_report(views), [study_words.list_text(views)]
    if args.json:
        say_json(report)
    else:
        say(lines)
    return 0


# -- the acts --------------------------------------------------------------------------------------


def _plan(shop: Shop, args: argparse.Namespace) -> _Done:
    fields = {**fields_of(args, (*_PLANNED, _UNIT)), "name": args.study}
    view = studies.view_of(shop, studies.plan_study(shop, fields))
    return view, [f"Done: planned: {view.total} readings.", f"Order: {studies.RULE}"]


def _due(shop: Shop, args: argparse.Namespace) -> _Done:
    return studies.find_study(shop, args.study), []


def _read(shop: Shop, args: argparse.Namespace) -> _Done:
    """Keep a reading; what is said after it does not repeat the number."""
    view = studies.find_study(shop, args.study)
    due, placing = study_words.reading_placed(view, args.read, sure=args.yes)
    new = studies.keep_reading(shop, view, args.read, placing.mm)
    warning = standing_words(shop)
    return new, [f"Done: kept: {clean(due.words)}.", *([f"Warning: {warning}"] if warning else [])]


def _take_back(shop: Shop, args: argparse.Namespace) -> _Done:
    view, last = studies.take_back(shop, studies.find_study(shop, args.study))
    if last is None:
        return view, ["Done: nothing to take back."]
    return view, [f"Done: taken back: {study_words.whose_words(last)}; read it again."]


def _readings(shop: Shop, args: argparse.Namespace) -> _Done:
    view = studies.find_study(shop, args.study)
    return view, study_words.taken_lines(view)


def _strike_reading(shop: Shop, args: argparse.Namespace) -> _Done:
    view = studies.find_study(shop, args.study)
    reading = study_words.taken_meant(view, args.strike_reading)
    new = studies.strike_reading(shop, view, reading.id, args.reason or "")
    return new, [f"Done: struck out: {study_words.whose_words(reading)}; it stays readable."]


def _strike_study(shop: Shop, args: argparse.Namespace) -> _Done:
    view = studies.find_study(shop, args.study)
    struck = studies.strike_study(shop, view, args.reason or "")
    return struck, ["Done: test struck out; it stays readable."]


_ACTS: dict[str, Callable[[Shop, argparse.Namespace], _Done]] = {
    "plan": _plan, "due": _due, "read": _read, "take_back": _take_back, "readings": _readings,
    "strike_reading": _strike_reading, "strike_study": _strike_study,
}  # fmt: skip

_BELONGS = {
    **dict.fromkeys((field.key for field in (*_PLANNED, _UNIT)), ("plan",)),
    "yes": ("read",),
    "reason": ("strike_reading", "strike_study"),
}
"""Which acts an option belongs to."""
