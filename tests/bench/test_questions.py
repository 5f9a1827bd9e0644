"""What was typed and is asked about: letters are commands, and nothing of it is lost in silence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.bench.screens import SIZES, Screen, bench
from tests.bench.test_hands import FAST_S, Keys, begin, held, latest
from tests.shop import heron, open_shop, ski, walk_to
from workbench.bench.panels.next_line import next_words
from workbench.bench.screens.help_screens import Help
from workbench.bench.screens.ski.reading_screens import HoldScreen
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.job_text.tasks import task_of
from workbench.work.job_text.view_words import target_warning


def asked(shop: Shop) -> Keys:
    """Return hands on a ski with one reading kept and a question at the second."""
    keys = begin(shop, "as received")
    keys.type("2490\n9.99\n")
    assert keys.hands.state.question is not None
    return keys


async def at_question(shop: Shop, screen: Screen) -> None:
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "as received")
    screen.app.hands.open(view.job.id)
    await screen.by_hand("2.49\n9.99\n")
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
    assert not keys.entry.takes(char)
    keys.type(char)
    state = keys.hands.state
    assert (state.entry, state.question is None) == ("9.99", False)
    assert held(keys) == []
    assert char in state.message


@pytest.mark.parametrize("size", SIZES)
async def test_u_at_a_question_answers_nothing_and_takes_back_nothing(
    shop: Shop, size: tuple[int, int]
) -> None:
    """What was kept stays, the question stays, and the screen says so."""
    async with bench(shop, size) as screen:
        await at_question(shop, screen)
        before = screen.app.hands.state
        await screen.by_hand("u")
        state = screen.app.hands.state
        assert (state.question, state.entry) == (before.question, before.entry)
        assert [r.text for r in screen.view.lines[0].latest] == ["2.49"]
        assert screen.held() == []
        assert "nothing was taken back" in screen.shown()


def test_a_number_in_a_questions_place_is_said_until_it_is_kept_and_then_too(shop: Shop) -> None:
    """From its second key on a hand is known: the other number is a note, and it is said."""
    keys = asked(shop)
    keys.type("7")
    for text in ("4", "8"):
        keys.type(text)
        assert "'9.99' was not taken: it is kept as a note" in keys.hands.state.message
        assert keys.hands.state.tone == "warn"
    keys.type("\n")
    assert latest(keys)[1] == [0.748]
    assert "kept: tail" in keys.hands.state.message
    assert "'9.99' was not taken" in keys.hands.state.message
    keys.type("7013\n")
    assert "9.99" not in keys.hands.state.message
    assert held(keys) == ["9.99"]


def test_the_first_key_beside_a_question_is_taken_back_and_the_question_stands(shop: Shop) -> None:
    keys = asked(shop)
    before = keys.hands.state
    keys.type("7\b")
    assert (keys.hands.state.question, keys.hands.state.entry) == (before.question, before.entry)
    keys.type("7")
    keys.entry.escape()
    assert keys.hands.state.question == before.question
    assert held(keys) == []


# -- a burst while a question stands ---------------------------------------------------------------


def bells(keys: Keys) -> list[str]:
    """Count the alarms from here on."""
    rung: list[str] = []
    keys.hands.alarms = lambda: rung.append(keys.hands.state.message)
    return rung


def test_a_burst_at_a_question_waits_and_goes_where_it_fits_once_it_is_answered(shop: Shop) -> None:
    """A length sent while the tail is asked about: no answer, not swallowed, and no tail."""
    keys = asked(shop)
    rung = bells(keys)
    before = keys.hands.state
    keys.time += 2.0
    keys.type("7.0130\n", FAST_S)
    state = keys.hands.state
    assert (state.question, state.entry) == (before.question, before.entry)
    assert [w.text for w in state.waiting] == ["7.0130"]
    assert "it waits until this is answered" in state.message
    assert len(rung) == 1
    assert held(keys) == ["7.0130"], "what waits is kept, should the bench be killed"
    keys.entry.escape()
    assert latest(keys) == [[2.49], [], [7.013]]
    assert keys.hands.state.waiting == ()
    view = keys.hands.state.view
    assert view is not None
    assert view.lines[2].latest[0].how == "gauge"
    notes = [f for f in view.facts if isinstance(f, rows.Mark) and f.kind == "held"]
    assert [f.struck.reason for f in notes if f.struck] == ["taken as a reading"]


def test_bursts_wait_in_their_order_and_the_answer_goes_first(shop: Shop) -> None:
    keys = begin(shop, "as received")
    keys.type("2.4550\n")
    assert keys.hands.state.question is not None
    for text in ("0.7480\n", "7.0130\n"):
        keys.time += 2.0
        keys.type(text, FAST_S)
    assert len(keys.hands.state.waiting) == 2
    keys.time += 2.0
    keys.yes()
    assert latest(keys) == [[2.455], [0.748], [7.013]]


def test_a_burst_that_fits_two_readings_is_asked_about(shop: Shop) -> None:
    """Bare digits that are a depth and a tail where nothing tells what to expect."""
    keys = asked(shop)
    view = keys.hands.state.view
    assert view is not None
    keys.hands.change(view=replace(view, left=(), baseline=None))
    keys.time += 2.0
    keys.type("1.3000\n", FAST_S)
    view = replace(view, lines=tuple(replace(x, latest=()) for x in view.lines))
    keys.hands.change(question=None, entry="", view=replace(view, left=(), baseline=None))
    keys.entry._place_waiting()
    question = keys.hands.state.question
    assert question is not None
    assert [a.words for a in question.placings] == ["depth 1.3000 in", "tail 1.3000 in"]


def test_a_burst_that_fits_nothing_stays_a_note(shop: Shop) -> None:
    keys = asked(shop)
    keys.time += 2.0
    keys.type("4.4444\n", FAST_S)
    keys.entry.escape()
    assert latest(keys) == [[2.49], [], []]
    assert held(keys) == ["4.4444"]
    assert "kept as a note" in keys.hands.state.message


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
    keys.acts.aim("baseline")
    view = keys.hands.state.view
    assert view is not None
    assert all(line.target for line in view.lines)
    assert held(keys) == ["24"]
    assert "baseline taken as the target; '24' was not taken" in keys.hands.state.message


# -- how far a number may be from the usual --------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "text", "limit"),
    [("in", "9999", "0 to 39.3700 in"), ("mm", "9999", "0 to 1000.00 mm"),
     ("in", "1001mm", "0 to 39.3700 in")],
)  # fmt: skip
def test_what_no_caliper_shows_is_refused_at_once_and_never_offered(
    shop: Shop, unit: str, text: str, limit: str
) -> None:
    """The limit stands in the bench's unit, and what was typed can be mended."""
    keys = begin(shop, "as received")
    if unit == "mm":
        keys.hands.flip_unit()
    keys.type(text + "\n")
    state = keys.hands.state
    assert (state.question, state.entry, state.tone) == (None, text, "warn")
    assert limit in state.message
    assert "depth" in state.message
    assert latest(keys)[0] == []


@pytest.mark.parametrize("text", ["9.9", "+9.0", "-2.4", "0.01"])
def test_a_target_that_this_blade_cannot_read_is_refused_at_once(shop: Shop, text: str) -> None:
    """As a value and as a change; nothing is offered that would be refused afterwards."""
    keys = begin(shop, "target")
    keys.type(text + "\n")
    state = keys.hands.state
    assert (state.question, state.entry, state.tone) == (None, text, "warn")
    assert "a value that this blade can read" in state.message
    assert state.message.count(" in") >= 1


@pytest.mark.parametrize("text", ["+2.0", "2.748"])
async def test_a_target_outside_the_usual_is_asked_about_as_value_and_as_change(
    shop: Shop, text: str
) -> None:
    """The same question; + takes it as what it was typed as."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "target")
    async with bench(shop) as screen:
        screen.app.hands.open(view.job.id)
        await screen.pilot.press("down")
        await screen.by_hand(text + "\n")
        state = screen.app.hands.state
        assert state.line is not None
        assert state.line.method.quantity == "tail"
        assert state.question is not None
        assert state.question.question == "outside the usual 0.197 to 1.93 in: take it as it is?"
        assert screen.view.progress.targets == {}
        await screen.by_hand("+")
        line = screen.view.lines[1]
        assert line.target is not None
        assert (line.target.text, line.target.kind) == (
            (text, "change") if text[0] == "+" else (text, "value")
        )


def test_a_change_inside_the_usual_is_taken_at_once(shop: Shop) -> None:
    keys = begin(shop, "target")
    keys.type("+.010\n")
    view = keys.hands.state.view
    assert view is not None
    assert view.lines[0].target is not None
    assert view.lines[0].target.kind == "change"


def test_what_warns_of_a_target_stands_in_the_message(shop: Shop) -> None:
    """An odd tilt at once, in the words of the panel; a target that is none of this is done."""
    keys = begin(shop, "target")
    keys.hands.select(0)
    keys.type("+.39\n")
    keys.yes()
    state = keys.hands.state
    assert state.view is not None
    assert state.view.plan is not None
    assert state.tone == "warn"
    assert "target kept: depth" in state.message
    assert target_warning(state.view, "in") in state.message
    keys.acts.take_back()
    keys.hands.select(1)
    keys.type("+.012\n")
    assert keys.hands.state.tone == "done"
    assert keys.hands.state.message.startswith("target kept: tail")


def test_a_target_out_of_reach_says_so_and_is_not_accepted(shop: Shop) -> None:
    keys = begin(shop, "target", "Lark 64")
    keys.type("+1.0\n")
    keys.yes()
    assert "out of the blade's reach" in keys.hands.state.message
    keys.type("\n\n\n")
    state = keys.hands.state
    assert state.view is not None
    assert (state.view.stage, state.tone) == ("target", "warn")
    assert "out of the blade's reach" in state.message


# -- which repeat is due ---------------------------------------------------------------------------


def test_the_repeat_named_is_that_of_the_reading_marked(shop: Shop) -> None:
    """Also where the mark was moved off the reading that is due."""
    shop.remember("repeats", "3")
    keys = begin(shop, "as received")
    keys.type("2490\n2490\n2490\n748\n")
    state = keys.hands.state
    assert state.view is not None
    depth, tail, length = (line.method.name for line in state.view.lines)
    said = f"{tail}, 2 of 3"
    assert said in next_words(keys.hands.state)
    keys.hands.select(1)
    assert f"{length}, 1 of 3" in next_words(keys.hands.state)
    keys.hands.select(1)
    assert f"{depth}, repeat 4, then" in next_words(keys.hands.state)
    assert said in task_of(state.view).words


# -- what cannot be done now -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stage", "now"),
    [("waiting", "tick the check that is due"), ("target", "accept the target"),
     ("signed off", "queue the ski again")],
)  # fmt: skip
def test_k_where_nothing_can_be_kept_says_what_can_be_done(
    shop: Shop, stage: str, now: str
) -> None:
    """In a technician's words, never by the names that the program uses inside."""
    keys = begin(shop, stage)
    keys.acts.keep_as_is()
    state = keys.hands.state
    assert state.tone == "warn"
    assert state.message.startswith(f"keep the readings as they are: 'not at the stage {stage}'")
    assert now in state.message
    for inner in ("one of:", "accept at", "next step"):
        assert inner not in state.message


async def test_a_turn_is_taken_back_by_a_letter_that_says_where_the_stud_is(shop: Shop) -> None:
    """Esc, Enter, + and a burst leave the record; b takes it back and keeps the answer."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
    view = shop.step_done(shop.step_done(view))
    shop.remember("job", view.job.id)
    for size in SIZES:
        async with bench(shop, size) as screen:
            await screen.by_hand("u")
            assert "Where is that stud now?" in screen.shown()
            assert "b: the stud was turned back by hand" in screen.shown()
            await screen.by_hand("\n+")
            screen.burst("2.4505\n")
            await screen.settle()
            await screen.by_hand("q")
            assert screen.view.progress.step == 2
            assert screen.held()[-1] == "2.4505"
            await screen.pilot.press("escape")
            assert len(screen.app.screen_stack) == 1
            assert screen.view.progress.step == 2
    async with bench(shop) as screen:
        await screen.by_hand("ub")
        assert screen.view.progress.step == 1
        assert "the stud was turned back by hand" in screen.app.hands.state.message
        assert len(screen.app.screen_stack) == 1
        assert "turned_back" in [getattr(f, "kind", "") for f in screen.view.facts]


async def test_a_form_refused_by_what_came_in_is_saved_when_it_is_saved_again(shop: Shop) -> None:
    """It stays open with what was typed, says who did what, and then goes by what there is now."""
    view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "within")
    shop.remember("job", view.job.id)
    async with bench(shop) as screen:
        screen.app.do_("temperature")
        await screen.pilot.pause(0.1)
        await screen.by_hand("31")
        with open_shop(shop.book.path, "ADA") as other:
            other.note(other.view(view.job.id), "note", "bolt 2")
        await screen.pilot.press("f2")
        await screen.pilot.pause(0.1)
        assert "ADA wrote a note: bolt 2 at" in screen.shown()
        assert not shop.view(view.job.id).progress.temperatures
        await screen.pilot.press("f2")
        await screen.pilot.pause(0.1)
        assert len(screen.app.screen_stack) == 1
        assert shop.view(view.job.id).progress.temperatures
