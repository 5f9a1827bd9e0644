"""A small invented shop for the tests of the book."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.store.rows import (
    Blade,
    Block,
    Caliper,
    Hole,
    Job,
    Method,
    Ski,
    Stud,
)

DAY = "2031-05-06"


@dataclass(frozen=True)
class Shop:
    """The rows that most tests start from."""

    book: Book
    blade: Blade
    block: Block
    method: Method
    caliper: Caliper
    ski: Ski
    job: Job

    def taken(self, text: str = "2.450", mm: float = 62.23) -> rows.Reading:
        return rows.Reading(
            method_id=self.method.id,
            pass_number=0,
            text=text,
            unit="in",
            mm=mm,
            caliper_id=self.caliper.id,
        )


def blade(name: str = "Plate A") -> Blade:
    return Blade(
        id="",
        name=name,
        outline_mm=((0.0, 0.0), (180.0, 0.0), (60.1, 88.7), (0.0, 20.0)),
        top_edge_mm=((0.0, 0.0), (180.0, 0.0)),
        back_edge_mm=((0.0, 0.0), (0.0, 20.0)),
        holes=(Hole("2", 40.0, 76.0, 7.5), Hole("1", 30.0, 70.0, 7.5)),
        source_text="as typed",
    )


def block(name: str = "Block A") -> Block:
    front = Stud("front", "top", (170.0, -40.0), (0.0, 1.0), "M5x0.8", 0.8, travel_mm=(0.0, 9.0))
    back = Stud("back", "back", (-30.0, 10.0), (1.0, 0.0), "10-32 UNF", 0.79375, hand="left")
    return Block(id="", name=name, studs=(front, back), finest_turn=0.125)


def ski(blade_id: str, block_id: str, *methods: str, name: str = "Ski A") -> Ski:
    return Ski(
        id="",
        name=name,
        model="Practice 66",
        serial="S-1",
        rider="A. Rider",
        unit="in",
        blade_id=blade_id,
        block_id=block_id,
        base_radius_mm=3800.0,
        base_apex_mm=90.0,
        has_wing=True,
        methods=methods,
    )


def furnish(book: Book) -> Shop:
    the_blade = book.add_blade(blade())
    the_block = book.add_block(block())
    method = book.add_method(Method("", the_blade.id, "tail, tips", "tail", (0.25, 0.25)))
    caliper = book.add_caliper(Caliper("", "Caliper A", "in", 0.0127, 0.02))
    the_ski = book.add_ski(ski(the_blade.id, the_block.id, method.id))
    job = book.add_job(the_ski.id, DAY, "10:30")
    return Shop(book, the_blade, the_block, method, caliper, the_ski, job)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "book.db"


@pytest.fixture
def book(path: Path) -> Iterator[Book]:
    with Book(path) as open_book:
        yield open_book


@pytest.fixture
def shop(book: Book) -> Shop:
    return furnish(book)


@pytest.fixture
def closed_book(path: Path) -> Path:
    with Book(path) as open_book:
        furnish(open_book)
    return path
