"""The screens that look closer at a reading, as drawn, and as a burst meets them."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest
from textual.app import App
from textual.pilot import Pilot

from tests.shop import as_received, ski
from workbench.bench.bases.view_only import Closer
from workbench.bench.draw import themes
from workbench.bench.draw.canvas import Mode
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.shop.blade_screens import OutlineScreen
from workbench.bench.screens.ski.reading_screens import (
    BudgetScreen,
    HoldScreen,
    RestateScreen,
    budget_table,
    restate_table,
)
from workbench.measure.units import Unit
from workbench.records.store.rows import Pair
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.budget_explained import trust_of
from workbench.work.study.restating import restated

SIZES = ((80, 24), (120, 36))
SEVEN = ("2.4500", "2.4505", "2.4500", "2.4495", "2.4500", "2.4505", "2.4900")


class Bench(App[None]):
    """Stands in for the bench: keeps what is held."""

    def __init__(self) -> None:
        super().__init__()
        self.held: list[str] = []

    def get_theme_variable_defaults(self) -> dict[str, str]:
        return themes.VARIABLE_DEFAULTS

    def hold_burst(self, text: str) -> None:
        self.held.append(text)


@asynccontextmanager
async def opened(
    screen: Closer, size: tuple[int, int] = (80, 24)
) -> AsyncIterator[tuple[Bench, Pilot[None]]]:
    app = Bench()
    async with app.run_test(size=size) as pilot:
        app.push_screen(screen)
        await pilot.pause()
        yield app, pilot


def text_of(app: App[None]) -> str:
    """Return what stands on the screen, with the runs of blanks and the borders taken out."""
    strips = app.screen._compositor.render_strips()
    rows = ("".join(segment.text for segment in strip) for strip in strips)
    return " ".join(" ".join(row.strip(" │") for row in rows).split())


def turning(shop: Shop) -> JobView:
    return ski(shop, "Heron 67")


def at(view: JobView, line: int = 0, mode: Mode = "braille", unit: Unit = "in") -> BenchState:
    """Return the bench with a ski in hand, one of its readings chosen."""
    return BenchState(view=view, selected=line, unit=unit, drawing=mode)


MAKERS: tuple[Callable[[Shop], Closer], ...] = (
    lambda shop: HoldScreen(shop, at(turning(shop), 0)),
    lambda shop: RestateScreen(shop, at(turning(shop))),
    lambda shop: BudgetScreen(shop, at(turning(shop), 0)),
)
EACH = pytest.mark.parametrize("make", MAKERS, ids=["hold", "restate", "budget"])


@EACH
async def test_a_burst_is_held_and_the_screen_stays(
    shop: Shop, make: Callable[[Shop], Closer]
) -> None:
    """Digits and Enter, with the line feed behind it, or with a unit: held, and nothing closes."""
    async with opened(make(shop)) as (app, pilot):
        await pilot.press(*"2.4505", "enter", "ctrl+j")
        await pilot.press(*"62.23mm", "enter")
        assert app.held == ["2.4505", "62.23mm"]
        assert isinstance(app.screen, Closer)
        assert "62.23mm arrived here and is held as a note" in text_of(app)


@EACH
async def test_one_or_two_digits_and_enter_do_nothing(
    shop: Shop, make: Callable[[Shop], Closer]
) -> None:
    async with opened(make(shop)) as (app, pilot):
        await pilot.press("1", "2", "enter")
        assert app.held == []
        assert isinstance(app.screen, Closer)
        assert "'12' is no reading" in text_of(app)


@EACH
@pytest.mark.parametrize("key", ["escape", "enter", "own"])
async def test_esc_enter_and_its_own_key_close_it(
    shop: Shop, make: Callable[[Shop], Closer], key: str
) -> None:
    screen = make(shop)
    async with opened(screen) as (app, pilot):
        await pilot.press(screen._own_key if key == "own" else key)
        assert not isinstance(app.screen, Closer)
        assert app.held == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("mode", ["braille", "block", "ascii"])
async def test_how_to_hold_it_stands_with_its_drawing(
    shop: Shop, size: tuple[int, int], mode: Mode
) -> None:
    """Words, heights, drawing and the last line all fit, and the contacts are marked."""
    async with opened(HoldScreen(shop, at(turning(shop), 2, mode)), size) as (app, _):
        text = text_of(app)
        assert "length, tips (3 of 3)" in text
        assert "Tips at 0.0100 in over the base." in text
        assert "do not cross the slot" in text
        assert "jaw tips at one height" in text
        assert "as it is now; common practice, no source." in text
        assert text.count("•" if mode != "ascii" else "o-") >= 1


async def test_where_no_key_opened_it_a_key_without_a_letter_leaves_it_open(shop: Shop) -> None:
    """A trace, an outline, a block as measured: arrows move there, and F7 means nothing."""
    screen = OutlineScreen(shop, at(turning(shop)))
    async with opened(screen) as (app, pilot):
        await pilot.press("down", "f7", "left")
        assert app.screen is screen
        assert screen._first == 1


async def test_arrows_go_through_the_methods_and_round(shop: Shop) -> None:
    async with opened(HoldScreen(shop, at(turning(shop), 0))) as (app, pilot):
        assert "back edge of hole '2'" in text_of(app)
        await pilot.press("down")
        assert "tail, upper line (2 of 3)" in text_of(app)
        await pilot.press("down", "down", "up")
        assert "length, tips (3 of 3)" in text_of(app)


async def test_without_readings_the_drawing_says_that_its_place_is_made_up(shop: Shop) -> None:
    async with opened(HoldScreen(shop, at(as_received(shop), 0, "ascii", "mm"))) as (app, _):
        assert "at a made-up place: not read yet" in text_of(app)


@pytest.mark.parametrize("size", SIZES)
async def test_every_method_stands_in_both_units(shop: Shop, size: tuple[int, int]) -> None:
    """The length flat was not read: in, mm, u and the difference to tips."""
    view = turning(shop)
    async with opened(RestateScreen(shop, at(view)), size) as (app, _):
        text = text_of(app)
        for line in view.lines:
            assert f"● {line.method.name}" in text
        flat = restated(shop, view)[3]
        assert flat.value_mm is not None
        assert f"{flat.value_mm:.2f}" in text
        assert "length, flat 6.8280 173.43 0.0009 −0.1730" in text
        assert "outline is known is not in it." in text


async def test_a_learnt_offset_stands_below_its_method(shop: Shop) -> None:
    """Two pairs of tips and flat: what they make of the length read, and what it rests on."""
    view = turning(shop)
    tips, flat = (
        next(m for m in shop.book.methods_of(view.ski.blade_id) if m.name == name)
        for name in ("length, tips", "length, flat")
    )
    for first, second in (("6.9500", "6.7500"), ("6.9600", "6.7610")):
        shop.book.add_entry(
            "KV",
            Pair(
                ski_id=view.ski.id,
                method_id=tips.id,
                text=first,
                unit="in",
                mm=float(first) * 25.4,
                other_method_id=flat.id,
                other_text=second,
                other_unit="in",
                other_mm=float(second) * 25.4,
            ),
        )
    async with opened(RestateScreen(shop, at(view)), (120, 36)) as (app, _):
        text = text_of(app)
        tips_mm = view.lines[2].now_mm
        assert tips_mm is not None
        assert f"learned from pairs {tips_mm / 25.4 - 0.1995:.4f}" in text
        assert "rests on 2 pairs, by a constant" in text


async def test_without_a_pose_it_says_what_is_missing(shop: Shop) -> None:
    async with opened(RestateScreen(shop, at(as_received(shop, "2.45")))) as (app, _):
        text = text_of(app)
        assert "1 of 3 readings are taken in this round" in text
        assert "missing: 'tail, upper line', 'length, tips'" in text


@pytest.mark.parametrize("size", SIZES)
async def test_the_budget_fits_with_its_repeats(shop: Shop, size: tuple[int, int]) -> None:
    """Shares, sums, coverage and the doubtful repeat, down to the last sentence."""
    view = as_received(shop, *SEVEN)
    async with opened(BudgetScreen(shop, at(view, 0)), size) as (app, _):
        text = text_of(app)
        if size[0] > 80:
            assert "× 1 (normal, type A)" in text
        assert "97% ############ 6" in text
        assert "effective dof 6" in text
        assert "coverage factor 2.45" in text
        assert "7) 2.4900 ? doubtful" in text
        assert "strike one out (x) or keep it." in text


async def test_many_repeats_are_all_there_by_scrolling(shop: Shop) -> None:
    """Sixty do not fit above the last line; down brings the test's name up."""
    view = as_received(shop, *[f"2.45{i:02d}" for i in range(60)])
    async with opened(BudgetScreen(shop, at(view, 0))) as (app, pilot):
        assert "generalised ESD" not in text_of(app)
        await pilot.press(*["down"] * 20)
        await pilot.pause()
        text = text_of(app)
        assert "60) 2.4559" in text
        assert "generalised ESD" in text


async def test_a_reading_not_taken_says_so(shop: Shop) -> None:
    async with opened(BudgetScreen(shop, at(as_received(shop), 1))) as (
        app,
        _,
    ):
        assert "'tail, upper line' is not read yet in this round" in text_of(app)


@pytest.mark.parametrize("width", [56, 76, 108])
def test_no_row_is_wider_than_its_room(shop: Shop, width: int) -> None:
    """A row that wrapped would push the last one off the sheet."""
    view, many = turning(shop), as_received(shop, *SEVEN)
    tables = [restate_table(restated(shop, view), "in", width)]
    for unit in ("in", "mm"):
        tables += [budget_table(trust_of(view, x), unit, width) for x in view.lines]
        tables.append(budget_table(trust_of(many, many.lines[0]), unit, width))
    for table in tables:
        for row in table.split("\n"):
            assert row.cell_length <= width, row.plain


def test_markup_and_escapes_in_a_name_stay_text(shop: Shop) -> None:
    """A method's name is shown, never obeyed."""
    view = turning(shop)
    line = view.lines[0]
    odd = replace(line.method, name="[red]x\x1b[2J")
    worth = replace(trust_of(view, line), line=replace(line, method=odd))
    row = replace(restated(shop, view)[0], method=odd)
    for table in (budget_table(worth, "in", 76), restate_table((row,), "in", 76)):
        assert "[red]x\\x1b[2J" in table.plain
