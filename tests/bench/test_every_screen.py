"""Every screen of the bench, at three stages and both sizes, bears a burst and closes at Esc."""

from __future__ import annotations

import re
import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from textual.events import Key
from textual.widgets import Input

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import heron, ski, walk_to
from workbench.bench.action_menu import BY_ACTION, CHOICES
from workbench.bench.screens.help_screens import Help
from workbench.records.store import rows
from workbench.work.job.shop import Shop

AT_ONCE = (
    "take_back", "retarget", "baseline", "finer", "keep", "unfinished", "last_setting", "side",
    "drawing", "theme", "tour", "quit", "one_step_more", "undo_change", "copy", "next_ski",
    "ski_before", "large", "pad",
)  # fmt: skip
"""Actions that do what they say without a screen; the walk tests try them."""

TAKES_NUMBERS = {"CaliperScreen": "caliper_checks", "MarksScreen": "readings"}
"""Screens that are there to take a number, and the table that it goes to."""

CLIPPED = ("HistoryScreen", "QueueScreen", "CompareScreen")
"""Lists whose rows are cut to a line on purpose: what is marked stands below in full."""

OPENING = [choice.action for choice in CHOICES if choice.action not in AT_ONCE]
OF_A_SKI = [
    action for action in OPENING
    if action == "queue" or (BY_ACTION[action].screen and BY_ACTION[action].needs_ski)
]  # fmt: skip
"""Actions whose screen differs with the ski in hand."""

BURST = "2.4750\n"
FRAME = re.compile(r"[│─╭╮╰╯┃▁▂▃▄▅▆▇█▏▊▎▔]")


def _kept(shop: Shop) -> Counter[str]:
    """Return how many rows each table of the book has."""
    with closing(sqlite3.connect(shop.book.path)) as book:
        names = book.execute("select name from sqlite_master where type = 'table'").fetchall()
        counts = {n: book.execute(f"select count(*) from {n}").fetchone()[0] for (n,) in names}
        return Counter(counts)


def _words(screen: Screen) -> str:
    """Return what the screen on top says, on one line."""
    return " ".join(FRAME.sub(" ", screen.shown()).split())


def _top(screen: Screen) -> Any:
    return screen.app.screen


async def _press(screen: Screen, key: str, character: str | None = None) -> None:
    """Press one key, and let it be done with."""
    screen.app.post_message(Key(key, character))
    await screen.pilot.pause(0.02)
    await screen.pilot.pause()


async def _looks_right(screen: Screen, action: str) -> None:
    """Nothing of the program's own is cut, and the keys that it names can be read."""
    top, name = _top(screen), type(_top(screen)).__name__
    shown = screen.shown()
    if name not in CLIPPED and not top.query(Input):
        assert "…" not in shown, f"{action}: {shown}"
    if name != "QueueScreen":  # its keys are all on F1
        said = _words(screen)
        keys = getattr(top, "SHOWN_KEYS", "") or getattr(top, "KEYS", "")
        for part in keys.split(" · "):
            assert " ".join(part.split()) in said, f"{action}: '{part}' not in {shown}"


async def _helps(screen: Screen, action: str) -> None:
    """F1 names the keys of the screen, and goes away again."""
    below = _top(screen)
    if isinstance(below, Help):
        return
    await _press(screen, "f1")
    assert isinstance(_top(screen), Help), action
    first = getattr(below, "KEYS", "").split(" · ")[0]
    assert " ".join(first.split()) in _words(screen), action
    await _press(screen, "escape")
    assert _top(screen) is below, action


async def _bears_a_burst(screen: Screen, action: str) -> None:
    """A caliper's number is held, or taken where numbers are; nothing else is kept of it."""
    shop, below = screen.app.shop, _top(screen)
    before = _kept(shop)
    held = len(screen.held())
    screen.burst(BURST)
    await screen.pilot.pause(0.02)
    await screen.pilot.pause()
    assert _top(screen) is below, f"{action}: a burst closed it"
    more = _kept(shop) - before
    more.subtract({"marks": len(screen.held()) - held, "settings": more["settings"]})
    took = TAKES_NUMBERS.get(type(below).__name__, "")
    assert {table for table, count in more.items() if count} <= {took}, f"{action}: {more}"


async def _flips(screen: Screen, action: str) -> None:
    """Where lengths are shown ``*`` exchanges the unit, and again back."""
    top, hands = _top(screen), screen.app.hands
    if not hasattr(top, "in_unit"):
        return
    before = hands.state.unit
    await _press(screen, "asterisk", "*")
    assert hands.state.unit != before, action
    assert _top(screen) is top, action
    await _press(screen, "asterisk", "*")
    assert hands.state.unit == before, action


async def _try(
    screen: Screen, action: str, sizes: tuple[tuple[int, int], ...], helps: bool
) -> None:
    before = screen.app.hands.state
    screen.app.do_(action)
    await screen.pilot.pause(0.02)
    await screen.pilot.pause()
    if len(screen.app.screen_stack) == 1:
        assert screen.app.hands.state.message != before.message, f"{action} says nothing"
        return
    for size in sizes:
        if tuple(screen.app.size) != size:
            await screen.pilot.resize_terminal(*size)
            await screen.pilot.pause()
        await _looks_right(screen, action)
    if helps:
        await _helps(screen, action)
        await _flips(screen, action)
    await _bears_a_burst(screen, action)
    has_entry = bool(getattr(_top(screen), "entry", ""))
    await _press(screen, "escape")
    if has_entry or "not kept yet" in screen.shown():  # the entry goes first, or is said to go
        await _press(screen, "escape")
    for _ in range(100):  # one press; a busy machine takes its time over it
        if len(screen.app.screen_stack) == 1:
            break
        await screen.pilot.pause(0.03)
    assert len(screen.app.screen_stack) == 1, f"{action}: Esc does not close it"
    screen.app.hands.say("")


@pytest.mark.parametrize("stage", ["waiting", "turning", "signed off"])
async def test_every_screen_opens_helps_bears_a_burst_and_closes(
    shop: Shop, book_file: Path, stage: str
) -> None:
    """Whatever stage the ski is at; no tick, strike, sign-off or file comes of a burst."""
    view = ski(shop, "Heron 66")
    walk_to(shop, view, heron(view), stage)
    files = sorted(book_file.parent.iterdir())
    async with bench(shop, SIZES[0]) as screen:
        screen.app.hands.open(view.job.id)
        all_of_them = stage == "turning"
        for i, action in enumerate(OPENING if all_of_them else OF_A_SKI):
            await _try(screen, action, SIZES if i % 2 else SIZES[::-1], all_of_them)
        assert screen.view.stage == stage
        facts = screen.view.facts
    assert not any(f.struck for f in facts if isinstance(f, rows.Reading))
    assert sorted(book_file.parent.iterdir()) == files
