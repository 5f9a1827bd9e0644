"""Ride notes and baselines at the bench: by the keyboard alone, and no burst answers."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.bench.screens import SIZES, bench
from tests.shop import DAY, demo_file, heron, open_shop, ski, walk_to
from workbench.bench.app import Bench
from workbench.bench.screens.ski.aim_screens import BaselineScreen, RideScreen
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.history import rides
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop


def ready(shop: Shop) -> JobView:
    """A ski read and seated, with a ride note of its last ride."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "target")
    rides.keep_ride(
        shop,
        view,
        {
            "rider": "Ines Tavary", "place": "north pond", "water": "13 C", "rope": "fourth loop",
            "speed": "34", "complaints": "1 6", "rating": "3",
            "text": "let go at the fourth ball, [b]twice[/b], then stood behind it",
        },
    )  # fmt: skip
    shop.remember("job", view.job.id)
    return shop.view(view.job.id)


async def test_a_note_is_written_and_a_suggestion_becomes_the_target(tmp_path: Path) -> None:
    """n, the form, F2; then the mark, and + on purpose."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ready(shop)
        async with bench(shop) as screen:
            screen.app.do_("ride")
            await screen.pilot.pause()
            await screen.pilot.press("n")
            await screen.pilot.press(*["down"] * 5, *"1", "down", *"slides", "f2")
            await screen.pilot.pause()
            assert len(rides.rides_of(shop, view.ski.id)) == 2
            await screen.by_hand("+")
            assert isinstance(screen.app.screen, RideScreen)
            line = shop.view(view.job.id).lines[0]
            assert line.target is not None
            assert line.target_mm == pytest.approx(line.now_mm + 0.003 * 25.4)
            assert "target: depth" in screen.shown()
            await screen.pilot.press("escape")
            await screen.pilot.pause()
            assert screen.view.lines[0].target is not None


@pytest.mark.parametrize("action", ["ride", "baselines"])
async def test_a_burst_over_a_list_is_held_and_answers_nothing(tmp_path: Path, action: str) -> None:
    """Also one with a sign in front."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ready(shop)
        async with bench(shop) as screen:
            screen.app.do_(action)
            await screen.pilot.pause()
            for text in ("2.4750\n", "+2.4750\n"):
                screen.burst(text)
                await screen.settle()
            assert isinstance(screen.app.screen, RideScreen | BaselineScreen)
            assert screen.held() == ["2.4750", "+2.4750"]
            assert all(x.target is None for x in shop.view(view.job.id).lines)


async def test_numbers_are_kept_as_a_baseline_and_aimed_at(tmp_path: Path) -> None:
    """n keeps them, x strikes out with a reason, + aims."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ready(shop)
        async with bench(shop) as screen:
            screen.app.do_("baselines")
            await screen.pilot.pause()
            await screen.pilot.press("n", *"spring", "f2")
            await screen.pilot.pause()
            assert shop.book.baselines_of(view.ski.id)[-1].name == "spring"
            await screen.by_hand("+")
            targets = [f for f in shop.book.facts(view.job.id) if isinstance(f, rows.Target)]
            assert [t.kind for t in targets] == ["baseline"] * 3
            await screen.pilot.press("x", *"wrong")
            await screen.pilot.pause(0.2)
            await screen.pilot.press("enter")
            await screen.pilot.pause()
            assert "spring" not in [b.name for b in shop.book.baselines_of(view.ski.id)]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("action", ["ride", "baselines"])
def test_the_lists_look_as_they_should(
    tmp_path: Path, snap_compare: Any, action: str, size: tuple[int, int]
) -> None:
    """Snapshots at both sizes, of one day whatever day it is."""
    noon = datetime(2026, 11, 25, 12, tzinfo=UTC)
    with Book(demo_file(tmp_path), clock=lambda: noon) as book:
        shop = Shop(book, day=DAY, who="KV")
        ready(shop)

        async def show(pilot: Pilot[int]) -> None:
            app = pilot.app
            assert isinstance(app, Bench)
            app.do_(action)
            await pilot.pause(0.1)

        run: Callable[[Pilot[int]], Awaitable[None]] = show
        assert snap_compare(Bench(shop), terminal_size=size, run_before=run)


async def test_plus_on_a_note_without_a_suggestion_asks_for_another_note(tmp_path: Path) -> None:
    """Not for the first one, which is there."""
    with open_shop(demo_file(tmp_path)) as shop:
        view = ready(shop)
        rides.keep_ride(shop, view, {"text": "all well", "rating": "5"})
        async with bench(shop) as screen:
            screen.app.do_("ride")
            await screen.pilot.pause()
            assert "nothing in the list for this note" in screen.shown()
            await screen.by_hand("+")
            shown = " ".join(screen.shown().replace("│", " ").split())
            assert "a ride note first" not in shown
            assert "n writes one, p shows an earlier one" in shown
