"""The queue's screen: keys, find as you type, bursts, and how it looks at both sizes."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any

import pytest

from tests.bench.screens import Screen, before, bench
from tests.shop import DAY, at_stage
from workbench.bench.app import Bench
from workbench.bench.screens.shop.queue_screen import QueueScreen
from workbench.work.job.shop import Shop
from workbench.work.roster import queue

SIZES = ((120, 36), (80, 24))
NEXT = "2026-11-26"


@asynccontextmanager
async def opened(
    shop: Shop, size: tuple[int, int] = (120, 36)
) -> AsyncIterator[tuple[Screen, QueueScreen]]:
    async with bench(shop, size) as shown:
        await shown.pilot.press("z")
        await shown.settle()
        assert isinstance(shown.app.screen, QueueScreen)
        yield shown, shown.app.screen


def names(screen: QueueScreen) -> list[str]:
    return [getattr(x, "ski_name", getattr(x, "name", "")) for x in screen.items]


async def press(shown: Screen, *keys: str) -> None:
    for key in keys:
        on_purpose = key in ("plus", "enter")
        await shown.pilot.pause(0.1 if on_purpose else 0.0)
        await shown.pilot.press(key)
        await shown.pilot.pause(0.14 if on_purpose else 0.0)


async def test_typing_finds_in_the_day_and_below_among_all_skis(shop: Shop) -> None:
    """Letter by letter; Esc clears the line before it closes."""
    first = shop.book.ski(shop.roster()[0].ski_id)
    shop.book.add_ski(replace(first, id="", name="Héron 70", serial="H70", rider="Åse Lind"))
    async with opened(shop) as (shown, screen):
        await press(shown, *"her")
        assert names(screen)[:3] == ["Heron 66", "Heron 67", "Heron 66 [spare]"]
        assert names(screen)[-1] == "Héron 70"
        await press(shown, "space", *"ase")
        assert names(screen) == ["", "Héron 70"]
        assert screen.at == 1
        await press(shown, *"zz")
        assert "nothing found" in shown.shown()
        await press(shown, "escape")
        assert len(screen.items) == 10
        await press(shown, "escape")
        assert not isinstance(shown.app.screen, QueueScreen)


async def test_enter_takes_the_marked_ski_in_hand(shop: Shop) -> None:
    """And goes back to the bench, where that Enter does nothing more."""
    async with opened(shop) as (shown, _):
        await press(shown, *"lark", "down", "enter")
        assert not isinstance(shown.app.screen, QueueScreen)
        assert shown.view.ski.name == "Lark 66"
        assert shown.view.stage == "studs"


async def test_a_burst_opens_nothing_and_is_held(shop: Shop) -> None:
    """With a sign, with a line feed behind it, and amid what is typed."""
    async with opened(shop) as (shown, screen):
        job_id = shown.view.job.id
        await press(shown, *"he")
        shown.burst("2.4505\n\n")
        await shown.settle()
        shown.burst("+0.125\n")
        await shown.settle()
        assert isinstance(shown.app.screen, QueueScreen)
        assert screen.find.text == "he"
        assert shown.held() == ["2.4505", "+0.125"]
        assert shown.view.job.id == job_id


async def test_the_order_is_changed_by_keys(shop: Shop) -> None:
    """The mark goes with the job; by due puts all in order at once."""
    async with opened(shop) as (shown, screen):
        await press(shown, "f4", "f4")
        assert names(screen)[:3] == ["Heron 67", "Otter 65", "Heron 66"]
        assert screen.at == 2
        await press(shown, "f3", "f3", "f3")
        assert names(screen)[0] == "Heron 66"
        assert "within the list" in shown.shown()
        await press(shown, "f5")
        assert names(screen)[0] == "Stilt 65"
        await press(shown, *"otter", "f4")
        assert "Esc clears" in shown.shown()
    assert shop.roster()[0].ski_name == "Stilt 65"


async def test_set_aside_needs_a_reason_and_the_same_key_takes_up_again(shop: Shop) -> None:
    """Without opening the ski."""
    async with opened(shop) as (shown, screen):
        await press(shown, "f6")
        await press(shown, *"bolt", "enter")
        assert getattr(screen.marked, "stage", "") == "set aside"
        assert getattr(screen.marked, "reason", "") == "bolt"
        await press(shown, "f6")
        assert getattr(screen.marked, "stage", "") == "waiting"


async def test_carrying_to_tomorrow_and_looking_at_another_day(shop: Shop) -> None:
    """One, then all; a job of another day is carried into today, and not opened from there."""
    async with opened(shop) as (shown, screen):
        await press(shown, "down", "f7")
        assert "Heron 67" not in names(screen)
        await press(shown, "right")
        assert screen.day == NEXT
        assert names(screen) == ["Heron 67"]
        await press(shown, "enter")
        assert "F7 carries it into today" in shown.shown()
        await press(shown, "f7", "left")
        assert names(screen)[-1] == "Heron 67"
        await press(shown, "f8", "plus")
        assert names(screen) == ["Stilt 65"]
    assert len(shop.lines_of(NEXT)) == 9


@pytest.mark.parametrize("answer", ["escape", "enter", "x", "5", "down"])
async def test_the_whole_day_is_carried_by_plus_alone(shop: Shop, answer: str) -> None:
    """It asks with the count and the day; any other key leaves them, and + then opens again."""
    async with opened(shop) as (shown, screen):
        before = names(screen)
        await press(shown, "f8")
        assert f"Carry all 9 unfinished skis to {NEXT}? Only + does it" in shown.shown()
        await press(shown, answer)
        assert "Carry all" not in shown.shown()
        assert shown.app.screen is screen
        assert not shop.lines_of(NEXT)
        screen.find.clear()
        screen.fill()
        assert names(screen) == before
        await press(shown, "plus")
        assert shown.app.screen is not screen
    assert not shop.lines_of(NEXT)


@pytest.mark.parametrize("size", SIZES)
async def test_a_long_message_leaves_the_marked_ski_in_sight(
    shop: Shop, size: tuple[int, int]
) -> None:
    """What is known of it stands above the message, however many lines that takes."""
    async with opened(shop, size) as (shown, screen):
        await press(shown, "down")
        for words in ("word " * 20, "word " * 40, "word"):
            screen.say(words)
            await shown.settle()
            assert "Heron 67 · Jo Brandvik · H67-003" in shown.shown()


async def test_a_reading_off_the_cable_is_no_answer(shop: Shop) -> None:
    """A sign with digits behind it carries nothing."""
    async with opened(shop) as (shown, _):
        await press(shown, "f8")
        shown.burst("+2.4505\n")
        await shown.settle()
    assert not shop.lines_of(NEXT)


async def test_with_nothing_left_to_carry_it_says_so(shop: Shop) -> None:
    async with opened(shop) as (shown, _):
        await press(shown, "f8", "plus", "f8")
        assert "a ski that is not signed off" in shown.shown()
    assert len(shop.lines_of(NEXT)) == 9


async def test_a_known_ski_is_queued_with_due_and_note(shop: Shop) -> None:
    """Enter on a ski found below opens a form, and F2 keeps it."""
    done = at_stage(shop, "signed off")
    shop.book.strike(done.job.id, "wrong day", "KV")
    async with opened(shop) as (shown, screen):
        await press(shown, *"stilt 65", "enter")
        await press(shown, *"noon", "down", *"wax", "f2")
        assert (names(screen)[-1], getattr(screen.marked, "note", "")) == ("Stilt 65", "wax")
    assert shop.roster()[-1].due == "noon"


async def test_as_last_time_offers_the_last_setting_at_the_target(shop: Shop) -> None:
    """The job says so in the list."""
    async with opened(shop) as (shown, screen):
        await press(shown, *"stilt 65", "f9", "f2")
        assert getattr(screen.marked, "note", "") == "as last time"
    job = shop.roster()[-1]
    assert (job.ski_name, job.stage) == ("Stilt 65", "waiting")


async def test_a_recheck_is_offered_and_added_by_plus_alone(shop: Shop) -> None:
    """It stands below the queue until somebody asks for it."""
    tomorrow = Shop(shop.book, NEXT, "KV")
    async with opened(tomorrow) as (shown, screen):
        assert "re-check offered: Stilt 65, signed off yesterday: + adds it" in shown.shown()
        await press(shown, "end")
        shown.burst("+2.450\n")
        await shown.settle()
        assert "recheck" not in {x.kind for x in tomorrow.roster()}
        await press(shown, "end", "plus")
        assert [x.ski_name for x in tomorrow.roster() if x.kind == "recheck"] == ["Stilt 65"]
        assert getattr(screen.marked, "kind", "") == "recheck"
        await press(shown, "enter")
        assert "Enter begins the re-check after the ride." in shown.shown()
        await shown.by_hand("\n" + "+" * len(shown.view.checklist))
        assert shown.view.stage == "sign-off"
        await shown.by_hand("\n+")
        assert shown.view.stage == "signed off"


async def test_notes_are_kept_of_job_and_ski(shop: Shop) -> None:
    """F2 opens them, F2 keeps them."""
    async with opened(shop) as (shown, screen):
        await press(shown, "f2", *"loose", "down", *"old", "f2")
        assert getattr(screen.marked, "ski_note", "") == "old"
        assert "old" in shown.shown()


async def test_pasted_words_are_looked_for_and_a_pasted_number_is_held(shop: Shop) -> None:
    """A paste answers nothing."""
    from textual.events import Paste

    async with opened(shop) as (shown, screen):
        screen.post_message(Paste("Otter\x1b"))
        await shown.settle()
        assert screen.find.text == "Otter"
        screen.post_message(Paste("2.450"))
        await shown.settle()
        assert screen.find.text == "Otter"
        assert shown.held() == ["2.450"]


async def test_hostile_names_are_shown_and_not_obeyed(shop: Shop) -> None:
    """Markup, escapes and wide letters stay within their line."""
    first = shop.book.ski(shop.roster()[0].ski_id)
    for name in ("[b]x[/nope]", "a\x1b[2Jb", "翼" * 80, "e\u0301" * 50, "\u202egnorw"):
        new = shop.book.add_ski(replace(first, id="", name=name, note=name, rider=name))
        queue.queue_again(shop, new.id, name, name)
    for size in SIZES:
        async with opened(shop, size) as (shown, _):
            text = shown.shown()
            assert "[b]x[/nope]" in text
            assert "\x1b" not in text
            assert "\\u202e" in text


CASES = {"queue": ("z",), "found": ("z", *"her"), "tomorrow": ("z", "f7", "right")}


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
@pytest.mark.parametrize("case", CASES)
def test_the_queue_looks_as_it_did(
    shop: Shop, snap_compare: Any, case: str, size: tuple[int, int]
) -> None:
    """The picture is the one that was looked at and found good."""
    first = shop.book.ski(shop.roster()[0].ski_id)
    shop.book.add_ski(replace(first, id="", name="Heron 70", serial="H70-1", note="swept blade"))
    queue.write_notes(shop, shop.roster()[0], {"job": "", "ski": "likes a firm tail"})
    assert snap_compare(Bench(shop), terminal_size=size, run_before=before(CASES[case]))


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
def test_an_offered_recheck_looks_as_it_did(
    shop: Shop, snap_compare: Any, size: tuple[int, int]
) -> None:
    """Below the queue, with the words that add it."""
    tomorrow = Shop(shop.book, NEXT, "KV")
    assert snap_compare(Bench(tomorrow), terminal_size=size, run_before=before(("z", "end")))


def test_the_demos_day_is_the_tests_day(shop: Shop) -> None:
    """What the pictures rest on."""
    assert shop.day == DAY
