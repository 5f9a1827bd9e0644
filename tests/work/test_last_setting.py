"""A ski as received against the setting it left with: it may have moved, or a hand slipped."""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import pytest

from tests.shop import DAY, Fin, as_received, heron, ski, walk_to
from workbench.bench.hand.entry_keys import EntryKeys
from workbench.bench.hand.hands import Hands
from workbench.fin.reading.rig import Rig
from workbench.measure.display import length_text
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.open_book import last_round, left_with
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import doubt_question, since_left


def asked(view: JobView, index: int, off_mm: float, text: str | None = None) -> str:
    """Return what is asked about a reading so far from the setting that the ski left with."""
    line = view.lines[index]
    mm = view.left[index].value_mm + off_mm
    return doubt_question(view, line, Typed(text or length_text(mm, "in"), "in", mm), "in")


def test_the_setting_it_left_with_is_that_of_its_last_round_of_readings(shop: Shop) -> None:
    """The last round of the signed-off job, by every method of the blade."""
    view = as_received(shop)
    history = [j for j in shop.book.history_of_ski(view.ski.id) if j.job.id != view.job.id]
    before = shop.view(history[-1].job.id)
    for line, expected in zip(before.lines, view.left, strict=False):
        assert expected.method.name == line.method.name
        assert expected.value_mm == pytest.approx(line.now_mm, abs=1e-6)
        assert expected.u_mm == pytest.approx(line.u_mm, rel=1e-6)
    assert {e.method.name for e in view.left} > {line.method.name for line in view.lines}


def test_turns_that_were_never_measured_again_move_what_is_expected(shop: Shop) -> None:
    """A job set aside after its turns: the last readings, and what the turns make of them."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "measuring", ("+.010", "", "-.015"))
    shop.set_aside(view, "no time left")
    job = shop.book.add_job(view.ski.id, DAY)
    fresh = walk_to(shop, shop.view(job.id), fin, "as received")
    for expected, line in zip(fresh.left, view.lines, strict=False):
        seen = view.rig.observe(line.method, fin.pose).value_mm
        assert expected.value_mm == pytest.approx(seen, abs=0.02)


def test_a_stud_whose_hand_was_corrected_since_was_turned_the_other_way(shop: Shop) -> None:
    """The next job expects what the job itself did, once the hand is written down rightly."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "measuring", ("+.040", "", ""))
    block = shop.book.block(view.ski.block_id)
    studs = tuple(replace(s, hand="left") if s.name == "rear" else s for s in block.studs)
    shop.book.correct_block(replace(block, studs=studs), who="KV", reason="left-hand thread")
    view = shop.view(view.job.id)
    expected = {e.method.name: e.value_mm for e in view.expected}
    shop.set_aside(view, "no time left")
    job = shop.book.add_job(view.ski.id, DAY)
    fresh = walk_to(shop, shop.view(job.id), fin, "as received")
    for left in fresh.left[: len(fresh.lines)]:
        assert left.value_mm == pytest.approx(expected[left.method.name], abs=1e-6)


def test_readings_after_a_pass_that_was_struck_out_do_not_count(shop: Shop) -> None:
    """The ski is held against what its history says."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "within", ("+.020", "", ""))
    received = {f.method_id: f.mm for f in view.facts
                if isinstance(f, rows.Reading) and f.pass_number == 0}  # fmt: skip
    shop.set_aside(view, "later")
    made = [f for f in view.facts if isinstance(f, rows.PassRow) and f.struck is None]
    steps = [f for f in view.facts if isinstance(f, rows.Mark) and f.kind == "step"]
    for row in (made[-1], *steps):
        shop.book.strike(row.id, "of another ski", "KV")
    job = shop.book.add_job(view.ski.id, DAY)
    fresh = walk_to(shop, shop.view(job.id), fin, "as received")
    for left, line in zip(fresh.left, fresh.lines, strict=False):
        assert left.value_mm == pytest.approx(received[line.method_id], abs=1e-6)


def test_the_round_read_last_counts_whichever_job_it_is_of(shop: Shop) -> None:
    """A job begun earlier but read later; struck rounds, half rounds and later jobs do not count,
    and years of jobs read before are not looked at."""
    view = as_received(shop)
    named = [(line.method_id, line.method) for line in view.lines]

    def read(job: rows.Job, count: int) -> list[rows.Reading]:
        taken = (
            rows.Reading(method_id=i, pass_number=0, text="60", unit="mm", mm=60.0)
            for i, _ in named[:count]
        )
        return [shop.book.add_fact(job.id, "KV", each) for each in taken]

    def last_of() -> str:
        found = last_round(shop.book, view.job, [i for i, _ in named])
        assert found is not None
        return found[0].job.id

    early, late, half, gone = (shop.book.add_job(view.ski.id, DAY) for _ in range(4))
    read(late, 3)
    read(early, 3)
    assert last_of() == early.id
    read(half, 2)
    assert last_of() == early.id
    for reading in read(gone, 3):
        shop.book.strike(reading.id, "the wrong ski", "KV")
    assert last_of() == early.id
    with patch.object(type(shop.book), "facts", autospec=True, side_effect=Book.facts) as looked:
        last_of()
    assert [call.args[1] for call in looked.call_args_list] == [gone.id, half.id, early.id]
    shop.book.strike(early.id, "the wrong ski", "KV")
    assert last_of() == late.id


def test_a_ski_that_was_never_here_is_held_against_nothing(shop: Shop) -> None:
    view = as_received(shop)
    other = shop.book.add_ski(shop.book.ski(view.ski.id))
    job = shop.book.add_job(other.id, DAY)
    fresh = walk_to(shop, shop.view(job.id), heron(view), "as received")
    assert fresh.left == ()
    named = [(line.method_id, line.method) for line in view.lines]
    assert left_with(shop.book, job, named, view.rig, {}) is None
    assert isinstance(view.rig, Rig)


@pytest.mark.parametrize("index", [0, 1, 2])
@pytest.mark.parametrize("line_in", [0.025, -0.025, 0.100])
def test_a_line_misread_is_asked_about(shop: Shop, index: int, line_in: float) -> None:
    """Off by a line of the scale with the fin where it was left: read again, or has it moved?

    Where exchanging two digits explains it as well, that is named.
    """
    words = asked(as_received(shop), index, line_in * 25.4)
    assert f"{abs(line_in):.4f} in from the setting it left with: " in words
    assert words.endswith("? read again, or has it moved?")
    assert f"misread by {abs(line_in):.3f} in" in words or "digits exchanged" in words


def test_digits_exchanged_and_the_wrong_method_are_asked_about(shop: Shop) -> None:
    view = as_received(shop)
    left = length_text(view.left[0].value_mm, "in")
    slip = left[:2] + left[3] + left[2] + left[4:]
    assert f"{left} meant?" in asked(view, 0, float(slip) * 25.4 - view.left[0].value_mm, slip)
    flat = next(e for e in view.left if e.method.name == "length, flat")
    assert "'length, flat'" in asked(view, 2, flat.value_mm - view.left[2].value_mm)


def test_a_fin_that_moved_is_said_and_not_asked_about(shop: Shop) -> None:
    """A plain difference is news: in the message. What lies within the readings' doubt is none.

    A large one is asked about: a fin that was ridden seldom moved so far.
    """
    view = as_received(shop)
    assert "0.0400 in from the setting it left with" in asked(view, 0, 0.040 * 25.4)
    for off_in in (0.012, -0.014, 0.020):
        assert asked(view, 0, off_in * 25.4) == ""
        told = since_left(view, view.lines[0], view.left[0].value_mm + off_in * 25.4, "in")
        assert told.endswith("since it left")
    near = view.left[0].value_mm + 0.0005 * 25.4
    assert since_left(view, view.lines[0], near, "in") == ""


def test_the_question_stands_at_the_bench_and_plus_takes_the_reading(shop: Shop) -> None:
    """Asked before it is kept; taken on purpose it stands as typed, and is told as moved."""
    view = as_received(shop)
    hands = Hands(shop)
    entry = EntryKeys(hands)
    hands.open(view.job.id)
    text = length_text(view.left[0].value_mm + 0.025 * 25.4, "in")
    for k, char in enumerate(text):
        entry.type(char, k * 0.3)
    entry.enter(100.0)
    assert hands.state.question is not None
    assert "has it moved?" in hands.state.question.question
    entry.yes(200.0)
    assert hands.state.view is not None
    assert hands.state.view.lines[0].latest[-1].text == text
    assert "since it left" in hands.state.message


def test_after_a_pass_the_last_setting_has_no_say(shop: Shop) -> None:
    """While measuring, what the turns made says what to expect, as before."""
    view = ski(shop, "Heron 66")
    fin = Fin(view, 0.652, -1.005, 0.05)
    view = walk_to(shop, view, fin, "measuring", ("+.010", "", "-.015"))
    assert view.left == ()
    assert len(view.expected) >= 3
    assert since_left(view, view.lines[0], 70.0, "in") == ""
