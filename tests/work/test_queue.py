"""The day's queue: order, carrying on, adding again, re-checks offered, and the sum of a day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shop import DAY, at_stage, demo_file, heron, ski, walk_to
from workbench.errors import InputError
from workbench.measure.lengths import parse_length
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.tables.days import JobTimes
from workbench.work.job import open_book
from workbench.work.job.aim_last import aim_at_last
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import RosterLine, roster_line
from workbench.work.job.shop import Shop
from workbench.work.roster import queue
from workbench.work.roster.settings import change

NEXT, BEFORE = "2026-11-26", "2026-11-24"


def _names(lines: tuple[RosterLine, ...]) -> list[str]:
    return [line.ski_name for line in lines]


def _tomorrow(shop: Shop) -> Shop:
    return Shop(shop.book, NEXT, "KV")


# -- the list --------------------------------------------------------------------------------------


def test_the_list_says_of_each_job_what_its_own_view_says(shop: Shop) -> None:
    """Stage and round from the few queries are those of the whole view, job by job."""
    for line in shop.roster():
        view = shop.view(line.job_id)
        assert line.stage == view.stage
        assert line.pass_number == view.progress.pass_number
        assert (line.ski_name, line.serial) == (view.ski.name, view.ski.serial)
        assert line.reason == view.progress.reason


def test_with_a_guard_band_the_list_still_agrees_with_the_view(shop: Shop) -> None:
    """What is within only by the plain tolerance is not called within."""
    shop.remember("guard_band", "on")
    assert [x.stage for x in shop.roster()] == [shop.view(x.job_id).stage for x in shop.roster()]


def test_far_from_the_ski_in_hand_only_places_are_known(shop: Shop) -> None:
    """Near it, lines are as in the whole queue; the others wait to be read."""
    ski_id = shop.roster()[8].ski_id
    for _ in range(100):
        shop.book.add_job(ski_id, shop.day)
    whole = shop.roster()
    found = shop.roster(near=whole[-1].job_id)
    assert [x.job_id for x in found] == [x.job_id for x in whole]
    assert found[-25:] == whole[-25:]
    assert all(x.read for x in found[-25:])
    assert {(x.read, x.ski_name, x.stage_words) for x in found[:30]} == {(False, "", "…")}


def test_another_days_list_has_that_day_alone(shop: Shop) -> None:
    """What is unfinished stands before today's queue only."""
    late = shop.book.add_job(shop.roster()[8].ski_id, BEFORE, "07:00")
    assert shop.roster()[0].job_id == late.id
    assert shop.roster()[0].day == BEFORE
    assert [x.job_id for x in shop.lines_of(BEFORE)] == [late.id]
    assert shop.lines_of(NEXT) == ()


# -- order -----------------------------------------------------------------------------------------


def test_moving_changes_two_places_and_nothing_else(shop: Shop) -> None:
    """Down and up again is where it was; the book says the same when it is read anew."""
    before = _names(shop.roster())
    third = shop.roster()[2].job_id
    queue.move(shop, shop.roster(), third, 1)
    assert _names(shop.roster()) == [*before[:2], before[3], before[2], *before[4:]]
    queue.move(shop, shop.roster(), third, -1)
    assert _names(shop.roster()) == before


def test_at_the_ends_and_across_days_a_job_is_not_moved(shop: Shop) -> None:
    """The refusal says what would do."""
    late = shop.book.add_job(shop.roster()[8].ski_id, BEFORE)
    lines = shop.roster()
    for job_id, by in ((late.id, -1), (lines[-1].job_id, 1)):
        with pytest.raises(InputError, match="within the list"):
            queue.move(shop, lines, job_id, by)
    for job_id, by in ((late.id, 1), (lines[1].job_id, -1)):
        with pytest.raises(InputError, match="carry"):
            queue.move(shop, lines, job_id, by)


@given(st.lists(st.tuples(st.integers(0, 4), st.sampled_from([-1, 1])), max_size=40))
def test_any_row_of_moves_gives_the_order_a_plain_list_gives(
    moves: list[tuple[int, int]],
) -> None:
    """The model is a list in which neighbours change places."""
    board = _Board()
    model = [line.job_id for line in board.lines]
    for at, by in moves:
        if 0 <= at + by < len(model):
            queue.move(board.shop, board.lines, model[at], by)  # type: ignore[arg-type]
            model.insert(at + by, model.pop(at))
        assert [line.job_id for line in board.lines] == model


class _Board:
    """A day of five jobs without a book: what the order needs of it."""

    def __init__(self, ranks: tuple[float, ...] = (1.0, 2.0, 3.0, 4.0, 5.0)) -> None:
        self.ranks = {f"job {i}": rank for i, rank in enumerate(ranks)}
        self.book, self.who, self.shop = self, "KV", self

    @property
    def lines(self) -> tuple[RosterLine, ...]:
        """The jobs by rank."""
        order = sorted(self.ranks, key=lambda job_id: self.ranks[job_id])
        return tuple(
            RosterLine(j, j, "", "in", "", "waiting", 0, day=DAY, rank=self.ranks[j]) for j in order
        )

    def day_queue(self, day: str) -> tuple[SimpleNamespace, ...]:
        """The jobs by rank, as a book gives them."""
        return tuple(
            SimpleNamespace(job=SimpleNamespace(id=x.job_id, rank=x.rank)) for x in self.lines
        )

    def move_job(self, job_id: str, rank: float, who: str) -> None:
        """Keep a rank."""
        self.ranks[job_id] = rank

    def batch(self, act: object, *args: object) -> None:
        """Do it."""
        act(*args)  # type: ignore[operator]


def test_where_no_number_lies_between_two_ranks_the_day_is_ranked_anew() -> None:
    """Ranks as close as floats can be do not stop the order."""
    close = (1.0, 1.0 + 2**-52, 1.0 + 2**-51, 2.0, 3.0)
    board = _Board(close)
    queue.move(board.shop, board.lines, "job 3", -1)  # type: ignore[arg-type]
    assert [x.job_id for x in board.lines] == ["job 0", "job 1", "job 3", "job 2", "job 4"]


def test_the_day_is_sorted_by_due_and_what_has_none_comes_last(shop: Shop) -> None:
    """Times by the clock, then words, then nothing; equals keep their order."""
    ski_id = shop.roster()[8].ski_id
    shop.book.add_job(ski_id, NEXT, "")
    for due in ("after lunch", "2 pm", "9", "13:30", "09.15", "noon", "8h05"):
        shop.book.add_job(ski_id, NEXT, due)
    queue.sort_by_due(shop, shop.lines_of(NEXT), NEXT)
    assert [x.due for x in shop.lines_of(NEXT)] == [
        "8h05", "9", "09.15", "noon", "13:30", "2 pm", "after lunch", "",
    ]  # fmt: skip
    assert queue.sort_by_due(shop, shop.lines_of(NEXT), NEXT) == 0


@pytest.mark.parametrize(
    ("due", "key"),
    [("12 am", (0, 0, "")), ("12 pm", (0, 720, "")), ("by 7:45 please", (0, 465, "")),
     ("Sat", (1, 0, "sat")), ("25:00", (1, 0, "25:00")), ("9:99", (1, 0, "9:99")),
     ("  ", (2, 0, "")), ("11 p.m.", (0, 1380, "")), ("room 1234", (1, 0, "room 1234"))],
)  # fmt: skip
def test_what_a_due_is_sorted_by(due: str, key: tuple[int, int, str]) -> None:
    """Clock times of both habits are times; what is none is words."""
    assert queue.due_key(due) == key


# -- carrying on -----------------------------------------------------------------------------------


def test_one_job_is_carried_to_tomorrow_and_back(shop: Shop) -> None:
    """It goes to the end of that day, with all that was done to it."""
    line = shop.roster()[1]
    queue.carry(shop, line, NEXT)
    assert line.ski_name not in _names(shop.roster())
    moved = shop.lines_of(NEXT)[0]
    assert (moved.job_id, moved.stage) == (line.job_id, line.stage)
    queue.carry(shop, moved, DAY)
    assert shop.roster()[-1].job_id == line.job_id


def test_all_that_is_unfinished_is_carried_in_its_order(shop: Shop) -> None:
    """What is signed off stays where it was signed off."""
    before = shop.roster()
    left = [x.ski_name for x in before if x.stage != "signed off"]
    assert queue.carry_all(shop, before, NEXT) == len(left)
    assert _names(shop.lines_of(NEXT)) == left
    assert {x.stage for x in shop.roster()} == {"signed off"}
    with pytest.raises(InputError, match="not signed off"):
        queue.carry(shop, shop.roster()[0], NEXT)


def test_a_job_of_an_earlier_day_stands_in_the_day_it_is_signed_off(shop: Shop) -> None:
    """So that a day's list and its sum hold what was finished in it."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    tomorrow = _tomorrow(shop)
    view = walk_to(tomorrow, tomorrow.view(view.job.id), fin, "signed off")
    assert view.job.day == NEXT
    assert [x.stage for x in tomorrow.lines_of(NEXT) if x.job_id == view.job.id] == ["signed off"]


@pytest.mark.parametrize("day", ["2026-02-30", "x", "", "9999-12-31"])
def test_a_day_that_is_none_is_refused(day: str) -> None:
    """Nor is there a day after the last."""
    with pytest.raises(InputError, match="day"):
        queue.day_after(day)


# -- adding again ----------------------------------------------------------------------------------


def test_as_last_time_brings_finest_turn_and_targets_of_the_last_setting(shop: Shop) -> None:
    """The numbers it was set to are offered at the target, and one act takes them all."""
    last = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), "turning")
    last = shop.set_finest(last, 0.0625)
    fin = heron(last)
    last = walk_to(shop, last, fin, "signed off")
    tomorrow = _tomorrow(shop)
    job_id = queue.queue_again(tomorrow, last.ski.id, "10:00", "as he likes it", True)
    view = tomorrow.view(job_id)
    assert (view.finest_turn, view.job.due) == (0.0625, "10:00")
    assert view.job.note == "as last time: as he likes it"
    assert not view.offers_last
    view = walk_to(tomorrow, view, fin, "target")
    assert view.offers_last
    view = aim_at_last(tomorrow, view)
    assert not view.offers_last
    for line, then in zip(view.lines, last.lines, strict=True):
        assert line.target is not None
        assert then.target_mm is not None
        assert line.target.kind == "value"
        assert line.target_mm == pytest.approx(then.target_mm, abs=0.0013)
        assert parse_length(line.target.text, line.target.unit).mm == line.target.mm
    assert tomorrow.accept_target(view).stage in ("turning", "within")


def test_a_target_typed_as_a_value_is_copied_as_it_was_typed(shop: Shop) -> None:
    """Text, unit and tolerance of then."""
    view = ski(shop, "Heron 66")
    fin = heron(view)
    view = walk_to(shop, view, fin, "target")
    view = shop.aim_at(view, view.lines[0], Typed("62.2 mm", "mm", 62.2), "value", 0.9)
    last = walk_to(shop, shop.accept_target(view), fin, "signed off")
    tomorrow = _tomorrow(shop)
    new = tomorrow.view(queue.queue_again(tomorrow, last.ski.id, as_last_time=True))
    new = aim_at_last(tomorrow, walk_to(tomorrow, new, fin, "target"))
    target = new.lines[0].target
    assert target is not None
    assert (target.text, target.unit, target.mm, target.tolerance_mm) == (
        "62.2 mm",
        "mm",
        62.2,
        0.9,
    )


def test_a_ski_that_was_never_signed_off_has_no_last_time(shop: Shop, tmp_path: Path) -> None:
    """It says so, and nothing is queued."""
    first = shop.book.ski(shop.roster()[0].ski_id)
    from dataclasses import replace

    new = shop.book.add_ski(replace(first, id="", name="New one"))
    with pytest.raises(InputError, match="last time"):
        queue.queue_again(shop, new.id, as_last_time=True)
    assert "New one" not in _names(shop.roster())
    view = walk_to(shop, shop.view(queue.queue_again(shop, new.id)), heron(ski(shop, "Heron 66")),
                   "target")  # fmt: skip
    with pytest.raises(InputError, match="last setting"):
        aim_at_last(shop, view)


def test_a_ski_is_not_queued_twice(shop: Shop) -> None:
    """Nor one that is struck out, nor one that is not there."""
    waiting, done = shop.roster()[0], at_stage(shop, "signed off")
    for add in (queue.queue_again, queue.add_recheck):
        with pytest.raises(InputError, match="not in the queue already"):
            add(shop, waiting.ski_id)
        with pytest.raises(InputError, match="in the book"):
            add(shop, "nobody")
    with pytest.raises(InputError, match="note"):
        queue.queue_again(shop, done.ski.id, note="x" * 1001)
    queue.queue_again(shop, done.ski.id, "14:00", "stiff boots")
    assert [(x.due, x.note) for x in shop.roster()][-1] == ("14:00", "stiff boots")
    with pytest.raises(InputError, match="already"):
        queue.queue_again(shop, done.ski.id)


def test_new_jobs_begin_with_the_shops_finest_turn(shop: Shop) -> None:
    """Where the shop settled none, with that of the ski's block."""
    done = at_stage(shop, "signed off")
    block = shop.book.block(done.ski.block_id)
    assert shop.queue(done.ski.id).finest_turn == block.finest_turn
    shop.remember("finest_turn", repr(0.0625))
    assert shop.queue(done.ski.id).finest_turn == 0.0625
    shop.remember("finest_turn", "rubbish")
    assert shop.queue(done.ski.id).finest_turn == block.finest_turn


def test_notes_of_a_job_are_added_and_a_skis_note_is_replaced(shop: Shop) -> None:
    """Both are shown in the list; nothing is lost from the book."""
    line = shop.roster()[0]
    queue.write_notes(shop, line, {"job": "wants it loose", "ski": "old blade"})
    queue.write_notes(shop, shop.roster()[0], {"job": "", "ski": "new blade"})
    assert shop.roster()[0].ski_note == "new blade"
    notes = [f.text for f in shop.book.facts(line.job_id) if isinstance(f, rows.Mark)]
    assert notes == ["wants it loose"]


# -- the re-check ----------------------------------------------------------------------------------


def test_a_recheck_is_offered_the_day_after_and_never_added_by_itself(shop: Shop) -> None:
    """Signed off today, offered tomorrow; once it is queued it is offered no more."""
    tomorrow = _tomorrow(shop)
    done = at_stage(shop, "signed off")
    offers = queue.rechecks_offered(tomorrow)
    assert [o.ski_name for o in offers] == [done.ski.name]
    assert "recheck" not in {line.kind for line in tomorrow.roster()}
    job_id = queue.add_recheck(tomorrow, done.ski.id)
    assert tomorrow.view(job_id).job.kind == "recheck"
    assert queue.rechecks_offered(tomorrow) == ()
    shop.book.strike(job_id, "not needed", "KV")
    assert [o.ski_name for o in queue.rechecks_offered(tomorrow)] == [done.ski.name]


def test_over_a_weekend_the_last_days_work_is_offered_and_later_none(shop: Shop) -> None:
    """A week on nobody is asked about it any more; a finished re-check asks for no other."""
    done = at_stage(shop, "signed off")
    days = {7: [done.ski.name], 8: []}
    for after, names in days.items():
        later = Shop(shop.book, queue.day_after(DAY, after), "KV")
        assert [o.ski_name for o in queue.rechecks_offered(later)] == names
    tomorrow = _tomorrow(shop)
    view = tomorrow.view(queue.add_recheck(tomorrow, done.ski.id))
    walk_to(tomorrow, view, heron(view), "signed off")
    assert queue.rechecks_offered(Shop(shop.book, queue.day_after(DAY, 2), "KV")) == ()


# -- the sum ---------------------------------------------------------------------------------------


def test_the_sum_of_the_demos_day(shop: Shop) -> None:
    """Done, open and set aside add up to the list."""
    lines = shop.roster()
    found = queue.summary_of(shop, lines)
    assert (found.done, found.open, found.aside) == (1, 8, 1)
    assert found.words.startswith("10 skis: 1 done, 8 open, 1 set aside · 1.0 rounds a ski · ")
    assert queue.summary_of(shop, ()).words == "0 skis: 0 done, 0 open"


def test_the_time_of_a_ski_is_from_first_tick_to_sign_off_less_what_it_lay_aside(
    tmp_path: Path,
) -> None:
    """On a clock of the test's own: 50 minutes, of which 20 were set aside."""
    now = [datetime(2026, 11, 25, 8, tzinfo=UTC)]

    def after(minutes: int) -> None:
        now[0] += timedelta(minutes=minutes)

    with Book(demo_file(tmp_path), clock=lambda: now[0]) as book:
        shop = Shop(book, DAY, "KV")
        view = ski(shop, "Heron 66")
        fin = heron(view)
        after(240)  # it waited for its turn
        view = shop.tick(view, view.checklist[0].key)
        after(10)
        view = shop.set_aside(view, "lunch")
        after(20)
        view = walk_to(shop, shop.take_up(view), fin, "sign-off")
        after(20)
        shop.sign_off(view, "KV")
        (times,) = book.job_times([view.job.id])
        assert queue.minutes_of(times) == pytest.approx(30.0, abs=1e-6)


def _times(signed: str, *breaks: tuple[bool, str]) -> JobTimes:
    day = "2026-11-25T{}:00.000000+00:00"
    return JobTimes(
        "j", day.format("09:00"), day.format(signed),
        tuple((kind, day.format(at)) for kind, at in breaks),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("times", "minutes"),
    [
        (_times("09:30"), 30.0),
        (_times("10:00", (True, "09:10"), (False, "09:30"), (True, "09:40"), (False, "09:45")), 35),
        (_times("10:00", (True, "09:10"), (True, "09:20"), (False, "09:30")), 40.0),
        (_times("10:00", (False, "09:30")), 60.0),
        (_times("10:00", (True, "08:30"), (False, "09:30")), 30.0),
        (_times("08:30"), None),
    ],
)
def test_breaks_are_taken_off_once_and_a_clock_set_back_gives_no_time(
    times: JobTimes, minutes: float | None
) -> None:
    """Two breaks, one said twice, an end without a beginning, one from before the first tick."""
    assert queue.minutes_of(times) == minutes


def test_a_line_of_the_queue_is_worked_out_anew_where_its_ski_has_changed(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And only there: a day of many skis is looked at after every key."""
    before = shop.lines_of(DAY)
    worked_out: list[str] = []

    def counted(each: Any, rules: Any) -> Any:
        worked_out.append(each.item.job.id)
        return roster_line(each, rules)

    monkeypatch.setattr(open_book, "roster_line", counted)
    assert shop.lines_of(DAY) == before
    assert not worked_out
    shop.set_aside(shop.view(before[1].job_id), "no screw")
    after = shop.lines_of(DAY)
    assert set(worked_out) == {x.job_id for x in before if x.ski_id == before[1].ski_id}
    assert after[1].stage == "set aside"
    change(shop, {"second_eyes": "on"})
    assert len(shop.lines_of(DAY)) == len(before)
