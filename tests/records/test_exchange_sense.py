"""Rows that no entry made: impossible numbers, and two that contradict each other, are refused."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.records.conftest import Shop
from tests.records.test_exchange import Undone, _of, out, play
from workbench.errors import InputError
from workbench.records.backup.copies import copy_book
from workbench.records.book import Book
from workbench.records.exchange.rows_in import take_in
from workbench.records.store import rows


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "other.db", bench="other") as book:
        yield book


IMPOSSIBLE: dict[str, tuple[str, object, str]] = {
    "a reading its text does not give": (
        "readings.0.mm", 62.0, r"readings\[0\]\.mm \(row {id}\): 62\.0 — 62\.23, which is '2\.450'"
    ),
    "a text that is no length": ("readings.0.text", "about", r"text \(row {id}\): 'about'.*length"),
    "a text in the other unit": ("readings.0.text", "62.23 mm", r"\.text .*a length in in"),
    "a reading of the other unit": ("readings.0.unit", "mm", r"\.mm .*: 62\.23 — 2\.45, which"),
    "a reading no caliper shows": ("readings.0.mm", 5e6, r"\.mm .*-300 to 1000"),
    "a study's reading": ("study_readings.0.mm", 25.5, r"study_readings\[0\]\.mm .*25\.4"),
    "a number below nothing": ("study_readings.0.mm", -25.4, r"mm .*0 to"),
    "a first number of a pair": ("pairs.0.mm", 25.41, r"pairs\[0\]\.mm .*25\.4"),
    "a second number of a pair": ("pairs.0.other_mm", 25.41, r"pairs\[0\]\.other_mm .*25\.4"),
    "a baseline's number": (
        "baselines.0.baseline_entries.0.mm", 19.1, r"baseline_entries\[0\]\.mm \(row {id}\): 19\.1"
    ),
    "a baseline's tolerance": (
        "baselines.0.baseline_entries.0.tolerance_mm", 0.0, r"tolerance_mm .*more than 0"
    ),
    "a target's tolerance": ("targets.0.tolerance_mm", -1.0, r"tolerance_mm .*-1\.0.*more than 0"),
    "a target below nothing": ("targets.0.mm", -19.3, r"targets\[0\]\.mm .*more than 0"),
    "a target its text does not give": ("targets.0.kind", "value", r"\.mm .*19\.3 — 0\.254, which"),
    "a change that is no length": ("targets.0.text", "more", r"targets\[0\]\.text .*length"),
    "a change of the other unit": ("targets.0.text", "+.01 mm", r"\.text .*a length in in"),
    "a method's tolerance": ("methods.0.tolerance_mm", 0.0, r"methods\[0\]\.tolerance_mm .*more"),
    "a jaw where none is": ("methods.0.jaw_width_mm", 1e-9, r"jaw_width_mm .*only a depth"),
    "a band upside down": ("methods.0.band_lo_mm", 7.0, r"band_lo_mm .*lo not above hi"),
    "a lead that is not the thread's": (
        "blocks.0.studs.0.lead_mm", 8.0, r"studs\[0\]\.lead_mm \(row {id}\): 8\.0 — 0\.8, the lead "
        r"of 'M5x0\.8'"
    ),
    "a thread that is none": ("blocks.0.studs.1.thread", "wide", r"studs\[1\]\.thread .*M5x0"),
    "a caliper without a step": ("calipers.0.resolution_mm", 0.0, r"resolution_mm .*0\.001 to 1"),
    "a caliper without an error": ("calipers.0.mpe_mm", 0.0, r"mpe_mm .*more than 0, at most 1"),
    "a jaw of no height": ("calipers.0.jaw_height_mm", 0.0, r"jaw_height_mm .*more than 0"),
    "a block of less than nothing": (
        "caliper_checks.0.nominal_mm", -1e12, r"nominal_mm .*-1000000000000\.0"
    ),
    "a block of nothing": ("caliper_checks.0.kind", "block", r"nominal_mm .*0\.5 to 300"),
    "a zero that is none": ("caliper_checks.0.reading_mm", 25.4, r"reading_mm .*25\.4"),
    "a base bent too far": ("skis.0.base_radius_mm", 3.0, r"base_radius_mm .*at least 300"),
    "a blade in the fire": ("temperatures.0.blade_c", 1e6, r"blade_c .*-20 to 50"),
    "a wing upright": ("wings.0.angle_deg", 90.0, r"angle_deg .*2 to 20"),
    "a wing its text does not give": ("wings.0.angle_deg", 8.0, r"angle_deg .*8\.0 — 7\.5"),
    "a baseline's wing without words": ("baselines.0.wing_deg", 7.0, r"wing .*degrees"),
    "boiling water": ("ride_notes.0.water_c", 99.0, r"water_c .*-2 to 45"),
    "endless turns": ("passes.0.turns.0.turns", 1e9, r"turns\[0\]\.turns .*-100000 to 100000"),
    "a day of the year 1": ("marks.0.at", "0001-01-01T00:00:00.000000+00:00", r"at .*1970 to"),
    "a day of the year 9999": ("moves.0.at", "9999-12-31T23:59:59.000000+00:00", r"at .*1970 to"),
    "a day before all clocks": ("jobs.0.at", "1969-12-31T23:59:59.999999+00:00", r"at .*1970 to"),
}  # fmt: skip


@pytest.mark.parametrize("case", IMPOSSIBLE)
def test_what_no_entry_could_have_made_is_refused(shop: Shop, other: Book, case: str) -> None:
    """The message names table, row, column, value and what would be accepted; nothing is kept."""
    play(shop.book, shop)
    rows = out(shop.book)
    path, value, words = IMPOSSIBLE[case]
    _of(path, value)(rows)
    table, number = path.split(".")[:2]
    row_id = rows[table][int(number)]["id"]
    with pytest.raises(InputError, match=words.replace("{id}", row_id)) as why:
        other.write(take_in, rows)
    assert why.value.field.startswith(f"rows.{table}[{number}].")
    assert row_id in why.value.field
    assert not other.skis()


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("2.4505", "in", 62.2427), ("2450", "in", 62.23), ("24500", "in", 62.23),
        ("2450in", "in", 62.23), ("+2450", "in", 62.23), ("2 7/16", "in", 61.9125),
        ("2½", "in", 63.5), ("62.23mm", "mm", 62.23), ("6223", "mm", 62.23),
        ("62,23", "mm", 62.23), ("728 thou", "in", 18.4912), ("2,4505", "in", 62.2427),
        ('2.45"', "in", 62.23), ("6.2 cm", "mm", 62.0), (" .728 ", "in", 18.4912),
        ("-1.5", "mm", -1.5), ("0", "in", 0.0),
    ],
)  # fmt: skip
def test_every_way_of_typing_is_taken_in(
    shop: Shop, other: Book, text: str, unit: Any, mm: float
) -> None:
    """As typed, in either unit, with its point placed, as a fraction, in thou."""
    taken = rows.Reading(method_id=shop.method.id, pass_number=0, text=text, unit=unit, mm=mm)
    shop.book.add_fact(shop.job.id, "KV", taken)
    other.write(take_in, out(shop.book))
    assert out(other) == out(shop.book)


@pytest.mark.parametrize(
    ("at", "is_taken"),
    [
        ("1970-01-01T00:00:00.000000+00:00", True), ("2199-12-31T23:59:59.999999+00:00", True),
        ("2200-01-01T00:00:00.000001+00:00", False), ("1969-12-31T23:59:59.999999+00:00", False),
    ],
)  # fmt: skip
def test_a_time_is_of_years_that_a_clock_shows(
    shop: Shop, other: Book, at: str, is_taken: bool
) -> None:
    """Its ends are those of the ids."""
    rows = out(shop.book)
    rows["skis"][0]["at"] = at
    refused: Any = pytest.raises(Undone if is_taken else InputError)

    def try_it() -> None:
        other.write(take_in, rows, follow=False)
        raise Undone

    with refused:
        other.batch(try_it)


def test_an_old_row_that_both_books_have_keeps_them_from_nothing(
    shop: Shop, tmp_path: Path
) -> None:
    """It cannot be taken out again; what is new beside it is looked at and taken in."""
    odd = replace(shop.taken(), mm=1.0)
    shop.book.add_fact(shop.job.id, "KV", odd)
    copy_book(shop.book.path, tmp_path / "copy.db")
    shutil.copy(tmp_path / "copy.db", tmp_path / "second.db")
    shop.book.add_fact(shop.job.id, "KV", shop.taken())
    with Book(tmp_path / "second.db", bench="second") as second:
        second.write(take_in, out(shop.book))
        assert out(second) == out(shop.book)


def test_an_old_row_goes_on_being_refused_where_it_is_new(shop: Shop, other: Book) -> None:
    """Until then nothing of it has come in."""
    shop.book.add_fact(shop.job.id, "KV", replace(shop.taken(), mm=1.0))
    with pytest.raises(InputError, match=r"readings\[0\]\.mm"):
        other.write(take_in, out(shop.book))
    assert not other.skis()
