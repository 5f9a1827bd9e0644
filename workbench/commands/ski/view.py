"""A ski line by line: where it is, and taking it in hand."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.at_ski import add_ski_option, add_unit_option, at_ski
from workbench.commands.manual import page
from workbench.commands.output import say, say_json
from workbench.work.job_text.job_text import job_lines, job_report, next_lines, ski_lines
from workbench.work.job_text.typed_lines import take_ski

ONE_FACT = "One fact a line, without drawing."


def add(commands: Any) -> None:
    """Add ``next`` and ``take``."""
    nxt = commands.add_parser(
        "next",
        help="how far a ski is and what to do now",
        description=f"{ONE_FACT} Said are the ski, its stage, what to do now and the command for "
        "it, the caution that belongs there, each reading with its uncertainty and target, and "
        "where studs are to be turned the turns, exact and rounded, the steps and what to expect.",
    )
    nxt.add_argument(
        "ski", metavar="SKI", nargs="?", default=argparse.SUPPRESS, help="the same as --ski SKI"
    )
    add_ski_option(nxt)
    add_unit_option(nxt, "unit to show")
    nxt.add_argument("--json", action="store_true", help="print JSON for machines")
    nxt.set_defaults(run=_next)
    page(
        nxt,
        [
            ("next", "The ski in hand."),
            ('next "Heron 66"', "A ski by its name."),
            ("next 3 --unit mm", "The third ski of the queue, in mm."),
            ("next H66-014 --json", "A ski by its serial, for a script."),
        ],
        ("take", "queue", "tick", "read"),
    )
    take = commands.add_parser(
        "take",
        help="take a ski of the queue in hand",
        description="The ski in hand is the one that commands are about where --ski names no "
        "other. The bench opens on it too.",
    )
    take.add_argument("ski", metavar="SKI", help="serial, name or number in the queue")
    take.set_defaults(run=_take)
    page(
        take,
        [
            ("take 1", "The first ski of the queue."),
            ("take OT-65-771", "A ski by its serial."),
        ],
        ("next", "queue"),
    )


def _next(args: argparse.Namespace) -> int:

    with at_ski(args) as at:
        if args.json:
            say_json(job_report(at.view, at.unit, at.number, at.line))
        else:
            say(job_lines(at.view, at.unit, at.number, at.line, at.ski))
    return 0


def _take(args: argparse.Namespace) -> int:

    with at_ski(args) as at:
        take_ski(at.shop, at.line)
        lines = [*ski_lines(at.view, at.number, at.line, True), *next_lines(at.view, "")]
    say(lines)
    return 0
