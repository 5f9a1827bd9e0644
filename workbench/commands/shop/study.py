"""``quarterturn study``: the repeatability studies of the book, and what each says."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.manual import page
from workbench.commands.opened import opened_shop
from workbench.commands.output import progress, say, say_json
from workbench.commands.shop.study_take import add_options, asked_of
from workbench.work.study import studies, study_words
from workbench.work.trust import study_results


def add(commands: Any) -> None:
    """Add the parser of the command."""
    parser = commands.add_parser(
        "study",
        help="how well the shop agrees: repeatability tests planned, read and shown",
        description="List the repeatability tests, or show one: variation by source, and which "
        "change of setting the shop can honestly distinguish. A test is planned once and then "
        "read turn by turn, blind: no earlier reading is shown before it is complete.",
    )
    parser.add_argument(
        "study", nargs="?", default="", metavar="NAME", help="a test's name or number in the list"
    )
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--json", action="store_true", help="print JSON for machines")
    how.add_argument("--plain", action="store_true", help="print plain lines (the default)")
    add_options(parser)
    parser.set_defaults(run=run)
    page(
        parser,
        [
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
        ("calipers", "settings"),
    )


def run(args: argparse.Namespace) -> int:
    """List the studies, or show the one that was named."""
    act = asked_of(args)
    if act is not None:
        return act(args)
    with opened_shop(args) as shop:
        if args.study:
            with progress("Computing the test"):
                result = study_results.result_of(studies.find_study(shop, args.study))
            if args.json:
                say_json(study_words.result_report(result))
            else:
                say([study_words.result_text(result, result.view.study.unit)])
        else:
            views = studies.studies_of(shop)
            if args.json:
                say_json(study_words.list_report(views))
            else:
                say([study_words.list_text(views)])
    return 0
