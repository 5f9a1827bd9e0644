"""A block found from known turns at the bench: what is well fixed, and kept as a new version."""

from __future__ import annotations

import pytest

from tests.bench.screens import SIZES, bench
from tests.work.test_measured_block import with_rounds
from workbench.bench.bases.prompts import Prompt
from workbench.bench.screens.shop.block_screens import FoundBlockScreen
from workbench.work.job.shop import Shop


@pytest.mark.parametrize("size", SIZES)
async def test_five_rounds_put_the_block_right_once_confirmed(
    shop: Shop, size: tuple[int, int]
) -> None:
    view = with_rounds(shop, 3.0)
    block_id = view.ski.block_id
    before = len(shop.book.block_versions(block_id))
    async with bench(shop, size) as screen:
        screen.app.hands.open(view.job.id)
        screen.app.do_("found_block")
        await screen.pilot.pause()
        assert isinstance(screen.app.screen, FoundBlockScreen)
        shown = " ".join(screen.shown().split())
        assert "well fixed" in shown
        assert "5 rounds made and read" in shown
        assert "round 1: " in shown
        screen.burst("2.4750\n")
        await screen.pilot.pause(0.3)
        await screen.pilot.press("+")
        await screen.pilot.pause(0.3)
        assert isinstance(screen.app.screen, Prompt)
        assert len(shop.book.block_versions(block_id)) == before
        await screen.pilot.press("enter")
        await screen.pilot.pause()
        assert "kept: the block has a new version" in screen.shown()
    versions = shop.book.block_versions(block_id)
    assert len(versions) == before + 1
    assert versions[-1].reason == "found from rounds of known turns"
