"""What the hands do, tried without a screen: each key with its time, each outcome in the book."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.shop import at_stage, demo_file, heron, open_shop, ski, walk_to
from workbench.bench.hands import Hands
from workbench.records import rows
from workbench.work.shop import Shop

SLOW_S, FAST_S = 0.4, 0.002


class Keys:
    """Types into the hands, with a clock of its own."""

    def __init__(self, hands: Hands) -> None:
        self.hands = hands
        self.time = 100.0

    def type(self, text: str, gap_s: float = SLOW_S) -> None:
        for char in text:
            self.time += gap_s
            if char == "\n":
                self.hands.enter(self.time)
            elif char == "\b":
                self.hands.rub_out()
            else:
                self.hands.type(char, self.time)

    def yes(self) -> None:
        self.time += SLOW_S
        self.hands.yes(self.time)


def begin(shop: Shop, stage: str, name: str = "Heron 66") -> Keys:
    """Return hands on a ski at a stage."""
    view = ski(shop, name)
    walk_to(shop, view, heron(view), stage)
    hands = Hands(shop)
    hands.open(view.job.id)
    return Keys(hands)


def latest(keys: Keys) -> list[list[float]]:
    """Return this pass's readings in inches, by line."""
    view = keys.hands.state.view
    assert view is not None
    return [[round(r.mm / 25.4, 6) for r in line.latest] for line in view.lines]


def held(keys: Keys) -> list[str]:
    """Return what was kept as a note because it had no place."""
    view = keys.hands.state.view
    assert view is not None
    facts = keys.hands.shop.book.facts(view.job.id)
    return [f.text for f in facts if isinstance(f, rows.Mark) and f.kind == "held"]


@pytest.mark.parametrize(
    "texts",
    [("2450", "728", "6951"), ("24500", "0728", "69510"), ("2.45", ".728", "6.951"),
     ("2,45", "0,728", "6,951"), ("62.23mm", "728 thou", '6.951"')],
)  # fmt: skip
def test_readings_are_taken_as_they_are_typed(shop: Shop, texts: tuple[str, ...]) -> None:
    """With point, comma, unit or none of these: each goes to the reading due."""
    keys = begin(shop, "as received")
    for n, text in enumerate(texts):
        assert keys.hands.state.line_index == n
        keys.type(text + "\n")
        assert keys.hands.state.tone == "done", keys.hands.state.message
    assert latest(keys) == [[2.45], [0.728], [6.951]]
    view = keys.hands.state.view
    assert view is not None
    assert view.stage == "studs"
    assert [line.latest[0].text for line in view.lines] == list(texts)


def test_a_value_that_fits_only_in_the_other_unit_is_asked_about(shop: Shop) -> None:
    """62.23 on an inch bench: + takes it as mm, and nothing is kept before that."""
    keys = begin(shop, "as received")
    keys.type("62.23\n")
    assert keys.hands.state.question is not None
    assert latest(keys)[0] == []
    keys.type("\n")
    assert latest(keys)[0] == []
    keys.yes()
    assert latest(keys)[0] == [2.45]
    assert keys.hands.state.view is not None
    assert keys.hands.state.view.lines[0].latest[0].unit == "mm"


def test_a_question_is_left_by_rubbing_out_and_the_entry_can_be_mended(shop: Shop) -> None:
    """Backspace leads back to what was typed; the next one takes a character off."""
    keys = begin(shop, "as received")
    keys.type("62.23\n\b")
    assert (keys.hands.state.question, keys.hands.state.entry) == (None, "62.23")
    keys.type("\b\b\b\b\b2.45\n")
    assert latest(keys)[0] == [2.45]


def test_minus_shows_the_next_answer_and_does_not_leave_the_ski(shop: Shop) -> None:
    """While a question stands, no stepping through the queue happens."""
    keys = begin(shop, "as received")
    keys.type("62.23\n")
    view, count = keys.hands.state.view, len(keys.hands.state.question.placings)  # type: ignore[union-attr]
    for _ in range(count):
        keys.hands.no()
    assert keys.hands.state.offered == 0
    assert keys.hands.state.view == view


@pytest.mark.parametrize("wrong", ["2.4.5", "2/0", "..", "2 7/16 7", "1,2,3"])
def test_a_wrong_text_stays_and_says_why(shop: Shop, wrong: str) -> None:
    """What was typed is not lost, nothing is kept, and the message names the reading."""
    keys = begin(shop, "as received")
    keys.type(wrong + "\n")
    assert keys.hands.state.entry == wrong
    assert keys.hands.state.tone == "warn"
    assert "depth" in keys.hands.state.message
    assert latest(keys)[0] == []


def test_repeats_go_to_the_line_that_was_chosen(shop: Shop) -> None:
    """Up and down choose; a reading typed again is a repeat; then the one due is due again."""
    keys = begin(shop, "as received")
    keys.type("2450\n")
    keys.hands.select(-1)
    keys.type("2451\n")
    assert keys.hands.state.line_index == 1
    keys.type("728\n6951\n")
    keys.hands.select(1)
    keys.hands.select(1)
    keys.type("6952\n")
    assert latest(keys) == [[2.45, 2.451], [0.728], [6.951, 6.952]]


def test_a_flip_of_the_unit_changes_the_view_and_not_what_was_typed(shop: Shop) -> None:
    """Inch and mm flip everywhere and stay so at the next opening; readings keep their own."""
    keys = begin(shop, "as received")
    keys.type("2450\n")
    keys.hands.flip_unit()
    keys.type("1849\n")
    assert latest(keys)[:2] == [[2.45], [round(18.49 / 25.4, 6)]]
    view = keys.hands.state.view
    assert view is not None
    assert [line.latest[0].unit for line in view.lines[:2]] == ["in", "mm"]
    assert Hands(shop).state.unit == "mm"


def test_bench_reopens_on_the_same_ski_stage_and_entry(tmp_path: Path) -> None:
    """Leave in the middle of a number; the next opening goes on with it."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        keys = begin(shop, "as received", "Gannet 68")
        keys.type("2450\n07")
        keys.hands.leave()
        before = keys.hands.state
    with open_shop(path) as shop:
        keys = Keys(Hands(shop))
        assert keys.hands.state.view == before.view
        assert keys.hands.state.entry == "07"
        keys.type("28\n")
        assert latest(keys)[:2] == [[2.45], [0.728]]


def test_a_draft_that_was_taken_does_not_come_back_after_a_crash(tmp_path: Path) -> None:
    """Once its number is kept, a draft of yesterday is gone even if the bench never closed well."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        keys = begin(shop, "as received")
        keys.type("24")
        keys.hands.leave()
        keys = Keys(Hands(shop))
        keys.type("50\n")
        assert latest(keys)[0] == [2.45]
        assert Hands(shop).state.entry == ""


def test_the_ski_that_was_first_in_hand_is_in_hand_again_after_it_was_set_aside(
    shop: Shop,
) -> None:
    """The bench comes back to where it was left, also on a ski it was never stepped to."""
    hands = Hands(shop)
    first = hands.state.view
    assert first is not None
    hands.set_aside("lunch")
    hands.leave()
    again = Hands(shop).state.view
    assert again is not None
    assert (again.job.id, again.stage) == (first.job.id, "set aside")


def test_stepping_to_another_ski_keeps_a_half_typed_number_as_a_note(shop: Shop) -> None:
    """An entry left behind is held, not lost and not carried over to another ski."""
    keys = begin(shop, "as received")
    keys.type("245")
    home = keys.hands.state.view
    assert home is not None
    keys.hands.step_queue(1)
    assert keys.hands.state.entry == ""
    keys.hands.open(home.job.id)
    assert held(keys) == ["245"]


def test_a_burst_and_a_hand_are_told_apart_by_their_pace(shop: Shop) -> None:
    """How a reading came is kept with it."""
    keys = begin(shop, "as received")
    keys.type("2.4500\n", FAST_S)
    keys.time += 2.0
    keys.type(".728\n", SLOW_S)
    view = keys.hands.state.view
    assert view is not None
    assert [line.latest[0].how for line in view.lines[:2]] == ["gauge", "typed"]


def test_a_key_held_down_does_not_tick_one_item_after_the_other(shop: Shop) -> None:
    """The repeats of a held key, thirty a second, tick nothing more."""
    keys = begin(shop, "waiting")
    keys.type("\n")
    keys.yes()
    for _ in range(30):
        keys.time += 0.033
        keys.hands.yes(keys.time)
    view = keys.hands.state.view
    assert view is not None
    assert view.progress.ticked == {"edges"}
    keys.yes()
    assert keys.hands.state.view is not None
    assert keys.hands.state.view.progress.ticked == {"edges", "cracks"}


def test_enter_twice_at_once_does_one_step(shop: Shop) -> None:
    """A key that bounces, or a CR LF, is one Enter."""
    keys = begin(shop, "turning")
    keys.type("\n")
    keys.type("\n", 0.01)
    assert keys.hands.state.view is not None
    assert keys.hands.state.view.progress.step == 1


def test_take_back_says_what_it_took(shop: Shop) -> None:
    """The message names the entry; where nothing is left it says so."""
    keys = begin(shop, "as received")
    keys.type("2450\n")
    keys.hands.take_back()
    assert "2450" in keys.hands.state.message
    assert latest(keys)[0] == []
    for _ in range(4):
        keys.hands.take_back()
    assert "nothing" in keys.hands.state.message


def test_targets_by_value_by_change_and_by_baseline(shop: Shop) -> None:
    """Each way of setting a target is kept as what it is."""
    keys = begin(shop, "target")
    view = keys.hands.state.view
    assert view is not None
    now = view.lines[0].now_mm
    assert now is not None
    keys.type("+.010\n760\n")
    keys.hands.select(1)
    view = keys.hands.state.view
    assert view is not None
    assert view.lines[0].target_mm == pytest.approx(now + 0.254, abs=1e-9)
    assert view.lines[1].target_mm == pytest.approx(0.76 * 25.4, abs=1e-9)
    assert [line.target.kind for line in view.lines[:2] if line.target] == ["change", "value"]
    keys.hands.baseline()
    view = keys.hands.state.view
    assert view is not None
    assert {line.target.kind for line in view.lines if line.target} == {"baseline"}


def test_a_book_that_was_moved_away_is_a_message_and_not_a_crash(
    shop: Shop, book_file: Path
) -> None:
    """Every key still works, says that nothing is kept, and the entry stays."""
    keys = begin(shop, "as received")
    book_file.rename(book_file.with_suffix(".away"))
    keys.type("2450\n")
    assert keys.hands.state.entry == "2450"
    assert "moved" in keys.hands.state.message
    for act in (keys.hands.flip_unit, keys.hands.next_drawing, keys.hands.next_unfinished,
                keys.hands.take_back, keys.hands.finer, lambda: keys.hands.hold("1"),
                lambda: keys.hands.step_queue(1), keys.hands.leave):  # fmt: skip
        act()
        assert keys.hands.state.tone == "warn"
    book_file.with_suffix(".away").rename(book_file)


def test_nothing_goes_wrong_with_a_book_without_a_ski(tmp_path: Path) -> None:
    """The empty queue answers every key with what can be done."""
    with open_shop(tmp_path / "empty.db") as shop:
        keys = Keys(Hands(shop))
        keys.type("2450\n")
        keys.yes()
        for act in (keys.hands.no, keys.hands.take_back, keys.hands.finer, keys.hands.next_side,
                    keys.hands.baseline, keys.hands.keep_as_is, keys.hands.escape,
                    keys.hands.flip_unit, lambda: keys.hands.select(1)):  # fmt: skip
            act()
        assert keys.hands.state.view is None


def test_enter_adds_the_first_ski_and_a_burst_does_not(tmp_path: Path) -> None:
    """The next step of an empty queue is a ski; what a caliper sends opens nothing."""
    with open_shop(tmp_path / "empty.db") as shop:
        keys, asked = Keys(Hands(shop)), []
        keys.hands.asks = asked.append
        keys.type("2450\n")
        assert asked == []
        assert keys.hands.state.entry == "2450"
        keys.hands.escape()
        keys.hands.enter(keys.time + 10)
        assert asked == ["add_ski"]


def test_an_entry_has_a_longest_length_and_says_so(shop: Shop) -> None:
    """The forty-first character is refused aloud."""
    keys = begin(shop, "as received")
    keys.type("1" * 41)
    assert len(keys.hands.state.entry) == 40
    assert "40 characters" in keys.hands.state.message


def test_the_next_ski_that_is_not_finished_is_found_round_the_end(shop: Shop) -> None:
    """Signed-off skis and those set aside are passed over."""
    hands = Hands(shop)
    seen = []
    for _ in hands.state.roster:
        hands.next_unfinished()
        assert hands.state.view is not None
        seen.append(hands.state.view.stage)
    assert not {"signed off", "set aside"} & set(seen)
    hands.open(at_stage(shop, "signed off").job.id)
    hands.enter(500.0)
    assert hands.state.view is not None
    assert hands.state.view.stage != "signed off"


# -- what others did meanwhile ---------------------------------------------------------------------


@contextmanager
def another(shop: Shop) -> Iterator[Shop]:
    """Another bench on the same book."""
    with open_shop(shop.book.path, "ADA") as other:
        yield other


def turned_by_another(shop: Shop, keys: Keys) -> None:
    """Let another bench aim anew, loosen and turn a stud of the ski in hand."""
    assert keys.hands.state.view is not None
    with another(shop) as other:
        view = other.reopen_target(other.view(keys.hands.state.view.job.id))
        view = other.accept_target(other.aim(view, view.lines[0], "+.020", "in"))
        other.step_done(other.step_done(view))


def test_a_sign_off_by_a_view_that_is_no_longer_true_is_refused(shop: Shop) -> None:
    """The ski is shown as it is now, with who did what; the next + goes to no other ski."""
    keys = begin(shop, "sign-off")
    keys.type("\n")
    before = keys.hands.state.view
    assert before is not None
    with another(shop) as other:
        other.set_aside(other.view(before.job.id), "a cracked bolt")
    keys.yes()
    state = keys.hands.state
    assert state.view is not None
    assert (state.view.job.id, state.view.stage) == (before.job.id, "set aside")
    assert "ADA set it aside: a cracked bolt at" in state.message
    assert (state.tone, state.hands_on) == ("warn", False)
    keys.yes()
    assert keys.hands.state.view is not None
    assert keys.hands.state.view.job.id == before.job.id


def test_a_refused_reading_stays_on_the_line(shop: Shop) -> None:
    """Enter takes it by what there is now; the first digit of another makes a note of it."""
    keys = begin(shop, "within")
    turned_by_another(shop, keys)
    keys.type("2.4600\n")
    state = keys.hands.state
    assert (state.entry, state.view and state.view.stage) == ("2.4600", "turning")
    assert "ADA turned the" in state.message
    assert held(keys) == []
    keys.type("7")
    assert (keys.hands.state.entry, held(keys)) == ("7", ["2.4600"])
    assert shop.view(keys.hands.state.view.job.id).progress.step == 2  # type: ignore[union-attr]


def test_a_refused_reading_is_taken_by_the_next_enter(shop: Shop) -> None:
    keys = begin(shop, "as received")
    assert keys.hands.state.view is not None
    with another(shop) as other:
        other.note(other.view(keys.hands.state.view.job.id), "note", "look at bolt 2")
    keys.type("2450\n")
    assert (keys.hands.state.entry, latest(keys)[0]) == ("2450", [])
    keys.type("\n", FAST_S)
    assert (keys.hands.state.entry, latest(keys)[0]) == ("2450", []), "the LF of a CR LF"
    keys.type("\n")
    assert (keys.hands.state.entry, latest(keys)[0]) == ("", [2.45])


def test_an_entry_dropped_after_its_refusal_is_forgotten(shop: Shop) -> None:
    """What is typed then is an entry of its own, on this ski and on another."""
    keys = begin(shop, "as received")
    assert keys.hands.state.view is not None
    for _ in range(2):
        with another(shop) as other:
            other.note(other.view(keys.hands.state.view.job.id), "note", "look at bolt 2")
        keys.type("24\n")
        assert keys.hands.state.entry == "24"
        keys.hands.escape()
        keys.type("2450")
        assert keys.hands.state.entry == "2450"
        keys.hands.escape()
    assert held(keys) == []


@pytest.mark.parametrize("act", ["enter", "yes", "take_back", "retarget"])
def test_a_key_right_after_what_others_did_was_meant_for_the_ski_before(
    shop: Shop, act: str
) -> None:
    """The bench has read it anew by itself just before: the key is refused once, and told why."""
    keys = begin(shop, "within")
    turned_by_another(shop, keys)
    keys.hands.look_again(by_others=True)
    assert keys.hands.state.view is not None
    job, facts = keys.hands.state.view.job.id, keys.hands.state.view.facts
    assert "ADA turned the" in keys.hands.state.message
    if act == "enter":
        keys.type("\n")
    elif act == "yes":
        keys.yes()
    else:
        getattr(keys.hands, act)()
    assert keys.hands.state.view.job.id == job
    assert shop.view(job).facts == facts
    assert "ADA turned the" in keys.hands.state.message
    if act == "enter":
        keys.type("\n")
        assert shop.view(job).progress.step == 3


def test_a_turn_is_taken_back_by_its_question_alone(shop: Shop) -> None:
    """The key asks; until it is answered the record stays, and so does the turn."""
    keys, asked = begin(shop, "turning"), []
    keys.hands.asks = asked.append
    keys.type("\n")
    keys.type("\n")
    keys.hands.take_back()
    assert asked == ["turn_back"]
    assert keys.hands.state.view is not None
    assert keys.hands.state.view.progress.step == 2
    keys.hands.take_back_turn("not_turned")
    assert keys.hands.state.view.progress.step == 1
    assert "the stud was never turned" in keys.hands.state.message


# -- an entry begun --------------------------------------------------------------------------------


def test_an_entry_begun_comes_back_to_its_own_reading(shop: Shop) -> None:
    """Chosen by hand or due; where the reading is not the one due, it is marked again."""
    keys = begin(shop, "as received")
    keys.hands.select(1)
    keys.type("2.4505")
    assert keys.hands.leave()
    again = Hands(shop)
    assert (again.state.entry, again.state.line_index) == ("2.4505", 1)


@pytest.mark.parametrize("meanwhile", ["another ski", "another stage", "another pass"])
def test_an_entry_begun_never_comes_up_under_another_ski_or_round(
    shop: Shop, meanwhile: str
) -> None:
    """It is a note of its own job then, and is told."""
    keys = begin(shop, "as received" if meanwhile != "another pass" else "measuring")
    view = keys.hands.state.view
    assert view is not None
    keys.type("2.4505")
    assert keys.hands.leave()
    if meanwhile == "another ski":
        shop.remember("job", ski(shop, "Gannet 68").job.id)
    elif meanwhile == "another stage":
        walk_to(shop, shop.view(view.job.id), heron(view), "target")
    else:
        now = walk_to(shop, shop.view(view.job.id), heron(view), "within")
        now = shop.accept_target(shop.aim(shop.reopen_target(now), now.lines[0], "+.020", "in"))
        walk_to(shop, now, heron(now), "measuring")
    again = Hands(shop)
    assert again.state.entry == ""
    assert "'2.4505' was not taken: it is kept as a note to Heron 66" in again.state.message
    facts = shop.book.facts(view.job.id)
    assert [f.text for f in facts if isinstance(f, rows.Mark) and f.kind == "held"] == ["2.4505"]
    assert Hands(shop).state.message == "", "it is told once"


def test_an_entry_that_an_older_bench_kept_is_told_and_not_taken(shop: Shop) -> None:
    """It does not say of which ski it is."""
    begin(shop, "as received")
    shop.remember("draft", "2.4505")
    again = Hands(shop)
    assert again.state.entry == ""
    assert "'2.4505' was typed before, of which ski is not known" in again.state.message
