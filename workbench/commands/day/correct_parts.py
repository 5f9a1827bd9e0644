"""What is written down wrong of a block, a blade or a baseline, put right line by line."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.opened import opened_shop
from workbench.commands.output import say
from workbench.work.roster import corrections
from workbench.work.roster.correction_words import mended_lines
from workbench.work.roster.corrections import baseline_named, correct_baseline, strike_baseline
from workbench.work.text.words import clean


def add(commands: Any) -> None:
    """Add the commands."""
    for kind, words in (
        ("block", "Its studs keep their names, for the turns already made are kept by them."),
        ("blade", "Its reading methods stay as they are."),
    ):
        _add_part(commands, kind, words)
    _add_baseline(commands)
    _add_strike(commands)


def _add_part(commands: Any, kind: str, words: str) -> None:
    parser = commands.add_parser(
        f"correct-{kind}",
        help=f"put right what is written down of a {kind}, from a file",
        description=f"TOML or JSON as for add-{kind}. Every ski that uses it follows, its readings "
        f"stay as they are and its turns are worked out anew. {words} A signed-off job keeps "
        "showing what it showed, and a round whose steps were begun is finished as it was begun.",
        run=_correct_part,
        see=f"parts, add-{kind}, history",
        examples=[
            (f'correct-{kind} 1 {kind}.toml --reason "measured again" --dry-run', "A look first."),
            (f'correct-{kind} 1 {kind}.toml --reason "measured again"', "Kept."),
        ],
    )
    parser.place(kind, kind.upper(), "by name or number in 'parts'")
    parser.place("file", "FILE", "a work order will do")
    parser.option("--reason", "WORDS", "why", required=True)
    parser.flag("--dry-run", "say what would come of it, no more")
    parser.set_defaults(kind=kind)


def _add_baseline(commands: Any) -> None:
    parser = commands.add_parser(
        "correct-baseline",
        help="put a number of a baseline right",
        description="What it said before stays in the ski's history. A target that was taken from "
        "it stays as it is.",
        run=_correct_baseline,
        see="baselines, strike-baseline",
        examples=[
            (
                'correct-baseline spring "tail, upper line" "0.790 in" --reason "digits swapped"',
                "One number of it.",
            )
        ],
    )
    parser.place("baseline", "BASELINE", "its name or number in 'baselines'")
    parser.place("method", "METHOD", "the method's name, in full")
    parser.place("value", "VALUE", "bare: in the unit that the number had")
    parser.option("--reason", "WORDS", "why", required=True)


def _add_strike(commands: Any) -> None:
    parser = commands.add_parser(
        "strike-baseline",
        help="strike a baseline out",
        description="It is offered no longer and stays readable with the reason, in 'baselines "
        "struck' and in the history of its ski.",
        run=_strike,
        see="baselines, correct-baseline",
        examples=[('strike-baseline spring --reason "read on another ski"', "Withdrawn.")],
    )
    parser.place("baseline", "BASELINE", "its name or number in 'baselines'")
    parser.option("--reason", "WORDS", "why", required=True)


def _correct_part(args: argparse.Namespace) -> None:
    correct: Any = corrections.correct_block if args.kind == "block" else corrections.correct_blade
    name = getattr(args, args.kind)
    with opened_shop(args) as shop:
        done = correct(shop, name, args.file, args.reason, dry_run=args.dry_run)
    said = "would be corrected" if args.dry_run else "corrected"
    head = "Trial" if args.dry_run else "Done"
    say([f"{head}: {args.kind} {said}: {clean(done.part.name)}.", *mended_lines(done)])


def _correct_baseline(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        baseline = baseline_named(shop, args.baseline)
        values = {args.method: args.value}
        done = correct_baseline(shop, baseline.id, values, args.reason)
    say([f"Done: baseline corrected: {clean(done.part.name)}.", *mended_lines(done)])


def _strike(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        baseline = baseline_named(shop, args.baseline)
        strike_baseline(shop, baseline, args.reason)
    say([f"Done: baseline struck out: {clean(baseline.name)}. It stays readable."])
