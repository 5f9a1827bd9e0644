"""The caliper screen: the register, the quick check by hand and by cable, and adding one."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from textual import events
from textual.app import App
from textual.widgets import Static

from tests.bench.screens import send, slowly
from tests.shop import NOON, Clock, empty_shop
from workbench.bench.bases.forms import Form
from workbench.bench.bases.overlay import KeyLine
from workbench.bench.draw import themes
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.shop.caliper_screens import CaliperScreen
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.roster import calipers
from workbench.work.trust.reading_tools import held_caliper

SIZES = [(120, 36), (80, 24)]
HOSTILE = ["[b]X[/b]", "a[/nope]b", "[$primary]", "\x1b[31mred", "long " * 15, "深い" * 20]


class Bench(App[None]):
    def __init__(self, shop: Shop) -> None:
        super().__init__()
        self.shop = shop
        self.closed = 0

    def get_theme_variable_defaults(self) -> dict[str, str]:
        return themes.VARIABLE_DEFAULTS

    def on_mount(self) -> None:
        screen = CaliperScreen(self.shop, BenchState())
        self.push_screen(screen, lambda _: setattr(self, "closed", 1))


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def shop(tmp_path: Path, clock: Clock) -> Iterator[Shop]:
    with empty_shop(tmp_path, clock) as opened:
        yield opened


def add(shop: Shop, name: str = "Caliper A", unit: str = "in", resolution: str = ".0005") -> str:
    return calipers.add_caliper(shop, {"name": name, "unit": unit, "resolution": resolution})


def shown(app: App[Any]) -> str:
    return "\n".join(str(s.render()) for s in app.screen.query(Static) if s.display)


def readings(shop: Shop, caliper_id: str) -> list[tuple[str, str]]:
    return [(c.kind, c.reading_text) for c in shop.book.checks_of(caliper_id)]


@pytest.mark.parametrize("size", SIZES)
async def test_the_quick_check_by_hand_and_cable(shop: Shop, size: tuple[int, int]) -> None:
    """Zero off the cable, size by hand, reading off the cable; the result stands in words."""
    row = add(shop)
    app = Bench(shop)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        assert "! overdue" in shown(app)
        assert "close the jaws" in shown(app)
        await send(pilot, "0.0000\r")
        assert "✓ passed: 0.0000 · zero right" in shown(app)
        assert "type its size (in)" in shown(app)
        await slowly(pilot, "1.0\r")
        assert "measure the block 1.0 in" in shown(app)
        await send(pilot, "1.0005\r\n")
        assert "✓ passed: 1.0005 · gauge block off by +0.0005 in" in shown(app)
        assert "✓ good" in shown(app)
        assert "done" in shown(app)
        assert readings(shop, row) == [("zero", "0.0000"), ("block", "1.0005")]
        await pilot.press("escape")
        assert app.closed
    assert held_caliper(shop.book) is None


async def test_a_signed_burst_is_a_reading_and_a_lone_plus_takes_in_hand(shop: Shop) -> None:
    """+ with digits on its heels is a sign; alone, or a space, it chooses the caliper."""
    row = add(shop)
    app = Bench(shop)
    async with app.run_test() as pilot:
        await send(pilot, "+0.0005\r")
        await pilot.pause(0.2)
        assert readings(shop, row) == [("zero", "+0.0005")]
        assert held_caliper(shop.book) is None
        await send(pilot, "+")
        await pilot.pause(0.2)
        held = held_caliper(shop.book)
        assert held is not None
        assert held.id == row
        assert "in hand: Caliper A" in shown(app)
        assert "in ● in hand" in shown(app)


async def test_a_minus_and_many_bursts(shop: Shop) -> None:
    """Readings one behind the other are each taken once, or refused; none closes the screen."""
    row = add(shop)
    app = Bench(shop)
    async with app.run_test() as pilot:
        await send(pilot, "-0.0010\r-0.0010\r-0.0005\r1.0000\r")
        assert readings(shop, row) == [("zero", t) for t in ("-0.0010", "-0.0010", "-0.0005")]
        assert "1.0000 came off the caliper: type the block's own size first" in shown(app)
        assert isinstance(app.screen, CaliperScreen)
        assert not app.closed


async def test_enter_alone_does_nothing(shop: Shop) -> None:
    """Without an entry Enter neither chooses nor closes nor keeps."""
    row = add(shop)
    app = Bench(shop)
    async with app.run_test() as pilot:
        await slowly(pilot, "\r\r\n\r")
        assert isinstance(app.screen, CaliperScreen)
        assert readings(shop, row) == []
        assert held_caliper(shop.book) is None


async def test_a_failed_check_is_shown_and_asked_again(shop: Shop) -> None:
    """Sign and word in the list, the reason in words, and the same step once more."""
    add(shop)
    app = Bench(shop)
    async with app.run_test(size=(80, 24)) as pilot:
        await send(pilot, "0.0030\r")
        text = shown(app)
        assert "✗ failed: 0.0030 · zero off by +0.0030 in, 0.0005 in allowed" in text
        assert "✗ failed" in text.split("Quick check")[0]
        assert "close the jaws" in text
        await send(pilot, "0.0000\r")
        assert "! overdue" in shown(app)


async def test_overdue_is_shown_with_its_reason(shop: Shop, clock: Clock) -> None:
    """An old zero is named when the screen opens; the list says overdue."""
    row = shop.book.caliper(add(shop))
    clock.now = NOON - timedelta(days=3)
    calipers.check_zero(shop, row, "0")
    calipers.check_block(shop, row, calipers.block_size("1", "in"), "1.0000")
    app = Bench(shop)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "! overdue" in shown(app)
        assert "zero last checked 3 days ago" in shown(app)


async def test_a_wrong_entry_is_explained_and_stays(shop: Shop) -> None:
    """The words name the field and what is accepted; Backspace corrects; back to the size too."""
    row = add(shop)
    app = Bench(shop)
    async with app.run_test() as pilot:
        await slowly(pilot, "5\r")
        assert "zero: '5' — what the closed jaws read, near 0" in shown(app)
        assert "▏ 5" in shown(app)
        await pilot.press("backspace")
        await slowly(pilot, "0\r25.4\r")
        assert "block: '25.4'" in shown(app)
        await slowly(pilot, " mm\r")
        assert "measure the block 25.4 mm" in shown(app)
        await pilot.press("backspace")
        assert "type its size" in shown(app)
        await slowly(pilot, "2\r1.0000\r")
        assert "block reading: '1.0000'" in shown(app)
        assert readings(shop, row) == [("zero", "0")]


async def test_up_and_down_choose_only_between_entries(shop: Shop) -> None:
    """The mark moves to another caliper and the check begins anew; not under a typed number."""
    first, second = add(shop), add(shop, "Caliper B", "mm", "0.01")
    app = Bench(shop)
    async with app.run_test() as pilot:
        await slowly(pilot, "0\r")
        await pilot.press("down")
        assert "Quick check of Caliper B" in shown(app)
        assert "type the zero (mm)" in shown(app)
        await slowly(pilot, "0.01")
        await pilot.press("up")
        assert "Enter takes the entry first" in shown(app)
        await pilot.press("enter", "space")
        assert readings(shop, first) == [("zero", "0")]
        assert readings(shop, second) == [("zero", "0.01")]
        held = held_caliper(shop.book)
        assert held is not None
        assert held.id == second


@pytest.mark.parametrize("size", SIZES)
async def test_n_adds_a_caliper_by_a_form(shop: Shop, size: tuple[int, int]) -> None:
    """The form's errors stay in the form; once saved the new caliper is marked for its check."""
    app = Bench(shop)
    async with app.run_test(size=size) as pilot:
        await slowly(pilot, "0.5\r")
        assert "no caliper yet" in shown(app)
        await pilot.press("backspace", "backspace", "backspace", "n")
        assert isinstance(app.screen, Form)
        await pilot.press("f2")
        assert "name" in shown(app)
        await slowly(pilot, "Blue")
        await pilot.press("f2")
        await pilot.pause()
        assert isinstance(app.screen, CaliperScreen)
        assert "added: Blue; check it now" in shown(app)
        assert "Quick check of Blue" in shown(app)
    (row,) = shop.book.calipers()
    assert (row.name, row.unit) == ("Blue", "in")
    assert row.resolution_mm == pytest.approx(0.0127)


@pytest.mark.parametrize("size", SIZES)
async def test_hostile_names_are_shown_and_not_obeyed(shop: Shop, size: tuple[int, int]) -> None:
    """Markup and control characters stay text in list, check and message."""
    for name in HOSTILE:
        add(shop, name)
    app = Bench(shop)
    async with app.run_test(size=size) as pilot:
        for _ in HOSTILE:
            await pilot.press("space", "down")
        text = shown(app)
        assert "[b]X[/b]" in text
        assert "a[/nope]b" in text
        assert "\\x1b[31mred" in text
        assert "\x1b" not in text


@pytest.mark.parametrize("size", SIZES)
async def test_a_long_register_keeps_check_and_keys_on_the_screen(
    shop: Shop, size: tuple[int, int]
) -> None:
    """Forty calipers scroll around the mark; the rest stays in view."""
    for number in range(40):
        shop.book.add_caliper(rows.Caliper("", f"No {number}", "mm", 0.01, 0.03))
    app = Bench(shop)
    async with app.run_test(size=size) as pilot:
        await pilot.press("up")
        assert "▸ No 39" in shown(app)
        assert "40 of 40" in shown(app)
        keys = app.screen.query_one(KeyLine)
        assert 0 < keys.region.bottom <= size[1] - 1
        assert keys.region.height >= 1
        await pilot.resize_terminal(40, 12)
        await pilot.pause()
        assert "▸ No 39" in shown(app)


async def test_a_paste_waits_for_its_enter(shop: Shop) -> None:
    """Pasted text is an entry and nothing more."""
    row = add(shop)
    app = Bench(shop)
    async with app.run_test() as pilot:
        app.screen.post_message(events.Paste("0.0005\n"))
        await pilot.pause()
        assert "▏ 0.0005" in shown(app)
        assert readings(shop, row) == []
        await pilot.press("enter")
        assert readings(shop, row) == [("zero", "0.0005")]
