"""The history screen at the keyboard: timeline, find, strike out, plots, compare; and as drawn."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest

from tests.bench.screens import SIZES, Screen, before, bench
from tests.shop import ski
from workbench.bench.app import Bench
from workbench.bench.bases.prompts import Prompt
from workbench.bench.draw.text import styled
from workbench.bench.screens.ski.compare_screen import HEAD_CELLS, CompareScreen, columns_for
from workbench.bench.screens.ski.history_screen import HistoryScreen
from workbench.records.store import rows
from workbench.work.job.shop import Shop


@pytest.fixture(autouse=True)
def _one_zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Local times are those of Greenwich here, so that a screen looks the same anywhere."""
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


async def opened(screen: Screen, name: str = "Heron 67") -> HistoryScreen:
    screen.app.hands.open(ski(screen.app.shop, name).job.id)
    await screen.pilot.press("o")
    await screen.pilot.pause()
    history = screen.app.screen
    assert isinstance(history, HistoryScreen)
    return history


async def test_the_timeline_opens_at_its_key_and_closes_at_it_again(shop: Shop) -> None:
    async with bench(shop) as screen:
        await opened(screen)
        assert "History: Heron 67" in screen.shown()
        await screen.pilot.press("o")
        assert len(screen.app.screen_stack) == 1


async def test_arrows_choose_the_kind_and_n_turns_the_order(shop: Shop) -> None:
    """The mark stays with its entry where the order changes; another kind shows that kind alone."""
    async with bench(shop) as screen:
        history = await opened(screen)
        await screen.pilot.press("down", "down")
        marked = history.chosen
        await screen.pilot.press("n")
        assert history.chosen == marked
        assert not history.look.newest_first
        await screen.pilot.press("right")
        assert {e.kind for e in history._entries} == {"reading"}
        await screen.pilot.press("left", "left")
        assert history.look.kind == "struck"
        shown = screen.shown()
        assert "✗ reading" in shown
        assert "struck: jaw stood on the be" in shown
        assert "struck out by KV 2026-07-09 08:00: jaw stood on the bevel" in shown


async def test_moving_stays_within_the_entries(shop: Shop) -> None:
    async with bench(shop) as screen:
        history = await opened(screen)
        await screen.pilot.press("up", "pageup")
        assert history.look.at == 0
        await screen.pilot.press("end", "down", "pagedown")
        assert history.look.at == len(history._entries) - 1
        await screen.pilot.press("home")
        assert history.look.at == 0


async def test_find_as_you_type_and_esc_ends_it(shop: Shop) -> None:
    """Letters go into the search; arrows still move; Esc clears it, a second one closes."""
    async with bench(shop) as screen:
        history = await opened(screen)
        await screen.pilot.press("f", *"cup", "down")
        await screen.pilot.pause()
        assert [e.kind for e in history._entries] == ["ride note"]
        assert "Warm water: too slow" in screen.shown()
        await screen.pilot.press("escape")
        await screen.pilot.pause()
        assert len(history._entries) == len(history.past.timeline.entries)
        await screen.pilot.press("escape")
        assert len(screen.app.screen_stack) == 1


async def test_a_burst_is_held_wherever_it_comes(shop: Shop) -> None:
    """In the timeline, in the search, in the plots and beside two settings: nothing is done."""
    async with bench(shop) as screen:
        history = await opened(screen)
        facts = len(screen.view.facts)
        screen.burst("2.4505\n")
        await screen.settle()
        await screen.pilot.press("f")
        await screen.settle()
        screen.burst("2.4510\n")
        await screen.settle()
        assert history.look.find == ""
        await screen.pilot.press("escape", "p")
        await screen.settle()
        screen.burst("2.4515\n")
        await screen.settle()
        await screen.pilot.press("c")
        screen.burst("2.4520\n")
        await screen.settle()
        assert isinstance(screen.app.screen, CompareScreen)
        assert screen.held() == ["2.4505", "2.4510", "2.4515", "2.4520"]
        assert len(screen.app.shop.book.facts(screen.view.job.id)) == facts + 4


async def test_a_row_is_struck_out_with_a_reason_and_both_are_shown(shop: Shop) -> None:
    """x says what comes of it and asks why; a burst is no answer; the bench follows."""
    async with bench(shop) as screen:
        history = await opened(screen)
        await screen.pilot.press("right", "x")
        await screen.pilot.pause()
        assert isinstance(screen.app.screen, Prompt)
        assert "goes from 'turning' to 'as received'" in screen.shown()
        screen.burst("2.4505\n")
        await screen.settle()
        assert isinstance(screen.app.screen, Prompt)
        await screen.by_hand("slip")
        await screen.settle()
        await screen.by_hand("\n")
        await screen.settle()
        assert screen.app.screen is history, screen.shown()
        entry = next(e for e in history._entries if e.row.struck and e.row.struck.reason == "slip")
        assert entry.row.struck is not None
        assert entry.row.struck.who == "KV"
        assert "struck: slip" in screen.shown()
        assert screen.view.stage == "as received"


async def test_a_sign_off_struck_out_brings_the_ski_back_into_the_queue(shop: Shop) -> None:
    async with bench(shop) as screen:
        history = await opened(screen, "Stilt 65")
        assert screen.view.stage == "signed off"
        await screen.pilot.press("f", *"signed off")
        await screen.settle()
        await screen.pilot.press("enter")
        await screen.settle()
        assert history.chosen is not None
        assert isinstance(history.chosen.row, rows.SignOff)
        await screen.pilot.press("x")
        await screen.pilot.pause()
        assert "The job opens again, at the stage 'sign-off'" in screen.shown()
        await screen.pilot.press(*"wrong")
        await screen.settle()
        await screen.pilot.press("enter")
        await screen.settle()
        assert screen.view.stage == "sign-off"


async def test_what_is_struck_out_already_is_not_struck_twice(shop: Shop) -> None:
    async with bench(shop) as screen:
        history = await opened(screen)
        await screen.pilot.press("left", "x")
        await screen.pilot.pause()
        assert screen.app.screen is history
        assert "struck out already" in screen.shown()


async def test_the_unit_flips_here_and_on_the_bench(shop: Shop) -> None:
    async with bench(shop) as screen:
        await opened(screen)
        await screen.pilot.press("right", "*")
        await screen.pilot.pause()
        assert "mm" in screen.shown()
        assert screen.app.hands.state.unit == "mm"


@pytest.mark.parametrize("size", SIZES)
async def test_every_plot_can_be_seen_and_looked_into(shop: Shop, size: tuple[int, int]) -> None:
    """Each method by name, then the wing; z shows all readings of the job pointed at."""
    async with bench(shop, size) as screen:
        history = await opened(screen)
        await screen.pilot.press("p")
        await screen.pilot.pause()
        seen = ""
        for _ in range(4):
            seen += screen.shown()
            await screen.pilot.press("right")
            await screen.pilot.pause()
        for title in ("depth, hole 2 back edge (in)", "length, tips (in)", "wing (degrees)"):
            assert title in seen
        await screen.pilot.press("home", "down", "z")
        await screen.pilot.pause()
        assert history.setting is not None
        assert f"every reading of the job of {history.setting.day}" in screen.shown()
        await screen.pilot.press("z", "p")
        assert not history.look.plotted


async def test_going_back_makes_the_setting_pointed_at_the_target(shop: Shop) -> None:
    """One key on purpose in the plots; the bench stands at its target then."""
    async with bench(shop) as screen:
        history = await opened(screen)
        await screen.pilot.press("p", "home", "g")
        await screen.settle()
        assert "is the target now" in screen.shown()
        assert screen.view.stage == "target"
        first = history.past.settings[0]
        targets = [line.target for line in screen.view.lines]
        assert [t.kind for t in targets if t] == ["value"] * 3
        assert [t.mm for t in targets if t] == pytest.approx([v.mm for v in first.values], abs=0.01)


async def test_two_settings_are_chosen_and_one_becomes_the_target(shop: Shop) -> None:
    """a and b mark them, both units and the turns stand below, g goes back to the one marked."""
    async with bench(shop) as screen:
        await opened(screen)
        await screen.pilot.press("c")
        await screen.pilot.pause()
        compare = screen.app.screen
        assert isinstance(compare, CompareScreen)
        for _ in range(20):
            await screen.pilot.press("up")
        await screen.pilot.press("a", "down", "b")
        await screen.pilot.pause()
        assert (compare.first, compare.second) == (0, 1)
        shown = screen.shown()
        assert "2.4740   62.84  2.4870   63.17" in shown
        assert "From A to B, each stud:" in shown
        await screen.pilot.press("g")
        await screen.settle()
        assert screen.view.stage == "target"
        assert "its wing was 7.5°" in screen.shown()
        await screen.pilot.press("escape", "escape")
        assert len(screen.app.screen_stack) == 1


@pytest.mark.parametrize("size", SIZES)
async def test_every_method_is_named_in_full_above_its_column(
    shop: Shop, size: tuple[int, int]
) -> None:
    """On as many lines as it takes; wing and ride have columns of their own."""
    async with bench(shop, size) as screen:
        for name in ("Heron 67", "Lark 64"):
            history = await opened(screen, name)
            await screen.pilot.press("c")
            await screen.pilot.pause()
            above = screen.shown().split("wing ride")[0]
            assert "…" not in above
            words = above.split("side by side")[1]
            for method in history.past.history.methods.values():
                assert all(word in words for word in method.name.split())
            await screen.pilot.press("escape", "escape")


def test_methods_without_room_are_counted_and_columns_stay_in_line() -> None:
    """Long names, wide letters and many methods: never wider than the screen."""
    for names in (["depth, hole 2 back edge"] * 9, ["漢字" * 20] * 3, ["W" * 60, "a"], []):
        for width in (46, 76, 116):
            columns = columns_for(names, width)
            assert len(columns) == len(names) or len(columns) >= 1
            assert sum(cells + 1 for cells, _ in columns) <= max(width - HEAD_CELLS - 12, 9)
            for cells, lines in columns:
                assert len(lines) <= 3
                assert all(styled(line).cell_length <= cells for line in lines)


async def test_where_no_target_can_be_set_it_says_which_stage_does(shop: Shop) -> None:
    async with bench(shop) as screen:
        await opened(screen, "Heron 66")
        before = len(screen.view.facts)
        await screen.pilot.press("c", "g")
        await screen.settle()
        assert "now at the stage waiting" in screen.shown()
        assert len(screen.view.facts) == before


async def test_a_ski_never_read_says_so(shop: Shop) -> None:
    """Its timeline has its sheet; plots and comparison have nothing to show."""
    old = ski(shop, "Heron 66").ski
    new = shop.book.add_ski(
        rows.Ski("", "New [b]ski", "", "N1", "", "in", old.blade_id, old.block_id,
                 methods=old.methods)
    )  # fmt: skip
    job = shop.book.add_job(new.id, shop.day)
    async with bench(shop) as screen:
        screen.app.hands.look_again()
        screen.app.hands.open(job.id)
        await screen.pilot.press("o")
        await screen.pilot.pause()
        assert "ski written down: New [b]ski" in screen.shown()
        await screen.pilot.press("p")
        await screen.pilot.pause()
        assert "nothing to plot" in screen.shown()
        await screen.pilot.press("c")
        await screen.pilot.pause()
        assert "nothing to compare" in screen.shown()
        await screen.pilot.press("a", "g", "escape", "escape")
        assert len(screen.app.screen_stack) == 1


async def test_ascii_mode_has_no_sign_beyond_ascii_in_its_plots(shop: Shop) -> None:
    async with bench(shop) as screen:
        screen.app.hands.next_drawing()
        screen.app.hands.next_drawing()
        history = await opened(screen)
        assert history.mode == "ascii"
        assert "o reading" in screen.shown()
        await screen.pilot.press("p")
        await screen.pilot.pause()
        body = history.drawn(70, 20).plain.splitlines()[1:-2]
        assert "".join(body).isascii()


async def test_u_on_the_bench_shows_in_the_timeline(shop: Shop) -> None:
    """Taken back once and once more: both stand struck out in the timeline."""
    async with bench(shop) as screen:
        screen.app.hands.open(ski(shop, "Heron 67").job.id)
        await screen.pilot.press("u", "u", "o")
        await screen.pilot.pause()
        assert screen.shown().count("struck: taken back") == 2


# -- as drawn ----------------------------------------------------------------------------------

CASES = {"timeline": ("down",), "plots": ("p",), "compare": ("p", "home", "c")}


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
@pytest.mark.parametrize("case", list(CASES))
def test_screens_look_as_they_did(
    shop: Shop, snap_compare: Any, case: str, size: tuple[int, int]
) -> None:
    """Looked at and found good."""
    app = Bench(shop)
    app.hands.open(ski(shop, "Heron 67").job.id)
    assert snap_compare(app, terminal_size=size, run_before=before(("o", *CASES[case])))
