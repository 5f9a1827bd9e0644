"""The study's screens: plan, readings by hand and by cable, result; at both sizes."""

from __future__ import annotations

import random
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from textual.events import Paste

from tests.bench.screens import Screen, before
from tests.shop import empty_shop
from workbench.bench.action_menu import CHOICES
from workbench.bench.app import Bench
from workbench.bench.bases.forms import Form
from workbench.bench.bases.prompts import Prompt
from workbench.bench.draw.canvas import DOTS, Area, Mode
from workbench.bench.screens.shop.study_list import StudyList
from workbench.bench.screens.shop.study_result import (
    LABEL_ROWS,
    MARKS,
    ResultScreen,
    study_picture,
)
from workbench.bench.screens.shop.study_take import TakeScreen
from workbench.measure.lengths import parse_length
from workbench.work.job.shop import Shop
from workbench.work.study import studies, study_words
from workbench.work.study.studies import plan_study
from workbench.work.trust.study_results import StudyView, result_of

WIDE, NARROW = (120, 36), (80, 24)
SIZES = (WIDE, NARROW)
PLAN = {
    "name": "slow hour", "what": "depth, hole 2 back edge", "unit": "in", "near": "2.5",
    "parts": "Heron 66; Tern 67; Lark 64", "people": "KV JT", "trials": "2",
}  # fmt: skip
HOSTILE = ("[b]X[/b]", "a[/nope]b", "[$primary]", "red \x1b[31m", "深い" * 15)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with empty_shop(tmp_path) as opened:
        yield opened


def planned(shop: Shop, **more: str) -> StudyView:
    return studies.view_of(shop, plan_study(shop, PLAN | more, random.Random(5).shuffle))


def read(shop: Shop, view: StudyView, until: int = 0) -> StudyView:
    """Keep readings with a seeded scatter until so many turns are left."""
    rng = random.Random(4)
    while len(view.missing) > until:
        assert view.due is not None
        part, person = view.due.part, view.due.person
        at = 2.45 + 0.012 * view.study.parts.index(part) + 0.0006 * view.study.people.index(person)
        text = f"{at + rng.gauss(0, 0.0008):.4f}"
        view = studies.keep_reading(shop, view, text, parse_length(text, "in").mm)
    return view


@asynccontextmanager
async def opened(shop: Shop, size: tuple[int, int] = WIDE) -> AsyncIterator[Screen]:
    app = Bench(shop)
    async with app.run_test(size=size, notifications=True, tooltips=True) as pilot:
        await pilot.pause()
        app.do_("study")
        await pilot.pause()
        yield Screen(app, pilot)


async def go_on(screen: Screen) -> None:
    """Press + on the list and wait until what it opens is there, however busy the machine."""
    screen.burst("+")
    for _ in range(60):
        await screen.pilot.pause(0.05)
        if not isinstance(screen.app.screen, StudyList):
            break
    await screen.pilot.pause()


def kept(shop: Shop) -> list[str]:
    """Return the readings of the first study that stand, as typed."""
    return [r.text for r in studies.studies_of(shop)[0].live]


def test_the_sheet_opens_it_without_a_ski_in_hand() -> None:
    (choice,) = [c for c in CHOICES if c.action == "study"]
    assert choice.words == "repeatability test"


# -- planning --------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES)
async def test_a_study_is_planned_in_a_form(shop: Shop, size: tuple[int, int]) -> None:
    """What is wrong is told at its field; F2 keeps it and + goes on to the readings."""
    async with opened(shop, size) as screen:
        assert "no test yet: n plans one" in screen.shown()
        assert "Every trial is a round" in screen.shown()
        await screen.pilot.press("n")
        assert isinstance(screen.app.screen, Form)
        lines = {row.field.key: row.line for row in screen.app.screen._rows}
        assert (lines["unit"].value, lines["people"].value) == ("in", "KV")
        for key, text in PLAN.items():
            lines[key].value = text
        lines["parts"].value = "Heron 66"
        await screen.pilot.press("f2")
        await screen.pilot.pause()
        assert "2 or more with" in screen.shown()
        lines["parts"].value = PLAN["parts"]
        await screen.pilot.press("f2")
        await screen.pilot.pause()
        assert "planned: 12 readings; + begins them" in screen.shown()
        await go_on(screen)
        assert isinstance(screen.app.screen, TakeScreen)
    assert studies.studies_of(shop)[0].total == 12


async def test_a_burst_at_the_list_chooses_nothing(shop: Shop) -> None:
    planned(shop)
    async with opened(shop) as screen:
        screen.burst("2.4500\n")
        screen.burst("+2.4500\n")
        await screen.settle()
        assert isinstance(screen.app.screen, StudyList)
        assert "2.4500 arrived here and was not taken" in screen.shown(), "no ski in hand"
        await screen.by_hand("\n")
        assert isinstance(screen.app.screen, StudyList)
        await screen.pilot.press("escape")
        assert len(screen.app.screen_stack) == 1


async def test_a_study_is_struck_out_with_a_reason(shop: Shop) -> None:
    planned(shop)
    async with opened(shop) as screen:
        await screen.pilot.press("x")
        assert isinstance(screen.app.screen, Prompt)
        await screen.by_hand("wrong skis")
        await screen.pilot.pause(0.1)
        await screen.by_hand("\n")
        assert "✗ struck out: wrong skis" in screen.shown()
        await screen.pilot.press("t")
        assert "nothing more is read" in screen.shown()
        await screen.pilot.press("x")
        assert "already" in screen.shown()
        assert isinstance(screen.app.screen, StudyList)


async def test_many_studies_scroll_and_letters_without_one_say_so(shop: Shop) -> None:
    async with opened(shop, NARROW) as screen:
        for key in "trx":
            await screen.pilot.press(key)
            assert "no test yet" in screen.shown()
        for i in range(30):
            planned(shop, name=f"study {i}")
        screen.app.screen.on_screen_resume()  # type: ignore[attr-defined]
        await screen.pilot.press("end")
        assert "30 of 30" in screen.shown()
        await screen.pilot.press("home", "down")
        assert "2 of 30" in screen.shown()


# -- readings --------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES)
async def test_readings_by_hand_and_by_cable(shop: Shop, size: tuple[int, int]) -> None:
    """Each turn is named, each number kept, and no number is ever shown again."""
    view = planned(shop, parts="Heron 66; Tern 67", people="KV")
    async with opened(shop, size) as screen:
        await go_on(screen)
        for done, turn in enumerate(view.missing):
            assert f"{done} of 4 readings" in screen.shown()
            assert turn.part in screen.shown()
            assert f"trial {turn.trial} of 2" in screen.shown()
            if done % 2:
                screen.burst("2.4500\r\n")
                await screen.settle()
            else:
                await screen.by_hand("2461")
                assert "reads as 2.461 in" in screen.shown()
                await screen.by_hand("\n")
            assert f"✓ kept: {turn.words}" in screen.shown()
            assert "2.4500" not in screen.shown()
            assert "2461" not in screen.shown()
            assert "2.461" not in screen.shown()
        assert "● complete, 4 readings" in screen.shown()
        assert "Every reading of a part agreed to the last digit" in screen.shown()
        screen.burst("2.4500\n")
        await screen.settle()
        assert "2.4500 was not taken: no reading is due" in screen.shown()
        await screen.pilot.press("r")
        await screen.pilot.pause()
        assert isinstance(screen.app.screen, ResultScreen)
    assert kept(shop) == ["2461", "2.4500"] * 2


async def test_bursts_one_behind_the_other_are_each_taken_once(shop: Shop) -> None:
    planned(shop)
    async with opened(shop) as screen:
        await go_on(screen)
        screen.burst("2.4500\r\n+2.4510\r2.4520\n\n\n")
        await screen.settle()
        assert isinstance(screen.app.screen, TakeScreen)
    assert kept(shop) == ["2.4500", "+2.4510", "2.4520"]


async def test_take_back_and_leave_and_come_back_to_the_same_place(shop: Shop) -> None:
    view = planned(shop)
    first, second = view.missing[:2]
    async with opened(shop) as screen:
        await go_on(screen)
        await screen.by_hand("2.45\n2.46\nu")
        assert f"taken back: {second.words}; read it again" in screen.shown()
        await screen.by_hand("24")
        await screen.pilot.press("escape")
        assert "entry dropped" in screen.shown()
        await screen.pilot.press("escape")
        assert "1 of 12 readings" in screen.shown()
        await go_on(screen)
        assert second.part in screen.shown()
        await screen.by_hand("u")
        assert f"taken back: {first.words}" in screen.shown()
        await screen.by_hand("u")
        assert "nothing to take back" in screen.shown()


async def test_an_odd_number_is_asked_and_only_plus_takes_it(shop: Shop) -> None:
    """Enter does not answer, nor a + on the heels of a burst; another number takes its place."""
    planned(shop)
    async with opened(shop) as screen:
        await go_on(screen)
        await screen.by_hand("6.95\n")
        assert "outside the usual" in screen.shown()
        await screen.by_hand("\n")
        assert "+ takes it, Backspace goes back" in screen.shown()
        assert kept(shop) == []
        screen.burst("7.9512\n+")
        await screen.settle()
        assert kept(shop) == []
        assert "press + again on purpose" in screen.shown()
        await screen.by_hand("2.45\n")
        assert kept(shop) == ["2.45"]
        await screen.by_hand("6.95\n-+")
        await screen.settle()
        assert kept(shop) == ["2.45", "6.95"]


async def test_the_other_unit_is_refused_in_words(shop: Shop) -> None:
    planned(shop)
    async with opened(shop, NARROW) as screen:
        await go_on(screen)
        await screen.by_hand("62.2mm\n")
        assert "a reading in inches: this test takes no other" in screen.shown()
        await screen.by_hand("62.23\n")
        assert "plan another test in millimetres" in screen.shown()
        await screen.by_hand("*")
        assert "read in inches, whatever the bench shows" in screen.shown()
    assert kept(shop) == []


async def test_a_turn_that_another_bench_took_is_not_taken_twice(shop: Shop) -> None:
    view = planned(shop)
    async with opened(shop) as screen:
        await go_on(screen)
        await screen.by_hand("2.45")
        studies.keep_reading(shop, view, "2.46", 62.484)
        await screen.by_hand("\n")
        assert "another bench took this one" in screen.shown()
        assert view.missing[1].part in screen.shown()
    assert kept(shop) == ["2.46"]


async def test_drawn_in_ascii_everything_still_has_room(shop: Shop) -> None:
    """The large digits are higher there; turn, entry and what comes next stay on the screen."""
    view = planned(shop)
    shop.remember("drawing", "ascii")
    async with opened(shop, NARROW) as screen:
        await go_on(screen)
        await screen.by_hand("2.45")
        shown = screen.shown()
        assert "KV" in shown or "JT" in shown
        assert f"then: {view.missing[1].words}" in shown
        assert "number reads it again." in shown
        assert "reads as 2.45 in" in shown


async def test_pasted_text_waits_for_enter(shop: Shop) -> None:
    planned(shop)
    async with opened(shop) as screen:
        await go_on(screen)
        screen.app.screen.post_message(Paste("2.4567\nq"))
        await screen.pilot.pause()
        assert kept(shop) == []
        await screen.by_hand("\n")
    assert kept(shop) == ["2.4567"]


# -- what they say ---------------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES)
async def test_the_result_says_it_in_one_sentence_and_in_either_unit(
    shop: Shop, size: tuple[int, int]
) -> None:
    result = result_of(read(shop, planned(shop)))
    async with opened(shop, size) as screen:
        await go_on(screen)
        assert isinstance(screen.app.screen, ResultScreen)
        words = study_words.sentence(result, "in")
        assert words[:60] in screen.shown()
        for name, _ in study_words.SOURCE_NAMES.values():
            assert name in screen.shown()
        assert "● KV  ○ JT" in screen.shown()
        await screen.by_hand("*")
        assert study_words.sentence(result, "mm")[:60] in screen.shown()
        assert screen.app.hands.state.unit == "mm"
        screen.burst("2.4500\n")
        await screen.settle()
        assert isinstance(screen.app.screen, ResultScreen)
        await screen.settle()
        await screen.by_hand("\n")
        assert isinstance(screen.app.screen, StudyList)


async def test_how_it_is_drawn_changes_by_letters(shop: Shop) -> None:
    read(shop, planned(shop))
    async with opened(shop) as screen:
        await screen.by_hand("r")
        assert "bar +/- s, in from each part's mean" in screen.shown()
        await screen.by_hand("e")
        assert "bar +/- U (95 %)" in screen.shown()
        await screen.by_hand("o")
        assert "from each part's mean" not in screen.shown()
        await screen.by_hand("dd")
        assert "o KV  x JT" in screen.shown()
        assert screen.app.hands.state.drawing == "ascii"


async def test_an_incomplete_study_shows_its_cells_and_warns_who_looks(shop: Shop) -> None:
    view = read(shop, planned(shop), until=2)
    async with opened(shop, NARROW) as screen:
        await screen.by_hand("r")
        shown = " ".join(screen.shown().replace("│", " ").split())
        assert "No answer yet" in shown
        for turn in view.missing:
            assert f"{turn.person} on {turn.part}" in shown
        assert "Whoever still has to read should not look here" in shown
        assert "● KV" in shown
        await screen.by_hand("e")
        assert "no U before the test is complete" in screen.shown()


async def test_struck_readings_are_listed_below(shop: Shop) -> None:
    view = read(shop, planned(shop), until=1)
    view, last = studies.take_back(shop, view)
    assert last is not None
    read(shop, view)
    async with opened(shop) as screen:
        await screen.by_hand("r")
        for _ in range(30):
            await screen.pilot.press("down")
        assert "✗ struck out, not counted: 1" in screen.shown()
        assert "(taken back)" in screen.shown()


@pytest.mark.parametrize("size", SIZES)
async def test_hostile_names_are_shown_as_typed_and_obeyed_nowhere(
    shop: Shop, size: tuple[int, int]
) -> None:
    parts, people = "; ".join(HOSTILE), "[b] [/x] \x1b"
    view = planned(shop, name="[b]N[/b]", what="[/w]", parts=parts, people=people)
    async with opened(shop, size) as screen:
        assert "[b]N[/b]" in screen.shown()
        await go_on(screen)
        assert "[/w]" in screen.shown()
        await screen.pilot.press("escape")
        read(shop, view)
        screen.app.screen.on_screen_resume()  # type: ignore[attr-defined]
        await screen.by_hand("r")
        assert isinstance(screen.app.screen, ResultScreen)
        assert "\x1b" not in screen.shown()


@pytest.mark.parametrize("mode", list(DOTS))
@pytest.mark.parametrize("size", [(72, 12), (108, 16), (30, 9), (8, 3), (1, 1)])
def test_the_picture_fits_any_room_and_shows_every_person(
    shop: Shop, mode: Mode, size: tuple[int, int]
) -> None:
    """Nothing is drawn outside; in ASCII there is nothing but ASCII."""
    result = result_of(read(shop, planned(shop)))
    picture = study_picture(result, "in", Area(*size, mode))
    rows = picture.canvas.rows()
    assert (len(rows), {len("".join(t for t, _ in row)) for row in rows}) == (size[1], {size[0]})
    plain = picture.canvas.plain()
    assert mode != "ascii" or plain.isascii()
    if size[0] >= 30:
        drawn = "".join(text for row in rows[:-LABEL_ROWS] for text, _ in row)
        for mark in MARKS[mode][:2]:
            assert drawn.count(mark) == picture.last - picture.first


def test_parts_that_have_no_room_are_reached_by_going_on(shop: Shop) -> None:
    """Forty columns in thirty cells: a window of parts, its last position full too."""
    parts = "; ".join(f"seat {i}" for i in range(1, 21))
    result = result_of(read(shop, planned(shop, parts=parts)))
    begin = study_picture(result, "in", Area(40, 12))
    end = study_picture(result, "in", Area(40, 12), first=19)
    assert (begin.first, begin.last) == (0, end.last - end.first)
    assert end.last == 20
    assert "20" in end.canvas.plain()
    assert "20" not in begin.canvas.plain()


# -- pictures --------------------------------------------------------------------------------------

CASES = {
    "list": (5, ""),
    "plan": (12, "n"),
    "take": (5, "t2450"),
    "take-asked": (5, "t6.95\n"),
    "take-done": (0, "t"),
    "result": (0, "r"),
    "result-incomplete": (2, "r"),
    "result-ascii": (0, "rddeo"),
}


@pytest.mark.parametrize("size", SIZES, ids=["wide", "narrow"])
@pytest.mark.parametrize("case", CASES)
def test_the_screen_looks_as_it_did(
    shop: Shop, snap_compare: Any, case: str, size: tuple[int, int]
) -> None:
    """The picture is the one that was looked at and found good."""
    until, pressed = CASES[case]
    read(shop, planned(shop), until)
    assert snap_compare(Bench(shop), terminal_size=size, run_before=before(pressed, "study"))
