"""The setting card and the day sheet on the bench: shown as printed, written by F2 alone."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from textual.events import Key
from textual.pilot import Pilot

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import ski
from workbench.bench.app import Bench
from workbench.bench.screens.shop.file_screens import CardScreen, DaySheetScreen
from workbench.work.job.shop import Shop


async def opened(screen: Screen, name: str, action: str = "card") -> None:
    """Take a ski in hand and open a page."""
    screen.app.hands.open(ski(screen.app.shop, name).job.id)
    screen.app.do_(action)
    await screen.pilot.pause()


def cards_of(shop: Shop) -> Path:
    return shop.book.path.parent / "cards"


@pytest.mark.parametrize("size", SIZES)
async def test_one_key_shows_the_card(shop: Shop, size: tuple[int, int]) -> None:
    """The letter opens it, and it says first whether the ski is released."""
    async with bench(shop, size) as screen:
        screen.app.hands.open(ski(shop, "Heron 67").job.id)
        await screen.by_hand("a")
        await screen.pilot.pause()
        assert isinstance(screen.app.screen, CardScreen)
        shown = screen.shown()
        assert "NOT RELEASED, do not ride" in shown
        assert "F2 writes it" in shown


@pytest.mark.parametrize("size", SIZES)
async def test_f2_writes_and_says_where(shop: Shop, size: tuple[int, int]) -> None:
    async with bench(shop, size) as screen:
        await opened(screen, "Stilt 65")
        await screen.pilot.press("f2")
        await screen.pilot.pause()
        assert "✓ written: stilt-65-" in screen.shown()
        assert {p.suffix for p in cards_of(shop).iterdir()} >= {".txt", ".html", ".svg"}


async def test_a_key_held_down_writes_once(shop: Shop) -> None:
    async with bench(shop) as screen:
        await opened(screen, "Stilt 65")
        for _ in range(4):
            screen.app.post_message(Key("f2", None))
        await screen.settle()
        assert len({p.stem for p in cards_of(shop).iterdir()}) == 1


async def test_pages_and_rows_scroll_and_the_last_line_can_be_seen(shop: Shop) -> None:
    async with bench(shop, (80, 24)) as screen:
        await opened(screen, "Heron 67")
        assert "After the first ride" not in screen.shown()
        for _ in range(6):
            await screen.pilot.press("pagedown")
        await screen.pilot.pause()
        assert "After the first ride" in screen.shown()
        await screen.pilot.press("pageup", "up")
        await screen.pilot.pause()
        assert "After the first ride" not in screen.shown()


async def test_a_folder_that_cannot_be_written_is_said_and_nothing_is_lost(shop: Shop) -> None:
    cards_of(shop).write_text("a file in the way")
    async with bench(shop) as screen:
        await opened(screen, "Stilt 65")
        await screen.pilot.press("f2")
        await screen.pilot.pause()
        assert "✗ not written: folder" in screen.shown()
        assert cards_of(shop).read_text() == "a file in the way"


@pytest.mark.parametrize("action", ["card", "day_sheet"])
async def test_a_burst_writes_nothing_and_is_held(shop: Shop, action: str) -> None:
    """Digits and Enter off a cable leave the page open and no file behind."""
    async with bench(shop) as screen:
        await opened(screen, "Heron 67", action)
        screen.burst("2.4500\n")
        await screen.settle()
        assert isinstance(screen.app.screen, CardScreen | DaySheetScreen)
        assert screen.held() == ["2.4500"]
        assert not cards_of(shop).exists()


@pytest.mark.parametrize("key", ["up", "down", "1", "space", "plus", "pageup"])
async def test_no_other_key_writes_or_closes(shop: Shop, key: str) -> None:
    async with bench(shop) as screen:
        await opened(screen, "Heron 67", "day_sheet")
        await screen.pilot.press(key)
        await screen.settle()
        assert isinstance(screen.app.screen, DaySheetScreen)
        assert not cards_of(shop).exists()


async def test_the_day_sheet_is_shown_and_written(shop: Shop) -> None:
    async with bench(shop) as screen:
        await opened(screen, "Heron 67", "day_sheet")
        assert "10 skis: 1 signed off, 1 set aside, 8 open" in screen.shown()
        await screen.pilot.press("f2")
        await screen.pilot.pause()
        assert any(name.startswith("day-") for name in os.listdir(cards_of(shop)))
        await screen.pilot.press("escape")
        await screen.pilot.pause()
        assert len(screen.app.screen_stack) == 1


async def test_without_a_ski_there_is_no_card_but_a_day_sheet(shop: Shop) -> None:
    shop.day = "2027-01-01"
    for line in shop.roster():
        shop.book.strike(line.job_id, "for the test", "KV")
    async with bench(shop) as screen:
        screen.app.do_("card")
        await screen.pilot.pause()
        assert len(screen.app.screen_stack) == 1
        assert "no ski in hand" in screen.app.hands.state.message
        screen.app.do_("day_sheet")
        await screen.pilot.pause()
        assert isinstance(screen.app.screen, DaySheetScreen)
        assert "0 skis" in screen.shown()


CASES = {
    "card": ("card", "Heron 67", (120, 36)),
    "card-narrow": ("card", "Heron 67", (80, 24)),
    "released": ("card", "Stilt 65", (120, 36)),
    "day": ("day_sheet", "Heron 67", (120, 36)),
    "day-narrow": ("day_sheet", "Heron 67", (80, 24)),
}


@pytest.mark.parametrize("case", CASES)
def test_the_page_looks_as_it_did(shop: Shop, snap_compare: Any, case: str) -> None:
    """The picture is the one that was looked at and found good."""
    action, name, size = CASES[case]
    app = Bench(shop)
    app.hands.open(ski(shop, name).job.id)

    async def press(pilot: Pilot[Any]) -> None:
        await pilot.pause()
        app.do_(action)
        await pilot.pause()

    assert snap_compare(app, terminal_size=size, run_before=press)
