"""Keys in one write: each comes to the screen it was meant for; a scanner's letters do nothing.

The times of the keys are those of a hand or a cable; they reach the bench all at once.
"""

from __future__ import annotations

import gc
import os
import random
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from textual.events import Key

from tests.bench.screens import NAMED, Screen, bench, through
from tests.bench.terminal import Terminal
from tests.shop import demo_file
from workbench.bench.action_menu import Sheet
from workbench.records.store import rows
from workbench.work.job.shop import Shop

HAND_S, CABLE_S = 0.2, 0.004
LEAVING = {"q", "ctrl+c", "ctrl+q"}
NO_CHARACTERS = (
    "escape", "escape", "escape", "enter", "enter", "up", "down", "left", "right", "pageup",
    "pagedown", "home", "end", "tab", "f1", "f2", "f3", "f4", "f5", "f6", "f7", "f8", "f9",
    "backspace", "delete", "shift+up", "ctrl+p", "ctrl+s", "ctrl+j",
)  # fmt: skip
TYPED = "0123456789.,+-*/:? abcdefghijklmnoprstuvwxyz"


def post(screen: Screen, keys: list[str], gap_s: float) -> None:
    """Write keys in one go, so far apart by their times."""
    app: Any = screen.app
    at = getattr(app, "sent_until", 1000.0) + 1.0
    for name in keys:
        key, character = NAMED.get(name, (name, name if len(name) == 1 else ""))
        event = Key(key, character or None)
        event.time = at
        app.post_message(event)
        at += gap_s
    app.sent_until = at


def some_keys(seed: int, count: int) -> list[str]:
    chosen = random.Random(seed)
    both = (NO_CHARACTERS, TYPED)
    return [chosen.choice(both[chosen.random() < 0.6]) for _ in range(count)]


@pytest.mark.parametrize("opens", ["/", "h", ":", "z", "n", "w", "o", "l", "g"])
async def test_escapes_in_one_write_close_one_screen(shop: Shop, opens: str) -> None:
    """The second and the third of them find the bench, and do nothing there."""
    async with bench(shop) as screen:
        await screen.by_hand(opens)
        await screen.pilot.pause(0.1)
        assert len(screen.app.screen_stack) == 2
        post(screen, ["escape"] * 3, CABLE_S)
        await through(screen.app)
        assert len(screen.app.screen_stack) == 1
        assert screen.app.is_running
    assert screen.app.return_code in (0, None)


async def test_keys_wait_for_the_screen_that_they_were_meant_for(shop: Shop) -> None:
    """A note is opened, written and kept by keys that were all there before its screen was."""
    async with bench(shop) as screen:
        post(screen, ["w", *"edge nicked"], HAND_S)
        post(screen, ["enter"], HAND_S)
        post(screen, ["/"], HAND_S)
        await through(screen.app)
        kept = [f.text for f in screen.view.facts if isinstance(f, rows.Mark) and f.kind == "note"]
        assert kept[-1:] == ["edge nicked"]
        assert isinstance(screen.app.screen, Sheet)


def test_a_thousand_random_keys_in_one_write_leave_the_bench_alive(tmp_path: Path) -> None:
    """On a real terminal, opened screens and three escapes in one write among them."""
    command = [sys.executable, "-m", "workbench", "--book", str(demo_file(tmp_path))]
    raw = {"escape": "\x1b", "enter": "\r", "tab": "\t", "backspace": "\x7f", "f1": "\x1bOP"}
    keys = "".join(raw.get(k, k if len(k) == 1 else "\x1b") for k in some_keys(7, 1000))
    with Terminal([*command, "--who", "KV"], env={"COLUMNS": "80", "LINES": "24"}) as terminal:
        terminal.until(b"Heron")
        for opens in (b"/", b"h", b":", b"z", b"w"):
            os.write(terminal.file, opens)
            terminal.settle(0.2)
            os.write(terminal.file, b"\x1b\x1b\x1b")
            terminal.settle(0.3)
        os.write(terminal.file, keys.encode())
        terminal.settle(2.0)
        assert terminal.alive()
        os.write(terminal.file, b"\x03")
        assert terminal.exit_status(90.0) == 0


@pytest.mark.parametrize(
    "seed", [0, pytest.param(1, marks=pytest.mark.long), pytest.param(2, marks=pytest.mark.long)]
)
async def test_a_thousand_random_keys_leave_the_bench_alive(shop: Shop, seed: int) -> None:
    """Written in one go; the bench still takes a key after them."""
    async with bench(shop) as screen:
        post(screen, some_keys(seed, 1000), HAND_S)
        await through(screen.app, 120.0)
        assert screen.app.is_running
        assert screen.app._exception is None
        for _ in range(10):
            await screen.pilot.press("escape")
        assert len(screen.app.screen_stack) == 1
        await screen.pilot.press("slash")
        assert isinstance(screen.app.screen, Sheet)


# Text off a scanner -------------------------------------------------------------------------------


def facts_count(shop: Shop) -> int:
    return sum(len(shop.book.facts(line.job_id)) for line in shop.roster())


def another(screen: Screen, shop: Shop) -> Any:
    return next(x for x in shop.roster() if x.ski_id != screen.view.ski.id and x.serial)


@pytest.mark.parametrize("opens", ["", "/", "h", ":", "z", "w", "o", "l", "g"])
async def test_a_scanned_serial_takes_that_ski_wherever_the_focus_is(
    shop: Shop, opens: str
) -> None:
    """And does nothing else: its letters are no commands, its digits no reading."""
    async with bench(shop) as screen:
        await screen.by_hand(opens)
        await screen.pilot.pause(0.1)
        other, before = another(screen, shop), facts_count(shop)
        post(screen, [*other.serial, "enter", "ctrl+j"], CABLE_S)
        await screen.settle()
        assert len(screen.app.screen_stack) == 1
        assert screen.view.job.id == other.job_id
        assert screen.app.hands.state.entry == ""
        assert facts_count(shop) == before
        assert f"scanned: {other.ski_name}" in screen.app.hands.state.message


@pytest.mark.parametrize("text", ["QX-99/quit", "hlnzo", "66ahq", "uuuuuuuu"])
async def test_letters_in_a_burst_run_no_command(shop: Shop, text: str) -> None:
    """A serial that nobody knows is kept as a note; the ski in hand, its facts and screen stay."""
    async with bench(shop) as screen:
        job, before = screen.view.job.id, facts_count(shop)
        post(screen, [*text, "enter"], CABLE_S)
        await screen.settle()
        assert len(screen.app.screen_stack) == 1
        assert screen.app.is_running
        assert screen.view.job.id == job
        assert screen.app.hands.state.entry == ""
        assert screen.held()[-1:] == [text]
        assert facts_count(shop) == before + 1
        assert "no serial of this book" in screen.app.hands.state.message


async def test_letters_held_down_run_no_command(shop: Shop) -> None:
    """A key that repeats faster than a hand types takes nothing back; it is told."""
    async with bench(shop) as screen:
        before = facts_count(shop)
        post(screen, ["u"] * 12, 0.03)
        await screen.settle()
        assert facts_count(shop) == before
        assert "faster than a hand" in screen.app.hands.state.message


async def test_a_letter_by_hand_acts_after_a_moment(shop: Shop) -> None:
    """One alone, and two one after the other, each do what they say."""
    async with bench(shop) as screen:
        post(screen, ["d", "p"], HAND_S)
        await through(screen.app)
        state = screen.app.hands.state
        assert state.drawing != "braille"
        assert state.side is not None


async def test_a_serial_of_digits_is_told_from_a_reading(shop: Shop) -> None:
    """Six digits or more take their ski; fewer, and all that a caliper sends, are a number."""
    async with bench(shop) as screen:
        hands = screen.app.hands
        roster = hands.state.roster
        other = next(x for x in roster if x.ski_id != screen.view.ski.id)
        hands.change(
            roster=tuple(
                replace(x, serial="24500117") if x.job_id == other.job_id else x for x in roster
            )
        )
        post(screen, [*"2450"], CABLE_S)
        await through(screen.app)
        assert hands.state.entry == "2450"
        await screen.pilot.press("escape")
        post(screen, [*"24500117", "enter"], CABLE_S)
        await screen.settle()
        assert screen.view.job.id == other.job_id
        assert hands.state.entry == ""


async def test_a_ski_that_is_not_in_the_queue_is_named(shop: Shop) -> None:
    """Its serial is known to the book alone."""
    async with bench(shop) as screen:
        job, other = screen.view.job.id, another(screen, shop)
        hands = screen.app.hands
        hands.change(roster=tuple(x for x in hands.state.roster if x.job_id != other.job_id))
        post(screen, [*other.serial, "enter"], CABLE_S)
        await screen.settle()
        assert screen.view.job.id == job
        assert f"{other.ski_name} is not in today's queue" in hands.state.message


# What is kept of a screen that has closed ---------------------------------------------------------


def kept_objects(screen: Screen) -> dict[str, int]:
    """Count what lives of screens, of what they painted and of jobs read, garbage put aside."""
    gc.collect()
    names = [type(each).__name__ for each in gc.get_objects()]
    kinds = ("Sheet", "Help", "Palette", "QueueScreen", "HistoryScreen", "StylesCache", "Strip")
    return {kind: names.count(kind) for kind in (*kinds, "JobView", "Timer", "Task")}


async def test_screens_that_have_closed_keep_nothing(shop: Shop) -> None:
    """After twenty more openings as much lives as after the first ones, paint included."""
    async with bench(shop) as screen:

        async def open_each(times: int) -> dict[str, int]:
            for _ in range(times):
                for key in ("slash", "h", "colon", "z", "o"):
                    await screen.pilot.press(key)
                    await screen.pilot.pause()
                    assert len(screen.app.screen_stack) == 2
                    await screen.pilot.press("escape")
            await screen.pilot.pause(0.1)
            return kept_objects(screen)

        first = await open_each(2)
        last = await open_each(4)
    assert last["Strip"] <= first["Strip"] + 60, (first, last)
    assert last["StylesCache"] <= first["StylesCache"] + 6, (first, last)
    for kind, count in last.items():
        assert count <= first[kind] + 60, (kind, first, last)
