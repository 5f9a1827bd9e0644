"""What the shop owns comes back as it was given, also after a correction."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from workbench.errors import InputError
from workbench.fin.reading.method import Station
from workbench.records.book import Book
from workbench.records.store.database import UnknownRowError
from workbench.records.store.rows import (
    Baseline,
    BaselineEntry,
    Blade,
    Method,
)

from .conftest import Shop, blade, block, ski

KEEPABLE = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"))
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)


def test_every_kind_comes_back_as_it_was_given(shop: Shop) -> None:
    """A thing read again equals the thing that was returned when it was added."""
    book = shop.book
    assert book.ski(shop.ski.id) == shop.ski
    assert book.blade(shop.blade.id) == shop.blade
    assert book.block(shop.block.id) == shop.block
    assert book.method(shop.method.id) == shop.method
    assert book.caliper(shop.caliper.id) == shop.caliper
    assert book.skis() == (shop.ski,)
    assert book.blades() == (shop.blade,)
    assert book.blocks() == (shop.block,)
    assert book.calipers() == (shop.caliper,)
    assert book.methods_of(shop.blade.id) == (shop.method,)


def test_it_comes_back_after_the_book_was_closed(shop: Shop) -> None:
    """What was kept is there when the book is opened anew."""
    shop.book.close()
    with Book(shop.book.path) as again:
        assert again.ski(shop.ski.id) == shop.ski
        assert again.block(shop.block.id) == shop.block


def test_parts_keep_their_order(shop: Shop) -> None:
    """Holes, studs and a ski's methods stand as given, not by name."""
    book = shop.book
    second = book.add_method(Method("", shop.blade.id, "a first by name", "depth"))
    kept = book.add_ski(ski(shop.blade.id, shop.block.id, second.id, shop.method.id))
    assert book.ski(kept.id).methods == (second.id, shop.method.id)
    assert [hole.name for hole in book.blade(shop.blade.id).holes] == ["2", "1"]
    assert [stud.name for stud in book.block(shop.block.id).studs] == ["front", "back"]


def test_a_baseline_with_and_without_a_ski(shop: Shop) -> None:
    """A baseline belongs to a ski or to none."""
    entry = BaselineEntry("tail, tips", "18.5", "mm", 18.5, 0.05)
    own = shop.book.add_baseline(Baseline("", shop.ski.id, "spring", (entry,), "rider"))
    loose = shop.book.add_baseline(Baseline("", None, "starter", (entry, entry)))
    assert shop.book.baselines_of(shop.ski.id) == (own,)
    assert shop.book.baselines() == (own, loose)


def test_a_correction_keeps_the_id_and_what_was_said_before(shop: Shop) -> None:
    """The corrected ski answers under its old id, and both rows are in the file."""
    book = shop.book
    book.correct_ski(replace(shop.ski, rider="B. Rider"), who="kl")
    now = book.correct_ski(replace(shop.ski, rider="C. Rider", methods=()), who="kl")
    assert book.skis() == (now,)
    assert (now.id, now.rider, now.methods) == (shop.ski.id, "C. Rider", ())
    rows = book.read(lambda db: list(db.query("SELECT id, replaces, rider FROM skis ORDER BY id")))
    assert [row["rider"] for row in rows] == ["A. Rider", "B. Rider", "C. Rider"]
    assert [row["replaces"] for row in rows[1:]] == [row["id"] for row in rows[:-1]]


def test_a_job_shows_its_ski_as_corrected(shop: Shop) -> None:
    """The queue shows what the ski and its blade are called now."""
    shop.book.correct_ski(replace(shop.ski, name="Ski Z"))
    shop.book.correct_blade(replace(shop.blade, name="Plate Z"))
    (item,) = shop.book.day_queue(shop.job.day)
    assert (item.ski_name, item.blade_name) == ("Ski Z", "Plate Z")


def test_a_struck_ski_leaves_the_list_but_stays_readable(shop: Shop) -> None:
    """A ski struck out is no longer offered; its row says why."""
    strike = shop.book.strike(shop.ski.id, "sold", "kl")
    assert shop.book.skis() == ()
    assert shop.book.ski(shop.ski.id).struck == strike


def test_correcting_what_is_not_there_is_refused(shop: Shop) -> None:
    """An id that the book does not hold is named."""
    with pytest.raises(UnknownRowError, match="blade: 'no such'"):
        shop.book.correct_blade(replace(shop.blade, id="no such"))


def test_a_ski_on_a_blade_that_is_not_there_is_refused(shop: Shop) -> None:
    """A reference to no row is named, and nothing of the ski is kept."""
    with pytest.raises(UnknownRowError, match="blade: 'gone'"):
        shop.book.add_ski(ski("gone", shop.block.id))
    assert shop.book.skis() == (shop.ski,)


@pytest.mark.parametrize(
    ("add", "field"),
    [
        (lambda s: s.book.add_ski(replace(s.ski, unit="cm")), "unit"),
        (lambda s: s.book.add_ski(replace(s.ski, base_radius_mm=float("nan"))), "base_radius_mm"),
        (lambda s: s.book.add_ski(replace(s.ski, base_radius_mm=float("inf"))), "base_radius_mm"),
        (lambda s: s.book.add_ski(replace(s.ski, name="a\0b")), "name"),
        (lambda s: s.book.add_ski(replace(s.ski, note="\ud800")), "note"),
        (lambda s: s.book.add_ski(replace(s.ski, rider=None)), "rider"),
        (lambda s: s.book.add_ski(replace(s.ski, base_apex_mm="wide")), "base_apex_mm"),
        (lambda s: s.book.add_method(replace(s.method, quantity="width")), "quantity"),
        (
            lambda s: s.book.add_method(replace(s.method, station=Station((0.0, 0.0), "1", "top"))),
            "station_edge",
        ),
        (lambda s: s.book.add_block(replace(s.block, finest_turn=10**30)), "finest_turn"),
        (
            lambda s: s.book.add_blade(replace(s.blade, outline_mm=((0.0, float("nan")),))),
            "outline_mm",
        ),
    ],
)
def test_what_cannot_be_kept_is_refused_by_name(
    shop: Shop, add: Callable[[Any], object], field: str
) -> None:
    """A value that SQLite would bend, drop or refuse is an InputError that names its field."""
    with pytest.raises(InputError) as caught:
        add(shop)
    assert caught.value.field == field
    assert len(shop.book.skis()) == len(shop.book.blades()) == len(shop.book.blocks()) == 1


def test_a_thing_is_kept_whole_or_not_at_all(shop: Shop) -> None:
    """A stud that cannot be kept takes its block with it."""
    bad = replace(shop.block.studs[1], lead_mm=float("inf"))
    with pytest.raises(InputError, match="lead_mm"):
        shop.book.add_block(replace(block(), studs=(shop.block.studs[0], bad)))
    assert shop.book.blocks() == (shop.block,)


def test_the_latest_setting_is_in_force(book: Book) -> None:
    """A setting set again reads as set last; others keep theirs; a missing one is the default."""
    book.set_setting("unit", "in")
    book.set_setting("theme", "dark")
    book.set_setting("unit", "mm")
    assert book.setting("unit") == "mm"
    assert book.settings() == {"theme": "dark", "unit": "mm"}
    assert book.setting("absent") is None
    assert book.setting("absent", "x") == "x"


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(name=KEEPABLE, rider=KEEPABLE, note=KEEPABLE, radius=st.none() | NUMBERS)
def test_hostile_text_and_any_number_round_trip(
    shop: Shop, name: str, rider: str, note: str, radius: float | None
) -> None:
    """Text of any characters and every finite double come back exactly."""
    given_ski = ski(shop.blade.id, shop.block.id, name=name)
    kept = shop.book.add_ski(replace(given_ski, rider=rider, note=note, base_radius_mm=radius))
    back = shop.book.ski(kept.id)
    assert (back.name, back.rider, back.note) == (name, rider, note)
    assert back.base_radius_mm == radius


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(points=st.lists(st.tuples(NUMBERS, NUMBERS), max_size=8), text=KEEPABLE)
def test_outlines_round_trip(shop: Shop, points: list[tuple[float, float]], text: str) -> None:
    """An outline's doubles come back exactly."""
    given_blade: Blade = replace(blade(), outline_mm=tuple(points), source_text=text)
    kept = shop.book.add_blade(given_blade)
    assert shop.book.blade(kept.id) == replace(given_blade, id=kept.id)


@pytest.mark.parametrize(
    "name",
    [
        "[b]X[/b]",
        "a[/nope]b",
        "'; DROP TABLE skis; --",
        "\x1b[2J",
        "\u202eabc",
        pytest.param("x" * 1_000_000, id="megabyte"),
    ],
)
def test_names_are_data(shop: Shop, name: str) -> None:
    """Markup, SQL, escape sequences and a megabyte are kept as they are."""
    kept = shop.book.add_ski(ski(shop.blade.id, shop.block.id, name=name))
    assert shop.book.ski(kept.id).name == name
