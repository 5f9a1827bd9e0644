"""Books that give each other their rows: equal in the end, whatever the order; nothing lost."""

from __future__ import annotations

import copy
import json
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlite_utils import Database

from tests.records.conftest import DAY, Shop, blade, block, furnish, ski
from tests.shop import rows_out
from workbench.errors import InputError
from workbench.records.backup.copies import copy_book
from workbench.records.book import Book
from workbench.records.exchange.arrivals import Brought, clashes
from workbench.records.exchange.form import LOCAL_SETTINGS, rows_said
from workbench.records.exchange.rows_in import take_in
from workbench.records.exchange.rows_out import steps_of
from workbench.records.store import rows
from workbench.records.store.database import Database as Bare
from workbench.records.store.rows import (
    AnyFact,
    Baseline,
    BaselineEntry,
    CaliperCheck,
    Curve,
    Method,
    Pair,
    PassRow,
    Reading,
    RideNote,
    Study,
    StudyReading,
    Target,
    Temperature,
    Turn,
)
from workbench.records.store.schema import APPLIED, QUEUE_OF_ROWS, fingerprint
from workbench.records.store.specs import FACT_TABLES, ORDER, PART_OF, PARTS, SPECS, WITH_IDS, Table
from workbench.records.store.writer import moment_of


def out(book: Book, ski_id: str | None = None) -> dict[str, Any]:
    """The rows of a book as they come out of a file."""
    return json.loads(json.dumps(rows_out(book, ski_id), allow_nan=False))


def give(source: Book, target: Book, ski_id: str | None = None) -> Brought:
    return target.write(take_in, out(source, ski_id))


def queue_of(book: Book) -> tuple[list[Any], list[Any]]:
    def both(db: Database) -> tuple[list[Any], list[Any]]:
        kept = list(db.execute("SELECT * FROM queue ORDER BY job_id"))
        return kept, list(db.execute(QUEUE_OF_ROWS))

    return book._desk.read(both)


class Clock:
    """A clock that a bench's laptop has: ticking, and set wrong now and then."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        self.now += timedelta(milliseconds=700)
        return self.now


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "other.db", bench="other") as book:
        yield book


def test_every_table_of_a_book_has_its_specification(shop: Shop) -> None:
    """A table that a later migration adds is not forgotten, nor a column that is named amiss."""
    made = shop.book.read(
        lambda db: {
            row["name"]: set(db.columns_of(row["name"]))
            for row in db.query("SELECT name FROM sqlite_master WHERE type = 'table'")
        }
    )
    made.pop(APPLIED)
    assert {Table(name) for name in made} == set(SPECS)
    for table, spec in SPECS.items():
        named = {*spec.written, *spec.ranges, *([spec.of] if spec.of else [])}
        for figure in spec.figures:
            named |= {getattr(figure, name) for name in figure.__slots__ if name != "within_mm"}
        assert named <= made[table], table
        assert (spec.row is not None) == (spec.kind in ("fact", "entry"))
        assert spec.part is None or SPECS[spec.part].kind == "part"
        assert ("id" in made[table]) == (table in WITH_IDS)
        assert ("ski_id" in made[table]) == (spec.of == "ski_id"), table
        assert ("root" in made[table]) == (spec.kind == "thing")
        assert ("owner" in made[table]) == (spec.kind == "part")
        assert ("check_sum" in made[table]) == (spec.kind == "fact")
    assert set(FACT_TABLES) == set(get_args(AnyFact))
    assert {*ORDER, Table.OTHER_STRIKES} == set(WITH_IDS)
    assert set(PART_OF.values()) == set(PARTS)


def test_a_book_taken_in_whole_is_the_same_book(shop: Shop, other: Book) -> None:
    """An empty book that takes another in gives the same rows out."""
    play(shop.book, shop)
    give(shop.book, other)
    assert out(other) == out(shop.book)
    assert queue_of(other)[0] == queue_of(shop.book)[0]


def test_a_file_taken_in_twice_brings_nothing_the_second_time(shop: Shop, other: Book) -> None:
    """Ids make it safe."""
    play(shop.book, shop)
    give(shop.book, other)
    again = give(shop.book, other)
    assert (again.new, again.differs, again.struck_twice) == ({}, [], [])
    assert out(other) == out(shop.book)


def test_one_ski_brings_all_it_needs(shop: Shop, other: Book) -> None:
    """Its blade with all its methods, block, caliper, job and facts, but no other ski."""
    play(shop.book, shop)
    second = shop.book.add_ski(ski(shop.blade.id, shop.block.id, shop.method.id, name="Ski B"))
    shop.book.add_job(second.id, DAY)
    give(shop.book, other, shop.ski.id)
    assert [s.name for s in other.skis()] == ["Ski A, corrected"]
    assert other.history_of_ski(shop.ski.id) == shop.book.history_of_ski(shop.ski.id)
    assert other.blade(shop.blade.id) == shop.book.blade(shop.blade.id)
    assert other.block(shop.block.id) == shop.book.block(shop.block.id)
    assert other.methods_of(shop.blade.id) == shop.book.methods_of(shop.blade.id)
    assert other.baselines_of(shop.ski.id) == shop.book.baselines_of(shop.ski.id)
    assert other.caliper(shop.caliper.id) == shop.caliper
    assert other.settings() == {}


def test_rounds_counted_apart_under_one_number_are_both_kept(shop: Shop, other: Book) -> None:
    """Neither bench knew of the other's; from then on the number is taken at both."""
    give(shop.book, other)
    for book, who in ((shop.book, "kl"), (other, "mn")):
        book.add_mark(shop.job.id, who, "step", number=1)
        book.add_fact(shop.job.id, who, rows.PassRow(number=1, turns=(), finest_turn=0.5))
    made = [book.read(fingerprint) for book in (shop.book, other)]
    give(shop.book, other)
    give(other, shop.book)
    assert out(other) == out(shop.book)
    for book in (shop.book, other):
        numbers = [f.number for f in book.facts(shop.job.id) if isinstance(f, PassRow)]
        assert numbers == [1, 1]
        with pytest.raises(InputError, match="counted already"):
            book.add_fact(shop.job.id, "kl", rows.PassRow(number=1, turns=(), finest_turn=0.5))
    assert made == [book.read(fingerprint) for book in (shop.book, other)]
    with Book(other.path) as again:
        assert len(again.facts(shop.job.id)) == 4


def test_what_belongs_to_one_bench_stays_at_home(shop: Shop, other: Book) -> None:
    """The ski in hand, drafts, theme, initials; the shop's name travels."""
    for name in LOCAL_SETTINGS:
        shop.book.set_setting(name, "ours")
    shop.book.set_setting("shop", "The boathouse")
    give(shop.book, other)
    assert other.settings() == {"shop": "The boathouse"}


def test_a_file_that_brings_such_a_setting_is_taken_in_without_it(shop: Shop, other: Book) -> None:
    """It says so, and keeps the rest."""
    shop.book.set_setting("shop", "The boathouse")
    rows = out(shop.book)
    rows["settings"].append(rows["settings"][0] | {"id": new_id(shop.book), "name": "draft"})
    brought = other.write(take_in, rows)
    assert brought.settings_left == ["draft"]
    assert other.settings() == {"shop": "The boathouse"}


def test_rows_that_refer_to_what_is_nowhere_are_refused_by_name(shop: Shop, other: Book) -> None:
    """Nothing is kept, and the message says what is missing."""
    rows = out(shop.book)
    before = out(other)
    rows["blades"] = []
    with pytest.raises(InputError, match=r"refers to.*blades.*in this file or in the book"):
        other.write(take_in, rows)
    assert out(other) == before


def test_what_is_missing_in_the_file_may_be_here(shop: Shop, other: Book) -> None:
    """A later file needs not bring again what came before."""
    give(shop.book, other)
    shop.book.add_fact(shop.job.id, "KV", shop.taken())
    late = {"readings": out(shop.book)["readings"]}
    other.write(take_in, late)
    assert out(other) == out(shop.book)


def test_a_row_with_other_content_is_never_overwritten(shop: Shop, other: Book) -> None:
    """Ours stands, the difference is listed with both values, and the rest is taken in."""
    give(shop.book, other)
    shop.book.add_fact(shop.job.id, "KV", shop.taken())
    rows = out(shop.book)
    rows["skis"][0]["name"] = "Another name"
    brought = other.write(take_in, rows)
    (found,) = brought.differs
    assert (found.column, found.ours, found.theirs) == ("name", "Ski A", "Another name")
    assert out(other) == out(shop.book)


def test_parts_that_differ_are_a_difference_of_their_row(shop: Shop, other: Book) -> None:
    """A block's studs are the block."""
    give(shop.book, other)
    rows = out(shop.book)
    rows["blocks"][0]["studs"][0]["lead_mm"] = 0.7
    (found,) = other.write(take_in, rows).differs
    assert found.column == "studs"
    assert other.block(shop.block.id) == shop.block


def test_both_benches_correct_one_ski(shop: Shop, other: Book) -> None:
    """The later correction is in force on both, the earlier stays readable, and it is said."""
    give(shop.book, other)
    shop.book.correct_ski(replace(shop.ski, rider="Ours"))
    other.correct_ski(replace(shop.ski, rider="Theirs"))
    give(other, shop.book)
    assert [c.kind for c in shop.book.read(clashes)] == ["corrected"]
    give(shop.book, other)
    assert out(shop.book) == out(other)
    assert shop.book.ski(shop.ski.id).rider == other.ski(shop.ski.id).rider == "Theirs"
    shop.book.correct_ski(replace(shop.ski, rider="Settled"))
    give(shop.book, other)
    assert other.ski(shop.ski.id).rider == "Settled"


def test_both_benches_strike_one_row(shop: Shop, other: Book) -> None:
    """Neither strike is lost, each book keeps showing the one it knew, and the books are equal."""
    reading = shop.book.add_fact(shop.job.id, "KV", shop.taken())
    give(shop.book, other)
    ours = shop.book.strike(reading.id, "typed wrong", "KV")
    theirs = other.strike(reading.id, "wrong caliper", "ML")
    brought = give(other, shop.book)
    (twice,) = brought.struck_twice
    assert (twice.ours["reason"], twice.theirs["reason"]) == ("typed wrong", "wrong caliper")
    give(shop.book, other)
    assert out(shop.book) == out(other)
    assert [row["reason"] for row in out(other)["strikes"]] == ["typed wrong", "wrong caliper"]
    assert shop.book.facts(shop.job.id)[0].struck == replace(ours, others=(theirs,))
    assert other.facts(shop.job.id)[0].struck == replace(theirs, others=(ours,))
    assert not give(other, shop.book).new
    assert len(out(shop.book, shop.ski.id)["strikes"]) == 2


def test_both_benches_strike_one_measurement_of_a_base(shop: Shop, other: Book) -> None:
    """What belongs to no job shows both strikes too."""
    curve = shop.book.add_entry(
        "KV",
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
    give(shop.book, other)
    ours = shop.book.strike(curve.id, "typed wrong", "KV")
    theirs = other.strike(curve.id, "wrong place", "ML")
    give(other, shop.book)
    (kept,) = shop.book.curves_of(shop.ski.id)
    assert kept.struck == replace(ours, others=(theirs,))


def test_a_book_from_before_other_strikes_gives_the_same_file(
    shop: Shop, other: Book, tmp_path: Path
) -> None:
    """What such a book kept as settings is told as strikes, once, and both can be read."""
    reading = shop.book.add_fact(shop.job.id, "KV", shop.taken())
    give(shop.book, other)
    shop.book.strike(reading.id, "typed wrong", "KV")
    other.strike(reading.id, "wrong caliper", "ML")
    give(other, shop.book)
    path = before_other_strikes(shop.book, tmp_path / "old.db")
    with Book(path, bench="old") as old:
        assert out(old) == out(shop.book)
        assert "other_strikes" not in old.read(steps_of)  # so that older benches take its files in
        assert old.facts(shop.job.id) == shop.book.facts(shop.job.id)
        assert not give(shop.book, old).new
        assert out(old, shop.ski.id) == out(shop.book, shop.ski.id)


def test_an_other_strike_that_cannot_be_read_does_not_keep_the_book_shut(
    shop: Shop, tmp_path: Path
) -> None:
    """It stays the setting that it was."""
    shop.book.set_setting("second strike of x", "not JSON")
    shop.book.set_setting("second strike of y", "{}")
    path = before_other_strikes(shop.book, tmp_path / "old.db")
    with Book(path, bench="old") as old:
        assert old.setting("second strike of x") == "not JSON"
        assert out(old)["strikes"] == []


def before_other_strikes(book: Book, path: Path) -> Path:
    """Write a copy of a book as it was made before other strikes had a table of their own."""
    copy_book(book.path, path)
    with closing(sqlite3.connect(path, isolation_level=None)) as conn:
        kept = conn.execute("SELECT * FROM other_strikes").fetchall()
        conn.execute("DROP TABLE other_strikes")
        conn.execute("DELETE FROM _sqlite_migrations WHERE name = 'other_strikes'")
        for row_id, at, who, row_table, struck, reason, replaced_by in kept:
            value = {"row_table": row_table, "reason": reason, "replaced_by": replaced_by}
            row = (row_id, at, who, f"second strike of {struck}", json.dumps(value))
            conn.execute("INSERT INTO settings VALUES (?, ?, ?, ?, ?)", row)
        conn.execute(f"PRAGMA user_version = {fingerprint(Bare(conn))}")
    return path


def test_the_clashes_of_two_shops_with_like_names(shop: Shop, other: Book) -> None:
    """One serial with two names, one name with two serials, parts of one name: all are said."""
    theirs = furnish(other)
    other.correct_ski(replace(theirs.ski, name="Ski Z"))
    other.add_ski(replace(ski(theirs.blade.id, theirs.block.id, theirs.method.id), serial="S-2"))
    give(other, shop.book)
    found = shop.book.read(clashes)
    assert {(c.kind, c.table.value) for c in found} == {
        ("serial", "skis"), ("name", "skis"), ("twins", "blades"), ("twins", "blocks"),
        ("twins", "calipers"),
    }  # fmt: skip
    serial = next(c for c in found if c.kind == "serial")
    assert (serial.subject, serial.others) == ("S-1", ("Ski A", "Ski Z"))


def test_the_last_move_of_a_job_counts_whichever_comes_in_last(shop: Shop, other: Book) -> None:
    """Both benches carried the job on; the queue is the same at both."""
    give(shop.book, other)
    shop.book.carry_job(shop.job.id, "2031-05-07")
    other.carry_job(shop.job.id, "2031-05-08")
    give(shop.book, other)
    give(other, shop.book)
    assert shop.book.job(shop.job.id) == other.job(shop.job.id)
    assert other.job(shop.job.id).day == "2031-05-08"


def test_a_ski_queued_and_worked_on_at_both_benches_is_said(shop: Shop, other: Book) -> None:
    """So that somebody looks it over."""
    give(shop.book, other)
    shop.book.add_fact(shop.job.id, "KV", shop.taken())
    other.add_fact(shop.job.id, "ML", shop.taken("2.451", 62.2554))
    other.add_job(shop.ski.id, DAY)
    give(other, shop.book)
    found = shop.book.read(clashes)
    assert [(c.kind, c.subject, c.others) for c in found] == [
        ("queued", "Ski A", (DAY, DAY)),
        ("worked", "Ski A", (DAY,)),
    ]


def test_ids_to_come_follow_those_taken_in(tmp_path: Path, other: Book) -> None:
    """Also where this bench's clock was set back: the order of events is kept."""
    clock = Clock(datetime.now(UTC) + timedelta(hours=20))
    with Book(tmp_path / "ahead.db", clock=clock) as ahead:
        shop = furnish(ahead)
        ahead.add_fact(shop.job.id, "KV", shop.taken())
        give(ahead, other)
    late = other.add_fact(shop.job.id, "ML", shop.taken("2.451", 62.2554))
    assert [f.id for f in other.facts(shop.job.id)][-1] == late.id


@pytest.mark.parametrize("later", [timedelta(hours=30), timedelta(days=365 * 170)])
def test_ids_of_a_time_to_come_are_refused_and_drag_nothing_along(
    tmp_path: Path, other: Book, later: timedelta
) -> None:
    """Rows made here afterwards would be later than what others do after them."""
    clock = Clock(datetime.now(UTC) + later)
    with Book(tmp_path / "ahead.db", clock=clock) as ahead:
        furnish(ahead)
        with pytest.raises(InputError, match=r"rows\..*\.id.*no later than a day from now.*clocks"):
            give(ahead, other)
    assert not any(out(other).values())
    newest = moment_of(new_id(other))
    assert abs(newest - datetime.now(UTC)) < timedelta(hours=1)


def test_ids_to_come_that_are_here_already_are_passed_over(tmp_path: Path, other: Book) -> None:
    """A file with old rows of a wrong clock comes in where they came in before."""
    with Book(tmp_path / "ahead.db", clock=Clock(datetime.now(UTC) + timedelta(hours=20))) as ahead:
        furnish(ahead)
        give(ahead, other)
        behind = Clock(datetime.now(UTC) - timedelta(days=3))
        with Book(other.path, clock=behind) as again:
            assert not give(ahead, again).new


def test_a_rolled_back_batch_leaves_neither_rows_nor_ids(shop: Shop, other: Book) -> None:
    """A dry run: the mint does not follow what was not kept."""
    before = out(other)

    def try_it() -> None:
        other.write(take_in, out(shop.book), follow=False)
        raise RuntimeError

    with pytest.raises(RuntimeError):
        other.batch(try_it)
    assert out(other) == before


# Files that no book of ours wrote ------------------------------------------------------------


def new_id(book: Book) -> str:
    book.set_setting("shop", "x")
    return out(book)["settings"][-1]["id"]


def _set(table: str, column: str, value: object) -> Callable[[dict[str, Any]], None]:
    def change(rows: dict[str, Any]) -> None:
        rows[table][0][column] = value

    return change


def _of(path: str, value: object) -> Callable[[dict[str, Any]], None]:
    def change(rows: dict[str, Any]) -> None:
        *most, last = path.split(".")
        at: Any = rows
        for key in most:
            at = at[int(key)] if key.isdigit() else at[key]
        at[int(last) if last.isdigit() else last] = value

    return change


BROKEN: dict[str, tuple[Callable[[dict[str, Any]], None], str]] = {
    "an unknown table": (_of("wheels", []), r"rows: 'wheels'.*one of"),
    "the queue": (_of("queue", []), r"rows: 'queue'.*one of"),
    "no list": (_of("skis", {}), r"rows\.skis.*a list"),
    "no row": (_of("skis.0", 7), r"rows\.skis\[0\].*a row"),
    "an unknown column": (_of("skis.0.colour", "red"), r"rows\.skis\[0\]: 'colour'.*known"),
    "replaces": (_of("skis.0.replaces", None), r"replaces.*known"),
    "a number for a text": (_of("skis.0.name", 7), r"rows\.skis\[0\]\.name: 7.*a text"),
    "a text for a number": (_of("readings.0.mm", "62"), r"rows\.readings\[0\]\.mm.*a number"),
    "true for a number": (_of("readings.0.mm", True), r"mm: True.*a number"),
    "a fraction for a whole number": (_of("readings.0.pass_number", 0.5), r"whole number"),
    "null where something must be": (_of("readings.0.mm", None), r"mm: None.*a number"),
    "an infinite number": (_of("readings.0.mm", float("inf")), r"sane size"),
    "not a number": (_of("readings.0.mm", float("nan")), r"sane size"),
    "a huge whole number": (_of("readings.0.pass_number", 10**400), r"sane size"),
    "a huge number": (_of("readings.0.mm", 10**400), r"sane size"),
    "a choice that is none": (_of("readings.0.unit", "ft"), r"readings\[0\]\.unit: 'ft'.*'in'"),
    "a choice in a part": (_of("blocks.0.studs.0.hand", "up"), r"blocks\[0\]\.hand: 'up'.*right"),
    "a negative pass": (_of("readings.0.pass_number", -1), r"pass_number: -1"),
    "no id": (_of("skis.0.id", "1"), r"rows\.skis\[0\]\.id.*an id as a book gives"),
    "an id of the last year": (
        _of("skis.0.id", "ffffffff-ffff-7fff-bfff-ffffffffffff"), r"before 2200"),
    "a time that is none": (_of("skis.0.at", "yesterday"), r"skis\[0\]\.at.*a time such as"),
    "a day that is none": (_of("jobs.0.day", "2031-02-30"), r"jobs\[0\]\.day.*YYYY"),
    "an outline that is none": (_of("blades.0.outline_mm", "[[1]]"), r"outline_mm.*points"),
    "an outline of nothing": (_of("blades.0.outline_mm", "[]"), r"outline_mm.*points"),
    "an outline too deep": (_of("blades.0.outline_mm", "[" * 90_000), r"outline_mm.*points"),
    "an endless coordinate": (
        _of("blades.0.outline_mm", f"[[0,0],[1,1{'0' * 400}]]"), r"outline_mm"),
    "a finest turn that hangs": (_of("blocks.0.finest_turn", 1e-300), r"finest_turn.*0 \(exact"),
    "a finest mark that is none": (_of("marks.0.text", "x"), r"marks\[0\]\.text.*finest"),
    "a wanted wing that is no angle": (_of("marks.1.text", "steep"), r"marks\[1\]\.text.*degrees"),
    "a wanted wing that is endless": (_of("marks.1.text", "1e999"), r"marks\[1\]\.text.*degrees"),
    "a wing held nowhere": (_of("marks.1.number", 4), r"marks\[1\]\.number.*1 front"),
    "half a surrogate": (_of("skis.0.name", "\ud800"), r"skis\[0\]\.name.*surrogates"),
    "a NUL": (_of("skis.0.name", "a\0b"), r"skis\[0\]\.name.*NUL"),
    "a name of megabytes": (_of("skis.0.name", "x" * 1_000_001), r"at most 1000000 char"),
    "a root of later": (
        _of("skis.0.root", "7fffffff-ffff-7fff-bfff-ffffffffffff"), r"root.*earlier one"),
    "a strike of no table": (_of("strikes.0.row_table", "queue"), r"strikes\[0\]\.row_table"),
    "a strike without a reason": (_of("strikes.0.reason", " "), r"strikes\[0\]\.reason"),
    "a strike of nothing": (
        _of("strikes.0.row_id", "01a1e886-1218-7000-ba0f-a0b5f9b258c0"), r"strikes\[0\] refers"),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN)
def test_a_file_no_book_wrote_is_refused_whole(shop: Shop, other: Book, case: str) -> None:
    """The message names place, value and what is accepted; the book is as it was."""
    play(shop.book, shop)
    rows = out(shop.book)
    change, words = BROKEN[case]
    change(rows)
    before = out(other)
    with pytest.raises(InputError, match=words):
        other.write(take_in, rows)
    assert out(other) == before
    assert not other.skis()


def test_two_rows_of_one_id_are_refused(shop: Shop, other: Book) -> None:
    """In one table, in two tables, and where the book has it in another table."""
    rows = out(shop.book)
    twice = copy.deepcopy(rows)
    twice["skis"].append(dict(twice["skis"][0]))
    with pytest.raises(InputError, match=r"skis\[1\]\.id.*an id once; rows\.skis\[0\]"):
        other.write(take_in, twice)
    give(shop.book, other)
    setting = {"id": shop.ski.id, "at": rows["skis"][0]["at"], "who": "", "name": "x", "value": ""}
    with pytest.raises(InputError, match="an id of its own; a row of skis has this one"):
        other.write(take_in, {"settings": [setting]})


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    with Book(tmp_path_factory.mktemp("sample") / "a.db") as book:
        play(book, furnish(book))
        return out(book)


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    with Book(tmp_path_factory.mktemp("target") / "b.db") as book:
        yield book


class Undone(Exception):
    """Ends a batch that is only tried."""


@given(data=st.data())
@settings(max_examples=250)
def test_no_change_of_a_file_crashes_or_leaves_half_of_it(
    sample: dict[str, Any], target: Book, data: st.DataObject
) -> None:
    """Whatever stands in a file, it is taken in whole or refused with a place."""
    rows = copy.deepcopy(sample)
    for _ in range(data.draw(st.integers(1, 3))):
        table = data.draw(st.sampled_from(sorted(t for t, listed in rows.items() if listed)))
        if not isinstance(rows[table], list):
            continue
        row = data.draw(st.sampled_from(rows[table]))
        if not isinstance(row, dict):
            continue
        column = data.draw(st.sampled_from(sorted(row)))
        donor = data.draw(
            st.sampled_from([None, *(name for name, listed in rows.items() if listed)])
        )
        row[column] = data.draw(json_values) if donor is None else rows[donor][0]["id"]

    def try_it() -> None:
        target.write(take_in, rows, follow=False)
        raise Undone

    with pytest.raises((InputError, Undone)):
        target.batch(try_it)
    assert not target.skis()


# Any order -----------------------------------------------------------------------------------


def play(book: Book, shop: Shop) -> None:
    """Something in every table."""
    job, method, caliper = shop.job.id, shop.method.id, shop.caliper.id
    warm = book.add_fact(
        job,
        "KV",
        Temperature(
            text="24",
            unit="C",
            blade_c=24.0,
            caliper_c=23.0,
            blade_material="aluminium",
            caliper_material="steel",
        ),
    )
    taken = replace(shop.taken(), temperature_id=warm.id)
    reading = book.add_fact(job, "KV", taken)
    book.correct_reading(reading.id, "KV", "typed wrong", taken)
    book.add_mark(job, "KV", "finest", text="0.0625")
    book.add_mark(job, "KV", "wing_aim", number=1, text="7.5")
    book.add_fact(
        job,
        "KV",
        Target(method_id=method, text="+.01", unit="in", kind="change", mm=19.3, tolerance_mm=0.05),
    )
    book.add_fact(
        job, "KV", rows.PassRow(number=1, turns=(Turn("front", 0.3, 0.25),), finest_turn=0.125)
    )
    book.add_fact(job, "KV", rows.Tick(checklist="final", item="clamp", text="clamp bolts"))
    book.add_fact(
        job, "KV", rows.WingSetting(text="7.5", angle_deg=7.5, hold="front", gauge="7 to 8")
    )
    book.add_fact(job, "KV", RideNote(text="held well", complaints=("tail", "slow"), rating=4))
    book.move_job(job, 0.5)
    book.add_fact(job, "KV", rows.SignOff())
    entry = BaselineEntry("tail, tips", ".750", "in", 19.05, 0.05)
    book.add_baseline(Baseline("", shop.ski.id, "start", (entry,)))
    book.add_entry(
        "",
        CaliperCheck(
            caliper_id=caliper,
            kind="zero",
            nominal_text="0",
            nominal_unit="in",
            nominal_mm=0.0,
            reading_text="0",
            reading_unit="in",
            reading_mm=0.0,
        ),
    )
    book.add_entry(
        "KV",
        Pair(
            ski_id=shop.ski.id,
            method_id=method,
            text="1",
            unit="in",
            mm=25.4,
            other_method_id=method,
            other_text="1",
            other_unit="in",
            other_mm=25.4,
        ),
    )
    book.add_entry(
        "KV",
        Curve(
            ski_id=shop.ski.id,
            kind="sagitta",
            text="1",
            unit="mm",
            from_x_mm=0.0,
            to_x_mm=100.0,
            sagitta_mm=1.0,
            radius_mm=None,
            apex_mm=None,
        ),
    )
    study = book.add_entry(
        "KV",
        Study(
            name="s",
            what="tail",
            unit="in",
            parts=("a",),
            people=("KV",),
            trials=1,
            sequence=[(0, 0, 0)],
        ),
    )
    book.add_entry(
        "KV",
        StudyReading(
            study_id=study.id, part="a", person="KV", trial=0, text="1", unit="in", mm=25.4
        ),
    )
    book.correct_ski(replace(shop.ski, name="Ski A, corrected", size="67"))
    book.set_setting("shop", "The boathouse")


@dataclass
class Bench:
    """A book and what can be done at it by a number."""

    book: Book

    def do(self, what: int, pick: int) -> None:
        jobs = [row["id"] for row in out(self.book)["jobs"]]
        skis = self.book.skis()
        if what == 0 or not skis:
            the_blade, the_block = self.book.add_blade(blade()), self.book.add_block(block())
            self.book.add_ski(ski(the_blade.id, the_block.id, name=f"Ski {pick}"))
            return
        one = skis[pick % len(skis)]
        if what == 1:
            self.book.correct_ski(replace(one, rider=f"Rider {pick}"))
        elif what == 2 or not jobs:
            self.book.add_job(one.id, f"2031-05-{pick % 9 + 1:02}")
        elif what == 3:
            self.book.move_job(jobs[pick % len(jobs)], float(pick))
        elif what == 4:
            self.book.add_fact(jobs[pick % len(jobs)], "KV", rows.SignOff())
        elif what == 5:
            self.book.set_setting(("shop", "draft")[pick % 2], str(pick))
        elif what == 6:
            self._read(jobs[pick % len(jobs)], one.blade_id, pick)
        else:
            self._strike(pick)

    def _read(self, job: str, blade_id: str, pick: int) -> None:
        known = self.book.methods_of(blade_id)
        method = (
            known[0] if known else self.book.add_method(Method("", blade_id, "m", "tail", (0, 0)))
        )
        self.book.add_fact(
            job,
            "KV",
            rows.Reading(
                method_id=method.id, pass_number=0, text=str(pick), unit="mm", mm=float(pick)
            ),
        )

    def _strike(self, pick: int) -> None:
        rows = out(self.book)
        live = {row["row_id"] for row in rows["strikes"]}
        found = [
            row["id"]
            for table in ("readings", "jobs", "sign_offs", "skis")
            for row in rows[table]
            if row["id"] not in live and row.get("root", row["id"]) == row["id"]
        ]
        if found:
            self.book.strike(found[pick % len(found)], f"reason {pick}", "KV")


@cache
def new_book() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "new.db"
        Book(path).close()
        return path.read_bytes()


steps = st.lists(
    st.tuples(st.integers(0, 2), st.integers(-4, 8), st.integers(0, 40)), min_size=4, max_size=24
)


offsets = st.tuples(*[st.integers(-700, 700)] * 3)
"""Minutes: clocks more than a day apart are refused (tests/records/test_time.py)."""


@given(steps=steps, offsets=offsets)
@settings(max_examples=20)
def test_books_that_have_each_others_rows_are_equal(
    steps: list[tuple[int, int, int]], offsets: tuple[int, int, int]
) -> None:
    """Three benches, clocks apart, at work, with files between them now and then, in any order.

    A file is the whole book or one ski, may be stale, and may come in again.
    """
    interleave(steps, offsets)


@pytest.mark.long
@given(steps=steps, offsets=offsets)
@settings(max_examples=1500)
def test_many_more_books_that_have_each_others_rows_are_equal(
    steps: list[tuple[int, int, int]], offsets: tuple[int, int, int]
) -> None:
    """The same at length."""
    interleave(steps, offsets)


def interleave(steps: list[tuple[int, int, int]], offsets: tuple[int, int, int]) -> None:
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        for i in range(3):
            (Path(folder) / f"{i}.db").write_bytes(new_book())
        start = datetime(2031, 5, 6, 9, tzinfo=UTC)
        benches = [
            Bench(
                stack.enter_context(
                    Book(
                        Path(folder) / f"{i}.db",
                        bench=f"bench {i}",
                        clock=Clock(start + timedelta(minutes=offset)),
                    )
                )
            )
            for i, offset in enumerate(offsets)
        ]
        files: list[dict[str, Any]] = []
        for who, what, pick in steps:
            bench = benches[who]
            if what >= 0:
                bench.do(what, pick)
            elif what >= -2 or not files:
                skis = bench.book.skis()
                only = skis[pick % len(skis)].id if skis and what == -1 else None
                files.append(out(bench.book, only))
            else:
                brought = bench.book.write(take_in, files[pick % len(files)])
                assert not brought.differs
        for order in (benches, benches[::-1]):
            for source in order:
                for target in order:
                    give(source.book, target.book)
        first = out(benches[0].book)
        for bench in benches:
            assert out(bench.book) == first
            kept, reckoned = queue_of(bench.book)
            assert kept == reckoned == queue_of(benches[0].book)[0]
            assert bench.book.skis() == benches[0].book.skis()
            readings = [f for job in first["jobs"] for f in bench.book.facts(job["id"])]
            assert sum(isinstance(f, Reading) for f in readings) == len(first["readings"])


@pytest.mark.parametrize(
    "lines",
    [
        ['{"id": "a", "id": "b"}'],
        ['{"id": "a", "mm": NaN}'],
        ['{"id": "a", "text": "\\u0000"}'],
        ['{"id": "a", "text": "\\ud800"}'],
        ['{"id": "a"}, {"id": "b"}'],
        ['{"id": "a"'],
    ],
)
def test_lines_that_are_doubtful_are_not_read_together(lines: list[str]) -> None:
    assert rows_said(['{"id": "0"}', '{"id": "1"}']) == [{"id": "0"}, {"id": "1"}]
    assert rows_said(lines) is None
