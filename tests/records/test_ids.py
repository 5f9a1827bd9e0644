"""Ids sort by time and never repeat, whatever the clock does."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shop import rows_out
from workbench.errors import RecordsError
from workbench.records.backup.copies import copy_book
from workbench.records.book import Book
from workbench.records.exchange.rows_in import take_in
from workbench.records.store.writer import Mint, bench_tag, is_id, tag_of

from .conftest import furnish

NOON = datetime(2031, 5, 6, 12, tzinfo=UTC)
ZONES = st.integers(-14 * 60, 14 * 60).map(lambda east: timezone(timedelta(minutes=east)))
MOMENTS = st.datetimes(datetime(1900, 1, 1), datetime(2200, 1, 1), timezones=ZONES)


def mint(bench: str = "bench one") -> Mint:
    return Mint(bench_tag(bench), random_bits=lambda _bits: 5)


def test_an_id_is_a_version_7_uuid_of_its_time() -> None:
    """RFC 9562, 5.7: milliseconds first, version 7, variant 10."""
    row_id = mint().next(NOON + timedelta(microseconds=500))
    parsed = uuid.UUID(row_id)
    assert str(parsed) == row_id
    assert (parsed.version, parsed.variant) == (7, uuid.RFC_4122)
    assert parsed.int >> 80 == int(NOON.timestamp() * 1000)
    assert parsed.int >> 64 & 0xFFF == 2048


@given(st.lists(MOMENTS, min_size=2, max_size=30))
def test_ids_increase_strictly_whatever_the_clock_says(moments: list[datetime]) -> None:
    """Set back, set forward, standing still, in another zone: each id is greater than the last."""
    ours = mint()
    ids = [ours.next(moment) for moment in moments]
    assert all(a < b for a, b in pairwise(ids))
    assert all(map(is_id, ids))


@given(MOMENTS, MOMENTS)
def test_a_mint_goes_on_from_the_greatest_id_of_the_book(then: datetime, now: datetime) -> None:
    """An id given after the clock was set back is still the greater."""
    kept = mint("bench two").next(then)
    ours = mint()
    ours.follow(kept)
    assert ours.next(now) > kept


def test_two_zones_at_one_moment_make_the_same_stamp() -> None:
    """The id carries the moment, not what the clock on the wall shows."""
    elsewhere = NOON.astimezone(timezone(timedelta(hours=-9, minutes=-30)))
    assert mint().next(NOON) == mint().next(elsewhere)


def test_an_id_tells_its_bench() -> None:
    """The bench's tag is in the id and differs between benches."""
    assert tag_of(mint("bench one").next(NOON)) == bench_tag("bench one")
    assert bench_tag("bench one") != bench_tag("bench two")


def test_two_benches_give_different_ids_at_one_moment() -> None:
    """Rows of two laptops can be put together later."""
    assert mint("bench one").next(NOON) != mint("bench two").next(NOON)


def test_ids_that_have_run_out_are_an_error() -> None:
    """After the last moment that fits there is no id, and it says so."""
    ours = mint()
    ours.follow("ffffffff-ffff-7fff-8000-000000000000")
    with pytest.raises(RecordsError, match="check the clock"):
        ours.next(NOON)


def test_an_id_of_another_make_in_the_book_is_refused() -> None:
    """Order cannot be kept after an id that is none of ours."""
    with pytest.raises(RecordsError, match="'17'"):
        mint().follow("17")


def clock_at(moment: datetime) -> Callable[[], datetime]:
    return lambda: moment


def test_facts_keep_their_order_when_the_clock_is_set_back(path: Path) -> None:
    """A bench whose clock was set back two days still lists what happened in order."""
    with Book(path, clock=clock_at(NOON)) as book:
        shop = furnish(book)
        first = book.add_fact(shop.job.id, "kl", shop.taken("first"))
    back = (NOON - timedelta(days=2)).astimezone(timezone(timedelta(hours=5, minutes=45)))
    with Book(path, clock=clock_at(back)) as book:
        second = book.add_fact(shop.job.id, "kl", shop.taken("second"))
        assert book.facts(shop.job.id) == (first, second)
    assert first.at == "2031-05-06T12:00:00.000000+00:00"
    assert second.at == "2031-05-04T12:00:00.000000+00:00"


def test_two_benches_on_one_book_agree_on_the_order(path: Path) -> None:
    """Each bench's id is greater than what the other wrote before, though its clock is behind."""
    ahead, behind = clock_at(NOON), clock_at(NOON - timedelta(hours=1))
    with (
        Book(path, clock=ahead, bench="one") as one,
        Book(path, clock=behind, bench="two") as two,
    ):
        shop = furnish(one)
        kept = [
            bench.add_mark(shop.job.id, "kl", "note", text=str(n))
            for n, bench in enumerate([one, two, two, one, two, one])
        ]
        assert one.facts(shop.job.id) == tuple(kept)
        assert two.facts(shop.job.id) == tuple(kept)


def test_each_book_is_a_bench_of_its_own_and_a_copy_another(path: Path, tmp_path: Path) -> None:
    """Of one machine's name or not; a copy has its own from its first write on, a reader none."""
    copy = tmp_path / "copy.db"
    with Book(path) as book, Book(tmp_path / "second.db") as second:
        kept = [furnish(each).job.id for each in (book, second)]
        own = book.own_bench()
        assert own != second.own_bench()
        assert [tag_of(each) for each in kept] == [
            int(each.own_bench()[:6], 16) for each in (book, second)
        ]
        copy_book(book.path, copy)
    with Book(path) as book, Book(copy) as other:
        assert rows_out(other) == rows_out(book)
        assert book.own_bench() == own
        note = other.add_mark(kept[0], "kl", "note", text="on the boat")
        assert other.own_bench() not in (own, "")
        assert tag_of(note.id) == int(other.own_bench()[:6], 16)
        book.write(take_in, rows_out(other))
        assert book.own_bench() == own
        assert rows_out(book) == rows_out(other)
