"""The mouse, since it is captured: a click takes a ski, marks a row or presses a key."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.events import MouseScrollDown

from tests.bench.screens import SIZES, Screen, bench
from workbench.bench.action_menu import Sheet
from workbench.bench.bases.prompts import ASIDE_REASONS, Prompt
from workbench.bench.panels.panel import Line, Panel
from workbench.bench.screens.shop.queue_screen import QueueScreen
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
    """What stands at the bottom; two keys that share their words are not pressed."""
    async with bench(shop, size) as screen:
        keys = screen.app.query_one("#keys", Line).content_region
        row = screen.shown().splitlines()[keys.y]
        unit = screen.app.hands.state.unit
        await click(screen, row.index("in/mm"), keys.y)
        assert screen.app.hands.state.unit != unit
        job = screen.view.job.id
        await click(screen, row.index("ski"), keys.y)
        assert screen.view.job.id == job
        await click(screen, row.index("more"), keys.y)
        assert isinstance(screen.app.screen, Sheet)


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


def test_a_setting_leaves_the_mouse_to_the_terminal(shop: Shop) -> None:
    """It is one of the bench's own, so that it does not travel."""
    settings.change(shop, {"mouse": "off"})
    assert shop.book.setting("mouse") == "off"


async def test_what_is_shown_is_copied_and_written(shop: Shop, book_file: Path) -> None:
    """For terminals that copy nothing the file beside the book has it."""
    async with bench(shop) as screen:
        name = screen.view.ski.name
        await screen.pilot.press("f9")
        assert name in screen.app.clipboard
        assert name in (book_file.parent / "screen.txt").read_text(encoding="utf-8")
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
