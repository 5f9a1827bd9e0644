"""What else the bench opens: a table of actions, each with its words and its screen's module.

A module named here has ``open_on(bench)``, which pushes its screen; it is imported when asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from typing import TYPE_CHECKING

from workbench.frozen import dataclass

if TYPE_CHECKING:
    from workbench.bench.app import Bench


OPEN = "open:"
"""An answer of the palette that begins so names a job to take in hand."""


@dataclass(frozen=True, slots=True)
class Opening:
    """A screen of the bench: its module, the words on the sheet, and a letter where it has one.

    ``needs_ski``: only where a ski is in hand.
    """

    module: str
    words: str
    key: str = ""
    needs_ski: bool = True


OPENINGS: dict[str, Opening] = {
    "history": Opening("workbench.bench.history_screen", "history, plots, compare", "o"),
    "queue": Opening("workbench.bench.queue_screen", "the day's queue: order, find", "z", False),
    "last_setting": Opening("workbench.bench.last_setting", "last setting as the target"),
    "second_eyes": Opening("workbench.bench.second_eyes", "second pair of eyes"),
    "checks": Opening("workbench.bench.checks_screen", "checks and torque notes", "", False),
    "settings": Opening("workbench.bench.settings_screen", "settings of the shop", "", False),
    "ride": Opening("workbench.bench.ride_screen", "after the ride: notes, advice"),
    "baselines": Opening("workbench.bench.baseline_screen", "baselines: compare, keep"),
    "offsets": Opening("workbench.bench.offset_screen", "method offsets, learnt"),
    "marks": Opening("workbench.bench.marks_screen", "coarse marks: scale, lines"),
    "wing": Opening("workbench.bench.wing_screen", "wing: gauge, hold, curve"),
    "temperature": Opening("workbench.bench.temperature_screen", "temperature: to 20 degrees"),
    "study": Opening("workbench.bench.study_list", "how well do we agree?", needs_ski=False),
    "card": Opening("workbench.bench.card_screen", "setting card to a folder", "a"),
    "day_sheet": Opening(
        "workbench.bench.day_sheet_screen", "day sheet to a folder", needs_ski=False
    ),
    "correct_ski": Opening("workbench.bench.correct_screen", "correct this ski's sheet"),
    "correct_block": Opening("workbench.bench.mending_screen", "correct this block's studs"),
    "exchange": Opening("workbench.bench.exchange_screen", "files: in, out, backup", "", False),
}


def load_one_by_one() -> Iterator[None]:
    """Load the screens, one at each step, so that each is there at once when asked for."""
    for name in dict.fromkeys(["workbench.bench.forms", *(o.module for o in OPENINGS.values())]):
        import_module(name)
        yield


def open_on(bench: Bench, action: str) -> None:
    """Push the screen of an action; without a ski in hand say so where it needs one."""
    opening = OPENINGS[action]
    if opening.needs_ski and bench.hands.state.view is None:
        bench.hands.say("no ski in hand", "warn")
        return
    import_module(opening.module).open_on(bench)
