"""A row that no longer says what was written is told, and nothing is computed with it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.records.conftest import furnish
from tests.records.damaging import change, flipped
from tests.shop import rows_out
from workbench.errors import RecordsError
from workbench.records.backup import backups
from workbench.records.book import Book
from workbench.records.exchange.rows_in import take_in
from workbench.records.store import rows
from workbench.records.store.rows import (
    AnyFact,
    Baseline,
    BaselineEntry,
    CaliperCheck,
    LockedReading,
    RideNote,
    Strike,
    Target,
    Temperature,
    Turn,
)
from workbench.records.store.specs import FACTS, Table
from workbench.records.store.strikes import check_sum, check_sums

pytestmark = pytest.mark.usefixtures("begun_by_steps")


def filled(path: Path) -> list[AnyFact]:
    """A closed book with a fact of every kind, in order; nearly every column holds something."""
    with Book(path) as book:
        shop = furnish(book)
        job, method = shop.job.id, shop.method.id
        warm = book.add_fact(
            job,
            "KV",
            Temperature(
                text="25 C 21 C",
                unit="C",
                blade_c=25.0,
                caliper_c=21,
                blade_material="steel",
                caliper_material="steel",
            ),
        )
        taken = rows.Reading(
            method_id=method,
            pass_number=0,
            text="2.4505",
            unit="in",
            mm=2.4505 * 25.4,
            caliper_id=shop.caliper.id,
            how="typed",
            temperature_id=warm.id,
        )
        book.add_fact(job, "KV", taken)
        book.add_fact(
            job,
            "KV",
            LockedReading(
                method_id=method,
                text="60",
                unit="mm",
                mm=60,
                caliper_id=shop.caliper.id,
                temperature_id=warm.id,
            ),
        )
        book.add_fact(
            job,
            "KV",
            Target(
                method_id=method,
                text="+0.020",
                unit="in",
                kind="change",
                mm=62.75,
                tolerance_mm=0.05,
            ),
        )
        turns = (Turn("front", 0.26, 0.25), Turn("back", -0.0, 0.0))
        book.add_fact(job, "KV", rows.PassRow(number=1, turns=tuple(turns), finest_turn=0.125))
        book.add_mark(job, "KV", "step", number=2, text="turn front 0.25")
        book.add_fact(job, "KV", rows.Tick(checklist="final", item="clamp", text="Clamp bolts"))
        book.add_fact(job, "KV", rows.WingSetting(text="7", angle_deg=7, hold="middle", gauge="7"))
        book.add_fact(
            job,
            "KV",
            RideNote(
                text="sits deep",
                rider="R",
                place="bay",
                water="18 C",
                water_c=18.0,
                rope="14",
                speed="55",
                complaints=("late",),
                rating=4,
            ),
        )
        book.add_fact(job, "KV", rows.SignOff(text="done"))
        return list(book.facts(job))


def read_again(path: Path, of: AnyFact) -> AnyFact:
    with Book(path) as book:
        return next(f for f in book.facts(of.job_id) if f.id == of.id)


@pytest.fixture
def facts(path: Path) -> list[AnyFact]:
    return filled(path)


def tables_of(path: Path) -> dict[str, str]:
    """The table that each fact lies in, by its id."""
    with closing(sqlite3.connect(path)) as conn:
        return {i: t for t in FACTS for (i,) in conn.execute(f"SELECT id FROM {t}")}


def test_what_was_written_agrees_with_itself(path: Path, facts: list[AnyFact]) -> None:
    """A fact of every kind, whole numbers and a negative zero among them, and after an import."""
    assert set(tables_of(path).values()) == set(FACTS)
    with Book(path) as book, Book(path.with_name("other.db")) as other:
        assert all(f.struck is None for f in facts)
        assert [*book.facts(facts[0].job_id)] == facts
        rows = rows_out(book)
        assert all("check_sum" not in row for listed in rows.values() for row in listed)
        other.write(take_in, {str(table): listed for table, listed in rows.items()})
        assert [*other.facts(facts[0].job_id)] == facts
    with closing(sqlite3.connect(path)) as one, closing(sqlite3.connect(other.path)) as two:
        for table in FACTS:
            sql = f"SELECT id, check_sum FROM {table}"
            kept = one.execute(sql).fetchall()
            assert kept == two.execute(sql).fetchall()
            assert all(total is not None for _, total in kept)


def test_one_flipped_bit_of_any_column_of_any_fact_is_told(
    path: Path, facts: list[AnyFact]
) -> None:
    """The damaged fact counts as little as a struck one, and says that it is damaged."""
    tables = tables_of(path)
    harmed = 0
    for fact in facts:
        table = tables[fact.id]
        with closing(sqlite3.connect(path)) as conn:
            conn.row_factory = sqlite3.Row
            row = dict(conn.execute(f"SELECT * FROM {table} WHERE id = ?", [fact.id]).fetchone())
        for column, value in row.items():
            other = _another(column, value)
            if other is None:
                continue
            change(path, table, fact.id, **{column: other})
            struck = read_again(path, fact).struck
            assert struck is not None, (table, column)
            assert struck.is_damage
            assert struck.reason.startswith("damaged in the book: ")
            change(path, table, fact.id, **{column: value})
            harmed += 1
        assert read_again(path, fact) == fact
    assert harmed > 50


def _another(column: str, value: object) -> object:
    """A value that differs by one bit, where the table would still take it."""
    if column == "check_sum":
        return int(str(value)) ^ 1
    if column.endswith("id") or column in ("unit", "how", "kind", "checklist", "hold"):
        return None  # held by the tables themselves, or by what refers to them
    if isinstance(value, float):
        return flipped(value, 30)
    if isinstance(value, int):
        return value ^ 1 or 3
    assert isinstance(value, str)
    return chr(ord(value[0]) ^ 1) + value[1:] if value else None


def test_a_damaged_turn_of_a_pass_is_told(path: Path, facts: list[AnyFact]) -> None:
    made = next(f for f in facts if hasattr(f, "turns"))
    change(path, "turns", made.id, "owner", turns=0.5)
    struck = read_again(path, made).struck
    assert struck is not None
    assert struck.is_damage


@pytest.mark.parametrize("bit", [30, 35, 44, 51, 52])
def test_a_reading_of_before_there_were_sums_is_compared_with_its_text(
    path: Path, facts: list[AnyFact], bit: int
) -> None:
    """By itself it is sound; with one bit flipped in its number it is not."""
    reading = next(f for f in facts if getattr(f, "text", "") == "2.4505")
    change(path, "readings", reading.id, check_sum=None)
    assert read_again(path, reading) == reading
    change(path, "readings", reading.id, mm=flipped(2.4505 * 25.4, bit))
    struck = read_again(path, reading).struck
    assert struck is not None
    assert "which is '2.4505' in in" in struck.reason


def test_a_damaged_fact_can_be_struck_out(path: Path, facts: list[AnyFact]) -> None:
    """Then it is struck as any other, with the reason that was given."""
    change(path, "readings", facts[1].id, mm=70.0)
    with Book(path) as book:
        book.strike(facts[1].id, "read anew", "KV")
        struck = next(f for f in book.facts(facts[1].job_id) if f.id == facts[1].id).struck
    assert struck == Strike(struck.at, "KV", "read anew") if struck else False


@pytest.mark.parametrize("kept", [{"mm": 70.0}, {"who": "KW"}])
def test_a_damaged_fact_does_not_go_out_until_it_is_struck_out(
    path: Path, facts: list[AnyFact], kept: dict[str, object]
) -> None:
    """The book that takes a row in makes a sum of its own, so damage would pass for sound."""
    change(path, "readings", facts[1].id, **kept)
    for again in range(2):  # the second time in a book that has read its facts
        with Book(path) as book:
            ski = book.job(facts[1].job_id).ski_id
            if again:
                book.facts(facts[1].job_id)
            for wanted in (None, ski):
                with pytest.raises(RecordsError, match=f"readings '{facts[1].id}': damaged"):
                    rows_out(book, wanted)
    with Book(path) as book:
        book.strike(facts[1].id, "read anew", "KV")
        assert facts[1].id in {row["id"] for row in rows_out(book)[Table.READINGS]}


def test_a_damaged_baseline_or_turn_does_not_go_out(path: Path, facts: list[AnyFact]) -> None:
    made = next(f for f in facts if hasattr(f, "turns"))
    change(path, "turns", made.id, "owner", turns=0.5)
    with Book(path) as book, pytest.raises(RecordsError, match=f"passes '{made.id}': damaged"):
        rows_out(book)


def test_numbers_that_belong_to_no_job_are_compared_too(path: Path) -> None:
    """A caliper's check, a pair, a study's reading; and a baseline is none to start from."""
    with Book(path) as book:
        shop = furnish(book)
        check = book.add_entry(
            "KV",
            CaliperCheck(
                caliper_id=shop.caliper.id,
                kind="block",
                nominal_text="2",
                nominal_unit="in",
                nominal_mm=50.8,
                reading_text="2.0005",
                reading_unit="in",
                reading_mm=50.8127,
            ),
        )
        entry = BaselineEntry("tail, tips", "2.450", "in", 62.23, 0.05)
        base = book.add_baseline(Baseline("", shop.ski.id, "As bought", (entry,)))
        assert book.checks_of(shop.caliper.id) == (check,)
        assert book.baselines_of(shop.ski.id) == (base,)
    change(path, "caliper_checks", check.id, reading_mm=50.7127)
    change(path, "baseline_entries", base.id, "owner", mm=flipped(62.23, 48))
    with Book(path) as book:
        (read,) = book.checks_of(shop.caliper.id)
        assert read.struck is not None
        assert read.struck.is_damage
        assert book.baselines_of(shop.ski.id) == ()
        shown = book.baseline(base.id).struck
        assert shown is not None
        assert shown.is_damage


def test_the_daily_copy_checks_the_whole_book(path: Path, facts: list[AnyFact]) -> None:
    """An index that lacks a row is found, which a quick check passes over."""
    with closing(sqlite3.connect(path, isolation_level=None)) as conn:
        conn.execute("PRAGMA writable_schema = ON")
        conn.execute(
            "UPDATE sqlite_master SET sql = replace(sql, 'job_id', 'who') "
            "WHERE name = 'readings_job'"
        )
    with Book(path) as book, pytest.raises(RecordsError, match="damaged"):
        backups.copy_of_day(book.path, date(2031, 5, 6))
    assert not list(backups.folder_of(path).iterdir())


@given(st.floats(allow_nan=False, allow_infinity=False), st.text())
def test_a_sum_is_the_same_however_a_number_was_given(number: float, text: str) -> None:
    """As a whole number, as what SQLite gives back, and with columns that are empty beside it."""
    row = [("text", text), ("mm", number)]
    assert check_sum(row, ()) == check_sum([*row, ("gauge", ""), ("later", None)], ())
    if number.is_integer():
        assert check_sum(row, ()) == check_sum([("text", text), ("mm", int(number))], ())


@given(
    st.lists(
        st.tuples(st.text(), st.none() | st.floats(allow_nan=False), st.none() | st.integers(0, 9)),
        min_size=1,
    )
)
def test_many_rows_have_the_sums_that_each_has_by_itself(
    rows: list[tuple[str, float | None, int | None]],
) -> None:
    names = ("text", "mm", "number")
    alone = [check_sum(zip(names, row, strict=True), ()) for row in rows]
    assert check_sums(names, rows) == alone
