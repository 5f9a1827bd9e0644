"""The screen of learnt method offsets: by the keyboard alone, and no burst answers."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from tests.bench.screens import SIZES, Screen, before, bench
from tests.shop import DAY, Fin, ski, walk_to
from workbench.bench.app import Bench
from workbench.bench.bases.forms import Form
from workbench.bench.screens.ski.learned_screens import OffsetScreen
from workbench.records.book import Book
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.study import offsets
from workbench.work.study.offsets import Two

PAIRS = (("6.936", "6.7635"), ("7.001", "6.8280"), ("6950", "6.777"), ("6.9200", "171.39 mm"))


def flat_text(screen: Screen) -> str:
    """Return what stands on the screen without its frames and its runs of blanks."""
    return " ".join(screen.shown().replace("│", " ").split())


def filled(shop: Shop) -> tuple[JobView, Two]:
    """A ski whose blade has four pairs, the third struck out."""
    view = ski(shop, "Heron 67")
    (two,) = offsets.choices(shop, view)
    for first, second in PAIRS:
        offsets.add_pair(shop, view, two, {"first": first, "second": second}, "in")
    offsets.strike_pair(shop, offsets.pairs_of(shop, two)[2], "jaw in the slot")
    return view, two


async def open_offsets(screen: Screen, view: JobView) -> None:
    screen.app.hands.open(view.job.id)
    screen.app.do_("offsets")
    await screen.settle()


@pytest.mark.parametrize("size", SIZES)
async def test_what_the_pairs_say_is_in_sight(shop: Shop, size: tuple[int, int]) -> None:
    """Number of pairs, difference, limits, slope, outline, and the reading of now restated."""
    view, _ = filled(shop)
    async with bench(shop, size) as screen:
        await open_offsets(screen, view)
        text = flat_text(screen)
        assert "length, tips → length, flat" in text
        assert "3 pairs, mean difference −0.172" in text
        assert "95 % of differences between" in text
        assert "not judged: 8 pairs" in text
        assert "it says −0.1730 in: agrees" in text
        assert "7.0010 in by 'length, tips' is 6.82" in text
        assert "rests on 3 pairs" in text
        assert "struck: jaw" in text


async def test_a_pair_is_typed_in_a_form_and_kept_by_f2_alone(shop: Shop) -> None:
    """Digits and Enter of a cable fill its lines and save nothing."""
    view = ski(shop, "Heron 67")
    async with bench(shop) as screen:
        await open_offsets(screen, view)
        await screen.pilot.press("n")
        screen.burst("6.9365\n6.7635\n")
        await screen.settle()
        assert isinstance(screen.app.screen, Form)
        assert shop.book.pairs() == ()
        await screen.pilot.press("f2")
        await screen.settle()
        (row,) = shop.book.pairs()
        assert (row.text, row.other_text) == ("6.9365", "6.7635")
        assert "one pair shows no scatter" in flat_text(screen)


async def test_a_number_is_restated(shop: Shop) -> None:
    view, _ = filled(shop)
    async with bench(shop) as screen:
        await open_offsets(screen, view)
        await screen.pilot.press("r", *"6.95", "f2")
        await screen.settle()
        assert "6.9500 in by 'length, tips' is 6.777" in flat_text(screen)
        await screen.pilot.press("o")
        await screen.settle()
        assert "length, flat → length, tips" in flat_text(screen)
        assert "6.9500 in by" not in flat_text(screen)


async def test_a_pair_is_struck_out_with_a_reason(shop: Shop) -> None:
    view, two = filled(shop)
    async with bench(shop) as screen:
        await open_offsets(screen, view)
        await screen.pilot.press("x")
        await screen.by_hand("wrong fin")
        await screen.settle()
        await screen.by_hand("\n")
        await screen.settle()
        assert "struck: wrong fin" in flat_text(screen)
        assert offsets.study(shop, view, two).n == 2


async def test_what_passes_offer_is_taken_by_plus_once(shop: Shop) -> None:
    view = ski(shop, "Heron 66")
    (two,) = offsets.choices(shop, view)
    kept = shop.book.ski(view.ski.id)
    shop.book.correct_ski(replace(kept, methods=(*kept.methods, two.second.id)))
    view = shop.view(view.job.id)
    view = walk_to(shop, view, Fin(view, 0.652, -1.005, 0.05), "studs", ("+.010", "", "", ""))
    async with bench(shop) as screen:
        screen.app.hands.look_again()
        await open_offsets(screen, view)
        assert "offered: 2026-11-25, received" in flat_text(screen)
        await screen.by_hand("+")
        await screen.settle()
        assert offsets.study(shop, view, two).n == 1
        await screen.by_hand("+")
        await screen.settle()
        assert offsets.study(shop, view, two).n == 1
        assert "one that is offered" in flat_text(screen)


async def test_a_burst_is_held_and_the_screen_stays(shop: Shop) -> None:
    view, _ = filled(shop)
    async with bench(shop) as screen:
        await open_offsets(screen, view)
        screen.burst("6.9365\n")
        await screen.settle()
        assert isinstance(screen.app.screen, OffsetScreen)
        assert screen.held() == ["6.9365"]
        assert len(shop.book.pairs()) == len(PAIRS)


@pytest.mark.parametrize("key", ["n", "r", "x", "t", "o", "m", "plus"])
async def test_a_blade_without_two_methods_says_so_at_any_key(shop: Shop, key: str) -> None:
    async with bench(shop) as screen:
        await open_offsets(screen, ski(shop, "Otter 65"))
        await screen.pilot.press(key)
        await screen.settle()
        assert isinstance(screen.app.screen, OffsetScreen)
        assert "Only one way to measure each number here" in flat_text(screen)


async def test_a_star_shows_everything_in_mm(shop: Shop) -> None:
    view, _ = filled(shop)
    async with bench(shop) as screen:
        await open_offsets(screen, view)
        await screen.pilot.press("asterisk")
        await screen.settle()
        assert "mean difference −4.38" in flat_text(screen)


async def test_a_reason_with_markup_stays_text(shop: Shop) -> None:
    view, two = filled(shop)
    offsets.strike_pair(shop, offsets.pairs_of(shop, two)[0], "[red]x\x1b[2J[/nope]")
    async with bench(shop) as screen:
        await open_offsets(screen, view)
        assert "struck: [red]x\\x1b[2J[/nope]" in flat_text(screen)


@pytest.mark.parametrize("size", SIZES, ids=["120x36", "80x24"])
def test_the_offsets_look_as_they_did(
    book_file: Path, snap_compare: Any, size: tuple[int, int]
) -> None:
    """The picture is the one that was looked at and found good, on its own day."""
    with Book(book_file, clock=lambda: datetime(2026, 11, 25, 9, tzinfo=UTC)) as book:
        shop = Shop(book, day=DAY, who="KV")
        view, _ = filled(shop)
        assert snap_compare(
            Bench(shop), terminal_size=size, run_before=before((), "offsets", view.job.id)
        )
