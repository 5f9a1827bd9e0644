"""The sheet of a ski put right at the bench, and any reading of a study struck out."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.bench.screens import SIZES, Screen, bench, fill
from tests.shop import ski
from workbench.bench.action_menu import BY_ACTION
from workbench.bench.app import Bench
from workbench.bench.bases.forms import Form
from workbench.bench.bases.prompts import Prompt
from workbench.bench.screens.shop.study_list import ReadingsScreen, StudyList
from workbench.work.job.shop import Shop
from workbench.work.study import studies


def test_the_sheet_of_what_can_be_done_names_the_correction() -> None:
    assert BY_ACTION["correct_ski"].words == "correct this ski's sheet"
    assert BY_ACTION["correct_ski"].needs_ski


# -- the sheet of a ski ----------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES)
async def test_a_sheet_is_corrected_in_a_form(shop: Shop, size: tuple[int, int]) -> None:
    """What is wrong is told at its field; F2 keeps what was typed otherwise, and says what."""
    async with bench(shop, size) as screen:
        sheet = screen.view.ski
        screen.app.do_("correct_ski")
        await screen.settle()
        assert sheet.serial in screen.shown()
        await fill(screen, name=" ", rider="Ines Tavary-Holm", wing="yes")
        await screen.pilot.press("f2")
        await screen.settle()
        assert "a name that is not empty" in screen.shown()
        await fill(screen, name=sheet.name)
        await screen.pilot.press("f2")
        await screen.settle()
        assert len(screen.app.screen_stack) == 1
        assert "sheet corrected: rider, wing; the old one stays" in screen.shown()
        assert (screen.view.ski.rider, screen.view.ski.has_wing) == ("Ines Tavary-Holm", True)
    old, new = shop.book.ski_versions(sheet.id)
    assert (old.ski.rider, new.ski.rider) == (sheet.rider, "Ines Tavary-Holm")


async def test_what_is_not_typed_otherwise_is_left_as_another_bench_wrote_it(shop: Shop) -> None:
    async with bench(shop) as screen:
        sheet = screen.view.ski
        screen.app.do_("correct_ski")
        await screen.settle()
        shop.book.correct_ski(replace(sheet, model="Heron II"), who="JT")
        await fill(screen, size="66")
        await screen.pilot.press("f2")
        await screen.settle()
    now = shop.book.ski(sheet.id)
    assert (now.model, now.size) == ("Heron II", "66")


async def test_a_burst_in_the_form_keeps_nothing(shop: Shop) -> None:
    """Digits and Enter off a cable move down the form; no version comes of it."""
    async with bench(shop) as screen:
        sheet = screen.view.ski
        screen.app.do_("correct_ski")
        await screen.settle()
        screen.burst("2.4505\n2.4505\n")
        await screen.settle()
        assert isinstance(screen.app.screen, Form)
        await screen.pilot.press("escape")
        await screen.settle()
    assert len(shop.book.ski_versions(sheet.id)) == 1


async def test_a_name_of_escapes_and_markup_is_text_and_stays_as_it_was(shop: Shop) -> None:
    """What the form writes out for the eye is not what it keeps."""
    sheet = shop.book.ski(shop.roster()[0].ski_id)
    name = "[b]Evil\x1b[2J"
    shop.book.correct_ski(replace(sheet, name=name), who="KV")
    async with bench(shop) as screen:
        screen.app.do_("correct_ski")
        await screen.settle()
        assert "[b]Evil\\x1b[2J" in screen.shown()
        await fill(screen, size="66")
        await screen.pilot.press("f2")
        await screen.settle()
    now = shop.book.ski(sheet.id)
    assert (now.name, now.size) == (name, "66")


# -- the readings of a study -----------------------------------------------------------------------


async def open_readings(screen: Screen) -> None:
    screen.app.do_("study")
    await screen.settle()
    await screen.pilot.press("s")
    await screen.settle()


@pytest.mark.parametrize("size", SIZES)
async def test_any_reading_is_struck_out_with_a_reason(shop: Shop, size: tuple[int, int]) -> None:
    """Not only the last; the numbers are in sight while nobody has to read, and then no more."""
    before = studies.studies_of(shop)[0]
    async with bench(shop, size) as screen:
        await open_readings(screen)
        assert isinstance(screen.app.screen, ReadingsScreen)
        assert before.readings[-1].text in screen.shown()
        await screen.pilot.press("home", "down", "x")
        assert isinstance(screen.app.screen, Prompt)
        await screen.by_hand("jaw on the bevel")
        await screen.pilot.pause(0.2)
        await screen.pilot.press("enter")
        await screen.settle()
        shown = screen.shown()
        assert "struck out: jaw" in shown
        assert "its turn is due again" in shown
        assert "under way, 26 of 27 readings" in shown
        assert before.readings[-1].text not in shown
        await screen.pilot.press("x")
        await screen.settle()
        assert "one that counts" in screen.shown()
        await screen.pilot.press("escape")
        await screen.settle()
        assert isinstance(screen.app.screen, StudyList)
        assert "under way, 26 of 27" in screen.shown()
    (struck,) = (r for r in studies.studies_of(shop)[0].readings if r.struck is not None)
    assert (struck.id, struck.struck and struck.struck.reason) == (
        before.readings[1].id, "jaw on the bevel",
    )  # fmt: skip


async def test_a_burst_at_the_readings_strikes_nothing(shop: Shop) -> None:
    async with bench(shop) as screen:
        await open_readings(screen)
        screen.burst("2.4505\n")
        await screen.settle()
        assert isinstance(screen.app.screen, ReadingsScreen)
        assert screen.held() == ["2.4505"]
    view = studies.studies_of(shop)[0]
    assert view.live == view.readings


async def test_a_study_without_a_reading_has_none_to_strike(shop: Shop) -> None:
    from workbench.work.study.studies import plan_study

    plan_study(shop, {"name": "new", "what": "depth", "unit": "in", "parts": "a; b",
                      "people": "KV", "trials": "2"})  # fmt: skip
    async with bench(shop) as screen:
        screen.app.do_("study")
        await screen.settle()
        await screen.pilot.press("s")
        await screen.settle()
        assert isinstance(screen.app.screen, StudyList)
        assert "t or + takes them" in screen.shown()


# -- a target out of reach -------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES)
async def test_a_target_out_of_reach_says_so_in_the_benchs_unit(
    shop: Shop, size: tuple[int, int]
) -> None:
    """And what to do about it, at the target and at the turns; never that readings do not work."""
    view = ski(shop, "Lark 64")
    async with bench(shop, size) as screen:
        screen.app.hands.open(view.job.id)
        await screen.by_hand("+1.0\n")
        await screen.settle()
        await screen.by_hand("+")  # so far from its reading it is asked about
        await screen.settle()
        assert "The target is out of reach" in screen.shown()
        await screen.by_hand("\n")
        await screen.settle()
        assert screen.view.stage == "target"
        assert "the target is out of the blade's reach" in screen.app.hands.state.message
        assert screen.app.hands.state.tone == "warn"
        shop.book.add_mark(view.job.id, "KV", "aimed")  # as benches did that looked at no reach
        screen.app.hands.look_again()
        await screen.settle()
        flat = " ".join(screen.shown().replace("│", " ").split())
        assert "t opens" in flat
        assert "3.4410 in;" in flat
        await screen.by_hand("*")
        await screen.settle()
        assert "84.69 mm" in screen.shown()
        before = len(screen.view.facts)
        await screen.by_hand("\n")
        await screen.settle()
        assert len(screen.view.facts) == before, "no step is kept"
        assert "reach" in screen.shown()
        await screen.by_hand("t")
        await screen.settle()
        assert screen.view.stage == "target"


# -- as they look ----------------------------------------------------------------------------------

CASES = {"correct-ski": ("correct_ski", ""), "readings": ("study", "s")}


def _opened(action: str, pressed: str) -> Callable[[Pilot[int]], Awaitable[None]]:
    async def run(pilot: Pilot[int]) -> None:
        await pilot.pause()
        app = pilot.app
        assert isinstance(app, Bench)
        app.do_(action)
        await pilot.pause(0.1)
        if pressed:
            await pilot.press(pressed)
        await pilot.pause(0.1)

    return run


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
@pytest.mark.parametrize("case", CASES)
def test_the_screens_look_as_they_did(
    shop: Shop, snap_compare: Any, case: str, size: tuple[int, int]
) -> None:
    """The picture is the one that was looked at and found good."""
    assert snap_compare(Bench(shop), terminal_size=size, run_before=_opened(*CASES[case]))
