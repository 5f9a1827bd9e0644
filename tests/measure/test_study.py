"""The readings of a repeatability study."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.errors import InputError
from workbench.measure.stats.study import (
    MissingCellError,
    MixedUnitsError,
    StudyReading,
    collect,
)

PARTS, PERSONS = ("ski A", "ski B", "ski C"), ("MK", "JT")


def complete(trials: int = 2) -> list[StudyReading]:
    """Every person on every ski."""
    return [
        StudyReading(part, person, 60 + i + j / 10 + t / 100, "mm", "depth")
        for t in range(trials)
        for i, part in enumerate(PARTS)
        for j, person in enumerate(PERSONS)
    ]


@given(st.integers(0, 2**32))
def test_readings_come_in_any_order(seed):
    """Cells are filled by name, not by sequence."""
    readings = complete()
    random.Random(seed).shuffle(readings)
    study = collect(readings)
    assert study.trials == 2
    assert sorted(study.table[study.parts.index("ski B")][study.persons.index("JT")]) == [
        61.1,
        61.11,
    ]


def test_a_study_keeps_its_unit_and_method():
    study = collect(complete())
    assert (study.parts, study.persons) == (PARTS, PERSONS)
    assert (study.unit, study.method) == ("mm", "depth")
    assert study.cell("ski C", "MK").spread == pytest.approx(0.01)


def test_a_missing_reading_is_named():
    readings = complete(3)
    readings.remove(readings[-1])
    with pytest.raises(MissingCellError, match="JT on ski C: '2 of 3 trials' — 3 trials") as caught:
        collect(readings)
    assert caught.value.cells == (("ski C", "JT"),)


def test_an_empty_cell_is_named():
    readings = [r for r in complete() if (r.part, r.person) != ("ski A", "JT")]
    with pytest.raises(MissingCellError, match="JT on ski A: '0 of 2 trials'"):
        collect(readings)


def test_one_reading_too_many_is_named():
    readings = [*complete(), StudyReading("ski A", "MK", 60.5, "mm", "depth")]
    with pytest.raises(MissingCellError, match="MK on ski A: '3 of 2 trials'"):
        collect(readings)


def test_many_missing_cells_are_counted():
    """With hardly anything there, the first three are named and the rest counted."""
    readings = [r for r in complete() if r.part == "ski A"]
    extra = [StudyReading(f"ski {i}", "MK", 60.0, "mm", "depth") for i in range(7)]
    with pytest.raises(MissingCellError, match=r"and .* more"):
        collect([*readings, *extra])


def test_mixed_units_and_methods_are_refused():
    readings = complete()
    with pytest.raises(MixedUnitsError, match=r"units of the study: \['mm', 'in'\]"):
        collect([*readings, StudyReading("ski A", "MK", 2.4, "in", "depth")])
    with pytest.raises(MixedUnitsError, match="methods of the study"):
        collect([*readings, StudyReading("ski A", "MK", 60.0, "mm", "length")])


def test_bad_readings_are_told():
    with pytest.raises(InputError, match="no reading"):
        collect([])
    with pytest.raises(InputError, match="MK on ski A: nan"):
        collect([StudyReading("ski A", "MK", float("nan"), "mm")])
