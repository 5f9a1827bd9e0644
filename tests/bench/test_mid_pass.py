"""While a stud is turned: the keys that would change what its turn was counted from."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.bench.screens import SIZES, bench
from tests.bench.test_hands import Keys, begin
from tests.shop import heron, ski, walk_to
from workbench.bench.bases.prompts import PromptInput
from workbench.bench.hand.acts import Acts
from workbench.bench.screens.ski.aim_screens import BaselineScreen
from workbench.bench.screens.ski.questions import StrikeScreen
from workbench.work.job.shop import Shop


def mid_pass(shop: Shop) -> Keys:
    """Return hands on a ski whose bolts are loosened and whose first stud is turned."""
    keys = begin(shop, "turning")
    keys.type("\n\n")
    view = keys.hands.state.view
    assert view is not None
    assert view.progress.mid_pass
    return keys


ACTS: dict[str, Callable[[Acts], object]] = {
    "b": lambda acts: acts.aim("baseline"),
    "the last setting": lambda acts: acts.aim("last_setting"),
    "t": Acts.retarget,
    "f": Acts.finer,
    "k": Acts.keep_as_is,
}


@pytest.mark.parametrize("name", ACTS)
def test_a_key_that_would_change_the_target_is_refused(shop: Shop, name: str) -> None:
    keys = mid_pass(shop)
    before = keys.hands.state.view
    ACTS[name](keys.acts)
    state = keys.hands.state
    assert (state.view, state.tone) == (before, "warn")
    assert "in the middle of a round" in state.message
    assert "take its steps back" in state.message


async def test_the_list_of_baselines_sets_no_target_then(shop: Shop) -> None:
    """It stays open and says why."""
    keys = mid_pass(shop)
    job = keys.hands.state.view
    assert job is not None
    async with bench(shop) as screen:
        screen.app.hands.open(job.job.id)
        screen.app.do_("baselines")
        await screen.pilot.pause()
        await screen.by_hand("+")
        assert isinstance(screen.app.screen, BaselineScreen)
        assert "in the middle of a round" in screen.shown()
        assert shop.view(job.job.id).progress == job.progress


async def test_the_sheets_last_setting_is_refused_by_keys(shop: Shop) -> None:
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
    async with bench(shop) as screen:
        screen.app.hands.open(view.job.id)
        await screen.by_hand("\n\n")
        before = screen.view
        assert before.progress.mid_pass
        screen.app.do_("last_setting")
        await screen.by_hand("b")
        assert screen.view.facts == before.facts
        assert "in the middle of a round" in screen.app.hands.state.message


@pytest.mark.parametrize("size", SIZES)
async def test_a_reading_is_not_struck_out_then_and_the_reason_stays(
    shop: Shop, size: tuple[int, int]
) -> None:
    """The way on is said before a reason is typed and after it; turns and readings stay."""
    keys = mid_pass(shop)
    job = keys.hands.state.view
    assert job is not None
    async with bench(shop, size) as screen:
        screen.app.hands.open(job.job.id)
        await screen.by_hand("x")
        await screen.settle()
        assert "in the middle of a round" in " ".join(screen.shown().split())
        await screen.by_hand("slipped")
        await screen.settle()
        await screen.by_hand("\n")
        assert isinstance(screen.app.screen, StrikeScreen)
        said = " ".join(screen.shown().replace("│", " ").split())
        assert "finish this round and measure first, or take its steps back" in said
        assert screen.app.screen.query_one(PromptInput).value == "slipped"
        assert shop.view(job.job.id).facts == job.facts


@pytest.mark.parametrize("size", SIZES)
async def test_the_queue_says_of_a_ski_set_aside_that_its_bolts_are_loose(
    shop: Shop, size: tuple[int, int]
) -> None:
    keys = begin(shop, "turning")
    keys.type("\n")
    keys.acts.set_aside("lunch")
    job = keys.hands.state.view
    assert job is not None
    assert next(x for x in keys.hands.state.roster if x.job_id == job.job.id).loose
    async with bench(shop, size) as screen:
        screen.app.hands.open(job.job.id)
        await screen.pilot.pause()
        assert "The clamp bolts are loose" in screen.shown()
        screen.app.do_("queue")
        await screen.settle()
        row = next(x for x in screen.shown().splitlines() if "set aside" in x and "Heron 66" in x)
        assert "bolts loo" in row
