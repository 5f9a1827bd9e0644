"""Rows of years that no clock shows, as an old file may have left them in a book."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.by_command import Commands, demo_of_today
from tests.shop import DAY, heron, ski, walk_to
from workbench.records.book import Book
from workbench.records.store.writer import Pen
from workbench.work.job.shop import Shop
from workbench.work.roster.calipers import check_zero
from workbench.work.text.local_time import (
    clock_words,
    local,
    local_at,
    local_day,
)

ENDS = ("0001-01-01T00:00:00.000000+00:00", "9999-12-31T23:59:59.999999+00:00")


@pytest.fixture(params=["EST5", "JST-9"])
def zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """A machine behind and one ahead of UTC: one of them is past each end of the calendar."""
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield request.param
    monkeypatch.undo()
    time.tzset()
    assert os.environ.get("TZ") != request.param


@pytest.mark.parametrize("at", ENDS)
def test_the_ends_of_the_calendar_have_a_day(zone: str, at: str) -> None:
    """That of the clock on the wall, or where it has none, of UTC."""
    assert abs(int(local_day(at)[:4]) - int(at[:4])) <= 1
    assert local(at).tzinfo is not None


def test_moments_beyond_the_calendar_are_its_ends(zone: str) -> None:
    """So that an axis which reaches over them still has its dates."""
    assert local_at(-1e12).year == 1
    assert local_at(1e12).year == 9999
    known = datetime(2031, 5, 6, 12, tzinfo=UTC)
    assert local_at(known.timestamp()) == known


@pytest.mark.parametrize("at", ENDS)
def test_no_command_fails_for_a_row_of_such_a_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
    zone: str, at: str,
) -> None:  # fmt: skip
    """A whole job and a caliper's check of that time: everything about them can still be said."""
    path = demo_of_today(tmp_path, monkeypatch)
    stamp = Pen.stamp
    with monkeypatch.context() as odd, Book(path) as book:
        odd.setattr(Pen, "stamp", lambda pen: (stamp(pen)[0], at))
        shop = Shop(book, day=DAY, who="KV")
        check_zero(shop, book.calipers()[0], "0")
        view = ski(shop, "Heron 66")
        walk_to(shop, view, heron(view), "signed off")
    commands = Commands(path, capsys)
    for words in (
        ("history", "H66-014"), ("history", "H66-014", "--json"), ("card", "H66-014"),
        ("day-sheet",), ("export-csv", "history"), ("export-csv", "readings"), ("calipers",),
        ("next", "H66-014"), ("queue",), ("compare", "H66-014", "first", "last"),
    ):  # fmt: skip
        status, _, err = commands.all_of(*words)
        assert (status, err) == (0, ""), words


def test_a_book_far_ahead_of_every_clock_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, zone: str
) -> None:
    """Its ids may stand for the last moment of the calendar."""
    last = datetime.max.replace(tzinfo=UTC)
    monkeypatch.setattr(Book, "newest_entry", lambda _: last)
    with Book(tmp_path / "b.db") as book:
        assert "check the clock" in clock_words(book, last - timedelta(days=9))
