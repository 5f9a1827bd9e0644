"""The temperature's form: off by default, saved on purpose, and never by a burst."""

from __future__ import annotations

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import heron, ski, walk_to
from workbench.bench.screens.ski.ski_forms import TemperatureScreen
from workbench.work.job.shop import Shop
from workbench.work.trust.reading_tools import temperature_in_force


async def begin(shop: Shop, screen: Screen) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    screen.app.hands.look_again()
    screen.app.hands.open(view.job.id)
    screen.app.do_("temperature")
    await screen.pilot.pause()


@pytest.mark.parametrize("size", SIZES)
async def test_stated_it_is_in_force_for_the_readings_to_come(
    shop: Shop, size: tuple[int, int]
) -> None:
    """F2 keeps it; the next reading shows the size of its correction beside it."""
    async with bench(shop, size) as screen:
        await begin(shop, screen)
        assert "Off: readings are taken as they are." in screen.shown()
        await screen.by_hand("86 F")
        await screen.pilot.press("f2")
        await screen.pilot.pause()
        now = temperature_in_force(screen.view.facts)
        assert now is not None
        assert now.blade_c == pytest.approx(30.0)
        await screen.by_hand("2.4905\n")
        assert screen.view.lines[0].latest[0].temperature_id == now.id
        assert "−0.0003 to 20 °C" in screen.shown()
        screen.app.do_("temperature")
        await screen.pilot.pause()
        shown = screen.shown()
        assert "blade 86 °F (aluminium), caliper 86 °F (steel)" in shown
        assert "depth, hole 2 back edge −0.0003 to 20 °C" in shown


async def test_a_burst_fills_a_field_at_most(shop: Shop) -> None:
    async with bench(shop) as screen:
        await begin(shop, screen)
        screen.burst("22.4905\n")
        await screen.settle()
        assert isinstance(screen.app.screen, TemperatureScreen)
        assert temperature_in_force(shop.view(screen.view.job.id).facts) is None


async def test_beyond_sense_is_said_beside_its_field(shop: Shop) -> None:
    """Nothing is kept and nothing typed is lost."""
    async with bench(shop) as screen:
        await begin(shop, screen)
        await screen.by_hand("200 F")
        await screen.pilot.press("f2")
        await screen.pilot.pause()
        assert "-4 to 122 degF" in screen.shown()
        assert isinstance(screen.app.screen, TemperatureScreen)
        assert temperature_in_force(shop.view(screen.view.job.id).facts) is None
