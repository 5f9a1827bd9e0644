"""After the clamp bolts are tight for good: one reading of each is offered, shown and kept."""

from __future__ import annotations

import pytest

from tests.bench.test_hands import Keys, begin
from tests.shop import DAY, heron, ski, walk_to
from workbench.bench.hand.hands import Hands
from workbench.bench.panels.next_line import next_words
from workbench.errors import InputError
from workbench.measure.units import MM_PER_INCH
from workbench.records.store import rows
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.job_text import job_reading_lines
from workbench.work.job_text.setting_words import moved_words
from workbench.work.job_text.tasks import task_of
from workbench.work.paper.cards import card_of
from workbench.work.paper.text_pages import card_text
from workbench.work.roster.settings import change


def at_sign_off(shop: Shop) -> JobView:
    view = ski(shop, "Heron 66")
    return walk_to(shop, view, heron(view), "sign-off")


def lock(shop: Shop, view: JobView, index: int, off_in: float) -> JobView:
    """Take a reading so far (inches) from the one before the bolts were tight."""
    line = view.lines[index]
    assert line.now_mm is not None
    mm = line.now_mm + off_in * MM_PER_INCH
    return shop.take_locked(view, line, Typed(f"{mm / MM_PER_INCH:.4f}", "in", mm))


def test_a_locked_reading_is_a_look_and_leaves_the_final_check_ticked(shop: Shop) -> None:
    """Sign-off stays open; what clamping moved is known, and the round's own reading stays."""
    view = at_sign_off(shop)
    assert view.lock_due == 0
    before = view.lines[0].now_mm
    view = lock(shop, view, 0, 0.0015)
    assert (view.stage, view.lock_due) == ("sign-off", 1)
    line = view.lines[0]
    assert line.now_mm == before
    assert line.moved_by_lock_mm == pytest.approx(0.0015 * MM_PER_INCH)
    assert line.final_mm == line.locked_mm
    for index in (1, 2):
        view = lock(shop, view, index, 0.0)
    assert view.lock_due is None
    assert shop.sign_off(view, "KV").stage == "signed off"


def test_what_is_turned_afterwards_ends_what_was_read_locked(shop: Shop) -> None:
    view = lock(shop, at_sign_off(shop), 0, 0.0015)
    fact = view.facts[-1]
    assert isinstance(fact, rows.LockedReading)
    shop.book.add_mark(view.job.id, "KV", "accepted")
    view = shop.view(view.job.id)
    assert view.stage == "final check"
    assert view.lines[0].locked_mm is None


@pytest.mark.parametrize("here", [True, False], ids=["in this job", "in another job"])
def test_what_is_loosened_and_turned_afterwards_ends_it_too(shop: Shop, here: bool) -> None:
    """Kept at another bench meanwhile, of this job or of another one of the ski."""
    view = lock(shop, at_sign_off(shop), 0, 0.0015)
    job_id = view.job.id if here else shop.book.add_job(view.ski.id, DAY, "", who="ML").id
    for number, text in enumerate(("loosen", "turn tail +0.125"), 1):
        shop.book.add_mark(job_id, "ML", "step", number=number, text=text)
    view = shop.view(view.job.id)
    assert (view.lines[0].locked_mm, view.lock_due) == (None, None)
    assert not view.reads_locked


def test_a_setting_wants_it_before_a_sign_off(shop: Shop) -> None:
    view = at_sign_off(shop)
    assert "sign-off" in task_of(view).commands
    change(shop, {"after_lock": "on"})
    view = shop.view(view.job.id)
    assert task_of(view).commands == ("read 1 VALUE",)
    with pytest.raises(InputError, match="after-lock check"):
        shop.sign_off(view, "KV")
    for index in range(3):
        view = lock(shop, view, index, 0.0005)
    assert shop.sign_off(view, "KV").stage == "signed off"


def test_with_a_second_pair_of_eyes_wanted_too_no_command_is_told_that_is_refused(
    shop: Shop,
) -> None:
    """The readings come first: a sign-off with somebody's initials would be refused for them."""
    view = at_sign_off(shop)
    change(shop, {"after_lock": "on", "second_eyes": "on"})
    hands = Hands(shop)
    hands.open(view.job.id)
    for index in range(3):
        view = shop.view(view.job.id)
        assert task_of(view).commands == (f"read {index + 1} VALUE",)
        hands.open(view.job.id)
        assert "type it." in next_words(hands.state)
        view = lock(shop, view, index, 0.0)
    assert task_of(view).commands == ("sign-off --second INITIALS",)
    view = shop.second_eyes(view, "ML")
    assert task_of(view).commands == ("sign-off",)
    assert shop.sign_off(view, "KV").stage == "signed off"


def test_the_card_shows_the_locked_numbers(shop: Shop) -> None:
    view = at_sign_off(shop)
    for index, off in enumerate((0.0015, -0.001, 0.0)):
        view = lock(shop, view, index, off)
    view = shop.sign_off(view, "KV")
    card = card_of(shop, view)
    assert [n.inch for n in card.numbers] == [
        f"{round(x.locked_mm / MM_PER_INCH * 2000) / 2000:.4f}" for x in view.lines if x.locked_mm
    ]
    text = " ".join(card_text(card).split())
    assert "read with the clamp bolts tight; clamping moved it +0.0015 in" in text


def test_at_the_bench_digits_take_it_and_one_key_skips_it(shop: Shop) -> None:
    """Enter goes on to the sign-off; typed first, the number is kept with what clamping moved."""
    view = at_sign_off(shop)
    assert view.lines[0].now_mm is not None
    keys = begin(shop, "sign-off")
    keys.type(f"{view.lines[0].now_mm / MM_PER_INCH + 0.001:.4f}\n")
    state = keys.hands.state
    assert "clamping moved it +0.00" in state.message
    assert state.view is not None
    assert (state.view.stage, state.line_index) == ("sign-off", 1)
    keys.type("\n")
    assert keys.hands.state.hands_on
    keys.yes()
    assert keys.hands.state.view is not None
    assert keys.hands.state.view.stage == "signed off"


def at_recheck(shop: Shop, view: JobView) -> JobView:
    """Sign a job off and tick the check of its re-check after the ride."""
    shop.sign_off(view, "KV")
    job = shop.queue(view.ski.id, kind="recheck")
    again = shop.view(job.id)
    for item in again.checklist:
        again = shop.tick(again, item.key)
    return again


@pytest.mark.parametrize("locked_before", [False, True])
def test_a_re_check_is_offered_it_too(shop: Shop, locked_before: bool) -> None:
    """Held against the number the ski left with: as locked then, else its last reading."""
    view = at_sign_off(shop)
    left_mm = view.lines[0].now_mm
    assert left_mm is not None
    if locked_before:
        view = lock(shop, view, 0, 0.0015)
        left_mm = view.lines[0].locked_mm
        assert left_mm is not None
    again = at_recheck(shop, view)
    assert (again.stage, again.lock_due) == ("sign-off", 0)
    assert again.lines[0].left_mm == pytest.approx(left_mm, abs=1e-4)
    mm = left_mm + 0.002 * MM_PER_INCH
    again = shop.take_locked(again, again.lines[0], Typed(f"{mm / MM_PER_INCH:.4f}", "in", mm))
    line = again.lines[0]
    assert line.moved_by_lock_mm == pytest.approx(0.002 * MM_PER_INCH, abs=1e-4)
    assert moved_words(line, "in") == "since it left it moved +0.0020 in"
    assert any(
        "since it left it moved +0.0020 in" in text for text in job_reading_lines(again, "in")
    )
    again = shop.sign_off(again, "KV")
    notes = " ".join(card_of(shop, again).notes)
    assert f"Read with the bolts tight: depth {mm / MM_PER_INCH:.4f} in" in notes


def test_the_setting_wants_it_at_a_re_check_too(shop: Shop) -> None:
    view = at_sign_off(shop)
    change(shop, {"after_lock": "on"})
    for index in range(3):
        view = lock(shop, shop.view(view.job.id), index, 0.0)
    again = at_recheck(shop, view)
    with pytest.raises(InputError, match="after-lock check"):
        shop.sign_off(again, "KV")


def test_a_re_check_s_reading_far_from_how_the_ski_left_is_asked_about(shop: Shop) -> None:
    again = at_recheck(shop, at_sign_off(shop))
    hands = Hands(shop)
    hands.open(again.job.id)
    keys = Keys(hands)
    left_mm = again.lines[0].left_mm
    assert left_mm is not None
    keys.type(f"{left_mm / MM_PER_INCH + 0.05:.4f}\n")
    assert hands.state.question is not None
    assert "+0.0500 in from the setting it left with" in hands.state.question.question
    keys.yes()
    assert "since it left it moved +0.0500 in" in hands.state.message
