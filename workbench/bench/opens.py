"""What else the bench opens: a table of actions, each with its words and its screen's module.

A module named here has ``open_on(bench)``, which pushes its screen; it is imported when asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from typing import TYPE_CHECKING, Literal, get_args

from workbench.frozen import dataclass

if TYPE_CHECKING:
    from workbench.bench.app import Bench


OPEN = "open:"
"""An answer of the palette that begins so names a job to take in hand."""


Group = Literal["this ski", "the day", "after the ride", "paper", "the workshop"]
GROUPS: tuple[Group, ...] = get_args(Group)
"""The groups of the sheet, in its order; what is not needed beside a ski is in the last."""


@dataclass(frozen=True, slots=True)
class Opening:
    """A screen of the bench: its module and the words on the sheet.

    ``needs_ski``: only where a ski is in hand. ``group``: where the sheet lists it. ``also``: other
    words that it is found by.
    """

    place: str
    words: str
    needs_ski: bool = True
    group: Group = "this ski"
    also: str = ""

    @property
    def module(self) -> str:
        """The whole name of the screen's module, which lies in ``bench.screens``."""
        return f"workbench.bench.screens.{self.place}"


_RIDE: Group = "after the ride"
_SHOP: Group = "the workshop"

OPENINGS: dict[str, Opening] = {
    "history": Opening(
        "history.history_screen", "history, plots, compare", True, _RIDE,
        "past earlier timeline go back setting",
    ),
    "queue": Opening(
        "shop.queue_screen", "the day's queue: order, find", False, "the day",
        "list carry tomorrow due skis",
    ),
    "last_setting": Opening(
        "last_setting", "last setting as the target", also="put it back again"
    ),
    "second_eyes": Opening(
        "second_eyes", "second pair of eyes", also="witness initials sign"
    ),
    "checks": Opening(
        "shop.checks_screen", "checks and torque notes", False, _SHOP,
        "list bolts clamp items",
    ),
    "settings": Opening(
        "shop.settings_screen", "settings of the shop", False, _SHOP,
        "preferences options mouse keys tolerance unit",
    ),
    "ride": Opening(
        "ski.ride_screen", "after the ride: notes, advice", True, _RIDE,
        "feel felt rider rules of thumb",
    ),
    "baselines": Opening(
        "ski.baseline_screen", "baselines: compare, keep", True, _RIDE,
        "starting numbers",
    ),
    "learned": Opening(
        "ski.learned_screen", "what this bench has learned", True, _SHOP,
        "lead backlash stud turn forget",
    ),
    "offsets": Opening(
        "ski.offset_screen", "method offsets, learned", True, _SHOP,
        "pairs convert between methods",
    ),
    "marks": Opening(
        "ski.marks_screen", "coarse marks: scale, lines", True, _SHOP, "scribe"
    ),
    "wing": Opening(
        "ski.wing_screen", "wing: gauge, hold, curve", also="angle straightedge degrees"
    ),
    "temperature": Opening(
        "ski.temperature_screen", "temperature: to 20 degrees", True, _SHOP,
        "warm cold correction",
    ),
    "study": Opening(
        "study.study_list", "repeatability test", False, _SHOP,
        "agree people scatter repeats",
    ),
    "card": Opening(
        "shop.card_screen", "setting card to a folder", True, "paper",
        "print pdf owner",
    ),
    "day_sheet": Opening(
        "shop.day_sheet_screen", "day sheet to a folder", False, "paper",
        "print pdf summary",
    ),
    "correct_ski": Opening(
        "shop.correct_screen", "correct this ski's sheet",
        also="name serial rider fix mistake",
    ),
    "wear": Opening(
        "ski.wear_screen", "another blade, block; read by",
        also="swap new blade change methods carry setting part",
    ),
    "as_read": Opening(
        "ski.as_read_screen", "somebody else's numbers",
        also="phone rider other shop target tips flat",
    ),
    "correct_block": Opening(
        "shop.correct_parts_screen", "correct this block's studs", True, _SHOP,
        "thread tip fix mistake",
    ),
    "trace": Opening(
        "shop.trace_screen", "trace a blade by calipers", False, _SHOP,
        "outline measure new blade",
    ),
    "trace_file": Opening(
        "shop.scan_screen", "trace a scan, photo, drawing", False, _SHOP,
        "blade outline picture file png jpeg tiff svg dxf csv",
    ),
    "measure_block": Opening(
        "shop.measure_block_screen", "measure a block by caliper", False, _SHOP,
        "studs thread new add",
    ),
    "found_block": Opening(
        "ski.found_block_screen", "this block from known turns", True, _SHOP,
        "find block studs place moves rounds well fixed",
    ),
    "outline": Opening(
        "ski.outline_screen", "this blade's outline", True, _SHOP,
        "blade drawing numbers traced",
    ),
    "exchange": Opening(
        "shop.exchange_screen", "files: in, out, backup", False, _SHOP,
        "export import restore copy book",
    ),
}  # fmt: skip


def load_one_by_one() -> Iterator[None]:
    """Load the screens, one at each step, so that each is there at once when asked for."""
    for name in dict.fromkeys(
        ["workbench.bench.bases.forms", *(o.module for o in OPENINGS.values())]
    ):
        import_module(name)
        yield


def open_on(bench: Bench, action: str) -> None:
    """Push the screen of an action; without a ski in hand say so where it needs one."""
    opening = OPENINGS[action]
    if opening.needs_ski and bench.hands.state.view is None:
        bench.hands.say("no ski in hand", "warn")
        return
    import_module(opening.module).open_on(bench)
