"""What was typed and is asked about: letters are commands, and nothing of it is lost in silence."""

from __future__ import annotations

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.bench.test_hands import FAST_S, Keys, begin, held, latest
from tests.shop import heron, ski, walk_to
from workbench.bench.help import Help
from workbench.bench.hold_screen import HoldScreen
from workbench.work.shop import Shop


def asked(shop: Shop) -> Keys:
    """Return hands on a ski with one reading kept and a question at the second."""
    keys = begin(shop, "as received")
    keys.type("2450\n9.99\n")
    assert keys.hands.state.question is not None
    return keys


async def at_question(shop: Shop, screen: Screen) -> None:
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "as received")
    screen.app.hands.open(view.job.id)
    await screen.by_hand("2.45\n9.99\n")
    assert screen.app.hands.state.question is not None


@pytest.mark.parametrize(("key", "opened"), [("h", Help), ("m", HoldScreen)])
async def test_a_letter_at_a_question_is_a_command_and_the_question_stays(
    shop: Shop, key: str, opened: type
) -> None:
    async with bench(shop) as screen:
        await at_question(shop, screen)
        before = screen.app.hands.state
        await screen.by_hand(key)
        await screen.pilot.pause()
        assert isinstance(screen.app.screen, opened)
        await screen.pilot.press("escape")
        await screen.pilot.pause()
        state = screen.app.hands.state
        assert (state.question, state.entry) == (before.question, before.entry)
        assert screen.held() == []


@pytest.mark.parametrize("char", [*"mnichoutICHOUT", *"/ \"'°", "µ", "″"])
def test_only_what_starts_a_number_takes_a_questions_place(shop: Shop, char: str) -> None:
    """Anything else of an entry leaves question and entry where they stand."""
    keys = asked(shop)
    assert not keys.hands.takes(char)
    keys.type(char)
    state = keys.hands.state
    assert (state.entry, state.question is None) == ("9.99", False)
    assert held(keys) == []
    assert char in state.message


@pytest.mark.parametrize("size", SIZES)
async def test_u_takes_back_the_last_entry_kept_and_says_where_the_other_one_is(
    shop: Shop, size: tuple[int, int]
) -> None:
    async with bench(shop, size) as screen:
        await at_question(shop, screen)
        await screen.by_hand("u")
        assert screen.view.lines[0].latest == ()
        assert screen.held() == ["9.99"]
        assert "taken back" in screen.shown()
        assert "'9.99' was not taken: it is kept as a note" in " ".join(screen.shown().split())


def test_a_number_in_a_questions_place_is_said_until_it_is_kept_and_then_too(shop: Shop) -> None:
    """The other one is a note, and no digit wipes that off the screen."""
    keys = asked(shop)
    for text in ("7", "2", "8"):
        keys.type(text)
        assert "'9.99' was not taken: it is kept as a note" in keys.hands.state.message
        assert keys.hands.state.tone == "warn"
    keys.type("\n")
    assert latest(keys)[1] == [0.728]
    assert "kept: tail" in keys.hands.state.message
    assert "'9.99' was not taken" in keys.hands.state.message
    keys.type("6951\n")
    assert "9.99" not in keys.hands.state.message
    assert held(keys) == ["9.99"]


def test_a_burst_in_a_questions_place_says_it_as_well(shop: Shop) -> None:
    keys = asked(shop)
    keys.time += 2.0
    keys.type(".7280\n", FAST_S)
    assert latest(keys)[1] == [0.728]
    assert "'9.99' was not taken" in keys.hands.state.message


@pytest.mark.parametrize("typed", ["245", "9.99\n"])
async def test_page_down_says_that_an_entry_stayed_behind_as_a_note(shop: Shop, typed: str) -> None:
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "as received")
    async with bench(shop) as screen:
        screen.app.hands.open(view.job.id)
        await screen.by_hand(typed)
        await screen.pilot.press("pagedown")
        await screen.pilot.pause()
        assert screen.view.job.id != view.job.id
        text = typed.strip()
        assert f"'{text}' was not taken: it is kept as a note to Heron 66" in screen.shown()
        screen.app.hands.open(view.job.id)
        assert screen.held() == [text]


def test_a_command_in_the_middle_of_a_number_loses_nothing(shop: Shop) -> None:
    """Also one that is no letter of a unit."""
    keys = begin(shop, "target")
    keys.type("24")
    keys.hands.baseline()
    view = keys.hands.state.view
    assert view is not None
    assert all(line.target for line in view.lines)
    assert held(keys) == ["24"]
    assert "baseline taken as the target; '24' was not taken" in keys.hands.state.message
