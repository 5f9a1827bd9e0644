"""Settings, checklists and second eyes at the bench: what a hand changes and a burst does not."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest

from tests.bench.screens import Screen, bench
from tests.shop import heron, ski, walk_to
from workbench.bench.app import Bench
from workbench.bench.bases.forms import Form
from workbench.bench.bases.prompts import Prompt
from workbench.work.job.entry import Typed
from workbench.work.job.shop import Shop
from workbench.work.trust.shop_policy import shop_rules

SIZES = ((120, 36), (80, 24))


@asynccontextmanager
async def opened(
    shop: Shop, action: str, size: tuple[int, int] = (120, 36)
) -> AsyncIterator[Screen]:
    async with bench(shop, size) as shown:
        shown.app.do_(action)
        await shown.settle()
        yield shown


async def press(shown: Screen, *keys: str) -> None:
    for key in keys:
        await shown.pilot.pause(0.1 if key == "enter" else 0.0)
        await shown.pilot.press(key)


def at(shop: Shop, stage: str) -> str:
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), stage).job.id


# -- settings --------------------------------------------------------------------------------------


async def test_settings_are_kept_by_f2_and_show_at_once(shop: Shop) -> None:
    """Unit, shop, theme and drawing on the bench; initials for what is kept from now on."""
    async with opened(shop, "settings") as shown:
        form = shown.app.screen
        assert isinstance(form, Form)
        texts = {"shop": "The shed", "unit": "mm", "theme": "bench-day", "drawing": "ascii",
                 "who": "OT"}  # fmt: skip
        for row in form._rows:
            row.line.value = texts.get(row.field.key, row.line.value)
        await press(shown, "f2")
        await shown.settle()
        state = shown.app.hands.state
        assert (state.shop_name, state.unit, state.drawing, state.who) == (
            "The shed", "mm", "ascii", "OT",
        )  # fmt: skip
        assert shown.app.theme == "bench-day"
        assert state.message == "settings kept: 5 changed"
    assert shop.book.setting("shop") == "The shed"


async def test_a_wrong_setting_is_named_in_its_line_and_a_burst_saves_nothing(shop: Shop) -> None:
    """The form stays, with what was typed."""
    async with opened(shop, "settings", (80, 24)) as shown:
        form = shown.app.screen
        assert isinstance(form, Form)
        row = next(r for r in form._rows if r.field.key == "repeats")
        row.line.focus()
        row.line.value = ""
        shown.burst("2.450\n")
        await shown.settle()
        assert shop.book.setting("repeats") is None
        await press(shown, "f2")
        await shown.settle()
        assert shown.app.screen is form
        assert "1 to 10" in shown.shown()


async def test_what_the_bench_changed_meanwhile_is_not_turned_back_by_a_draft(shop: Shop) -> None:
    """A form that was closed unsaved knew the unit of then."""
    async with opened(shop, "settings") as shown:
        await press(shown, "x", "escape")
        await shown.by_hand("*")
        shown.app.do_("settings")
        await shown.settle()
        await press(shown, "f2")
        await shown.settle()
        assert shown.app.hands.state.unit == "mm"


# -- checks ----------------------------------------------------------------------------------------


def keys(shop: Shop) -> tuple[list[str], list[str]]:
    rules = shop_rules(shop.book)
    return [i.key for i in rules.received_now], [i.key for i in rules.final_now]


async def test_lists_are_changed_by_letters_and_undone(shop: Shop) -> None:
    """New below the mark, other order, off the list, and back again."""
    async with opened(shop, "checks") as shown:
        await press(shown, "n", *"Fins", "enter")
        assert keys(shop)[0] == ["edges", "fins", "cracks", "hardware"]
        await press(shown, "f4", "x")
        assert keys(shop)[0] == ["cracks", "fins", "hardware"] or keys(shop)[0] == [
            "fins", "cracks", "hardware",
        ]  # fmt: skip
        await press(shown, "u", "u", "u")
        assert keys(shop)[0] == ["edges", "cracks", "hardware"]
        assert "as it was before" in shown.shown()
        await press(shown, "u")
        assert "nothing" in shown.shown()


async def test_the_clamp_bolts_stay_and_a_note_takes_the_shops_words(shop: Shop) -> None:
    """The refusal is said; the maker's figure stands above every note."""
    async with opened(shop, "checks", (80, 24)) as shown:
        await press(shown, *["down"] * 6, "x")
        assert "the clamp bolts stay" in shown.shown()
        await press(shown, "f3", "e")
        assert keys(shop)[1][-1] == "clamp"
        await press(shown, "down", "e")
        prompt = shown.app.screen
        assert isinstance(prompt, Prompt)
        await press(shown, "end", *" gently", "enter")
        assert shop_rules(shop.book).torque["clamp"].endswith("gently")
        assert "the shop's words" in shown.shown()
        assert "the maker's figure wins" in shown.shown()


async def test_a_burst_changes_no_list(shop: Shop) -> None:
    """It is held as a note."""
    async with opened(shop, "checks") as shown:
        before = keys(shop)
        shown.burst("2.450\n")
        await shown.settle()
        assert keys(shop) == before
        assert shown.held() == ["2.450"]


async def test_the_item_due_brings_its_torque_note_to_the_bench(shop: Shop) -> None:
    """In the line of cautions, the maker's figure named."""
    job_id = at(shop, "final check")
    async with bench(shop, (80, 24)) as shown:
        shown.app.hands.look_again()
        shown.app.hands.open(job_id)
        await shown.by_hand("\n+")
        assert "Block screws: the maker's figure wins; crosswise" in shown.shown()


# -- a second pair of eyes, repeats, the last setting ----------------------------------------------


async def test_with_second_eyes_plus_asks_for_initials_that_no_burst_gives(shop: Shop) -> None:
    """Then + signs off; one's own initials are refused in the question."""
    shop.remember("second_eyes", "on")
    job_id = at(shop, "sign-off")
    async with bench(shop) as shown:
        shown.app.hands.look_again()
        shown.app.hands.open(job_id)
        await shown.by_hand("\n+")
        assert isinstance(shown.app.screen, Prompt)
        shown.burst("2.450\n")
        await shown.settle()
        await press(shown, *"kv", "enter")
        assert "somebody else" in shown.shown()
        await press(shown, "backspace", "backspace", *"ot", "enter")
        await shown.settle()
        assert shown.view.progress.eyes == "ot"
        assert shown.view.stage == "sign-off"
        await shown.by_hand("+")
        assert shown.view.stage == "signed off"


async def test_repeats_are_counted_on_the_next_line_and_k_goes_on_with_fewer(shop: Shop) -> None:
    """Once there is one of each."""
    shop.remember("repeats", "2")
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "as received")
    for line in view.lines:
        view = shop.take_reading(
            view, line, Typed(fin.text(line), "in", float(fin.text(line)) * 25.4)
        )
    async with bench(shop) as shown:
        shown.app.hands.look_again()
        shown.app.hands.open(view.job.id)
        await shown.settle()
        assert "2 of 2, then Enter. k goes on with fewer." in shown.shown()
        await shown.by_hand("k")
        assert shown.view.stage == "studs"


async def test_enter_takes_the_last_setting_where_the_job_was_queued_so(shop: Shop) -> None:
    """Shown first, then accepted by another Enter; u takes it back."""
    from workbench.work.roster import queue

    done = next(x for x in shop.roster() if x.stage == "signed off")
    view = shop.view(queue.queue_again(shop, done.ski_id, as_last_time=True))
    view = walk_to(shop, view, heron(view), "target")
    async with bench(shop) as shown:
        shown.app.hands.look_again()
        shown.app.hands.open(view.job.id)
        await shown.settle()
        assert "Enter takes the setting it left with for all" in " ".join(shown.shown().split())
        await shown.by_hand("\n")
        assert len(shown.view.progress.targets) == 3
        await shown.by_hand("uuu")
        assert shown.view.offers_last
        await shown.by_hand("\n\n")
        assert shown.view.stage in ("turning", "within")


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
@pytest.mark.parametrize("action", ["settings", "checks"])
def test_the_screens_look_as_they_did(
    shop: Shop, snap_compare: Any, action: str, size: tuple[int, int]
) -> None:
    """The picture is the one that was looked at and found good."""

    async def show(pilot: Any) -> None:
        await pilot.pause()
        pilot.app.do_(action)
        await pilot.pause(0.2)

    assert snap_compare(Bench(shop), terminal_size=size, run_before=show)
