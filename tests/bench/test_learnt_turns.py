"""Learning at the bench: the act in one line, and the plain turns one key away."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.work.job.open_book import is_without_learned
from workbench.work.job.shop import Shop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(demo_file(tmp_path)) as shop:
        shop.book.set_setting("learning", "on", who="KV")
        yield shop


def words(screen: Screen) -> str:
    """Return what the screen says, its frames taken away."""
    return " ".join(screen.shown().replace("┃", " ").split())


@pytest.mark.parametrize("size", SIZES)
async def test_the_act_is_said_with_how_sure_it_is(shop: Shop, size: tuple[int, int]) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "turning", ("+.030", "", "+.020"))
    async with bench(shop, size) as screen:
        screen.app.hands.open(view.job.id)
        await screen.pilot.pause()
        said = words(screen)
        assert "% to be on target after it" in said
        assert "Loosen the bolts first; Enter" in said
        await screen.pilot.press("f6")
        await screen.settle()
        assert screen.view.learnt is None
        assert "% to be on target" not in words(screen)
        await screen.pilot.press("f6")
        await screen.settle()
        assert screen.view.learnt is not None


async def test_settling_is_one_key_and_any_reading_skips_it(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    async with bench(shop, (80, 24)) as screen:
        screen.app.hands.open(view.job.id)
        await screen.pilot.pause()
        assert "then F5. Or read: depth, hole 2 back edge." in words(screen)  # whole at 80x24
        for without in (True, False):
            await screen.pilot.press("f6")  # also before there are turns
            await screen.settle()
            assert is_without_learned(screen.view.facts) == without
        await screen.pilot.press("f5")
        await screen.settle()
        assert any(getattr(f, "kind", "") == "settled" for f in screen.view.facts)
        assert "then F5" not in screen.shown()


@pytest.mark.parametrize("size", SIZES)
async def test_what_was_learned_is_shown_with_its_evidence(
    shop: Shop, size: tuple[int, int]
) -> None:
    """Each stud, what a turn of it moves, the rounds as a plot; forgotten and brought back."""
    view = ski(shop, "Heron 66")
    async with bench(shop, size) as screen:
        screen.app.hands.open(view.job.id)
        screen.app.do_("learned")
        await screen.settle()
        await screen.pilot.press("down")
        await screen.settle()
        said = words(screen).replace("│", "")
        assert "▸ top rear: moves 2.0 % more per turn than its thread says" in said
        assert "from 59 rounds" in said
        assert screen.shown().count("•") > 5
        assert "Turns of every ski in this shop go by what was learned" in said
        await screen.pilot.press("x")
        await screen.settle()
        await screen.pilot.press(*"new", "enter")
        await screen.settle()
        assert "▸ top rear: not yet told from its thread" in words(screen)
        assert "Forgotten of the top rear stud: new" in words(screen)
        assert "struck out" not in words(screen)
        await screen.pilot.press("b")
        await screen.settle()
        assert "▸ top rear: moves 2.0 % more" in words(screen)
        await screen.pilot.press("o", "down")
        await screen.by_hand("+")
        await screen.settle()
        assert shop.book.setting("learning") == "on"  # the shop's setting goes by no one letter
        await screen.pilot.press("o")
        await screen.by_hand("+")
        await screen.settle()
        assert shop.book.setting("learning") == "off"
        assert "Turns go by the plain geometry" in words(screen)


async def test_the_block_s_page_tells_what_its_studs_have_taught(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    async with bench(shop) as screen:
        screen.app.hands.open(view.job.id)
        screen.app.do_("correct_block")
        await screen.settle()
        await screen.pilot.press("down", "down", "down")
        await screen.settle()
        assert "Learned: top rear: moves 2.0 % more per turn" in words(screen)


async def test_turns_are_told_in_degrees_where_a_ring_is_on_the_driver(shop: Shop) -> None:
    shop.book.set_setting("dial", "degrees", who="KV")
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "turning", ("+.030", "", "+.020"))
    async with bench(shop) as screen:
        screen.app.hands.open(view.job.id)
        await screen.pilot.pause()
        degrees = [f"{360 * abs(t.turns):.0f}°" for t in screen.view.plan.turns if t.turns]
        assert degrees
        assert all(f"{each} " in words(screen) for each in degrees)
        await screen.pilot.press("enter")
        await screen.settle()
        due = screen.view.plan.steps[screen.view.progress.step].turn
        assert due is not None
        assert f"{360 * abs(due.turns):.0f}° {'↻' if due.turns > 0 else '↺'}" in words(screen)
