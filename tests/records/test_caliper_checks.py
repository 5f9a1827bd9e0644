"""Checks of calipers are kept in order, and a book from before them is brought up to date."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Migrations

from workbench.errors import InputError
from workbench.records.backup.opening import open_book
from workbench.records.book import Book
from workbench.records.store import schema
from workbench.records.store.database import UnknownRowError
from workbench.records.store.rows import Caliper, CaliperCheck

from .conftest import Shop

OLD_ID = "018f0000-0000-7000-8000-000000000001"


def add(shop: Shop, **changes: Any) -> CaliperCheck:
    columns: dict[str, Any] = {
        "kind": "block", "nominal_text": "25 mm", "nominal_unit": "mm", "nominal_mm": 25.0,
        "reading_text": ".984", "reading_unit": "in", "reading_mm": 24.9936,
    }  # fmt: skip
    return shop.book.add_entry("kl", CaliperCheck(caliper_id=shop.caliper.id, **columns | changes))


def test_checks_come_back_in_order_also_after_closing(shop: Shop) -> None:
    """What was typed, its unit and mm come back exactly, oldest first."""
    zero = add(shop, kind="zero", nominal_text="0", nominal_mm=0.0)
    block = add(shop)
    assert shop.book.checks_of(shop.caliper.id) == (zero, block)
    shop.book.close()
    with Book(shop.book.path) as again:
        assert again.checks_of(shop.caliper.id) == (zero, block)


def test_a_check_belongs_to_the_caliper_also_when_that_is_corrected(shop: Shop) -> None:
    """A corrected caliper keeps its checks; another caliper has none of them."""
    kept = add(shop)
    shop.book.correct_caliper(replace(shop.caliper, name="Caliper Z", jaw_height_mm=16.0))
    other = shop.book.add_caliper(Caliper("", "Caliper B", "mm", 0.01, 0.03))
    assert shop.book.checks_of(shop.caliper.id) == (kept,)
    assert shop.book.checks_of(other.id) == ()


def test_a_struck_check_stays_readable(shop: Shop) -> None:
    """A check withdrawn says why, and is still listed."""
    kept = add(shop)
    strike = shop.book.strike(kept.id, "wrong block", "kl")
    assert shop.book.checks_of(shop.caliper.id) == (replace(kept, struck=strike),)


def test_heights_and_scale_of_a_caliper_are_kept(shop: Shop) -> None:
    """What the register gained comes back; a caliper without it reads None."""
    kept = shop.book.add_caliper(
        Caliper("", "Caliper B", "mm", 0.01, 0.03, None, 4.0, 16.5, "digital")
    )
    assert shop.book.caliper(kept.id) == kept
    assert shop.book.caliper(shop.caliper.id).jaw_height_mm is None


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"kind": "depth"}, "kind"),
        ({"nominal_unit": "cm"}, "nominal_unit"),
        ({"reading_unit": "thou"}, "reading_unit"),
        ({"reading_mm": float("nan")}, "reading_mm"),
        ({"reading_text": "a\0b"}, "reading_text"),
    ],
)
def test_what_cannot_be_kept_is_refused_by_name(
    shop: Shop, changes: dict[str, Any], field: str
) -> None:
    """A wrong column is named, and nothing is kept."""
    with pytest.raises(InputError) as caught:
        add(shop, **changes)
    assert caught.value.field == field
    assert shop.book.checks_of(shop.caliper.id) == ()


def test_a_caliper_that_is_not_there_is_named(shop: Shop) -> None:
    """Neither a check nor a list of checks is to be had of no caliper."""
    with pytest.raises(UnknownRowError, match="caliper: 'gone'"):
        shop.book.checks_of("gone")
    with pytest.raises(UnknownRowError, match="caliper: 'gone'"):
        add(replace(shop, caliper=replace(shop.caliper, id="gone")))


@pytest.mark.usefixtures("begun_by_steps")
def test_a_book_from_before_is_brought_up_to_date_with_a_copy(path: Path) -> None:
    """The old book's calipers stand, a copy is beside it, and both kinds of book are alike."""
    first = Migrations(schema.MIGRATION_SET)
    first(name="first_book")(schema._first_book)
    open_book(path, first, make_folder=False).close()
    with closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA foreign_keys = ON")
        conn.execute(
            """INSERT INTO calipers (id, at, who, root, replaces, name, unit, resolution_mm, mpe_mm)
            VALUES (?, '2031-05-06', 'kl', ?, NULL, 'Old', 'in', 0.0127, 0.02)""",
            [OLD_ID, OLD_ID],
        )
        conn.commit()
    with Book(path) as book:
        assert book.calipers() == (Caliper(OLD_ID, "Old", "in", 0.0127, 0.02),)
        assert book.checks_of(OLD_ID) == ()
        made = book.read(schema.fingerprint)
    with closing(sqlite3.connect(path.with_name("book.before-caliper_checks.db"))) as copy:
        assert copy.execute("SELECT name FROM calipers").fetchall() == [("Old",)]
        assert len(copy.execute("PRAGMA table_info(calipers)").fetchall()) == 9
    with Book(path.with_name("new.db")) as new:
        assert new.read(schema.fingerprint) == made
