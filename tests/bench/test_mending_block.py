"""The block's studs and a baseline's numbers put right at the bench, by the keyboard alone."""

from __future__ import annotations

import pytest

from tests.bench.screens import SIZES, bench, fill
from workbench.bench.bases.forms import Form
from workbench.bench.screens.ski.aim_screens import BaselineScreen
from workbench.work.job.shop import Shop


@pytest.mark.parametrize("size", SIZES)
async def test_studs_are_corrected_in_a_form(shop: Shop, size: tuple[int, int]) -> None:
    """A reason is asked for; what is wrong is told at its field; F2 keeps and says what."""
    async with bench(shop, size) as screen:
        block = shop.book.block(screen.view.ski.block_id)
        screen.app.do_("correct_block")
        await screen.settle()
        assert "used by" in screen.shown()
        await fill(screen, lead_1="10-33 UNF", hand_2="left")
        await screen.pilot.press("f2")
        await screen.settle()
        assert "a thread such as M5x0.8" in " ".join(screen.shown().split())
        await fill(screen, lead_1="M5x0.8")
        await screen.pilot.press("f2")
        await screen.settle()
        assert "a few words on why" in screen.shown()
        assert len(shop.book.block_versions(block.id)) == 1
        await fill(screen, reason="read off the stud")
        await screen.pilot.press("f2")
        await screen.settle()
        assert len(screen.app.screen_stack) == 1
        assert "block corrected" in screen.shown()
        assert screen.view.rig.studs[0].lead_mm == 0.8
        assert screen.view.rig.studs[1].hand == "left"
    assert [v.reason for v in shop.book.block_versions(block.id)] == ["", "read off the stud"]


async def test_a_burst_in_the_form_keeps_nothing(shop: Shop) -> None:
    """Digits and Enter off a cable move down the form; no version comes of it."""
    async with bench(shop) as screen:
        block = shop.book.block(screen.view.ski.block_id)
        screen.app.do_("correct_block")
        await screen.settle()
        screen.burst("2.4505\n" * 12)
        await screen.settle()
        assert isinstance(screen.app.screen, Form)
        await screen.pilot.press("escape")
        await screen.settle()
    assert len(shop.book.block_versions(block.id)) == 1


@pytest.mark.parametrize("size", SIZES)
async def test_a_baselines_number_is_corrected_from_the_list(
    shop: Shop, size: tuple[int, int]
) -> None:
    async with bench(shop, size) as screen:
        screen.app.do_("baselines")
        await screen.settle()
        listed = screen.app.screen
        assert isinstance(listed, BaselineScreen)
        assert listed.marked is not None
        old = listed.marked.baseline
        await screen.by_hand("c")
        await screen.settle()
        await fill(screen, value_1="2.4870", reason="digits swapped")
        await screen.pilot.press("f2")
        await screen.settle()
        assert "baseline corrected" in screen.shown()
        assert listed.marked.baseline.entries[0].text == "2.4870"
    assert shop.book.baseline_versions(old.id)[0].part == old
