"""The walk-through: what it says leads from received to signed off."""

from __future__ import annotations

import re
from pathlib import Path

from tests.bench.screens import bench
from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.work.job.shop import Shop
from workbench.work.job_text.tasks import STEPS, tour_words


async def test_doing_what_it_says_signs_a_ski_off(tmp_path: Path) -> None:
    """Only keys that the walk-through names are pressed; every step is counted once or more."""
    seen: list[int] = []
    with open_shop(demo_file(tmp_path)) as shop:
        async with bench(shop) as screen:
            screen.app.hands.open(ski(shop, "Heron 66").job.id)
            screen.app.do_("tour")
            for _ in range(80):
                state = screen.app.hands.state
                words = tour_words(state.view, state.unit, state.hands_on)
                found = re.match(r"Walk-through (\d+) of (\d+): ", words)
                assert found is not None
                seen.append(int(found[1]))
                assert found[2] == str(len(STEPS))
                if screen.view.stage == "signed off":
                    break
                typed = re.search(r"type ([+.\d]+) ", words)
                if typed:
                    await screen.by_hand(f"{typed[1]}\n")
                elif "press +" in words or (state.hands_on and "then +" in words):
                    await screen.by_hand("+")
                else:
                    await screen.by_hand("\n")
            assert screen.view.stage == "signed off"
            assert "a writes its card" in screen.shown()
    assert seen[0] == 1
    assert seen[-1] == len(STEPS)


def test_it_goes_on_once_the_target_is_set(shop: Shop) -> None:
    """Typing the same change again would aim the tail too, which nobody wanted."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "target")
    assert "type +.010 and Enter" in tour_words(view, "in", False)
    view = shop.aim(view, view.lines[0], "+.010", "in")
    words = tour_words(view, "in", False)
    assert "type" not in words
    assert "past the last accepts the targets" in words


def test_without_a_ski_it_says_which_key() -> None:
    """And names no step."""
    assert "j goes to the next" in tour_words(None, "in", False)
