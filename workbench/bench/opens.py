"""What else the bench opens: a table of actions, each with its words and its screen's module.

A module named here has ``open_on(bench)``, which pushes its screen; it is imported when asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from workbench.bench.app import Bench


@dataclass(frozen=True, slots=True)
class Opening:
    """A screen of the bench: its module, the words on the sheet, and a letter where it has one.

    ``needs_ski``: only where a ski is in hand.
    """

    module: str
    words: str
    key: str = ""
    needs_ski: bool = True


OPENINGS: dict[str, Opening] = {}


def open_on(bench: Bench, action: str) -> None:
    """Push the screen of an action; without a ski in hand say so where it needs one."""
    opening = OPENINGS[action]
    if opening.needs_ski and bench.hands.state.view is None:
        bench.hands.say("no ski in hand", "warn")
        return
    import_module(opening.module).open_on(bench)
