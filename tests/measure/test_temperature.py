"""Lengths at 20 degC."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.budget import Budget
from workbench.measure.repeats import summarise
from workbench.measure.temperature import (
    CALLISTER,
    MATERIALS,
    REFERENCE_C,
    Material,
    at_reference,
    material,
    temperature_parts,
)
from workbench.measure.units import degrees_in

temperatures = st.floats(-20, 50)
STEEL, ALUMINIUM = MATERIALS["steel"], MATERIALS["aluminium"]


@pytest.mark.parametrize("name", figure("cte-table").inputs)
def test_coefficients_of_both_columns(name):
    """Callister Table B.6: ours is the first column, and 1/1.8 of it the second (cte-table)."""
    example = figure("cte-table")
    assert round(MATERIALS[name].per_c * 1e6, 6) == float(example.inputs[name])
    assert MATERIALS[name].source == CALLISTER
    example.check_item(name, MATERIALS[name].per_c * 1e6 / 1.8)


def test_coefficients_nist_uses():
    """Swyt 1994; 20 degC as ISO 1 has it, from memory (cte-nist-swyt)."""
    figure("cte-nist-swyt").check(
        aluminium_ppm_per_C=round(ALUMINIUM.per_c * 1e6, 9),
        steel_ppm_per_C=round(STEEL.per_c * 1e6, 9),
        reference_temperature_C=REFERENCE_C,
    )


def test_published_corrections():
    """GUM H.1 (50 mm) and EA-4/02 S10 (150 mm, from memory) (thermal-correction)."""
    example = figure("thermal-correction")
    small = at_reference(50.0, 20 + 0.05 / math.sqrt(3), 20.0, STEEL, STEEL)
    large = at_reference(150.0, 21.0, 20.0, STEEL, STEEL)
    example.check(
        **{
            "steel_50mm_0.029K_nm": -small.correction_mm * 1e6,
            "steel_150mm_per_K_um": -large.correction_mm * 1e3,
        }
    )


@given(st.floats(1, 300), temperatures)
def test_alike_materials_at_one_temperature_cancel(reading, degrees):
    """A steel caliper on a steel blade reads the same anywhere."""
    result = at_reference(reading, degrees, degrees, STEEL, STEEL)
    assert math.isclose(result.length_mm, reading, rel_tol=1e-15)


@given(st.floats(1, 300))
def test_at_twenty_degrees_nothing_changes(reading):
    assert at_reference(reading, 20, 20).correction_mm == 0


@given(st.floats(1, 300), temperatures, temperatures)
def test_warming_and_cooling_undo_each_other(length, blade_c, caliper_c):
    """What a warm caliper reads on a warm blade comes back to the length at 20 degC."""
    warm = length * (1 + ALUMINIUM.per_c * (blade_c - 20))
    reading = warm / (1 + STEEL.per_c * (caliper_c - 20))
    back = at_reference(reading, blade_c, caliper_c)
    assert math.isclose(back.length_mm, length, rel_tol=1e-14)


def test_the_size_of_a_warm_day():
    """An aluminium blade of 175 mm at 35 degC, steel caliper alike: 0.030 mm is taken off."""
    result = at_reference(175.0, 35.0, 35.0)
    assert result.correction_mm == pytest.approx(-175 * 11.6e-6 * 15, rel=1e-3)
    assert (result.reading_mm, result.blade_c, result.caliper_c) == (175.0, 35.0, 35.0)


@pytest.mark.parametrize("degrees", [-21, 51, 300, math.nan, math.inf])
def test_temperatures_beyond_sense_are_refused(degrees):
    with pytest.raises(InputError, match=r"blade temperature: .* -20 to 50 degC"):
        at_reference(60.0, degrees, 20)
    with pytest.raises(InputError, match="caliper temperature"):
        at_reference(60.0, 20, degrees)


def test_a_fahrenheit_slip_is_pointed_out():
    with pytest.raises(InputError, match=r"72 degF would be 22\.2 degC"):
        at_reference(60.0, 72, 20)
    assert degrees_in(68, "F", "C") == 20


def test_materials_by_name():
    assert material(" Steel 1020 / a36 ").per_c == 11.7e-6
    with pytest.raises(InputError, match="material: 'cheese' — one of: aluminium, steel"):
        material("cheese")


@pytest.mark.parametrize("per_c", [11.5, -1e-3, math.nan])
def test_coefficients_no_solid_has_are_refused(per_c):
    with pytest.raises(InputError, match="expansion of slab"):
        Material("slab", per_c, "invented")


def test_a_reading_must_be_a_number():
    with pytest.raises(InputError, match="reading"):
        at_reference(math.nan, 20, 20)


def test_what_remains_uncertain_matches_seeded_draws():
    """The parts' combined u is the scatter of corrected lengths over drawn inputs, within 5 %."""
    budget = Budget(temperature_parts(175.0, 32.0, 28.0, 2.0))
    rng = random.Random(20)
    draws = []
    for _ in range(20_000):
        blade = Material("b", ALUMINIUM.per_c * rng.uniform(0.9, 1.1), "drawn")
        caliper = Material("c", STEEL.per_c * rng.uniform(0.9, 1.1), "drawn")
        blade_c, caliper_c = 32 + rng.uniform(-2, 2), 28 + rng.uniform(-2, 2)
        draws.append(at_reference(175.0, blade_c, caliper_c, blade, caliper).length_mm)
    assert math.isclose(budget.u, summarise(draws).sd, rel_tol=0.05)


def test_at_twenty_degrees_the_coefficients_do_not_matter():
    names = [part.name for part in temperature_parts(175.0, 20.0, 20.0, 1.0)]
    assert names == ["temperature of the blade", "temperature of the caliper"]
    with pytest.raises(InputError, match="half-width of temperature"):
        temperature_parts(175.0, 20.0, 20.0, 0.0)
