"""Striking out any repeat of a reading: which one, why, and what stays on the screen."""

from __future__ import annotations

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import heron, read, ski, walk_to
from workbench.bench.screens.ski.questions import StrikeScreen
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop

SIX = ("2.4900", "2.4905", "2.5200", "2.4895", "2.4900", "2.4905")


def repeats(shop: Shop, texts: tuple[str, ...] = SIX) -> JobView:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    for text in texts:
        view = read(shop, view, view.lines[0], text)
    return view


async def begin(screen: Screen, view: JobView) -> None:
    """Take the ski in hand, mark its first reading and press x."""
    screen.app.hands.look_again()
    screen.app.hands.open(view.job.id)
    screen.app.hands.select(-1)
    assert screen.app.hands.state.line_index == 0
    await screen.by_hand("x")
    await screen.pilot.pause()


@pytest.mark.parametrize("size", SIZES)
async def test_the_doubtful_one_is_chosen_to_begin_with(shop: Shop, size: tuple[int, int]) -> None:
    """The third is marked, with its sign, its word and the test's name."""
    view = repeats(shop)
    async with bench(shop, size) as screen:
        await begin(screen, view)
        shown = screen.shown()
        assert "▸ 3) 2.5200 in  as typed 2.5200 in  ? doubtful" in shown
        assert "Grubbs" in shown
        await screen.by_hand("slipped")
        await screen.settle()
        await screen.by_hand("\n")
        line = screen.view.lines[0]
        assert [r.text for r in line.latest] == [t for t in SIX if t != "2.5200"]
        assert [r.text for r in line.struck] == ["2.5200"]
        assert "struck" in screen.shown()


async def test_another_one_can_be_chosen(shop: Shop) -> None:
    view = repeats(shop)
    async with bench(shop) as screen:
        await begin(screen, view)
        await screen.pilot.press("down", "down")
        await screen.by_hand("jaw tilted")
        await screen.settle()
        await screen.by_hand("\n")
        (gone,) = screen.view.lines[0].struck
        assert gone.id == view.lines[0].latest[4].id
        assert gone.struck is not None
        assert gone.struck.reason == "jaw tilted"


async def test_a_burst_strikes_nothing_out_and_is_held(shop: Shop) -> None:
    view = repeats(shop)
    async with bench(shop) as screen:
        await begin(screen, view)
        screen.burst("2.4910\n")
        await screen.settle()
        assert isinstance(screen.app.screen, StrikeScreen)
        assert screen.held() == ["2.4910"]
        assert len(screen.app.shop.view(view.job.id).lines[0].latest) == 6


async def test_without_a_doubt_it_is_the_last(shop: Shop) -> None:
    view = repeats(shop, ("2.4900", "2.4905"))
    async with bench(shop) as screen:
        await begin(screen, view)
        assert "▸ 2) 2.4905 in" in screen.shown()


async def test_a_reading_not_taken_says_so(shop: Shop) -> None:
    view = repeats(shop, ())
    async with bench(shop) as screen:
        screen.app.hands.open(view.job.id)
        await screen.by_hand("x")
        assert "no reading of this round to strike out" in screen.app.hands.state.message


async def test_a_doubtful_repeat_is_called_out_at_once_and_still_counts(shop: Shop) -> None:
    """In the message and in the panel, sign and word; the mean is that of all seven."""
    view = repeats(shop, ("2.4900", "2.4905", "2.4900", "2.4895", "2.4900", "2.4905"))
    for size in SIZES:
        async with bench(shop, size) as screen:
            screen.app.hands.look_again()
            screen.app.hands.open(view.job.id)
            screen.app.hands.select(-1)
            await screen.by_hand("2.5120\n")
            assert "? doubtful" in screen.shown()
            state = screen.app.hands.state
            assert state.message.startswith("Repeat 7 doubtful (Grubbs, two-sided, 0.05)")
            assert state.tone == "warn"
            assert len(screen.view.lines[0].latest) == 7
            screen.app.acts.take_back()


async def test_two_repeats_far_apart_ask_for_a_third_at_once(shop: Shop) -> None:
    """In the message, in the panel and in the budget; a third that tells them apart ends it."""
    view = repeats(shop, ("2.4900",))
    for size in SIZES:
        async with bench(shop, size) as screen:
            screen.app.hands.look_again()
            screen.app.hands.open(view.job.id)
            screen.app.hands.select(-1)
            await screen.by_hand("2.4930\n")
            state = screen.app.hands.state
            assert state.message.startswith("These two differ by more than 0.0014 in; take a third")
            assert state.tone == "warn"
            assert "? doubtful" in screen.shown()
            screen.app.hands.select(-1)
            await screen.by_hand("g")
            assert "take a third; both still count" in " ".join(screen.shown().split())
            await screen.by_hand("g")
            screen.app.acts.take_back()


async def third_is_doubtful(screen: Screen, view: JobView) -> None:
    """Type three repeats of the first reading, the last of them off; the mark moves on."""
    screen.app.hands.look_again()
    screen.app.hands.open(view.job.id)
    await screen.by_hand("2.4900\n2.4900\n2.5120\n")
    assert "Repeat 3 doubtful" in screen.app.hands.state.message
    assert "x strikes it out" in screen.app.hands.state.message
    assert screen.app.hands.state.line_index == 1


@pytest.mark.parametrize("size", SIZES)
async def test_x_strikes_out_what_was_just_called_doubtful(
    shop: Shop, size: tuple[int, int]
) -> None:
    """The mark has moved on to the next reading; x means the one of the message."""
    shop.remember("repeats", "3")
    view = repeats(shop, ())
    async with bench(shop, size) as screen:
        await third_is_doubtful(screen, view)
        await screen.by_hand("x")
        await screen.pilot.pause()
        assert "▸ 3) 2.5120 in" in screen.shown()
        await screen.by_hand("slipped")
        await screen.settle()
        await screen.by_hand("\n")
        assert [r.text for r in screen.view.lines[0].struck] == ["2.5120"]
        assert [len(line.latest) for line in screen.view.lines] == [2, 0, 0]


@pytest.mark.parametrize("keys", ["down", "7"])
async def test_moved_to_or_typed_at_another_reading_x_means_that_one(shop: Shop, keys: str) -> None:
    shop.remember("repeats", "3")
    view = repeats(shop, ())
    async with bench(shop) as screen:
        await third_is_doubtful(screen, view)
        await screen.pilot.press(keys)
        await screen.pilot.pause()
        await screen.by_hand("x")
        assert "no reading of this round to strike out here" in screen.app.hands.state.message
