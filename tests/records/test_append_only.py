"""The database itself refuses to change or remove a kept row."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.shop import rows_out
from workbench.records.book import Book
from workbench.records.exchange.rows_in import take_in
from workbench.records.store import rows
from workbench.records.store.rows import (
    Baseline,
    BaselineEntry,
    CaliperCheck,
    Curve,
    LockedReading,
    Pair,
    RideNote,
    Study,
    StudyReading,
    Target,
    Temperature,
    Turn,
)
from workbench.records.store.specs import AT_HOME, FACTS, PARTS, WITH_IDS, Table
from workbench.records.store.writer import Pen

from .conftest import furnish

pytestmark = pytest.mark.usefixtures("begun_by_steps")

KEPT = (*WITH_IDS, *PARTS)


@pytest.fixture(scope="module")
def full_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with at least one row in every table."""
    path = tmp_path_factory.mktemp("full") / "book.db"
    with Book(path) as book:
        shop = furnish(book)
        job = shop.job.id
        entry = BaselineEntry("tail, tips", "18.5", "mm", 18.5, 0.05)
        book.add_baseline(Baseline("", shop.ski.id, "spring", (entry,)))
        book.set_setting("unit", "in")
        book.move_job(job, 3.0)
        reading = book.add_fact(job, "kl", shop.taken())
        book.add_fact(
            job,
            "kl",
            Target(
                method_id=shop.method.id,
                text="2.46",
                unit="in",
                kind="value",
                mm=62.484,
                tolerance_mm=0.05,
            ),
        )
        book.add_fact(
            job, "kl", rows.PassRow(number=1, turns=(Turn("front", 0.1, 0.125),), finest_turn=0.125)
        )
        book.add_mark(job, "kl", "seated")
        book.add_fact(job, "kl", rows.Tick(checklist="final", item="bolts"))
        book.add_fact(job, "kl", rows.WingSetting(text="8", angle_deg=8.0))
        book.add_fact(job, "kl", rows.SignOff())
        book.add_fact(job, "kl", RideNote(text="fine"))
        book.add_entry(
            "",
            CaliperCheck(
                caliper_id=shop.caliper.id,
                kind="zero",
                nominal_text="0",
                nominal_unit="in",
                nominal_mm=0.0,
                reading_text="0.0005",
                reading_unit="in",
                reading_mm=0.0127,
            ),
        )
        book.add_fact(
            job, "kl", LockedReading(method_id=shop.method.id, text="2.45", unit="in", mm=62.23)
        )
        book.add_fact(
            job,
            "kl",
            Temperature(
                text="31",
                unit="C",
                blade_c=31.0,
                caliper_c=24.0,
                blade_material="aluminium",
                caliper_material="steel",
            ),
        )
        book.add_entry(
            "kl",
            Pair(
                ski_id=shop.ski.id,
                method_id=shop.method.id,
                text="18.5",
                unit="mm",
                mm=18.5,
                other_method_id=shop.method.id,
                other_text="19",
                other_unit="mm",
                other_mm=19.0,
            ),
        )
        book.add_entry(
            "kl",
            Curve(
                ski_id=shop.ski.id,
                kind="sagitta",
                text="0.2",
                unit="mm",
                from_x_mm=0.0,
                to_x_mm=150.0,
                sagitta_mm=0.2,
                radius_mm=14062.6,
                apex_mm=75.0,
            ),
        )
        study = book.add_entry(
            "kl",
            Study(
                name="slow hour",
                what="tail, tips",
                unit="mm",
                parts=("one", "two"),
                people=("KL", "RB"),
                trials=1,
                sequence=((0, 0, 0), (1, 1, 0), (1, 0, 0), (0, 1, 0)),
            ),
        )
        book.add_entry(
            "kl",
            StudyReading(
                study_id=study.id, part="one", person="KL", trial=0, text="18.5", unit="mm", mm=18.5
            ),
        )
        book.strike(reading.id, "slip", "kl")
        (ours,) = rows_out(book)["strikes"]
        last = "1" if ours["id"].endswith("0") else "0"
        book.write(
            take_in, {"strikes": [ours | {"id": ours["id"][:-1] + last, "reason": "slipped"}]}
        )
    return path


@pytest.fixture
def raw(full_book: Path) -> Iterator[sqlite3.Connection]:
    """A connection of some other program, with none of our settings."""
    with closing(sqlite3.connect(full_book)) as conn:
        yield conn
        conn.rollback()


def test_every_table_is_covered(raw: sqlite3.Connection) -> None:
    """Every table is strict and, the reckoned queue apart, in the list that is guarded here."""
    listed = raw.execute(
        "SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND type = 'table'"
    ).fetchall()
    tables = {name: strict for name, strict in listed if not name.startswith(("sqlite_", "_"))}
    assert set(tables) == {table.value for table in Table}
    assert all(tables.values())
    assert {*KEPT, *AT_HOME, Table.QUEUE} == set(Table)


@pytest.mark.parametrize("table", KEPT)
def test_no_row_is_changed_removed_or_replaced(raw: sqlite3.Connection, table: Table) -> None:
    """UPDATE, DELETE and INSERT OR REPLACE are refused for every row of every table."""
    before = raw.execute(f"SELECT * FROM {table}").fetchall()
    assert before
    column = "owner" if table in PARTS else "at"
    for change in (
        f"UPDATE {table} SET {column} = {column}",
        f"DELETE FROM {table}",
        f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    ):
        with pytest.raises(sqlite3.IntegrityError, match=f"{table}: rows are kept as they are"):
            raw.execute(change)
    assert raw.execute(f"SELECT * FROM {table}").fetchall() == before


def test_a_strike_cannot_be_replaced_by_another(raw: sqlite3.Connection) -> None:
    """A second strike of a row does not push the first out, even with REPLACE."""
    with pytest.raises(sqlite3.IntegrityError, match="strikes: rows are kept"):
        raw.execute(
            """INSERT OR REPLACE INTO strikes
            SELECT 'new', at, who, row_table, row_id, 'other', replaced_by FROM strikes"""
        )


def test_every_reference_is_sound(raw: sqlite3.Connection) -> None:
    """No row points at a row that is not there."""
    assert raw.execute("PRAGMA foreign_key_check").fetchall() == []


def test_a_misspelt_table_is_an_error_not_a_new_table(full_book: Path) -> None:
    """A write to a table that does not exist makes none."""

    def misspell(pen: Pen) -> None:
        pen.insert("readng", id="1")  # type: ignore[arg-type]

    with Book(full_book) as book:
        with pytest.raises(OSError, match="no such table: readng"):
            book.write(misspell)
        names = book.read(lambda db: [r[0] for r in db.execute("SELECT name FROM sqlite_master")])
    assert "readng" not in names


def test_how_the_connection_is_set(full_book: Path) -> None:
    """Foreign keys on, write-ahead log, full synchronous (2)."""
    with Book(full_book) as book:
        for pragma, value in (("foreign_keys", 1), ("journal_mode", "wal"), ("synchronous", 2)):
            found = book.read(lambda db, p=pragma: db.execute(f"PRAGMA {p}").fetchone()[0])
            assert found == value


def test_queries_of_the_bench_use_an_index(full_book: Path) -> None:
    """No query that runs at the bench reads a whole table of facts or jobs."""
    from workbench.records.tables import facts, jobs

    asked = [
        *(facts._FACTS.format(table=table) for table in FACTS),
        facts._TURNS,
        jobs._ITEM.format(where="q.day = ? AND q.struck = 0"),
        jobs._ITEM.format(where="q.open = 1 AND q.struck = 0 AND q.day < ?"),
    ]
    with closing(sqlite3.connect(full_book)) as conn:
        for sql in asked:
            plan = conn.execute(f"EXPLAIN QUERY PLAN {sql}", ["[]"]).fetchall()
            scans = [row[3] for row in plan if row[3].startswith("SCAN")]
            assert all(scan.startswith("SCAN o VIRTUAL TABLE") for scan in scans), scans


def test_nan_never_reaches_the_database_as_nothing(full_book: Path) -> None:
    """SQLite would keep a NaN as NULL; where NULL is allowed it must not slip in that way."""
    with Book(full_book) as book:
        the_ski = book.skis()[0]
        with pytest.raises(ValueError, match="base_radius_mm: nan"):
            book.add_ski(type(the_ski)(**_columns(the_ski) | {"base_radius_mm": math.nan}))
        assert book.skis() == (the_ski,)


def _columns(thing: object) -> dict[str, object]:
    return {name: getattr(thing, name) for name in type(thing).__slots__}  # type: ignore[attr-defined]
