"""The command line's families of commands: which module adds which, under which heading of --help.

The command line loads the one module that its first word names. What is of the type ``Command`` in
it are its commands.
"""

from __future__ import annotations

from collections.abc import Iterator

FAMILIES: dict[str, dict[str, str]] = {
    "a ski, step by step": {
        "ski.steps": "next take tick read enough seat sign-off",
        "ski.turns": "aim accept finest done set-wing",
        "ski.corrections": "set-aside take-up note take-back strike",
        "ski.measuring": "hold marks add-mark temperature new-baseline curve",
        "ski.learned": "methods pairs learned settled without-learned",
    },
    "the day and its skis": {
        "day.queue": "queue find add-ski queue-ski move",
        "day.carry": "carry",
        "day.correct": "correct-ski wear "
        "correct-block correct-blade correct-baseline strike-baseline",
        "day.parts": "parts add-blade add-block begin measure-block find-block",
        "day.trace": "trace outline",
        "day.calipers": "calipers add-caliper",
    },
    "after the ride, history, cards": {
        "after.advice": "ride advice baselines",
        "after.history": "history compare",
        "after.cards": "card day-sheet",
    },
    "files": {
        "files": "export import intake export-csv backup restore hub sync",
    },
    "the shop": {
        "shop.settings": "settings",
        "shop.checks": "checks",
        "shop.study": "study",
        "shop.wing": "wing",
        "shop.for_shells": "completion man",
        "shop.program": "serve doctor",
    },
}
"""Heading, module of ``workbench.commands``, and the names of its commands, in order."""


def modules(first: str | None = None) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Yield each family's module and commands, with the heading that it begins, else nothing.

    With ``first``, the name of a command, only the module that has it.
    """
    for heading, family in FAMILIES.items():
        for place, (module, names) in enumerate(family.items()):
            if first is None or first in names.split():
                begun = heading if place == 0 else ""
                yield begun, f"workbench.commands.{module}", tuple(names.split())
