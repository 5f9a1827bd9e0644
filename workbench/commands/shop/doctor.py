"""``doctor``: how program, terminal, folders and book are, for whoever is to help."""

from __future__ import annotations

import argparse

from workbench.commands.manual import JSON, command
from workbench.commands.opened import path_of
from workbench.commands.output import FAILED, say, say_json
from workbench.work.exchange.doctor import facts_of, is_well, lines_of


@command(
    "doctor",
    "say how program, terminal, folders and book are",
    "Versions, what the terminal can show, where things lie, and the book's "
    "health: whether the file is whole, how many rows it has and which are damaged, its newest "
    "row and its backups. Nothing is changed, and no name of a person or a ski is in it. "
    "The exit status is 1 where something is wrong with the book or a package is missing.",
    see="paths, backup, restore",
    examples=[
        ("doctor", "All of it, a fact to a line."),
        ("doctor --json", "The same for a script."),
    ],
    takes=[JSON],
)
def _doctor(args: argparse.Namespace) -> int:
    facts = facts_of(path_of(args))
    if args.json:
        say_json(facts)
    else:
        say(lines_of(facts))
    return 0 if is_well(facts) else FAILED
