"""Clocks go wrong, summer ends, laptops travel: the order of what happened is kept."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from tests.bench.screens import bench
from tests.shop import DAY, demo_file, heron, open_shop, ski, walk_to
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.tables.days import JobTimes
from workbench.work.exchange.exchange import export_book, take_in
from workbench.work.history.history import load_history
from workbench.work.history.timeline import timeline_of
from workbench.work.job import open_book
from workbench.work.job.entry import Typed
from workbench.work.job.shop import Shop
from workbench.work.job_text import wing_report
from workbench.work.roster.queue import minutes_of
from workbench.work.study import offset_words
from workbench.work.text.local_time import clock_words, day_and_time, local_day

from .conftest import furnish

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
NEW_YORK = "EST5EDT,M3.2.0,M11.1.0"
"""The rules of the eastern United States in the form of POSIX, so that no zone file is needed."""


class Clock:
    """A clock that is set by hand and may jump after every look."""

    def __init__(self, now: datetime, jump: Callable[[], timedelta] | None = None) -> None:
        self.now = now
        self._jump = jump or (lambda: timedelta(seconds=1))

    def __call__(self) -> datetime:
        self.now += self._jump()
        return self.now


@pytest.fixture
def zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], None]]:
    """Set the zone of this machine."""

    def be_in(name: str) -> None:
        monkeypatch.setenv("TZ", name)
        time.tzset()

    yield be_in
    monkeypatch.undo()
    time.tzset()


def test_a_whole_ski_under_a_clock_that_jumps_either_way(tmp_path: Path) -> None:
    """Up to 40 days back and forth at every entry: the same stages, rounds and order as ever."""
    chance = random.Random(20310506)
    clock = Clock(NOON, lambda: timedelta(days=chance.uniform(-40, 40)))
    with Book(demo_file(tmp_path), clock=clock) as book:
        shop = Shop(book, day=DAY, who="KV")
        view = ski(shop, "Heron 66")
        seen = [fact.id for fact in view.facts]
        fin = heron(view)
        for stage in ("as received", "studs", "target", "turning", "within", "signed off"):
            view = walk_to(shop, view, fin, stage)
            now = [fact.id for fact in view.facts]
            assert now[: len(seen)] == seen, "what happened later stands later"
            seen = now
        moments = [fact.at for fact in view.facts]
        assert seen == sorted(seen)
        assert moments != sorted(moments)
        told = [e.row.id for e in timeline_of(load_history(shop, view.ski.id)).entries]
        assert [row_id for row_id in told if row_id in set(seen)] == seen


def test_a_clock_far_ahead_and_then_set_right(tmp_path: Path) -> None:
    """What is entered after it was set right still comes after what bears the far date."""
    with Book(demo_file(tmp_path), clock=Clock(NOON.replace(year=2099))) as book:
        shop = Shop(book, day=DAY, who="KV")
        view = ski(shop, "Gannet 68")
        job, line = view.job.id, view.lines[0]
        before = shop.take_reading(view, line, Typed("2.4501", "in", 2.4501 * 25.4))
    with Book(book.path, clock=Clock(NOON)) as book:
        shop = Shop(book, day=DAY, who="KV")
        after = shop.take_reading(before, line, Typed("2.4502", "in", 2.4502 * 25.4))
        after, struck = shop.take_back(after)
        assert isinstance(struck, rows.Reading)
        assert struck.text == "2.4502", "take back takes the last one entered"
        again = shop.take_reading(after, line, Typed("2.4503", "in", 2.4503 * 25.4))
        kept = [f.text for f in again.facts if isinstance(f, rows.Reading)][-3:]
        assert kept == ["2.4501", "2.4502", "2.4503"]
        assert book.facts(job)[-1].at.startswith("2026-11-25")
        assert "last entry is of 2099-11-25" in clock_words(book, NOON)
        assert "says 2026-11-25: check the clock" in clock_words(book, NOON)
        assert clock_words(book, NOON.replace(year=2099)) == ""


def test_an_empty_book_and_a_day_apart_say_nothing_of_the_clock(tmp_path: Path) -> None:
    """Two benches in two zones, or with clocks an hour apart, are nothing to speak of."""
    with Book(tmp_path / "book.db", clock=Clock(NOON)) as book:
        assert clock_words(book, NOON - timedelta(days=900)) == ""
        furnish(book)
        assert clock_words(book, NOON - timedelta(hours=23)) == ""
        assert clock_words(book, NOON + timedelta(days=900)) == ""
        assert clock_words(book, NOON - timedelta(days=2)) != ""


def test_when_summer_time_ends_the_hour_that_comes_twice_keeps_its_order(
    tmp_path: Path, zone: Callable[[str], None]
) -> None:
    """01:45 and then 01:15: told in the order in which they were, each as the wall clock said."""
    zone(NEW_YORK)
    first = datetime(2031, 11, 2, 5, 45, tzinfo=UTC)
    clock = Clock(first, lambda: timedelta(0))
    with Book(tmp_path / "book.db", clock=clock) as book:
        shop = furnish(book)
        for n in range(3):
            clock.now = first + timedelta(minutes=30 * n)
            book.add_fact(shop.job.id, "kl", shop.taken(f"2.45{n}"))
        kept = book.facts(shop.job.id)
    assert [f.text for f in kept if isinstance(f, rows.Reading)] == ["2.450", "2.451", "2.452"]
    assert [day_and_time(f.at)[11:] for f in kept] == ["01:45", "01:15", "01:45"]
    assert [f.at[11:16] for f in kept] == ["05:45", "06:15", "06:45"]


def test_when_summer_time_begins_no_time_is_lost_or_made(zone: Callable[[str], None]) -> None:
    """Half an hour of work across the hour that is not there is half an hour."""
    zone(NEW_YORK)
    begun = datetime(2031, 3, 9, 6, 45, tzinfo=UTC)
    signed = begun + timedelta(minutes=30)
    assert day_and_time(begun.isoformat()).endswith("01:45")
    assert day_and_time(signed.isoformat()).endswith("03:15")
    times = JobTimes("job", begun.isoformat(), signed.isoformat(), ())
    assert minutes_of(times) == 30.0


def test_the_day_told_is_the_day_on_the_wall(zone: Callable[[str], None]) -> None:
    """An evening west of Greenwich, a morning east of it: not the day of the book's own time."""
    evening, morning = "2026-11-26T04:30:00+00:00", "2026-11-24T20:30:00+00:00"
    zone(NEW_YORK)
    assert local_day(evening) == "2026-11-25"
    zone("XXX-13")
    assert local_day(morning) == "2026-11-25"
    wing = rows.WingSetting(
        id="w", at=morning, who="KV", job_id="j", text="7.5", angle_deg=7.5, hold="", gauge=""
    )
    assert "2026-11-25 KV" in wing_report.when_words(wing)
    assert offset_words.local_day is local_day


def _bench_in(path: Path, hours: float, clock: Clock, who: str) -> Shop:
    """Open a book on a laptop whose zone is so many hours ahead."""
    zoned = timezone(timedelta(hours=hours))
    book = Book(path, clock=lambda: clock().astimezone(zoned), bench=who)
    return Shop(book, day=DAY, who=who)


def test_two_laptops_in_two_zones_write_to_one_book(tmp_path: Path) -> None:
    """By turns, twenty-three hours of zones apart: what both list is the order it happened in."""
    path, clock = demo_file(tmp_path), Clock(NOON)
    east, west = _bench_in(path, 13, clock, "EE"), _bench_in(path, -10, clock, "WW")
    job = ski(east, "Gannet 68").job.id
    for n in range(12):
        shop = (east, west)[n % 2]
        shop.note(shop.view(job), "note", f"{n}")
    for shop in (east, west):
        facts = [f for f in shop.book.facts(job) if isinstance(f, rows.Mark)]
        assert [(f.text, f.who) for f in facts if f.kind == "note"] == [
            (str(n), ("EE", "WW")[n % 2]) for n in range(12)
        ]
    moments = [f.at for f in facts if f.kind == "note"]
    assert moments == sorted(moments)
    east.book.close()
    west.book.close()


def test_two_laptops_whose_clocks_differ_exchange_their_days(tmp_path: Path) -> None:
    """One is two hours ahead: each one's order is kept, both end with one and the same order, and
    what is entered after taking in comes after all that came in."""
    true = Clock(NOON)
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
    one = _bench_in(demo_file(tmp_path / "one"), 0, true, "AA")
    ahead = Clock(NOON + timedelta(hours=2))
    two = _bench_in(demo_file(tmp_path / "two"), 5.75, ahead, "BB")
    job = ski(one, "Gannet 68").job.id
    for n in range(4):
        one.note(one.view(job), "note", f"a{n}")
        two.note(two.view(job), "note", f"b{n}")
    _exchange(one, two, tmp_path / "1.json")
    one.note(one.view(job), "note", "a after")
    _exchange(one, two, tmp_path / "2.json")
    two.note(two.view(job), "note", "b after")
    _exchange(one, two, tmp_path / "3.json")
    told = [_notes(shop, job) for shop in (one, two)]
    assert told[0] == told[1]
    assert told[0][-2:] == ["a after", "b after"]
    for letter in "ab":
        mine = [text for text in told[0] if text[0] == letter and "after" not in text]
        assert mine == [f"{letter}{n}" for n in range(4)]
    one.book.close()
    two.book.close()


def _exchange(one: Shop, two: Shop, file: Path) -> None:
    back = file.with_suffix(".back.json")
    export_book(one, str(file))
    export_book(two, str(back))
    take_in(two, str(file))
    take_in(one, str(back))


def _notes(shop: Shop, job: str) -> list[str]:
    facts = shop.book.facts(job)
    return [f.text for f in facts if isinstance(f, rows.Mark) and f.kind == "note"]


class _Today:
    """Stands in for ``date`` where the day is asked for."""

    def __init__(self, day: date) -> None:
        self.day = day

    def today(self) -> date:
        return self.day


async def test_a_bench_left_open_over_midnight(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It goes on to the new day by itself, the unfinished with it, and never back to one past."""
    today = _Today(date.fromisoformat(DAY))
    monkeypatch.setattr(open_book, "date", today)
    with Book(demo_file(tmp_path)) as book:
        shop = Shop(book, who="KV")
        open_now = {line.job_id for line in shop.roster() if line.stage != "signed off"}
        async with bench(shop) as screen:
            await screen.by_hand("2.45")
            today.day += timedelta(days=1)
            screen.app._look()
            await screen.pilot.pause()
            assert "2026-11-26" in screen.shown()
            assert "a new day has begun" in screen.shown()
            assert screen.app.hands.state.entry == "2.45"
            there = {line.job_id for line in screen.app.hands.state.roster}
            assert open_now <= there
            today.day -= timedelta(days=300)
            screen.app._look()
            await screen.pilot.pause()
            assert shop.day == "2026-11-26"
            assert {line.job_id for line in screen.app.hands.state.roster} == there


def test_a_day_that_was_asked_for_stays(tmp_path: Path) -> None:
    """A command on another day's queue is not moved to today's."""
    with open_shop(demo_file(tmp_path)) as shop:
        assert not shop.turn_day()
        assert shop.day == DAY
