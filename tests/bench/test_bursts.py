"""A caliper's cable: digits and Enter faster than any hand, into whatever is open."""

from __future__ import annotations

from dataclasses import replace

import pytest
from textual.events import Paste

from tests.bench.screens import Screen, bench
from tests.shop import at_stage, heron, ski, walk_to
from workbench.bench.action_menu import Sheet
from workbench.bench.screens.help_screens import Help
from workbench.work.job.shop import Shop

THREE = ("2.4900", ".7480", "7.0130")


def _inches(screen: Screen) -> list[list[float]]:
    return [[round(r.mm / 25.4, 6) for r in line.latest] for line in screen.view.lines]


async def _at(shop: Shop, screen: Screen, stage: str) -> None:
    view = ski(shop, "Heron 66")
    walk_to(shop, view, heron(view), stage)
    screen.app.hands.open(view.job.id)
    screen.app.hands.look_again()


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\n\n"])
async def test_three_readings_in_one_write_are_taken_in_order(shop: Shop, ending: str) -> None:
    """Each goes to the reading due; an Enter too many (CR LF) does no step."""
    async with bench(shop) as screen:
        await _at(shop, screen, "as received")
        screen.burst("".join(text + ending for text in THREE))
        await screen.settle()
        assert _inches(screen) == [[2.49], [0.748], [7.013]]
        assert screen.view.stage == "studs"
        assert {line.latest[0].how for line in screen.view.lines} == {"gauge"}


async def test_two_hundred_readings_back_to_back_are_all_there_in_order(shop: Shop) -> None:
    """As repeats of one reading: none lost, none joined, none out of order."""
    wanted = [round(2.4 + n / 2000, 4) for n in range(200)]
    async with bench(shop) as screen:
        await _at(shop, screen, "studs")
        first = len(screen.view.lines[0].latest)
        screen.burst("".join(f"{value:.4f}\n" for value in wanted))
        for _ in range(400):
            await screen.pilot.pause(0.05)
            if len(screen.view.lines[0].latest) == first + 200:
                break
        assert _inches(screen)[0][first:] == wanted
        assert screen.view.stage == "studs"


@pytest.mark.parametrize("stage", ["waiting", "received check", "final check", "sign-off"])
async def test_a_burst_into_a_check_ticks_and_signs_nothing(shop: Shop, stage: str) -> None:
    """Also when the check was begun on purpose; the number is kept as a note.

    At the sign-off it is a reading with the bolts tight, which signs nothing either.
    """
    async with bench(shop) as screen:
        await _at(shop, screen, stage)
        if stage != "received check":
            await screen.by_hand("\n")
        before = screen.view.progress
        screen.burst("2.4900\n+.748\n-.01\n")
        await screen.settle()
        if stage == "sign-off":
            assert replace(screen.view.progress, locked={}) == before
            assert screen.view.progress.locked
            return
        assert screen.view.progress == before
        assert screen.held() == ["2.4900", "+.748", "-.01"]


async def test_a_plus_right_after_a_burst_ticks_nothing(shop: Shop) -> None:
    """A tick takes a + after the burst's window has passed."""
    async with bench(shop) as screen:
        await _at(shop, screen, "waiting")
        await screen.by_hand("\n")
        screen.burst("2.4900\n+")
        await screen.settle()
        assert screen.view.stage == "waiting"
        await screen.by_hand("+")
        assert screen.view.progress.ticked == {"edges"}


@pytest.mark.parametrize("stage", ["turning", "signed off", "set aside"])
async def test_where_no_reading_is_due_a_burst_is_held_and_does_no_step(
    shop: Shop, stage: str
) -> None:
    """No stud step is done, no ski taken up, no other ski opened."""
    async with bench(shop) as screen:
        if stage == "turning":
            await _at(shop, screen, stage)
        else:
            screen.app.hands.open(at_stage(shop, stage).job.id)
        before = screen.view
        screen.burst("2.4900\r\n.7480\r\n")
        await screen.settle()
        assert screen.view.job.id == before.job.id
        assert screen.view.progress == before.progress
        assert screen.held() == ["2.4900", ".7480"]


@pytest.mark.parametrize(("key", "kind"), [("/", Sheet), ("h", Help)])
async def test_a_burst_into_the_sheet_or_the_help_is_held(
    shop: Shop, key: str, kind: type[object]
) -> None:
    """Nothing is chosen, the screen stays, each number is a note, its sign with it."""
    async with bench(shop) as screen:
        await _at(shop, screen, "as received")
        await screen.by_hand(key)
        await screen.settle()
        screen.burst("2.4900\r\n7480\r\n+.0100\r\n-1/64\r\n")
        await screen.settle()
        assert isinstance(screen.app.screen, kind)
        assert screen.held() == ["2.4900", "7480", "+.0100", "-1/64"]
        assert _inches(screen) == [[], [], []]
        await screen.pilot.press("escape")
        await screen.settle()
        assert len(screen.app.screen_stack) == 1


async def test_a_burst_into_a_prompt_answers_nothing(shop: Shop) -> None:
    """The question stays open, what was typed in it stays, the number is held."""
    async with bench(shop) as screen:
        await screen.by_hand("s")
        await screen.settle()
        for char in "bolt":
            await screen.pilot.press(char)
        await screen.pilot.pause(0.2)
        screen.burst("2.4900\r\n")
        await screen.settle()
        assert len(screen.app.screen_stack) == 2
        assert screen.view.stage == "waiting"
        assert screen.held() == ["2.4900"]
        assert "bolt" in screen.shown()


async def test_a_burst_while_a_question_is_shown_answers_nothing(shop: Shop) -> None:
    """The question stays as it is, and what came in waits, kept meanwhile."""
    async with bench(shop) as screen:
        await _at(shop, screen, "as received")
        await screen.by_hand("63.246\n")
        before = screen.app.hands.state
        assert before.question is not None
        screen.burst(".7480\n")
        await screen.settle()
        state = screen.app.hands.state
        assert (state.question, state.entry) == (before.question, before.entry)
        assert (_inches(screen), screen.held()) == ([[], [], []], [".7480"])
        await screen.by_hand("+")
        assert _inches(screen) == [[2.49], [0.748], []]


async def test_a_burst_stops_at_the_question_it_raises_and_loses_nothing(shop: Shop) -> None:
    """mm readings into an inch bench: each is asked about in turn; none is taken unasked."""
    async with bench(shop) as screen:
        await _at(shop, screen, "as received")
        screen.burst("63.246\n18.999\n")
        await screen.settle()
        assert _inches(screen) == [[], [], []]
        state = screen.app.hands.state
        assert (state.entry, [w.text for w in state.waiting]) == ("63.246", ["18.999"])
        assert screen.held() == ["18.999"]


async def test_pasted_lines_are_readings_and_other_text_is_refused(shop: Shop) -> None:
    """A paste goes line by line; a line with anything else in it is named and not taken."""
    async with bench(shop) as screen:
        await _at(shop, screen, "as received")
        screen.app.post_message(Paste("2.4900\r\n2x450\r\n"))
        await screen.settle()
        assert _inches(screen) == [[2.49], [], []]
        assert screen.app.hands.state.entry == ""
        assert "2x450" in screen.shown()


async def test_a_paste_into_the_sheet_is_held(shop: Shop) -> None:
    """As a burst is."""
    async with bench(shop) as screen:
        await screen.by_hand("/")
        await screen.settle()
        screen.app.post_message(Paste("2.4900\n"))
        await screen.settle()
        assert screen.held() == ["2.4900"]


async def test_a_burst_at_the_target_is_no_target(shop: Shop) -> None:
    """What a caliper sends while a target is asked for is kept as a note."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "target")
    shop.remember("job", view.job.id)
    async with bench(shop) as screen:
        screen.burst("2.4750\n")
        await screen.settle()
        assert screen.held() == ["2.4750"]
        assert all(line.target is None for line in screen.view.lines)
        await screen.by_hand("2.475\n")
        assert screen.view.lines[0].target is not None
