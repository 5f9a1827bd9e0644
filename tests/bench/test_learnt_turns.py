"""Learning at the bench: the act in one line, and the plain turns one key away."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import demo_file, heron, open_shop, ski, walk_to
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
        assert "First loosen the clamp bolts" in said
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
        assert "then F5" in words(screen)
        await screen.pilot.press("f5")
        await screen.settle()
        assert any(getattr(f, "kind", "") == "settled" for f in screen.view.facts)
        assert "then F5" not in screen.shown()
