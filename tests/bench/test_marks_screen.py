"""The screen of the coarse marks: numbers go to the marked line, and Enter closes nothing."""

from __future__ import annotations

from typing import Any

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.shop import Fin, read, ski, walk_to
from workbench.bench.app import Bench
from workbench.bench.bases.forms import Form
from workbench.bench.screens.ski.marks_screen import MarksScreen
from workbench.measure.display import length_text
from workbench.records.store import rows
from workbench.work.job.coarse_marks import add_mark, take_mark
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop

MARKS: tuple[dict[str, str], ...] = (
    {"name": "scale, rear scribe", "kind": "scale", "unit": "in", "at": "2.0", "zero": "1.5"},
    {"name": "scale, front scribe", "kind": "scale", "unit": "in", "at": "6.0", "zero": "5.5"},
    {"name": "lines", "kind": "lines", "unit": "in", "at": "4.0", "zero": "1.5"},
)


def fin_of(view: JobView) -> Fin:
    return Fin(view, 0.652, -1.005, 0.05)


def readied(shop: Shop, tail_off_mm: float = 0.0, marks: int = 3) -> JobView:
    """Heron 66 with coarse marks on its blade and its three readings taken."""
    view = ski(shop, "Heron 66")
    for fields in MARKS[:marks]:
        add_mark(shop, view, fields)
    view = walk_to(shop, shop.view(view.job.id), fin_of(view), "as received")
    for index in range(3):
        line = view.lines[index]
        off = tail_off_mm if line.method.quantity == "tail" else 0.0
        true = view.rig.observe(line.method, fin_of(view).pose).value_mm
        view = read(shop, view, line, length_text(true + off, "in"))
    return view


def marked(shop: Shop, tail_off_mm: float = 0.0) -> JobView:
    """The same with every mark read, to the half millimetre."""
    view = readied(shop, tail_off_mm)
    for index, mark in enumerate(view.marks):
        true = view.rig.observe(mark.method, fin_of(view).pose).value_mm
        view = take_mark(shop, view, view.marks[index], f"{round(2 * true) / 2:g} mm", "mm")
    return view


async def opened(screen: Screen, view: JobView) -> MarksScreen:
    screen.app.hands.look_again()
    screen.app.hands.open(view.job.id)
    screen.app.do_("marks")
    await screen.pilot.pause()
    found = screen.app.screen
    assert isinstance(found, MarksScreen)
    return found


def texts(shop: Shop, view: JobView) -> list[str]:
    """What was kept by coarse marks and stands, as typed."""
    ids = {m.method_id for m in view.marks}
    facts = [f for f in shop.book.facts(view.job.id) if isinstance(f, rows.Reading)]
    return [f.text for f in facts if f.method_id in ids and f.struck is None]


@pytest.mark.parametrize("size", SIZES)
async def test_it_lists_the_marks_with_what_the_readings_give(
    shop: Shop, size: tuple[int, int]
) -> None:
    view = readied(shop)
    async with bench(shop, size) as screen:
        await opened(screen, view)
        shown = screen.shown()
        for mark in view.marks:
            assert mark.method.name in shown
            assert length_text(mark.expected_mm or 0.0, "in") in shown
        assert shown.count("not read") == 3
        assert "Scribe 2.0000 from the tail end" in shown
        assert "Esc closes" in shown


async def test_bursts_are_numbers_for_one_mark_after_the_other(shop: Shop) -> None:
    """Three bursts with their line feeds fill three marks; nothing closes, nothing is held."""
    view = readied(shop)
    async with bench(shop) as screen:
        found = await opened(screen, view)
        screen.burst("0.16\n")
        await screen.settle()
        screen.burst("0.14\n0.50\n")
        await screen.settle()
        assert texts(shop, view) == ["0.16", "0.14", "0.50"]
        assert screen.app.screen is found
        assert screen.held() == []
        assert screen.shown().count("agrees") == 3
        await screen.pilot.press("escape")
        await screen.settle()
        assert not isinstance(screen.app.screen, MarksScreen)
        assert [m.latest[0].text for m in screen.view.marks] == ["0.16", "0.14", "0.50"]


async def test_enter_alone_space_and_signs_do_nothing(shop: Shop) -> None:
    view = readied(shop)
    async with bench(shop) as screen:
        found = await opened(screen, view)
        await screen.by_hand("\n \n++\n")
        assert screen.app.screen is found
        assert texts(shop, view) == []


async def test_what_is_refused_stays_to_be_mended_and_is_no_start_of_the_next(shop: Shop) -> None:
    view = readied(shop)
    async with bench(shop) as screen:
        await opened(screen, view)
        await screen.by_hand("0.1.6\n")
        assert "✗" in screen.shown()
        assert "0.1.6" in screen.shown()
        screen.burst("0.16\n")
        await screen.settle()
        assert texts(shop, view) == ["0.16"]


async def test_a_number_of_the_other_unit_wants_its_unit(shop: Shop) -> None:
    """4 on a millimetre scale at an inch bench: said, then kept with its unit behind it."""
    view = readied(shop)
    async with bench(shop) as screen:
        await opened(screen, view)
        await screen.by_hand("4\n")
        assert "is it 4 mm" in screen.shown()
        await screen.pilot.press("m", "m", "enter")
        await screen.settle()
        assert texts(shop, view) == ["4mm"]


async def test_a_star_turns_the_unit_here_and_on_the_bench(shop: Shop) -> None:
    view = readied(shop)
    async with bench(shop) as screen:
        await opened(screen, view)
        await screen.by_hand("*")
        assert "read (mm)" in screen.shown()
        await screen.by_hand("4\n")
        assert texts(shop, view) == ["4"]
        assert screen.app.hands.state.unit == "mm"


async def test_arrows_choose_and_a_number_typed_again_replaces(shop: Shop) -> None:
    view = readied(shop)
    async with bench(shop) as screen:
        await opened(screen, view)
        await screen.pilot.press("down", "down", "up")
        await screen.by_hand("0.10\n")
        assert [bool(m.latest) for m in shop.view(view.job.id).marks] == [False, True, False]
        await screen.pilot.press("down")
        await screen.by_hand("0.14\n")
        assert texts(shop, view) == ["0.14"]


async def test_a_tail_misread_is_said_here_and_on_the_bench(shop: Shop) -> None:
    """The reading to take again is named with its cause on this screen, then in the panels."""
    view = readied(shop, 2.54)
    async with bench(shop) as screen:
        await opened(screen, view)
        screen.burst("0.16\n0.14\n0.50\n")
        await screen.settle()
        assert "? take tail, upper line again" in screen.shown()
        words = " ".join(screen.shown().replace("│", "").split())
        assert "a line of the caliper misread by 0.100 in" in words
        await screen.pilot.press("escape")
        await screen.settle()
        assert "tail, upper line  ? take again" in screen.shown()
        assert "NEXT  Take tail, upper line again: ▸ on it, x strikes it out" in screen.shown()


async def test_a_mark_is_added_from_here(shop: Shop) -> None:
    """n opens the form; only F2 saves it, and the new mark is the marked one."""
    view = readied(shop, marks=0)
    async with bench(shop) as screen:
        found = await opened(screen, view)
        assert "no coarse mark on this blade yet" in screen.shown()
        await screen.by_hand("0.16\n")
        assert "not taken" in screen.shown()
        await screen.pilot.press("n")
        await screen.pilot.pause()
        assert isinstance(screen.app.screen, Form)
        for key, text in (("name", "scale"), ("at", "2.0"), ("zero", "1.5")):
            next(r for r in screen.app.screen._rows if r.field.key == key).line.value = text
        await screen.pilot.press("f2")
        await screen.pilot.pause()
        assert screen.app.screen is found
        assert "added: scale" in screen.shown()
        await screen.by_hand("0.16\n")
        assert texts(shop, shop.view(view.job.id)) == ["0.16"]


async def test_without_a_ski_it_says_so(shop: Shop) -> None:
    async with bench(shop) as screen:
        screen.app.hands.change(view=None)
        screen.app.do_("marks")
        await screen.pilot.pause()
        assert "no ski in hand" in screen.shown()


async def test_names_are_never_markup(shop: Shop) -> None:
    view = readied(shop, marks=0)
    add_mark(shop, view, MARKS[0] | {"name": "[bold]scale[/] \x1b[2J"})
    async with bench(shop) as screen:
        await opened(screen, shop.view(view.job.id))
        assert "[bold]scale[/] \\x1b[2J" in screen.shown()


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
@pytest.mark.parametrize("off_mm", [0.0, 2.54], ids=["agree", "slip"])
def test_the_screen_as_it_stands(
    shop: Shop, snap_compare: Any, size: tuple[int, int], off_mm: float
) -> None:
    """All marks read, with readings that are right and with a tail misread by a tenth."""
    view = marked(shop, off_mm)
    app = Bench(shop)
    app.hands.look_again()
    app.hands.open(view.job.id)

    async def before(pilot: Any) -> None:
        await pilot.pause()
        app.do_("marks")
        await pilot.pause()

    assert snap_compare(app, terminal_size=size, run_before=before)


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
def test_the_bench_names_the_reading_to_take_again(
    shop: Shop, snap_compare: Any, size: tuple[int, int]
) -> None:
    view = walk_to(shop, marked(shop, 2.54), fin_of(ski(shop, "Heron 66")), "turning")
    app = Bench(shop)
    app.hands.look_again()
    app.hands.open(view.job.id)
    assert snap_compare(app, terminal_size=size)


@pytest.mark.parametrize("size", SIZES)
async def test_on_a_waiting_ski_it_says_what_comes_first_and_invites_no_number(
    shop: Shop, size: tuple[int, int]
) -> None:
    view = ski(shop, "Heron 66")
    for fields in MARKS:
        add_mark(shop, view, fields)
    async with bench(shop, size) as screen:
        await opened(screen, view)
        shown = " ".join(screen.shown().replace("│", " ").split())
        assert "read a coarse mark: 'not at the stage waiting'" in shown
        assert "now you can tick the check that is due" in shown
        assert "type it, then Enter" not in shown
        await screen.by_hand("1.5\n")
        shown = " ".join(screen.shown().replace("│", " ").split())
        assert "1.5" in shown
        assert "now you can tick the check that is due" in shown
