"""The day's queue, its skis added, found and moved."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

from workbench.commands.at_ski import fields_of
from workbench.commands.manual import (
    choice,
    command,
    flag,
    one_of,
    option,
    options,
    place,
    place_of,
)
from workbench.commands.opened import opened_shop
from workbench.commands.output import facts, say, say_json
from workbench.errors import InputError
from workbench.work.job.job_view import RosterLine
from workbench.work.job.stages import LOOSE
from workbench.work.job_text.job_text import queue_report
from workbench.work.job_text.typed_lines import job_meant
from workbench.work.roster import queue
from workbench.work.roster.adding import KNOWN_SKI, SKI, add_ski, first_real, known_ski
from workbench.work.roster.queue import AGAIN, add_recheck, queue_again, ski_finder, write_notes
from workbench.work.text.words import clean

_FIRST = "the first real one, else none"
_ASKED = tuple(replace(f, blank=_FIRST) if f.key in ("blade", "block") else f for f in SKI)


@command(
    "queue",
    "list a day's queue with a line that sums it up",
    "The day's jobs in their order: stage, ski, rider, due, kind and notes; what earlier days "
    "left unfinished comes before today's. Then the re-checks that are offered.",
    see="take, queue-ski, move, carry",
    examples=[
        ("queue", "Today's skis."),
        ("queue --day 2026-11-28 --json", "Another day's, for a script."),
    ],
    takes=[option("--day", "DAY", "another day than today, as YYYY-MM-DD")],
)
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


@command(
    "find",
    "find skis by name, rider, serial and note",
    "Skis of the book in which every word occurs, in name, rider, serial or note; capitals and "
    "accents do not matter.",
    see="queue-ski, history",
    examples=[("find heron tavary", "Ines Tavary's skis whose name begins with Heron.")],
    takes=[place("words", "WORD", "words that must all match", nargs="+")],
)
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


@command(
    "add-ski",
    "add a ski that the book does not know, and queue it for today",
    "A ski that the book knows is queued with 'queue-ski'; many at once come from a CSV file with "
    "'intake'.",
    see="queue-ski, intake, parts",
    examples=[
        ('add-ski "Heron 68" --rider "Mika Sorrel" --serial H68-021', "With the first parts."),
        (
            'add-ski "Lark 65" --unit mm --blade 3 --block 2 --base-radius 4200 '
            '--base-apex 100 --wing --due "tomorrow 9"',
            "In mm, with a wing, a bulging base and the third blade.",
        ),
    ],
    takes=[
        place_of(SKI[0]),
        options(f for f in _ASKED[1:] if f.key != "wing"),
        flag("--wing", "its blade has a wing"),
    ],
)
def _add_ski(args: argparse.Namespace) -> None:
    fields = fields_of(args, SKI)
    with opened_shop(args) as shop:
        fields["wing"] = "yes" if args.wing else ""
        fields["blade"] = fields["blade"] or first_real(shop.book.blades())
        fields["block"] = fields["block"] or first_real(shop.book.blocks())
        _say_queued(shop, add_ski(shop, fields))


@command(
    "queue-ski",
    "put a ski that the book knows in today's queue",
    "To be set afresh, as last time, or for the re-check after its first ride.",
    see="queue, find, add-ski",
    examples=[
        ("queue-ski H66-014 --due 14:00", "To be set this afternoon."),
        ('queue-ski "Otter 65" --as-last-time', "With its last setting as the target."),
        ("queue-ski LK64/22 --recheck", "Its bolts are looked at after the ride."),
    ],
    takes=[
        place_of(KNOWN_SKI[0]),
        options(AGAIN),
        one_of(
            flag("--as-last-time", "offer its last setting as the target"),
            flag("--recheck", "the look after the first ride alone"),
        ),
    ],
)
def _queue_ski(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        ski = known_ski(shop, args.ski)
        if args.recheck:
            job_id = add_recheck(shop, ski.id, args.due)
        else:
            job_id = queue_again(shop, ski.id, args.due, args.note, args.as_last_time)
        line = _say_queued(shop, job_id)
        if args.recheck and args.note:
            write_notes(shop, line, {"job": args.note, "ski": line.ski_note})


def _say_queued(shop: Any, job_id: str) -> Any:
    number, line = next(x for x in enumerate(shop.roster(), 1) if x[1].job_id == job_id)
    say([f"Done: queued as number {number}: {clean(line.ski_name)}.",
         f"Command: quarterturn take {number}"])  # fmt: skip
    return line


@command(
    "move",
    "move a ski up or down in today's queue, or sort the queue by what is due",
    "One place, or as many as --by says, among the jobs of its own day.",
    see="queue, carry",
    examples=[
        ('move "Otter 65" up', "One place nearer to the front."),
        ("move 5 down --by 2", "Two places later."),
        ("move all by-due", "Today's jobs by the time they are due."),
    ],
    takes=[
        place("ski", "SKI", "serial, name or number in the queue; or 'all'"),
        choice("way", ("up", "down", "by-due"), "'all by-due' sorts the day"),
        option("--by", "N", "so many places", type=int, default=1),
    ],
)
def _move(args: argparse.Namespace) -> None:
    if (args.ski == "all") != (args.way == "by-due") or not 1 <= args.by <= 999:
        raise InputError("move", f"{args.ski} {args.way}", "SKI up, SKI down, or all by-due")
    with opened_shop(args) as shop:
        if args.way == "by-due":
            moved = queue.sort_by_due(shop, shop.roster(), shop.day)
            say([f"Done: sorted by what is due; {moved} moved."])
            return
        _, line = job_meant(shop, args.ski)
        for _ in range(args.by):
            queue.move(shop, shop.roster(), line.job_id, -1 if args.way == "up" else 1)
        number = next(i for i, x in enumerate(shop.roster(), 1) if x.job_id == line.job_id)
        say([f"Done: {clean(line.ski_name)} is number {number} now."])
