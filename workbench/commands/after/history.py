"""``history`` and ``compare``: what was read and done to a ski, line by line."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from workbench.commands.manual import command, flag, option, place, unit_option
from workbench.commands.opened import KNOWN, opened_shop
from workbench.commands.output import say, say_json, send
from workbench.work.history.compare import (
    compare,
    comparison_lines,
    comparison_report,
    finest_turn_in,
    named_setting,
)
from workbench.work.history.history import (
    Setting,
    load_history,
    settings_in,
    settings_lines,
    settings_report,
)
from workbench.work.history.timeline import KINDS, timeline_lines, timeline_of, timeline_report
from workbench.work.learn.what_learnt import round_lines
from workbench.work.roster.adding import known_ski

_KINDS = {kind.replace(" ", "-"): kind for kind in KINDS}


@command(
    "history",
    "everything ever read or done to a ski, oldest first",
    "One line for each entry: local day and time, who, kind and what it says. An entry that was "
    "struck out stays, with the reason, who and when.",
    see="compare, strike, turns",
    examples=[
        ("history H66-014", "Everything, oldest first."),
        ('history "Heron 67" --kind readings --find depth --unit mm', "Its depths, in mm."),
        ("history H67-003 --settings", "The settings it came and left with, numbered."),
        ("history H67-003 --rounds", "Takes, turns and takes of every round, for a file."),
    ],
    takes=[
        KNOWN,
        option(
            "--kind",
            "KIND",
            f"one of {', '.join(_KINDS)}; left out: all",
            choices=_KINDS,
            default="all",
        ),
        option("--find", "WORDS", "only lines with these words", default=""),
        flag("--settings", "the settings it came and left with, numbered"),
        flag("--rounds", "its rounds as JSON lines, which 'turns ORDER --history FILE' reads"),
        unit_option("left out: the bench's own"),
    ],
)
def _history(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        unit = shop.unit_typed(args.unit)
        ski = known_ski(shop, args.ski)
        if args.rounds:
            lines = round_lines(shop.book, ski, "mm" if args.unit == "mm" else "in")
            send(f"{line}\n".encode() for line in lines)
            return
        history = load_history(shop, ski.id)
        if args.settings:
            settings = settings_in(history)
            if args.json:
                say_json(settings_report(settings))
            else:
                say(settings_lines(settings, unit))
            return
        timeline = timeline_of(history)
        entries = timeline.shown(_KINDS[args.kind], args.find, newest_first=False)
        if args.json:
            say_json(timeline_report(entries, timeline, unit))
        else:
            say(timeline_lines(entries, timeline, unit))


@command(
    "compare",
    "two settings of a ski side by side, with the stud turns between them",
    "A and B are numbers of 'history SKI --settings', or first, last, or a day such as "
    "2026-07-04, with :received or :left behind it. Both left out: as last received or left, "
    "after the setting before that.",
    see="history, aim",
    examples=[
        ("compare H67-003", "Its last setting, after the one before."),
        ("compare H67-003 2026-07-04:left last --unit mm", "Two days, in mm."),
    ],
    takes=[
        KNOWN,
        place("first", "A", "the earlier one", nargs="?", default=""),
        place("second", "B", "left out: last", nargs="?", default="last"),
        unit_option("left out: the bench's own"),
    ],
)
def _compare(args: argparse.Namespace) -> None:
    with opened_shop(args) as shop:
        unit = shop.unit_typed(args.unit)
        history = load_history(shop, known_ski(shop, args.ski).id)
        first, second = _chosen(settings_in(history), args.first, args.second)
        found = compare(history, first, second, unit, finest_turn_in(history, second))
        if args.json:
            say_json(comparison_report(found))
        else:
            say(comparison_lines(found, unit))


def _chosen(settings: Sequence[Setting], first: str, second: str) -> tuple[Setting, Setting]:
    end = named_setting(settings, second)
    if first:
        return named_setting(settings, first), end
    return settings[max(settings.index(end) - 1, 0)], end
