"""The day's queue and a search among all skis, as plain lines."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.opened import opened_shop
from workbench.commands.output import facts, say, say_json
from workbench.work.job.job_view import RosterLine
from workbench.work.job.stages import LOOSE
from workbench.work.job_text.job_text import queue_report
from workbench.work.roster import queue
from workbench.work.roster.find import ski_finder
from workbench.work.text.words import clean


def add(commands: Any) -> None:
    """Add ``queue`` and ``find``."""
    listed = commands.add_parser(
        "queue",
        help="list a day's queue with a line that sums it up",
        description="The day's jobs in their order: stage, ski, rider, due, kind and notes; what "
        "earlier days left unfinished comes before today's. Then the re-checks that are offered.",
        run=_queue,
        see="take, queue-ski, move, carry",
        examples=[
            ("queue", "Today's skis."),
            ("queue --day 2026-11-28 --json", "Another day's, for a script."),
        ],
    )
    listed.option("--day", "DAY", "another day than today, as YYYY-MM-DD")
    listed.flag("--json", "print JSON for machines")
    find = commands.add_parser(
        "find",
        help="find skis by name, rider, serial and note",
        description="Skis of the book in which every word occurs, in name, rider, serial or note; "
        "capitals and accents do not matter.",
        run=_find,
        see="queue-ski, history",
        examples=[("find heron tavary", "Ines Tavary's skis whose name begins with Heron.")],
    )
    find.place("words", "WORD", "words that must all match", nargs="+")


def _queue(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        day = args.day or shop.day
        lines = shop.lines_of(day)
        if args.json:
            say_json(queue_report(day, lines))
            return
        out = [f"{number:>3} {_line(line, day)}" for number, line in enumerate(lines, 1)]
        out.append(f"{day}: {queue.summary_of(shop, lines).words}")
        for offer in queue.rechecks_offered(shop) if day == shop.day else ():
            when = queue.ago(offer.job.day, shop.day)
            out.append(_joined(f"re-check offered: {offer.ski_name}", f"signed off {when}"))
    say(out)


def _line(line: RosterLine, day: str) -> str:
    kind = "re-check" if line.kind == "recheck" and line.stage != "waiting" else ""
    since = f"from {line.day}" if line.day != day else ""
    loose = LOOSE if line.loose else ""
    return _joined(
        line.stage_words, line.ski_name, line.rider, line.due, kind, since, line.unreleased, loose,
        line.reason, line.serial, line.note, line.ski_note,
    )  # fmt: skip


def _joined(*parts: str) -> str:
    return "  ".join(clean(part) for part in parts if part)


def _find(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        found = ski_finder(shop).find(" ".join(args.words))
    facts(
        skis=[
            {"id": s.id, "name": s.name, "rider": s.rider, "serial": s.serial, "note": s.note}
            for s in found
        ]
    )
    out = [_joined(ski.name, ski.rider, ski.serial, ski.note) for ski in found]
    say([*out, f"{len(found)} found" if found else "nothing found"])
