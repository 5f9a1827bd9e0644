"""What the hands do, tried without a screen: each key with its time, each outcome in the book."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from tests.bench.screens import bench
from tests.shop import at_stage, demo_file, heron, open_shop, ski, walk_to
from workbench.bench import app
from workbench.bench.hand.acts import Acts
from workbench.bench.hand.entry_keys import EntryKeys
from workbench.bench.hand.hands import Hands
from workbench.bench.panels.next_line import next_words
from workbench.records.desk import Desk
from workbench.records.store import rows
from workbench.work.job.entry import Typed
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import doubt_question
from workbench.work.roster.settings import change
from workbench.work.trust.plausibility import made_words

SLOW_S, FAST_S = 0.4, 0.002

LONG_FLASH_S = 2.5


class Keys:
    """Types into the hands, with a clock of its own."""

    def __init__(self, hands: Hands) -> None:
        self.hands, self.entry, self.acts = hands, EntryKeys(hands), Acts(hands)
        self.time = 100.0

    def type(self, text: str, gap_s: float = SLOW_S) -> None:
        for char in text:
            self.time += gap_s
            if char == "\n":
                self.entry.enter(self.time)
            elif char == "\b":
                self.entry.rub_out()
            else:
                self.entry.type(char, self.time)

    def yes(self) -> None:
        self.time += SLOW_S
        self.entry.yes(self.time)


def begin(shop: Shop, stage: str, name: str = "Heron 66") -> Keys:
    """Return hands on a ski at a stage."""
    view = ski(shop, name)
    walk_to(shop, view, heron(view), stage)
    hands = Hands(shop)
    hands.open(view.job.id)
    return Keys(hands)


def latest(keys: Keys) -> list[list[float]]:
    """Return this round's readings in inches, by line."""
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
    [("2490", "748", "7013"), ("24900", "0748", "70130"), ("2.49", ".748", "7.013"),
     ("2,49", "0,748", "7,013"), ("63.246mm", "748 thou", '7.013"')],
)  # fmt: skip
def test_readings_are_taken_as_they_are_typed(shop: Shop, texts: tuple[str, ...]) -> None:
    """With point, comma, unit or none of these: each goes to the reading due."""
    keys = begin(shop, "as received")
    for n, text in enumerate(texts):
        assert keys.hands.state.line_index == n
        keys.type(text + "\n")
        assert keys.hands.state.tone == "done", keys.hands.state.message
    assert latest(keys) == [[2.49], [0.748], [7.013]]
    view = keys.hands.state.view
    assert view is not None
    assert view.stage == "studs"
    assert [line.latest[0].text for line in view.lines] == list(texts)


def test_a_value_that_fits_only_in_the_other_unit_is_asked_about(shop: Shop) -> None:
    """63.246 on an inch bench: + takes it as mm, and nothing is kept before that."""
    keys = begin(shop, "as received")
    keys.type("63.246\n")
    assert keys.hands.state.question is not None
    assert latest(keys)[0] == []
    keys.type("\n")
    assert latest(keys)[0] == []
    keys.yes()
    assert latest(keys)[0] == [2.49]
    assert keys.hands.state.view is not None
    assert keys.hands.state.view.lines[0].latest[0].unit == "mm"


def test_a_question_is_left_by_rubbing_out_and_the_entry_can_be_mended(shop: Shop) -> None:
    """Backspace leads back to what was typed; the next one takes a character off."""
    keys = begin(shop, "as received")
    keys.type("63.246\n\b")
    assert (keys.hands.state.question, keys.hands.state.entry) == (None, "63.246")
    keys.type("\b\b\b\b\b\b2.49\n")
    assert latest(keys)[0] == [2.49]


def test_minus_shows_the_next_answer_and_does_not_leave_the_ski(shop: Shop) -> None:
    """While a question stands, no stepping through the queue happens."""
    keys = begin(shop, "as received")
    keys.type("63.246\n")
    view, count = keys.hands.state.view, len(keys.hands.state.question.placings)  # type: ignore[union-attr]
    for _ in range(count):
        keys.entry.no()
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
    keys.type("2490\n")
    keys.hands.select(-1)
    keys.type("2491\n")
    assert keys.hands.state.line_index == 1
    keys.type("748\n7013\n")
    keys.hands.select(1)
    keys.hands.select(1)
    keys.type("7014\n")
    assert latest(keys) == [[2.49, 2.491], [0.748], [7.013, 7.014]]


def test_a_flip_of_the_unit_changes_the_view_and_not_what_was_typed(shop: Shop) -> None:
    """Inch and mm flip everywhere and stay so at the next opening; readings keep their own."""
    keys = begin(shop, "as received")
    keys.type("2490\n")
    keys.hands.flip_unit()
    keys.type("1900\n")
    assert latest(keys)[:2] == [[2.49], [round(19.00 / 25.4, 6)]]
    view = keys.hands.state.view
    assert view is not None
    assert [line.latest[0].unit for line in view.lines[:2]] == ["in", "mm"]
    assert Hands(shop).state.unit == "mm"


def test_bench_reopens_on_the_same_ski_stage_and_entry(tmp_path: Path) -> None:
    """Leave in the middle of a number; the next opening goes on with it."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        keys = begin(shop, "as received", "Gannet 68")
        keys.type("2490\n07")
        keys.hands.leave()
        before = keys.hands.state
    with open_shop(path) as shop:
        keys = Keys(Hands(shop))
        assert keys.hands.state.view == before.view
        assert keys.hands.state.entry == "07"
        keys.type("48\n")
        assert latest(keys)[:2] == [[2.49], [0.748]]


def test_a_draft_that_was_taken_does_not_come_back_after_a_crash(tmp_path: Path) -> None:
    """Once its number is kept, a draft of yesterday is gone even if the bench never closed well."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        keys = begin(shop, "as received")
        keys.type("24")
        keys.hands.leave()
        keys = Keys(Hands(shop))
        keys.type("90\n")
        assert latest(keys)[0] == [2.49]
        assert Hands(shop).state.entry == ""


def test_the_ski_that_was_first_in_hand_is_in_hand_again_after_it_was_set_aside(
    shop: Shop,
) -> None:
    """The bench comes back to where it was left, also on a ski it was never stepped to."""
    hands = Hands(shop)
    first = hands.state.view
    assert first is not None
    Acts(hands).set_aside("lunch")
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
    keys.type("2.4900\n", FAST_S)
    keys.time += 2.0
    keys.type(".748\n", SLOW_S)
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
        keys.entry.yes(keys.time)
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
    keys.type("2490\n")
    keys.acts.take_back()
    assert "2490" in keys.hands.state.message
    assert latest(keys)[0] == []
    for _ in range(4):
        keys.acts.take_back()
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
    keys.acts.aim("baseline")
    view = keys.hands.state.view
    assert view is not None
    assert {line.target.kind for line in view.lines if line.target} == {"baseline"}


def test_a_book_that_was_moved_away_is_a_message_and_not_a_crash(
    shop: Shop, book_file: Path
) -> None:
    """Every key still works, says that nothing is kept, and the entry stays."""
    keys = begin(shop, "as received")
    book_file.rename(book_file.with_suffix(".away"))
    keys.type("2490\n")
    assert keys.hands.state.entry == "2490"
    assert "moved" in keys.hands.state.message
    for act in (keys.hands.flip_unit, keys.hands.next_drawing, keys.hands.next_unfinished,
                keys.acts.take_back, keys.acts.finer, lambda: keys.hands.hold("1"),
                lambda: keys.hands.step_queue(1), keys.hands.leave):  # fmt: skip
        act()
        assert keys.hands.state.tone == "warn"
    book_file.with_suffix(".away").rename(book_file)


def test_nothing_goes_wrong_with_a_book_without_a_ski(tmp_path: Path) -> None:
    """The empty queue answers every key with what can be done."""
    with open_shop(tmp_path / "empty.db") as shop:
        keys = Keys(Hands(shop))
        keys.type("2490\n")
        keys.yes()
        for act in (keys.entry.no, keys.acts.take_back, keys.acts.finer, keys.hands.next_side,
                    lambda: keys.acts.aim("baseline"), keys.acts.keep_as_is, keys.entry.escape,
                    keys.hands.flip_unit, lambda: keys.hands.select(1)):  # fmt: skip
            act()
        assert keys.hands.state.view is None


def test_enter_adds_the_first_ski_and_a_burst_does_not(tmp_path: Path) -> None:
    """The next step of an empty queue is a ski; what a caliper sends opens nothing."""
    with open_shop(tmp_path / "empty.db") as shop:
        keys, opened = Keys(Hands(shop)), list[str]()
        keys.hands.asks = opened.append
        keys.type("2490\n")
        assert opened == []
        assert keys.hands.state.entry == "2490"
        keys.entry.escape()
        keys.entry.enter(keys.time + 10)
        assert opened == ["add_ski"]


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
    EntryKeys(hands).enter(500.0)
    assert hands.state.view is not None
    assert hands.state.view.stage != "signed off"


# -- targets ---------------------------------------------------------------------------------------


def targets(keys: Keys) -> list[str]:
    """Return the targets as kept, by line; nothing where none is set."""
    view = keys.hands.state.view
    assert view is not None
    return [line.target.text if line.target is not None else "" for line in view.lines]


def test_the_mark_moves_on_after_each_target_also_when_all_are_set(shop: Shop) -> None:
    """Opened again by t, three signed changes go to depth, tail and length, each to its own."""
    keys = begin(shop, "target")
    keys.type("+.010\n-.005\n+.004\n")
    assert targets(keys) == ["+.010", "-.005", "+.004"]
    assert keys.hands.state.marked is None
    keys.type("\n")
    assert keys.hands.state.view is not None
    assert keys.hands.state.view.stage == "turning"
    keys.acts.retarget()
    for at, text in enumerate(("+.001", "+.002", "+.003")):
        assert keys.hands.state.marked == at
        keys.type(text + "\n")
    assert targets(keys) == ["+.001", "+.002", "+.003"]
    assert "Enter accepts all three" in next_words(keys.hands.state)


def test_next_names_the_reading_that_a_number_sets(shop: Shop) -> None:
    keys = begin(shop, "target")
    for name in ("DEPTH", "TAIL", "LENGTH"):
        assert next_words(keys.hands.state).startswith(f"Sets {name}:")
        keys.type("+.001\n")


def test_a_reading_that_stays_is_told_by_enter_alone(shop: Shop) -> None:
    """Depth changes, tail and length stay where they are now; then Enter accepts all three."""
    keys = begin(shop, "target")
    before = keys.hands.state.view
    assert before is not None
    keys.type("+10\n\n")
    assert targets(keys) == ["+0.010", "+0", ""]
    assert "tail stays at" in keys.hands.state.message
    assert "LENGTH" in next_words(keys.hands.state)
    keys.type("\n\n")
    view = keys.hands.state.view
    assert view is not None
    assert view.stage == "turning"
    assert [x.target_mm for x in view.lines[1:]] == [x.now_mm for x in before.lines[1:]]


def test_enter_offers_the_setting_it_left_with_and_then_accepts_it(shop: Shop) -> None:
    """One Enter takes it for all three, shown before the next accepts it; u takes it back."""
    keys = begin(shop, "target")
    assert "the setting it left with" in next_words(keys.hands.state)
    keys.type("\n")
    assert targets(keys) == ["2.4960", "0.7480", "7.0155"]
    view = keys.hands.state.view
    assert view is not None
    assert view.stage == "target"
    keys.type("\n")
    view = keys.hands.state.view
    assert view is not None
    assert view.stage == "turning"


@pytest.mark.parametrize(
    ("typed", "kept"), [("+5", "+0.005"), ("-12", "-0.012"), ("+.5thou", "+.5thou")]
)
def test_a_change_in_bare_digits_is_in_thousandths(shop: Shop, typed: str, kept: str) -> None:
    """Shown as it will be kept before Enter; on a mm bench it is in hundredths."""
    keys = begin(shop, "target")
    keys.type(typed)
    assert kept in next_words(keys.hands.state)
    keys.type("\n")
    assert targets(keys)[0] == kept
    keys.hands.flip_unit()
    keys.type("+5\n")
    assert targets(keys)[1] == "+0.05"


def aims(keys: Keys) -> list[str | None]:
    """Return the texts of the targets set, by line."""
    view = keys.hands.state.view
    assert view is not None
    return [view.progress.targets[x.method_id].text if x.target else None for x in view.lines]


def test_the_sign_of_the_next_change_takes_the_one_before(shop: Shop) -> None:
    """Three changes typed one behind the other, each on its own reading, one Enter behind all."""
    keys = begin(shop, "target")
    keys.type("+10+")
    assert (aims(keys), keys.hands.state.entry) == (["+0.010", None, None], "+")
    keys.type("5-15")
    assert aims(keys) == ["+0.010", "+0.005", None]
    keys.type("\n")
    assert aims(keys) == ["+0.010", "+0.005", "-0.015"]
    assert keys.hands.state.all_aimed


def test_a_sign_behind_a_change_that_is_asked_about_answers_nothing(shop: Shop) -> None:
    """Nor does it begin a number: the change waits for its answer."""
    keys = begin(shop, "target")
    keys.type("+100+")
    assert keys.hands.state.question is not None
    assert aims(keys) == [None, None, None]
    keys.yes()
    assert aims(keys) == ["+0.100", None, None]
    assert keys.hands.state.entry == ""


@pytest.mark.parametrize("text", ["+", "+1/8", "2.4-", "+0.01 mm+"])
def test_a_sign_behind_anything_else_belongs_to_the_entry(shop: Shop, text: str) -> None:
    keys = begin(shop, "target")
    keys.type(f"{text}-")
    assert aims(keys) == [None, None, None]
    assert keys.hands.state.entry == f"{text}-"


def test_a_burst_with_a_sign_in_it_is_no_target(shop: Shop) -> None:
    keys = begin(shop, "target")
    keys.type("+10.50-0.20\n", FAST_S)
    assert aims(keys) == [None, None, None]
    assert held(keys) == ["+10.50-0.20"]


def test_a_change_whose_point_may_stand_elsewhere_is_asked_about(shop: Shop) -> None:
    keys = begin(shop, "target")
    keys.type("+050\n")
    question = keys.hands.state.question
    assert question is not None
    assert len(question.placings) == 2
    assert targets(keys)[0] == ""


@pytest.mark.parametrize(("text", "asked"), [("+.061", True), ("-61", True), ("+.059", False)])
def test_a_target_far_from_its_reading_is_asked_about(shop: Shop, text: str, asked: bool) -> None:
    """Beyond 0.060 in; + takes it all the same, once."""
    keys = begin(shop, "target")
    keys.type(text + "\n")
    assert (keys.hands.state.question is not None) == asked
    if asked:
        assert "from depth now" in keys.hands.state.question.question  # type: ignore[union-attr]
        keys.yes()
    assert targets(keys)[0]


def test_how_far_a_target_may_be_is_a_setting(shop: Shop) -> None:
    change(shop, {"far_target": "0.010 in"})
    keys = begin(shop, "target")
    keys.type("+.011\n")
    assert keys.hands.state.question is not None


def test_a_target_that_fits_another_reading_names_it_and_offers_it_first(shop: Shop) -> None:
    """70005 was meant for length, 7010 too; neither becomes a tail unasked."""
    keys = begin(shop, "target")
    view = keys.hands.state.view
    assert view is not None
    length_in = (view.lines[2].now_mm or 0.0) / 25.4
    keys.hands.select(1)
    text = f"{length_in - 0.010:.4f}"
    for typed in (text, text.replace(".", "")):
        keys.type(typed + "\n")
        question = keys.hands.state.question
        assert question is not None
        assert f"length {text}" in f"{question.question} {question.placings[0].words}"
        assert question.placings[0].line == 2
        keys.entry.escape()
    keys.type(text + "\n")
    keys.yes()
    assert targets(keys) == ["", "", text]


def test_a_number_with_all_targets_set_asks_which_it_changes(shop: Shop) -> None:
    """Nothing is marked, so nothing is changed unasked; a value goes where it fits."""
    keys = begin(shop, "target")
    keys.type("+.010\n\n\n+.003\n")
    question = keys.hands.state.question
    assert question is not None
    assert [a.line for a in question.placings] == [0, 1, 2]
    assert targets(keys) == ["+.010", "+0", "+0"]
    keys.entry.no()
    keys.yes()
    assert targets(keys) == ["+.010", "+.003", "+0"]


@pytest.mark.parametrize("stage", ["target", "as received"])
def test_rows_are_chosen_from_the_keypad(shop: Shop, stage: str) -> None:
    """A sign and Enter alone, which no caliper sends and no number is."""
    keys = begin(shop, stage)
    for sign, at in (("+", 1), ("+", 2), ("-", 1), ("-", 0)):
        keys.type(sign + "\n")
        assert keys.hands.state.marked == at
    assert keys.hands.state.entry == ""
    assert held(keys) == []


# -- readings as received --------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "asked"), [("2.4665", True), ("2.5285", True), ("2.4855", False)])
def test_a_reading_far_from_how_the_ski_left_is_asked_about(
    shop: Shop, text: str, asked: bool
) -> None:
    """It left at 2.4975: beyond 0.030 in it is kept only on purpose."""
    keys = begin(shop, "as received")
    keys.type(text + "\n")
    assert (keys.hands.state.question is not None) == asked
    if asked:
        assert latest(keys)[0] == []
        assert "from the setting it left with" in keys.hands.state.question.question  # type: ignore[union-attr]
        keys.yes()
    assert latest(keys)[0] == [float(text)]


def test_how_far_a_reading_as_received_may_be_is_a_setting(shop: Shop) -> None:
    change(shop, {"far_received": "0.050 in"})
    keys = begin(shop, "as received")
    keys.type("2.4665\n")
    assert latest(keys)[0] == [2.4665]


@pytest.mark.parametrize("text", ["24975", "2.4975", "2.49750"])
def test_the_digits_of_the_reading_before_are_asked_about(shop: Shop, text: str) -> None:
    """A depth retyped at the tail: 0.24975 would be a plausible tail, 2.4975 none."""
    keys = begin(shop, "as received")
    keys.type(f"24975\n{text}\n")
    question = keys.hands.state.question
    assert question is not None
    assert question.question == "the same number as depth: sent twice?"
    assert latest(keys)[1] == []


def test_a_ski_that_never_left_is_held_against_its_baseline(shop: Shop) -> None:
    keys = begin(shop, "as received")
    view = keys.hands.state.view
    assert view is not None
    line, unknown = view.lines[0], replace(view, left=())
    off = doubt_question(unknown, line, Typed("2.4500", "in", 2.45 * 25.4), "in")
    assert "from its baseline" in off
    assert doubt_question(unknown, line, Typed("2.4800", "in", 2.48 * 25.4), "in") == ""


def test_a_blade_s_first_ski_is_held_against_what_was_read_on_that_blade(shop: Shop) -> None:
    """Neither left nor baseline: what this shop has seen by the same method."""
    old = ski(shop, "Heron 66").ski
    new = shop.book.add_ski(replace(old, id="", name="Heron 69", serial="H69-1"), who="KV")
    job = shop.queue(new.id)
    view = shop.view(job.id)
    view = walk_to(shop, view, heron(view), "as received")
    line = view.lines[1]
    assert line.seen_mm is not None
    low, high = (mm / 25.4 for mm in line.seen_mm)
    assert 0.65 < low < high < 0.85
    assert "seen on this blade so far" in doubt_question(
        view, line, Typed("1.2", "in", 1.2 * 25.4), "in"
    )
    assert doubt_question(view, line, Typed("0.78", "in", 0.78 * 25.4), "in") == ""


def test_usual_lengths_and_depths_are_what_the_blade_can_show(shop: Shop) -> None:
    """No chord of the plate that can stand at the base is shorter, and no depth greater."""
    view = ski(shop, "Heron 66")
    depth, _, length = (tuple(mm / 25.4 for mm in line.usual_mm) for line in view.lines)
    assert depth[1] < 3.48 - 0.3
    assert 4.7 < length[0] < 5.2
    assert length[1] < 7.7


# -- the turns made --------------------------------------------------------------------------------


def test_a_stud_that_was_turned_for_another_is_told_after_the_round(shop: Shop) -> None:
    """Each reading is doubted, and with the last the bench says which stud was turned instead."""
    keys = begin(shop, "turning")
    view = keys.hands.state.view
    assert view is not None
    assert view.plan is not None
    meant = [t.turns for t in view.plan.turns]
    at = max(range(3), key=lambda i: abs(meant[i]))
    other = 1 if at != 1 else 0
    made = [0.0 if i == at else turn for i, turn in enumerate(meant)]
    made[other] += meant[at]
    fin = heron(view)
    while keys.hands.state.view is not None and keys.hands.state.view.stage == "turning":
        keys.type("\n")
    fin.pose = fin.rig.seated(fin.pose, made)
    for line in view.lines:
        keys.type(fin.text(line) + "\n")
        if keys.hands.state.question is not None:
            keys.yes()
    new = keys.hands.state.view
    assert new is not None
    names = [s.said for s in fin.rig.studs]
    said = f"It looks as if the {names[other]} stud was turned, not the {names[at]} stud"
    assert said in keys.hands.state.message
    assert "or go on from here" in keys.hands.state.message
    assert "turn it back" in keys.hands.state.message
    assert said in made_words(new.made, "in")
    assert (new.stage, keys.hands.state.tone) == ("turning", "warn")


# -- the alarm -------------------------------------------------------------------------------------


def test_a_doubtful_entry_rings_and_a_right_one_does_not(shop: Shop) -> None:
    keys = begin(shop, "as received")
    rung: list[str] = []
    keys.hands.alarms = lambda: rung.append("!")
    keys.type("2490\n")
    assert rung == []
    keys.type("9.99\n")
    assert rung == ["!"]
    keys.entry.escape()
    keys.type("..\n")
    assert rung == ["!", "!"]


@pytest.mark.parametrize(("setting", "rings", "flashes"), [
    ({}, True, True), ({"bell": "off"}, False, True), ({"flash": "off"}, True, False),
])  # fmt: skip
async def test_bell_and_flash_can_be_turned_off(
    shop: Shop,
    monkeypatch: pytest.MonkeyPatch,
    setting: dict[str, str],
    rings: bool,
    flashes: bool,
) -> None:
    monkeypatch.setattr(app, "FLASH_S", LONG_FLASH_S)  # a busy machine still sees it lit
    change(shop, setting)
    view = ski(shop, "Heron 66")
    walk_to(shop, view, heron(view), "as received")
    async with bench(shop) as screen:
        rung: list[bool] = []
        screen.app.bell = lambda: rung.append(True)  # type: ignore[method-assign]
        screen.app.hands.look_again()
        await screen.by_hand("9.99\n")
        assert screen.app.hands.state.question is not None
        assert bool(rung) == rings
        assert screen.app.query_one("#readings").has_class("-doubt") == flashes
        await screen.pilot.pause(LONG_FLASH_S + 0.2)
        assert not screen.app.query_one("#readings").has_class("-doubt")


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
    keys.type("2490\n")
    assert (keys.hands.state.entry, latest(keys)[0]) == ("2490", [])
    keys.type("\n", FAST_S)
    assert (keys.hands.state.entry, latest(keys)[0]) == ("2490", []), "the LF of a CR LF"
    keys.type("\n")
    assert (keys.hands.state.entry, latest(keys)[0]) == ("", [2.49])


def test_an_entry_dropped_after_its_refusal_is_forgotten(shop: Shop) -> None:
    """What is typed then is an entry of its own, on this ski and on another."""
    keys = begin(shop, "as received")
    assert keys.hands.state.view is not None
    for _ in range(2):
        with another(shop) as other:
            other.note(other.view(keys.hands.state.view.job.id), "note", "look at bolt 2")
        keys.type("24\n")
        assert keys.hands.state.entry == "24"
        keys.entry.escape()
        keys.type("2450")
        assert keys.hands.state.entry == "2450"
        keys.entry.escape()
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
        getattr(keys.acts, act)()
    assert keys.hands.state.view.job.id == job
    assert shop.view(job).facts == facts
    assert "ADA turned the" in keys.hands.state.message
    if act == "enter":
        keys.type("\n")
        assert shop.view(job).stage == "measuring", "the last of the turns is made"


def test_a_turn_is_taken_back_by_its_question_alone(shop: Shop) -> None:
    """The key asks; until it is answered the record stays, and so does the turn."""
    keys, asked = begin(shop, "turning"), []
    keys.hands.asks = asked.append
    keys.type("\n")
    keys.type("\n")
    keys.acts.take_back()
    assert asked == ["turn_back"]
    assert keys.hands.state.view is not None
    assert keys.hands.state.view.progress.step == 2
    keys.acts.take_back_turn("not_turned")
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


@pytest.mark.parametrize("meanwhile", ["another ski", "another stage", "another round"])
def test_an_entry_begun_never_comes_up_under_another_ski_or_round(
    shop: Shop, meanwhile: str
) -> None:
    """It is a note of its own job then, and is told."""
    keys = begin(shop, "as received" if meanwhile != "another round" else "measuring")
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


def test_a_typed_reading_asks_the_book_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The caliper in hand, the write, the job as it is then and what is to be said of the caliper:
    each way to the book's thread and back is time between Enter and the picture."""
    with open_shop(demo_file(tmp_path)) as shop:
        keys = begin(shop, "as received")
        view = keys.hands.state.view
        assert view is not None
        keys.type(heron(view).text(view.lines[0]))
        asked: list[object] = []
        submit = Desk.submit
        monkeypatch.setattr(
            Desk, "submit", lambda desk, call: (asked.append(call), submit(desk, call))[1]
        )
        keys.type("\n")
        now = keys.hands.state.view
        assert now is not None
        assert len(now.lines[0].latest) == 1
        assert len(asked) == 1
