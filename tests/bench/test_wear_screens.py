"""Another blade for a ski, somebody else's numbers and a block measured, at the bench."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.bench.screens import SIZES, bench, fill
from tests.shop import Fin, heron, ski, walk_to
from workbench.bench.screens.shop.block_screens import BlockScreen
from workbench.bench.screens.ski.as_read_screen import AsReadScreen
from workbench.bench.screens.ski.ski_forms import CarriedScreen
from workbench.measure.display import length_text
from workbench.measure.units import MM_PER_INCH
from workbench.work.job.shop import Shop


@pytest.mark.parametrize("size", SIZES)
async def test_a_new_blade_asks_for_readings_and_shows_the_setting_carried(
    shop: Shop, size: tuple[int, int]
) -> None:
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "target")
    old = shop.book.blade(view.ski.blade_id)
    new = shop.book.add_blade(replace(old, name="Fresh plate"), who="KV")
    for method in shop.book.methods_of(old.id):
        shop.book.add_method(replace(method, blade_id=new.id), who="KV")
    async with bench(shop, size) as screen:
        screen.app.hands.open(view.job.id)
        screen.app.do_("wear")
        await screen.settle()
        await fill(screen, blade="Fresh plate")
        await screen.pilot.press("f2")
        await screen.settle()
        assert "new blade" in screen.shown()  # a reason is asked for
        await fill(screen, reason="bent at the tip")
        await screen.pilot.press("f2")
        await screen.settle()
        assert isinstance(screen.app.screen, CarriedScreen)
        shown = " ".join(screen.shown().split())
        assert "starting point" in shown
        await screen.pilot.press("escape")
        await screen.settle()
        assert screen.view.stage == "as received"
        assert screen.view.blade_name == "Fresh plate"
        assert "blade or block was changed" in " ".join(screen.shown().split())


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"blade": "Fresh plate", "methods": "1; 2; 3"}, "save the new blade first"),
        ({"block": "Fresh block", "methods": "1; 2"}, "three or more"),
    ],
)
async def test_a_form_that_is_refused_has_changed_nothing(
    shop: Shop, typed: dict[str, str], told: str
) -> None:
    """Parts and methods are one save: where the methods are refused the parts stay as they are."""
    view = ski(shop, "Heron 66")
    old = shop.book.blade(view.ski.blade_id)
    new = shop.book.add_blade(replace(old, name="Fresh plate"), who="KV")
    for method in shop.book.methods_of(old.id):
        shop.book.add_method(replace(method, blade_id=new.id), who="KV")
    shop.book.add_block(replace(shop.book.block(view.ski.block_id), name="Fresh block"), who="KV")
    async with bench(shop) as screen:
        screen.app.hands.open(view.job.id)
        screen.app.do_("wear")
        await screen.settle()
        await fill(screen, reason="bent", **typed)
        await screen.pilot.press("f2")
        await screen.settle()
        assert told in " ".join(screen.shown().split())
    kept = shop.book.ski(view.ski.id)
    assert (kept.blade_id, kept.block_id) == (view.ski.blade_id, view.ski.block_id)


async def test_three_numbers_off_a_cable_become_the_target(shop: Shop) -> None:
    """Each burst is a number for its line; + makes them the target, the methods as chosen."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "target")
    fin = Fin(view, 0.657, -1.001, 0.08)
    async with bench(shop) as screen:
        screen.app.hands.open(view.job.id)
        screen.app.do_("as_read")
        await screen.settle()
        top = screen.app.screen
        assert isinstance(top, AsReadScreen)
        await screen.pilot.press("slash")  # the depth was taken another way
        how = top.how
        assert how is not None
        assert how.method != view.lines[0].method
        for method in (how.method, view.lines[1].method, view.lines[2].method):
            mm = fin.rig.observe(method, fin.pose).value_mm
            screen.burst(f"{length_text(mm, 'in')}\n")
            await screen.settle()
        assert "In our methods" in screen.shown()
        assert screen.view.progress.targets == {}
        await screen.pilot.pause(0.5)
        await screen.pilot.press("plus")
        await screen.pilot.pause(0.3)
        await screen.settle()
        assert len(screen.app.screen_stack) == 1
        aimed = screen.view.lines
    for line in aimed:
        wanted = fin.rig.observe(line.method, fin.pose).value_mm
        assert line.target_mm == pytest.approx(wanted, abs=0.001 * MM_PER_INCH)


async def test_their_numbers_are_shown_as_understood_and_not_lost_by_one_key(shop: Shop) -> None:
    """A refused number begins no other, a second one is said, and Esc says what goes."""
    view = ski(shop, "Heron 66")
    walk_to(shop, view, heron(view), "target")
    async with bench(shop, (80, 24)) as screen:
        screen.app.hands.open(view.job.id)
        screen.app.do_("as_read")
        await screen.settle()
        top = screen.app.screen
        screen.burst("9.9\n")
        await screen.settle()
        assert "✗" in screen.shown()
        screen.burst("2450\n")  # behind the refused one: a number of its own
        await screen.settle()
        assert "2.450 in" in screen.shown()
        await screen.pilot.press("up")
        screen.burst("*")
        await screen.settle()
        screen.burst("62.5\n")
        await screen.settle()
        assert "62.5 mm in place of 2.450 in" in screen.shown()
        await screen.pilot.press("escape")
        await screen.settle()
        assert screen.app.screen is top
        assert "not kept yet" in screen.shown()
        await screen.pilot.press("escape")
        await screen.settle()
        assert screen.app.screen is not top


async def test_a_block_is_measured_in_a_form_and_drawn(shop: Shop) -> None:
    async with bench(shop) as screen:
        screen.app.do_("measure_block")
        await screen.settle()
        await fill(screen, name="Bench block", front_at="6.90", rear_at="1.50", tail_at="-0.6~0.1")
        await screen.pilot.press("f2")
        await screen.settle()
        assert "10 turns 0.3125" in screen.shown()  # a thread is asked for
        assert all(b.name != "Bench block" for b in shop.book.blocks())
        await fill(screen, front_thread="10 turns 0.3125")
        await screen.pilot.press("f2")
        await screen.settle()
        assert isinstance(screen.app.screen, BlockScreen)
        assert "10-32 UNF" in screen.shown()
    assert any(b.name == "Bench block" for b in shop.book.blocks())
