"""Readings at 20 degrees: off by default, reckoned from what was kept, and never applied twice."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.shop import DAY, as_received, demo_file, open_shop, read
from workbench.errors import InputError
from workbench.measure.temperature import Degrees
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.job.temperature import (
    effect_words,
    fields_now,
    in_force_words,
    state_temperature,
    typed_temperature,
)
from workbench.work.trust.reading_tools import at_words, temperature_in_force, values_mm

WARM = {"blade": "30 C", "caliper": "", "scale": "C"}
GROWTH = (11.5e-6 - 23.1e-6) * 10.0 / (1.0 + 23.1e-6 * 10.0)
"""Relative correction at 30 degC: steel less aluminium (D. A. Swyt, J. Res. NIST 99 (1994) 31)."""


def test_it_is_off_until_somebody_states_it(shop: Shop) -> None:
    view = read(shop, as_received(shop), as_received(shop).lines[0], "2.4900")
    assert in_force_words(view) == "Off: readings are taken as they are."
    assert view.lines[0].latest[0].temperature_id is None
    assert view.lines[0].corrections_mm == (0.0,)


def test_a_reading_taken_warm_is_kept_as_read_and_reckoned_at_twenty(shop: Shop) -> None:
    """mm stays as read; the line's value is the closed formula's, and its budget the stated one."""
    view = state_temperature(shop, as_received(shop), WARM)
    view = read(shop, view, view.lines[0], "2.4900")
    line, (kept,) = view.lines[0], view.lines[0].latest
    assert kept.mm == pytest.approx(2.49 * 25.4, abs=1e-12)
    assert line.now_mm == pytest.approx(kept.mm * (1.0 + GROWTH), abs=1e-9)
    assert line.taken is not None
    assert line.taken.figures is not None
    names = {part.name for part in line.taken.figures.warmth or ()}
    assert names == {
        "temperature of the blade", "temperature of the caliper", "expansion of the blade",
        "expansion of the caliper",
    }  # fmt: skip


def test_opening_closing_and_reading_again_never_changes_it(tmp_path: Path) -> None:
    """However often it is looked at, by whichever bench, the correction is there once."""
    path = demo_file(tmp_path)
    with open_shop(path) as shop:
        view = state_temperature(shop, as_received(shop), WARM)
        view = read(shop, view, view.lines[0], "2.4900")
        first, job_id = view.lines[0], view.job.id
    for _ in range(3):
        with Book(path) as book:
            again = Shop(book, DAY, "KV")
            for _ in range(2):
                line = again.view(job_id).lines[0]
                assert (line.now_mm, line.u_mm) == (first.now_mm, first.u_mm)
                assert line.latest == first.latest
            again.roster()


def test_a_correction_of_the_row_is_reckoned_once_too(shop: Shop) -> None:
    """A reading corrected in the book keeps its temperature and is no colder for it."""
    view = state_temperature(shop, as_received(shop), WARM)
    view = read(shop, view, view.lines[0], "2.4900")
    (kept,) = view.lines[0].latest
    taken = rows.Reading(
        method_id=kept.method_id,
        pass_number=0,
        text=kept.text,
        unit=kept.unit,
        mm=kept.mm,
        caliper_id=kept.caliper_id,
        how=kept.how,
        temperature_id=kept.temperature_id,
    )
    shop.book.correct_reading(kept.id, "KV", "copied anew", taken)
    assert shop.view(view.job.id).lines[0].now_mm == view.lines[0].now_mm


def test_struck_out_or_taken_back_it_corrects_nothing(shop: Shop) -> None:
    view = state_temperature(shop, as_received(shop), WARM)
    now = temperature_in_force(view.facts)
    assert now is not None
    view = read(shop, view, view.lines[0], "2.4900")
    shop.book.strike(now.id, "read off the wrong wall", "KV")
    view = shop.view(view.job.id)
    assert view.lines[0].now_mm == view.lines[0].latest[0].mm
    assert temperature_in_force(view.facts) is None


def test_off_again_leaves_the_readings_before_it_as_they_were(shop: Shop) -> None:
    """Blank fields end it; what was taken warm stays corrected, what comes is taken as read."""
    view = state_temperature(shop, as_received(shop), WARM)
    view = read(shop, view, view.lines[0], "2.4900")
    view = state_temperature(shop, view, {"blade": " "})
    view = read(shop, view, view.lines[0], "2.4900")
    warm, plain = view.lines[0].corrections_mm
    assert warm < 0.0
    assert plain == 0.0
    assert in_force_words(view).startswith("Off")


def test_both_temperatures_and_materials_are_kept_as_typed(shop: Shop) -> None:
    fields = {
        "blade": "77", "caliper": "20 °C", "scale": "f", "blade_material": "Stainless 316",
        "caliper_material": "",
    }  # fmt: skip
    view = state_temperature(shop, as_received(shop), fields)
    now = temperature_in_force(view.facts)
    assert now is not None
    assert (now.text, now.unit, now.blade_c, now.caliper_c) == ("77; 20 °C", "F", 25.0, 20.0)
    assert "blade 77 °F (stainless 316), caliper 68 °F (steel)" in at_words(now)
    assert fields_now(view, "in")["caliper"] == "20 °C"


@pytest.mark.parametrize(
    ("fields", "named"),
    [
        ({"blade": "73", "scale": "C"}, "blade"), ({"blade": "200 F", "scale": "C"}, "blade"),
        ({"blade": "-30 C", "scale": "C"}, "blade"), ({"blade": "warm", "scale": "C"}, "blade"),
        ({"blade": "nan", "scale": "C"}, "blade"), ({"blade": "", "caliper": "20"}, "blade"),
        ({"blade": "23", "caliper": "99 C", "scale": "C"}, "caliper"),
        ({"blade": "23", "scale": "K"}, "scale"),
        ({"blade": "23", "scale": "C", "blade_material": "cheese"}, "blade material"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_not_kept(
    shop: Shop, fields: dict[str, str], named: str
) -> None:
    """Beyond sense, no number, half stated, an unknown material: by its field, nothing kept."""
    view = as_received(shop)
    with pytest.raises(InputError) as why:
        state_temperature(shop, view, fields)
    assert why.value.field == named
    assert temperature_in_force(shop.view(view.job.id).facts) is None


def test_degrees_in_words() -> None:
    assert typed_temperature("blade", "-5,5", "C") == Degrees(-5.5, "C")
    assert typed_temperature("blade", "68°F", "C") == Degrees(20.0, "F")


def test_the_size_of_the_correction_is_said_beside_the_reading(shop: Shop) -> None:
    view = read(shop, as_received(shop), as_received(shop).lines[0], "2.4900")
    assert effect_words(view, "in") == ()
    view = state_temperature(shop, view, WARM)
    assert "−0.007 to 20 °C" in effect_words(view, "mm")[0]


def test_a_material_that_nobody_published_corrects_nothing(shop: Shop) -> None:
    """A row of other hands must not stop the bench."""
    view = as_received(shop)
    at = shop.book.add_fact(
        view.job.id,
        "KV",
        rows.Temperature(
            text="30",
            unit="C",
            blade_c=30.0,
            caliper_c=30.0,
            blade_material="moonstone",
            caliper_material="steel",
        ),
    )
    assert temperature_in_force(shop.view(view.job.id).facts) is None
    reading = rows.Reading(
        id="r", at="", who="", job_id="", method_id="m", pass_number=0, text="", unit="mm", mm=60.0,
        temperature_id=at.id,
    )  # fmt: skip
    assert values_mm([reading], {}) == (60.0,)
    assert values_mm([reading], {at.id: replace(at, blade_material="steel")}) == (60.0,)
