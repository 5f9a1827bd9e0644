"""The mouse, since it is captured: a click takes a ski, marks a row or presses a key."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.events import MouseScrollDown, MouseScrollUp

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import heron, ski, walk_to
from workbench.bench import start
from workbench.bench.action_menu import Sheet
from workbench.bench.app import Bench
from workbench.bench.bases.overlay import key_pressed
from workbench.bench.bases.prompts import ASIDE_REASONS, Prompt, PromptInput
from workbench.bench.panels.next_line import PAD, pad_key_at
from workbench.bench.panels.panel import Line, Panel
from workbench.bench.screens.help_screens import Palette
from workbench.bench.screens.shop.queue_screen import QueueScreen
from workbench.records.exchange.form import LOCAL_SETTINGS
from workbench.work.job.shop import Shop
from workbench.work.roster import settings


async def click(screen: Screen, x: int, y: int) -> None:
    """Click on a cell of the terminal."""
    await screen.pilot.click(offset=(x, y))
    await screen.pilot.pause(0.05)


@pytest.mark.parametrize("row", [0, 1, 2, 5])
async def test_a_click_takes_a_ski_of_the_queue(shop: Shop, row: int) -> None:
    """On either of its rows; below the last ski nothing is taken."""
    async with bench(shop, (120, 36)) as screen:
        region = screen.app.query_one("#roster", Panel).content_region
        await click(screen, region.x + 3, region.y + row)
        assert screen.view.job.id == shop.roster()[row // 2].job_id
        job = screen.view.job.id
        await click(screen, region.x + 3, region.bottom - 1)
        assert screen.view.job.id == job


@pytest.mark.parametrize("size", SIZES)
async def test_a_click_on_a_key_presses_it(shop: Shop, size: tuple[int, int]) -> None:
    """What stands at the bottom."""
    async with bench(shop, size) as screen:
        keys = screen.app.query_one("#keys", Line).content_region
        row = screen.shown().splitlines()[keys.y]
        unit = screen.app.hands.state.unit
        await click(screen, row.index("in/mm"), keys.y)
        assert screen.app.hands.state.unit != unit
        await click(screen, row.index("more"), keys.y)
        assert isinstance(screen.app.screen, Sheet)


@pytest.mark.parametrize("size", SIZES)
async def test_keys_for_fingers_type_a_number(shop: Shop, size: tuple[int, int]) -> None:
    """They are shown on demand, each where it can be hit, and gone again."""
    async with bench(shop, size) as screen:
        screen.app.do_("pad")
        await screen.pilot.pause(0.1)
        pad = screen.app.query_one("#pad", Line).content_region
        assert pad.height == 5
        wide = pad.width // len(PAD[0])
        for y, keys in enumerate(PAD):
            for x, key in enumerate(keys):
                for dx, dy in ((0, 0), (wide - 1, 1)):
                    assert pad_key_at(x * wide + dx, 3 * y + dy, pad.width) == key
        for key in ("2", ".", "4", "Backspace", "7"):
            y = next(i for i, keys in enumerate(PAD) if key in keys)
            await click(screen, pad.x + PAD[y].index(key) * wide + wide // 2, pad.y + 3 * y)
        assert screen.app.hands.state.entry == "2.7"
        screen.app.do_("pad")
        await screen.pilot.pause(0.1)
        assert not screen.app.query_one("#pad", Line).display


async def test_a_click_marks_a_row_of_a_list_and_the_wheel_moves_the_mark(shop: Shop) -> None:
    """Nothing is done by either; the mark alone moves."""
    async with bench(shop) as screen:
        screen.app.do_("queue")
        await screen.pilot.pause(0.1)
        top = screen.app.screen
        assert isinstance(top, QueueScreen)
        second = shop.roster()[1].ski_name
        y = next(i for i, row in enumerate(screen.shown().splitlines()) if second in row)
        await click(screen, 10, y)
        assert top.at == 1
        screen.app.post_message(MouseScrollDown(top, 10, y, 0, 1, 0, False, False, False, 10, y))
        await screen.pilot.pause(0.05)
        assert top.at == 2


async def test_a_click_on_the_sheet_marks_and_a_second_does_it(shop: Shop) -> None:
    """As an arrow and +."""
    async with bench(shop) as screen:
        await screen.pilot.press("slash")
        rows = screen.shown().splitlines()
        y = next(i for i, row in enumerate(rows) if "write a note" in row)
        x = rows[y].index("write a note")
        await click(screen, x, y)
        assert isinstance(screen.app.screen, Sheet)
        await click(screen, x, y)
        assert isinstance(screen.app.screen, Prompt)
        assert screen.app.screen.heading == "Note"


@pytest.mark.parametrize("kept", ["off", "on", ""])
def test_a_setting_leaves_the_mouse_to_the_terminal(
    shop: Shop, kept: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bench runs without the mouse then; the setting is its own, so that it does not travel."""
    settings.change(shop, {"mouse": kept})
    asked: list[bool] = []

    async def run(self: Bench, *, mouse: bool = True) -> None:
        asked.append(mouse)

    monkeypatch.setattr(Bench, "run_async", run)
    start._run_bench(shop.book, "KV", daily=False, said="")
    assert asked == [kept != "off"]
    assert "mouse" in LOCAL_SETTINGS


async def wheel(screen: Screen, x: int, y: int, *, up: bool = False) -> None:
    """Turn the wheel by a notch over a cell."""
    kind = MouseScrollUp if up else MouseScrollDown
    top = screen.app.screen
    screen.app.post_message(kind(top, x, y, 0, -1 if up else 1, 0, False, False, False, x, y))
    await screen.pilot.pause(0.05)


@pytest.mark.parametrize("size", SIZES)
async def test_a_click_picks_a_reading_and_a_target(shop: Shop, size: tuple[int, int]) -> None:
    """Each by any of its rows; the wheel moves on, and on what is no row nothing happens."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "target")
    async with bench(shop, size) as screen:
        screen.app.hands.open(view.job.id)
        await screen.pilot.pause(0.1)
        for panel in ("#readings", "#target"):
            region = screen.app.query_one(panel, Panel).content_region
            shown = screen.shown().splitlines()
            for i in (2, 0, 1):
                name = view.lines[i].method.name[:12]
                found = [
                    y
                    for y in range(region.y, region.bottom)
                    if name in shown[y][region.x : region.right]
                ]
                assert found, (panel, name)
                await click(screen, region.x + 4, found[-1])
                assert screen.app.hands.state.marked == i
                shown = screen.shown().splitlines()
            await wheel(screen, region.x + 4, region.bottom - 1)
            assert screen.app.hands.state.marked == 2
            await wheel(screen, region.x + 4, region.bottom - 1, up=True)
            assert screen.app.hands.state.marked == 1
        head = screen.app.query_one("#readings", Panel).content_region
        await click(screen, head.x + 4, head.y)
        assert screen.app.hands.state.marked == 1


async def test_the_wheel_scrolls_the_queue_and_takes_no_ski(shop: Shop) -> None:
    """To its ends; a ski that comes into sight is taken by a click, and then stands in sight."""
    first = shop.roster()[0].job_id
    for _ in range(3):
        for line in shop.roster()[:8]:
            shop.book.add_job(shop.view(line.job_id).ski.id, shop.day)
    async with bench(shop, (120, 24)) as screen:
        screen.app.hands.look_again()
        screen.app.hands.open(first)
        await screen.pilot.pause(0.1)
        region = screen.app.query_one("#roster", Panel).content_region
        for _ in range(4):
            await wheel(screen, region.x + 3, region.y + 2)
        assert screen.view.job.id == first
        assert "4 above" in screen.shown()
        await click(screen, region.x + 3, region.y)
        assert screen.view.job.id == screen.app.hands.state.roster[4].job_id
        for _ in range(60):
            screen.app._wheel(region.offset, 1)
        await screen.pilot.pause(0.05)
        assert "0 below" in screen.shown()
        screen.app._wheel(region.offset, -1)
        await screen.pilot.pause(0.05)
        assert "1 below" in screen.shown()


async def test_the_mouse_works_in_the_palette(shop: Shop) -> None:
    """A click marks, a second does it, the wheel moves the mark; the line keeps the keys."""
    async with bench(shop) as screen:
        await screen.pilot.press("colon", *"note")
        await screen.pilot.pause(0.1)
        top = screen.app.screen
        assert isinstance(top, Palette)
        rows = screen.shown().splitlines()
        y = next(i for i, row in enumerate(rows) if "after the ride" in row)
        x = rows[y].index("after the ride")
        await click(screen, x, y)
        assert screen.app.screen is top
        assert "▸ after the ride" in screen.shown()
        await wheel(screen, x, y, up=True)
        assert "▸ after the ride" not in screen.shown()
        await screen.pilot.press("backspace")
        assert top.query_one(PromptInput).value == "not"
        y = next(i for i, row in enumerate(screen.shown().splitlines()) if "write a note" in row)
        await click(screen, x, y)
        if screen.app.screen is top:
            await click(screen, x, y)
        assert isinstance(screen.app.screen, Prompt)


@pytest.mark.parametrize(
    ("action", "words", "after"),
    [
        ("queue", "F1 keys", "opened"),
        ("sure", "Enter or Esc closes", "closed"),
        ("palette", "Esc closes", "closed"),
        ("note", "Esc closes", "closed"),
        ("add_ski", "Esc closes", "closed"),
        ("calipers", "n adds", "opened"),
        ("marks", "in/mm", "flipped"),
    ],
)
async def test_a_click_on_a_key_of_a_screen_presses_it(
    shop: Shop, action: str, words: str, after: str
) -> None:
    """On lists, closer looks, questions and screens for numbers."""
    async with bench(shop) as screen:
        screen.app.do_(action)
        await screen.pilot.pause(0.2)
        top, unit = screen.app.screen, screen.app.hands.state.unit
        rows = screen.shown().splitlines()
        y = max(i for i, row in enumerate(rows) if words in row)
        await click(screen, rows[y].rindex(words) + 1, y)
        await screen.pilot.pause(0.2)
        if after == "closed":
            assert len(screen.app.screen_stack) == 1
        elif after == "opened":
            assert screen.app.screen is not top
            assert len(screen.app.screen_stack) == 3
        else:
            assert screen.app.hands.state.unit != unit


@pytest.mark.parametrize(
    ("cell", "key"),
    [
        ("Enter", "Enter"), ("closes", "Esc"), ("↑", "↑"), ("↓", "↓"), ("choose", ""),
        ("n adds", "n"),
        ("F3", "F3"), ("F4", "F4"), ("order", ""), ("type", ""), (" · ", ""), ("takes", "+"),
    ],
)  # fmt: skip
def test_a_cell_of_a_line_of_keys_presses_what_it_names(cell: str, key: str) -> None:
    """Two keys that share words and mean two things are pressed on themselves alone."""
    row = "↑ ↓ choose · n adds · F3 F4 order · + takes it · type a word · Enter or Esc closes"
    assert key_pressed(row, row.index(cell)) == key
    assert key_pressed(row, len(row)) == ""


async def test_what_is_shown_is_copied_and_written(shop: Shop, book_file: Path) -> None:
    """For terminals that copy nothing the file beside the book has it."""
    async with bench(shop) as screen:
        name = screen.view.ski.name
        await screen.pilot.press("f9")
        assert name in screen.app.clipboard
        assert name in (book_file.parent / "screen.txt").read_text(encoding="utf-8")
        assert "copied" in screen.app.hands.state.message


SCREENS = ("sure", "help", "palette", "settings", "history", "note")


@pytest.mark.parametrize("action", SCREENS)
async def test_any_screen_is_copied(shop: Shop, book_file: Path, action: str) -> None:
    """What is seen of it, not the bench that lies below; the screen stays."""
    async with bench(shop) as screen:
        screen.app.do_(action)
        await screen.pilot.pause(0.2)
        top = screen.app.screen
        seen = max(screen.shown().splitlines(), key=lambda row: sum(c.isalpha() for c in row))
        await screen.pilot.press("f9")
        await screen.pilot.pause(0.1)
        assert screen.app.screen is top
        assert seen.strip() in screen.app.clipboard
        assert seen.strip() in (book_file.parent / "screen.txt").read_text(encoding="utf-8")
        assert "copied" in screen.app.hands.state.message


async def test_a_reason_to_set_aside_is_given_by_its_number(shop: Shop) -> None:
    """A digit and Enter by hand; a number off a cable is no reason."""
    async with bench(shop) as screen:
        await screen.by_hand("s")
        await screen.pilot.pause(0.1)
        assert "3 blade bent" in screen.shown()
        screen.burst("2.4500\n")
        await screen.settle()
        assert screen.view.stage != "set aside"
        await screen.by_hand("3\n")
        await screen.settle()
        assert screen.view.progress.reason == ASIDE_REASONS[2]
