"""Pictures of the screens that tell what a reading is worth, at both sizes."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from textual.pilot import Pilot

from tests.bench.screens import SIZES
from tests.shop import heron, read, ski, walk_to
from workbench.bench.app import Bench
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import state_temperature
from workbench.work.trust.reading_tools import held_caliper

SEVEN = ("2.4900", "2.4905", "2.4900", "2.4895", "2.4900", "2.4905", "2.5200")
WARM = {"blade": "86 F", "caliper": "79 F", "scale": "F"}
EACH_SIZE = pytest.mark.parametrize("size", SIZES, ids=["120x36", "80x24"])


def turning(shop: Shop) -> JobView:
    return ski(shop, "Heron 67")


def repeats(shop: Shop) -> JobView:
    """Return a ski read warm, its first reading seven times with the caliper in hand."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    view = state_temperature(shop, view, WARM)
    held = held_caliper(shop.book)
    assert held is not None
    for text in SEVEN:
        mm = float(text) * 25.4
        view = shop.take_reading(view, view.lines[0], Typed(text, "in", mm, "typed", held.id))
    third = view.lines[0].latest[2]
    return shop.strike_reading(view, view.lines[0], "jaw on the bevel", third.id)


def app_on(shop: Shop, view: JobView) -> Bench:
    app = Bench(shop)
    app.hands.look_again()
    app.hands.open(view.job.id)
    app.hands.select(-app.hands.state.line_index)
    return app


def doing(action: str) -> Callable[[Pilot[Any]], Awaitable[None]]:
    async def act(pilot: Pilot[Any]) -> None:
        await pilot.pause()
        pilot.app.do_(action)  # type: ignore[attr-defined]
        await pilot.pause()
        await pilot.pause()

    return act


CASES: dict[str, tuple[str, Callable[[Shop], JobView]]] = {
    "budget": ("sure", turning),
    "budget-of-repeats": ("sure", repeats),
    "restate": ("restate", turning),
    "caliper-check": ("calipers", turning),
    "temperature-off": ("temperature", turning),
    "temperature": ("temperature", repeats),
    "hold": ("hold", turning),
    "strike": ("strike", repeats),
}


@EACH_SIZE
@pytest.mark.parametrize("case", CASES)
def test_the_screen_looks_as_it_did(
    shop: Shop, snap_compare: Any, case: str, size: tuple[int, int]
) -> None:
    """The picture is the one that was looked at and found good."""
    action, make = CASES[case]
    app = app_on(shop, make(shop))
    assert snap_compare(app, terminal_size=size, run_before=doing(action))


@EACH_SIZE
def test_the_bench_with_repeats_looks_as_it_did(
    shop: Shop, snap_compare: Any, size: tuple[int, int]
) -> None:
    """n, s and u, the doubtful one and the one struck out, beside the side view."""
    view = repeats(shop)
    view = read(shop, view, view.lines[1], "0.7490")
    app = app_on(shop, view)
    assert snap_compare(app, terminal_size=size)
