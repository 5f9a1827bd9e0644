"""The palette: everything by a few letters, skis too; a burst answers nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.bench.screens import SIZES, bench
from tests.shop import demo_file, open_shop
from workbench.bench.action_menu import (
    CHOICES,
    COLUMN,
    GROUPS,
    ROWS,
    Choice,
)
from workbench.bench.app import Bench
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.help_screens import Help, Palette, entries, matching
from workbench.work.job.shop import Shop
from workbench.work.roster.keys import SHIPPED


def test_every_action_of_the_sheet_is_in_the_palette() -> None:
    """None is left out, and each is found by all of its own words."""
    found = entries(BenchState())
    assert {e.answer for e in found} == {c.action for c in CHOICES}
    for entry in found:
        assert entry in matching(found, entry.words.upper())


async def test_a_few_letters_and_an_enter_do_it(tmp_path: Path) -> None:
    """Help by its name; a ski by its own."""
    with open_shop(demo_file(tmp_path)) as shop:
        async with bench(shop) as screen:
            await screen.pilot.press("colon", *"keys")
            await screen.pilot.pause(0.2)
            await screen.pilot.press("enter")
            await screen.pilot.pause()
            assert isinstance(screen.app.screen, Help)
            await screen.pilot.press("escape")
            other = next(x for x in shop.roster() if x.job_id != screen.view.job.id)
            await screen.pilot.press("ctrl+p", *other.ski_name.replace(" ", ""))
            await screen.pilot.pause(0.2)
            assert "nothing is called so" in screen.shown()
            await screen.pilot.press("escape", "colon", *other.ski_name.split()[0])
            await screen.pilot.pause(0.2)
            assert "take in hand" in screen.shown()


async def test_a_burst_into_the_palette_is_held(tmp_path: Path) -> None:
    """Digits and Enter with no time between them choose nothing."""
    with open_shop(demo_file(tmp_path)) as shop:
        async with bench(shop) as screen:
            await screen.pilot.press("colon")
            await screen.pilot.pause()
            screen.burst("2.4750\n")
            await screen.settle()
            assert isinstance(screen.app.screen, Palette)
            assert screen.held() == ["2.4750"]


@pytest.mark.parametrize("size", SIZES)
def test_the_palette_looks_as_it_should(
    tmp_path: Path, snap_compare: Any, size: tuple[int, int]
) -> None:
    """With a word typed."""
    with open_shop(demo_file(tmp_path)) as shop:

        async def show(pilot: Pilot[int]) -> None:
            await pilot.press("colon", *"ski")
            await pilot.pause(0.1)

        assert snap_compare(Bench(shop), terminal_size=size, run_before=show)


async def test_an_enter_on_nothing_does_nothing(tmp_path: Path) -> None:
    """Its first line takes the last entry back: never by a slip."""
    with open_shop(demo_file(tmp_path)) as shop:
        async with bench(shop) as screen:
            before = shop.book.facts(screen.view.job.id)
            await screen.pilot.press("colon")
            await screen.pilot.pause(0.2)
            await screen.pilot.press("enter")
            await screen.pilot.pause(0.2)
            assert isinstance(screen.app.screen, Palette)
            assert shop.book.facts(screen.view.job.id) == before


@pytest.mark.parametrize(
    ("typed", "actions"),
    [("blade", {"add_blade", "wear"}), ("undo", {"take_back", "strike"}),
     ("swap", {"wear"}), ("print", {"card", "day_sheet"}), ("exit", {"quit"})],
)  # fmt: skip
def test_an_action_is_found_by_other_words_for_it(typed: str, actions: set[str]) -> None:
    """As somebody would call it who does not know what it is called here."""
    assert actions <= {e.answer for e in matching(entries(BenchState()), typed)}


async def test_palette_and_sheet_pick_with_the_same_key(shop: Shop) -> None:
    """+ does what is marked on either; digits on its heels are a reading and pick nothing."""
    async with bench(shop) as screen:
        await screen.pilot.press("colon", *"keys")
        await screen.pilot.press("plus")
        await screen.settle()
        assert isinstance(screen.app.screen, Help)
        await screen.pilot.press("escape", "colon")
        screen.burst("+.0050\n")
        await screen.settle()
        assert isinstance(screen.app.screen, Palette)
        assert screen.held() == ["+.0050"]


def test_the_sheet_lists_every_action_once_in_its_group() -> None:
    """This ski first; what is never needed beside a ski last, under the workshop."""
    listed = [row for row in ROWS if isinstance(row, int)]
    assert sorted(listed) == list(range(len(CHOICES)))
    assert [row for row in ROWS if isinstance(row, str)] == list(GROUPS)
    workshop = {c.action for c in CHOICES if c.group == "the workshop"}
    assert {"settings", "study", "offsets", "marks", "temperature", "checks"} <= workshop
    assert CHOICES[0].action == "take_back"


@pytest.mark.parametrize("size", SIZES)
async def test_the_sheet_shows_its_groups(shop: Shop, size: tuple[int, int]) -> None:
    """A head over each, and every line within the frame."""
    async with bench(shop, size) as screen:
        await screen.pilot.press("slash")
        seen = screen.shown()
        await screen.pilot.press("up")  # round to the last
        seen += screen.shown()
        for group in GROUPS:
            assert group.upper() in seen


@pytest.mark.parametrize("choice", CHOICES, ids=lambda choice: choice.action)
def test_a_line_of_the_sheet_fits_its_column(choice: Choice) -> None:
    """Mark, number, words, and the key with a blank on either side."""
    assert len(f"▸{99} {choice.words}") + len(f" {SHIPPED[choice.action]} ") <= COLUMN
