"""What lists and sums ask of the book: whole days, with as many queries for one job as for many."""

from __future__ import annotations

from dataclasses import replace

import pytest

from workbench.errors import InputError
from workbench.records.store import rows
from workbench.records.store.rows import JobTerms, Turn
from workbench.records.tables import days

from .conftest import DAY, Shop

BEFORE, AFTER = "2031-05-05", "2031-05-07"


def _queries(shop: Shop, day: str) -> int:
    """Count the statements that a day's list takes."""
    seen: list[str] = []

    def look(db: object) -> None:
        db.conn.set_trace_callback(seen.append)  # type: ignore[attr-defined]
        days.day_list(db, day, with_unfinished=True)  # type: ignore[arg-type]
        db.conn.set_trace_callback(None)  # type: ignore[attr-defined]

    shop.book.read(look)
    return len(seen)


def test_a_long_day_takes_as_many_queries_as_a_short_one(shop: Shop) -> None:
    """No query per job, ski or method."""
    short = _queries(shop, DAY)
    for n in range(30):
        ski = shop.book.add_ski(replace(shop.ski, id="", serial=f"S-{n}"))
        shop.book.add_job(ski.id, DAY)
    assert _queries(shop, DAY) == short


def test_a_days_item_carries_methods_facts_and_notes(shop: Shop) -> None:
    """Corrections of ski and method are followed; a signed-off job comes with its facts too."""
    shop.book.correct_ski(replace(shop.ski, note="stiff", has_wing=False))
    shop.book.correct_method(replace(shop.method, tolerance_mm=0.02))
    shop.book.add_fact(shop.job.id, "kl", rows.Tick(checklist="received", item="edges"))
    (item,) = shop.book.day_list(DAY)
    assert (item.ski_note, item.has_wing) == ("stiff", False)
    assert item.methods == ((shop.method.id, 0.02),)
    assert item.facts == shop.book.facts(shop.job.id)
    first = shop.book.add_fact(
        shop.job.id,
        "kl",
        rows.PassRow(number=1, turns=(Turn("front", 0.1, 0.125),), finest_turn=0.125),
    )
    shop.book.add_fact(shop.job.id, "kl", rows.PassRow(number=2, turns=(), finest_turn=0.125))
    shop.book.strike(first.id, "miscounted", "kl")
    shop.book.add_fact(shop.job.id, "kl", rows.SignOff())
    (item,) = shop.book.day_list(DAY)
    assert item.item.signed_off
    assert item.facts == shop.book.facts(shop.job.id)


def test_earlier_days_stand_first_where_asked_for(shop: Shop) -> None:
    """Only what is unfinished of them."""
    late = shop.book.add_job(shop.ski.id, BEFORE)
    done = shop.book.add_job(shop.ski.id, BEFORE)
    shop.book.add_fact(done.id, "kl", rows.SignOff())
    ids = [i.item.job.id for i in shop.book.day_list(DAY, with_unfinished=True)]
    assert ids == [late.id, shop.job.id]
    assert [i.item.job.id for i in shop.book.day_list(DAY)] == [shop.job.id]
    with pytest.raises(InputError, match="day"):
        shop.book.day_list("today")


def test_around_a_job_the_list_is_read_and_the_rest_keeps_its_place(shop: Shop) -> None:
    """Every job stands in its place; those read are as in the whole list, far ones just counted."""
    late = shop.book.add_job(shop.ski.id, BEFORE)
    added = [shop.book.add_job(shop.ski.id, DAY) for _ in range(3 * days.NEAR)]
    shop.book.add_fact(added[-1].id, "kl", rows.SignOff())
    whole = shop.book.day_list(DAY, with_unfinished=True)
    ids = [each.item.job.id for each in whole]
    far = days.NEAR + 10
    first_read = far + 2 - days.NEAR
    for near, first in ((added[far].id, first_read), (late.id, 0), ("no such job", 0)):
        found = shop.book.day_around(DAY, near)
        read = range(first, (first or 1) + days.NEAR + (days.NEAR + 1 if first else 0))
        assert [i for i, each in enumerate(found) if isinstance(each, days.DayItem)] == [*read]
        assert [found[i] for i in read] == [whole[i] for i in read]
        assert [e.job_id if isinstance(e, days.Unread) else e.item.job.id for e in found] == ids
        assert found[-1] == days.Unread(added[-1].id, True)


def test_the_last_setting_is_the_latest_signed_off_before_a_job(shop: Shop) -> None:
    """Re-checks, struck jobs and unfinished ones do not count."""
    assert shop.book.last_setting(shop.ski.id) is None
    shop.book.add_fact(shop.job.id, "kl", rows.SignOff())
    second = shop.book.add_job(shop.ski.id, AFTER)
    shop.book.add_fact(second.id, "kl", rows.SignOff())
    check = shop.book.add_job(shop.ski.id, AFTER, how=JobTerms("recheck"))
    shop.book.add_fact(check.id, "kl", rows.SignOff())
    waiting = shop.book.add_job(shop.ski.id, AFTER)
    assert shop.book.last_setting(shop.ski.id, waiting.id) == second.id
    assert shop.book.last_setting(shop.ski.id, second.id) == shop.job.id
    shop.book.strike(second.id, "wrong ski", "kl")
    assert shop.book.last_setting(shop.ski.id) == shop.job.id


def test_known_skis_are_as_they_are_now_newest_first(shop: Shop) -> None:
    """A struck one is left out."""
    other = shop.book.add_ski(replace(shop.ski, id="", name="Ski B"))
    gone = shop.book.add_ski(replace(shop.ski, id="", name="Ski C"))
    shop.book.correct_ski(replace(shop.ski, name="Ski A2", note="x"))
    shop.book.strike(gone.id, "sold", "kl")
    assert [(k.id, k.name, k.note) for k in shop.book.known_skis()] == [
        (other.id, "Ski B", ""), (shop.ski.id, "Ski A2", "x"),
    ]  # fmt: skip


def test_settings_are_kept_with_all_that_they_were(shop: Shop) -> None:
    """Oldest first, by name; what was never set is left out."""
    for value in ("1", "2"):
        shop.book.set_setting("a", value)
    shop.book.set_setting("b", "3")
    kept = shop.book.settings_kept(("a", "c"))
    assert [value for _, value in kept["a"]] == ["1", "2"]
    assert list(kept) == ["a"]
    assert kept["a"][0][0] < kept["a"][1][0]
