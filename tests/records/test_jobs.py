"""The day's queue and what happened to its jobs."""

from __future__ import annotations

import math
import sqlite3
import threading
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from workbench.errors import InputError
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.store.database import Database, StruckTwiceError, UnknownRowError
from workbench.records.store.rows import (
    JobTerms,
    Mark,
    PassRow,
    Reading,
    RideNote,
    SignOff,
    Target,
    Turn,
)
from workbench.records.store.schema import QUEUE_OF_ROWS, fingerprint
from workbench.records.tables import jobs

from .conftest import DAY, Shop, furnish

BEFORE, AFTER = "2031-05-05", "2031-05-07"


def queue_ids(shop: Shop, day: str = DAY) -> list[str]:
    return [item.job.id for item in shop.book.day_queue(day)]


def test_jobs_queue_up_in_the_order_added(shop: Shop) -> None:
    """Each new job goes to the end of its day, with the block's finest turn unless told."""
    second = shop.book.add_job(shop.ski.id, DAY, how=JobTerms(finest_turn=0.25))
    assert queue_ids(shop) == [shop.job.id, second.id]
    assert (shop.job.finest_turn, second.finest_turn) == (0.125, 0.25)
    assert shop.book.job(shop.job.id) == shop.job


def test_the_latest_move_counts(shop: Shop) -> None:
    """A job moved twice stands where it was moved last."""
    second = shop.book.add_job(shop.ski.id, DAY)
    third = shop.book.add_job(shop.ski.id, DAY)
    shop.book.move_job(third.id, 0.5)
    assert queue_ids(shop) == [third.id, shop.job.id, second.id]
    moved = shop.book.move_job(third.id, 1.5)
    assert moved.rank == 1.5
    assert queue_ids(shop) == [shop.job.id, third.id, second.id]


def test_an_unfinished_job_is_found_and_carried_over(shop: Shop) -> None:
    """What was not signed off is offered the next day and can be carried to its end."""
    waiting = shop.book.add_job(shop.ski.id, AFTER)
    assert [item.job.id for item in shop.book.unfinished_before(AFTER)] == [shop.job.id]
    carried = shop.book.carry_job(shop.job.id, AFTER)
    assert shop.book.unfinished_before(AFTER) == ()
    assert queue_ids(shop, AFTER) == [waiting.id, carried.id]
    assert queue_ids(shop, DAY) == []


def test_carrying_to_the_same_day_changes_nothing(shop: Shop) -> None:
    """A job already on that day keeps its place."""
    shop.book.add_job(shop.ski.id, DAY)
    assert shop.book.carry_job(shop.job.id, DAY) == shop.job


def test_a_signed_off_job_is_finished_until_the_sign_off_is_struck(shop: Shop) -> None:
    """Sign-off takes a job from the unfinished ones; striking the last sign-off brings it back."""
    first = shop.book.add_fact(shop.job.id, "kl", rows.SignOff())
    second = shop.book.add_fact(shop.job.id, "kl", rows.SignOff())
    assert shop.book.unfinished_before(AFTER) == ()
    assert shop.book.day_queue(DAY)[0].signed_off
    shop.book.strike(first.id, "too early", "kl")
    assert shop.book.unfinished_before(AFTER) == ()
    shop.book.strike(second.id, "too early", "kl")
    assert [item.job.id for item in shop.book.unfinished_before(AFTER)] == [shop.job.id]


def test_a_struck_job_leaves_the_queue_and_stays_readable(shop: Shop) -> None:
    """A job queued by mistake is no longer shown; its row says why."""
    strike = shop.book.strike(shop.job.id, "wrong ski", "kl")
    assert queue_ids(shop) == []
    assert shop.book.unfinished_before(AFTER) == ()
    assert shop.book.job(shop.job.id).struck == strike


@pytest.mark.parametrize("day", ["2031-5-6", "2031-02-30", "today", "", "20310506", "٢٠٣١-05-06"])
def test_a_day_that_is_none_is_refused(shop: Shop, day: str) -> None:
    """Only YYYY-MM-DD from the calendar is a day."""
    with pytest.raises(InputError, match="YYYY-MM-DD"):
        shop.book.add_job(shop.ski.id, day)


def test_every_fact_comes_back_in_order(shop: Shop) -> None:
    """Facts read again equal the facts returned, in the order they happened."""
    book, job, method = shop.book, shop.job, shop.method
    kept = (
        book.add_fact(
            job.id,
            "kl",
            rows.Tick(checklist="received", item="bolts", text="Clamp bolts are there"),
        ),
        book.add_fact(job.id, "kl", shop.taken()),
        book.add_mark(job.id, "kl", "seated", number=1),
        book.add_fact(
            job.id,
            "kl",
            Target(
                method_id=method.id,
                text="+.005",
                unit="in",
                kind="change",
                mm=62.357,
                tolerance_mm=0.0508,
            ),
        ),
        book.add_fact(
            job.id,
            "mn",
            rows.PassRow(
                number=1,
                turns=(
                    Turn("rear", -0.31, -0.25),
                    Turn("front", 0.36, 0.375),
                ),
                finest_turn=0.125,
            ),
        ),
        book.add_fact(job.id, "kl", rows.WingSetting(text="8 1/2", angle_deg=8.5)),
        book.add_fact(job.id, "kl", rows.SignOff()),
        book.add_fact(job.id, "kl", RideNote(text="holds better")),
    )
    assert book.facts(job.id) == kept
    (history,) = book.history_of_ski(shop.ski.id)
    assert (history.job, history.facts) == (job, kept)


def test_several_readings_are_kept_in_order_or_not_at_all(shop: Shop) -> None:
    """One bad reading among several keeps all of them out."""
    good, bad = shop.taken("2.1"), shop.taken("nan", math.nan)

    def add(*readings: rows.Reading) -> tuple[rows.Reading, ...]:
        return tuple(shop.book.add_fact(shop.job.id, "kl", each) for each in readings)

    with pytest.raises(InputError, match="mm"):
        shop.book.batch(add, good, bad)
    assert shop.book.facts(shop.job.id) == ()
    kept = shop.book.batch(add, good, shop.taken("2.2"))
    assert shop.book.facts(shop.job.id) == kept


def test_facts_of_many_jobs_at_once(shop: Shop) -> None:
    """Each job gets its own facts, and an empty entry where it has none."""
    book = shop.book
    others = [book.add_job(shop.ski.id, DAY) for _ in range(3)]
    first = book.add_fact(shop.job.id, "kl", shop.taken())
    note = book.add_mark(others[1].id, "kl", "note", text="bent")
    last = book.add_fact(
        others[1].id, "kl", rows.PassRow(number=1, turns=(Turn("back", 1.0, 1.0),), finest_turn=0.0)
    )
    found = book.facts_for([shop.job.id, *(job.id for job in others), shop.job.id])
    assert found == {
        shop.job.id: (first,),
        others[0].id: (),
        others[1].id: (note, last),
        others[2].id: (),
    }


def test_a_struck_fact_stays_readable(shop: Shop) -> None:
    """A fact struck out is still listed, with when, who, why and what replaced it."""
    old = shop.book.add_fact(shop.job.id, "kl", shop.taken("2.540"))
    new = shop.book.correct_reading(old.id, "mn", "slipped", shop.taken("2.450"))
    first, second = shop.book.facts(shop.job.id)
    assert (first.id, second) == (old.id, new)
    assert first.struck is not None
    assert (first.struck.who, first.struck.reason) == ("mn", "slipped")
    assert first.struck.replaced_by == new.id
    assert isinstance(first, Reading)
    assert first.text == "2.540"


def test_each_kind_of_fact_can_be_struck(shop: Shop) -> None:
    """Strike finds the table of a row by itself."""
    book, job_id = shop.book, shop.job.id
    kept = [
        book.add_fact(job_id, "kl", rows.Tick(checklist="final", item="bolts")),
        book.add_mark(job_id, "kl", "seated"),
        book.add_fact(job_id, "kl", rows.PassRow(number=1, turns=(), finest_turn=0.5)),
        book.add_fact(job_id, "kl", rows.WingSetting(text="8", angle_deg=8.0)),
        book.add_fact(job_id, "kl", RideNote(text="fine")),
    ]
    strikes = [book.strike(fact.id, "test", "kl") for fact in kept]
    assert [fact.struck for fact in book.facts(job_id)] == strikes


def test_a_row_is_struck_once(shop: Shop) -> None:
    """The second strike of a row is refused and the first one stands."""
    fact = shop.book.add_mark(shop.job.id, "kl", "seated")
    strike = shop.book.strike(fact.id, "slip", "kl")
    with pytest.raises(StruckTwiceError, match="struck out already by 'kl'"):
        shop.book.strike(fact.id, "again", "mn")
    assert shop.book.facts(shop.job.id)[0].struck == strike


def test_strikes_that_make_no_sense_are_refused(shop: Shop) -> None:
    """No such row, no reason, replaced by itself or by a row of another kind."""
    fact = shop.book.add_mark(shop.job.id, "kl", "seated")
    reading = shop.book.add_fact(shop.job.id, "kl", shop.taken())
    with pytest.raises(UnknownRowError):
        shop.book.strike("no such", "slip", "kl")
    with pytest.raises(InputError, match="reason"):
        shop.book.strike(fact.id, "  ", "kl")
    for other in (fact.id, reading.id):
        with pytest.raises(InputError, match="replaced_by"):
            shop.book.strike(fact.id, "slip", "kl", replaced_by=other)
    with pytest.raises(UnknownRowError):
        shop.book.strike(fact.id, "slip", "kl", replaced_by="no such")
    assert shop.book.facts(shop.job.id) == (fact, reading)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"mm": math.nan}, "mm"),
        ({"mm": -math.inf}, "mm"),
        ({"unit": "cm"}, "unit"),
        ({"how": "guessed"}, "how"),
        ({"pass_number": -1}, "pass_number"),
        ({"pass_number": 1 << 63}, "pass_number"),
        ({"pass_number": 1.5}, "pass_number"),
        ({"text": "2.4\0"}, "text"),
        ({"text": "\udcff"}, "text"),
    ],
)
def test_a_reading_that_cannot_be_kept_is_refused_by_name(
    shop: Shop, change: dict[str, Any], field: str
) -> None:
    """Nothing is bent into shape or dropped: what cannot be kept exactly is refused."""
    columns = {
        "method_id": shop.method.id,
        "pass_number": 0,
        "text": "2.45",
        "unit": "in",
        "mm": 62.23,
        **change,
    }
    with pytest.raises(InputError) as caught:
        shop.book.add_fact(shop.job.id, "kl", rows.Reading(**columns))
    assert caught.value.field == field
    assert shop.book.facts(shop.job.id) == ()


def test_facts_name_rows_that_are_there(shop: Shop) -> None:
    """A job, method or caliper that is not in the book is named."""
    with pytest.raises(UnknownRowError, match="job: 'gone'"):
        shop.book.add_mark("gone", "kl", "seated")
    with pytest.raises(UnknownRowError, match="method: 'gone'"):
        shop.book.add_fact(
            shop.job.id,
            "kl",
            rows.Reading(method_id="gone", pass_number=0, text="1", unit="mm", mm=1.0),
        )
    with pytest.raises(UnknownRowError, match="caliper: 'gone'"):
        shop.book.add_fact(
            shop.job.id,
            "kl",
            rows.Reading(
                method_id=shop.method.id,
                pass_number=0,
                text="1",
                unit="mm",
                mm=1.0,
                caliper_id="gone",
            ),
        )
    for ask in (shop.book.job, shop.book.facts):
        with pytest.raises(UnknownRowError, match="job: 'gone'"):
            ask("gone")
    with pytest.raises(InputError):
        shop.book.job("\ud800")


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["add", "move", "carry", "sign", "strike_sign", "strike_job"]),
        st.integers(0, 3),
        st.sampled_from([BEFORE, DAY, AFTER]),
    ),
    max_size=14,
)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(steps=STEPS)
def test_the_queue_is_always_what_the_kept_rows_give(
    shop: Shop, steps: list[tuple[str, int, str]]
) -> None:
    """The reckoned queue equals the one reckoned anew from jobs, moves, sign-offs and strikes."""
    book = shop.book
    made = [book.add_job(shop.ski.id, DAY) for _ in range(4)]
    struck: set[str] = set()
    for do, which, day in steps:
        job = made[which]
        if do == "add":
            book.add_job(shop.ski.id, day)
        elif do == "move":
            book.move_job(job.id, float(which) - 0.5)
        elif do == "carry":
            book.carry_job(job.id, day)
        elif do == "sign":
            book.add_fact(job.id, "kl", rows.SignOff())
        elif do == "strike_sign":
            for fact in book.facts(job.id):
                if isinstance(fact, SignOff) and fact.struck is None:
                    book.strike(fact.id, "test", "kl")
                    break
        elif job.id not in struck:
            struck.add(job.id)
            book.strike(job.id, "test", "kl")
    kept = book.read(lambda db: list(db.query("SELECT * FROM queue ORDER BY job_id")))
    reckoned = book.read(lambda db: list(db.query(QUEUE_OF_ROWS)))
    assert kept == reckoned
    book.write(jobs.rebuild_queue)
    assert book.read(lambda db: list(db.query("SELECT * FROM queue ORDER BY job_id"))) == kept


def test_a_batch_is_kept_whole_or_not_at_all(shop: Shop) -> None:
    """What a batch wrote before it failed is gone; what one inner call lost is lost alone."""
    book = shop.book

    def fails() -> None:
        book.add_mark(shop.job.id, "kl", "seated")
        raise LookupError("half way")

    with pytest.raises(LookupError):
        book.batch(fails)
    assert book.facts(shop.job.id) == ()

    def forgives() -> tuple[Mark, Mark]:
        first = book.add_mark(shop.job.id, "kl", "seated")
        with pytest.raises(InputError):
            book.add_fact(
                shop.job.id,
                "kl",
                rows.PassRow(number=1, turns=(Turn("front", math.nan, 0.0),), finest_turn=0.0),
            )
        assert book.facts(shop.job.id) == (first,)
        return first, book.add_mark(shop.job.id, "kl", "within")

    kept = book.batch(forgives)
    assert book.facts(shop.job.id) == kept
    assert not any(isinstance(fact, PassRow | Target) for fact in kept)


# -- numbers ---------------------------------------------------------------------------------------


def test_no_two_rounds_of_a_job_have_one_number(shop: Shop) -> None:
    """Whoever writes it; one that was struck out does not count, another job has its own."""
    book, job = shop.book, shop.job.id
    first = book.add_fact(job, "kl", rows.PassRow(number=1, turns=(), finest_turn=0.5))
    with pytest.raises(InputError, match=r"number: 1 .*counted already"):
        book.add_fact(job, "mn", rows.PassRow(number=1, turns=(), finest_turn=0.5))
    with sqlite3.connect(book.path) as raw, pytest.raises(sqlite3.IntegrityError):
        raw.execute(f"INSERT INTO passes SELECT 'x', at, who, '{job}', 1, 0.5, NULL FROM passes")
    book.strike(first.id, "slip", "kl")
    book.add_fact(job, "kl", rows.PassRow(number=1, turns=(), finest_turn=0.5))
    book.add_fact(
        book.add_job(shop.ski.id, DAY).id, "kl", rows.PassRow(number=1, turns=(), finest_turn=0.5)
    )


def test_no_two_steps_of_a_round_have_one_number(shop: Shop) -> None:
    """Steps are counted anew from a reading, a target or a round on, and where one is struck."""
    book, job = shop.book, shop.job.id

    def step(number: int) -> str:
        return book.add_mark(job, "kl", "step", number=number).id

    last = [step(1), step(2)][-1]
    for number in (1, 2):
        with pytest.raises(InputError, match="counted already"):
            step(number)
    book.strike(last, "slip", "kl")
    step(2)
    book.add_fact(job, "kl", rows.PassRow(number=1, turns=(), finest_turn=0.5))
    step(1)
    book.add_fact(job, "kl", shop.taken())
    step(1)
    book.add_mark(job, "kl", "second_eyes", number=1)
    book.add_mark(job, "kl", "second_eyes", number=1)


def test_two_rounds_at_once_are_one(shop: Shop) -> None:
    """Two desks on one file, let go together: one of the same number is kept."""
    start, said = threading.Barrier(2), []

    def add(who: str) -> None:
        with Book(shop.book.path, bench=who) as own:
            start.wait(60)
            try:
                own.add_fact(shop.job.id, who, rows.PassRow(number=1, turns=(), finest_turn=0.5))
                said.append("kept")
            except InputError:
                said.append("refused")

    both = [threading.Thread(target=add, args=(who,)) for who in ("kl", "mn")]
    for each in both:
        each.start()
    for each in both:
        each.join(60)
    assert sorted(said) == ["kept", "refused"]


def test_a_book_that_has_one_number_twice_opens_and_goes_on(tmp_path: Path) -> None:
    """What it has stays; the next of that number is refused."""
    path = tmp_path / "old.db"
    with Book(path) as book:
        shop = furnish(book)
    with closing(sqlite3.connect(path)) as raw:  # as the release before left it
        for trigger in ("passes_number", "marks_step"):
            raw.execute(f"DROP TRIGGER {trigger}")
        raw.execute("DELETE FROM _sqlite_migrations WHERE name = 'unique_numbers'")
        for end in ("01", "ff"):
            row = [f"01900000-0000-7000-8000-0000000000{end}", "2031-05-06T10:00:00.000000+00:00"]
            sql = "INSERT INTO passes VALUES (?, ?, 'kl', ?, 1, 0.5, NULL)"
            raw.execute(sql, [*row, shop.job.id])
        raw.commit()
        made_now = fingerprint(Database(raw))
        raw.execute(f"PRAGMA user_version = {made_now}")
        raw.commit()
    with Book(path) as book:
        passes = [f for f in book.facts(shop.job.id) if isinstance(f, PassRow)]
        assert [p.number for p in passes] == [1, 1]
        with pytest.raises(InputError, match="counted already"):
            book.add_fact(shop.job.id, "kl", rows.PassRow(number=1, turns=(), finest_turn=0.5))
        book.add_fact(shop.job.id, "kl", rows.PassRow(number=2, turns=(), finest_turn=0.5))


def _statements(shop: Shop) -> list[str]:
    """Return what the book's connection is asked from now on."""
    asked: list[str] = []
    shop.book.read(lambda db: db.conn.set_trace_callback(asked.append))
    return asked


def test_facts_are_read_once_until_something_is_added(shop: Shop) -> None:
    """A day's queue is looked at after every key, and of it one job has changed at most."""
    other = shop.book.add_job(shop.ski.id, DAY)
    both = (shop.job.id, other.id)
    shop.book.add_mark(shop.job.id, "KV", "note", text="first")
    first = shop.book.facts_for(both)
    asked = _statements(shop)
    assert shop.book.facts_for(both) == first
    assert not [sql for sql in asked if "JOIN readings t" in sql]
    shop.book.add_mark(other.id, "KV", "note", text="second")
    again = shop.book.facts_for(both)
    assert again[shop.job.id] is first[shop.job.id]
    assert [f.text for f in again[other.id] if isinstance(f, Mark)] == ["second"]


def test_facts_read_before_are_read_again_once_they_are_struck(shop: Shop) -> None:
    """By this bench, by another one, and after a write that came to nothing."""
    kept = [shop.book.add_mark(shop.job.id, "KV", "note", text=text) for text in "ab"]
    shop.book.facts(shop.job.id)
    shop.book.strike(kept[0].id, "wrong", "KV")
    assert [f.struck is not None for f in shop.book.facts(shop.job.id)] == [True, False]
    with Book(shop.book.path) as beside:
        beside.strike(kept[1].id, "wrong too", "ML")
        late = beside.add_mark(shop.job.id, "ML", "note", text="c")
    assert [f.struck is not None for f in shop.book.facts(shop.job.id)] == [True, True, False]

    def fails() -> None:
        shop.book.add_mark(shop.job.id, "KV", "note", text="d")
        assert len(shop.book.facts(shop.job.id)) == 4
        raise InputError("note", "d", "nothing")

    with pytest.raises(InputError):
        shop.book.batch(fails)
    assert [f.id for f in shop.book.facts(shop.job.id)] == [*(f.id for f in kept), late.id]


@pytest.mark.parametrize("inner", [False, True])
def test_a_strike_that_came_to_nothing_is_forgotten_when_another_row_is_struck(
    shop: Shop, inner: bool
) -> None:
    """The dialog that says what a strike would bring about strikes, looks, and undoes it."""
    first, second = (shop.book.add_mark(shop.job.id, "KV", "note", text=text) for text in "ab")

    def rehearse() -> None:
        shop.book.strike(first.id, "rehearsed", "KV")
        assert shop.book.facts(shop.job.id)[0].struck is not None
        raise InputError("note", "a", "nothing")

    def within() -> None:
        with pytest.raises(InputError):
            shop.book.batch(rehearse)
        shop.book.strike(second.id, "wrong", "KV")

    if inner:
        shop.book.batch(within)
    else:
        within()
    assert [f.struck is not None for f in shop.book.facts(shop.job.id)] == [False, True]
