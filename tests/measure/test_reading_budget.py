"""The default budget of one caliper reading."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.errors import InputError
from workbench.measure.budget import CaliperFigures, Contribution, reading_budget_mm
from workbench.measure.repeats import Scatter

INCH = 25.4


def part(budget, name):
    """The row of that name."""
    return next(row for row in budget.rows if row.contribution.name == name)


@pytest.mark.parametrize("length_mm", [0.8 * INCH, 2.45 * INCH, 6.9 * INCH])
@pytest.mark.parametrize("n", [1, 2, 3])
def test_default_is_half_a_thousandth_to_a_thousandth(length_mm, n):
    """A fin's depth, tail distance and length are known to about 0.0005 to 0.001 in."""
    budget = reading_budget_mm([length_mm + 0.0127 * (i % 2) for i in range(n)])
    assert 0.0005 <= budget.u / INCH <= 0.001


def test_every_part_is_named_once():
    budget = reading_budget_mm([62.2], contact_height_u_mm=0.5, slope=0.1)
    assert [row.contribution.name for row in budget.rows] == [
        "resolution",
        "caliper error",
        "zero and gauge block",
        "repeat scatter",
        "contact height",
        "temperature",
    ]


def test_parts_by_hand():
    """Each part from its own figure: half-widths over root three, contact height times slope."""
    budget = reading_budget_mm(
        [62.2],
        CaliperFigures(0.01, 0.02, 0.004),
        scatter=Scatter(0.009, 12),
        contact_height_u_mm=0.5,
        slope=-0.1,
    )
    by_hand = {
        "resolution": 0.005 / math.sqrt(3),
        "caliper error": 0.02 / math.sqrt(3),
        "zero and gauge block": 0.004 / math.sqrt(3),
        "repeat scatter": 0.009,
        "contact height": 0.05,
        "temperature": 62.2 * 11.6e-6 * 5 / math.sqrt(3),
    }
    for name, u in by_hand.items():
        assert math.isclose(part(budget, name).component, u, rel_tol=1e-12)
    assert math.isclose(budget.u, math.hypot(*by_hand.values()), rel_tol=1e-12)


def test_caliper_error_follows_the_length():
    """DIN 862, digital: 0.02 mm to 100 mm, 0.03 mm beyond."""
    assert math.isclose(
        part(reading_budget_mm([62.2]), "caliper error").component, 0.02 / math.sqrt(3)
    )
    assert math.isclose(
        part(reading_budget_mm([175.0]), "caliper error").component, 0.03 / math.sqrt(3)
    )


def test_repeats_show_their_own_scatter():
    budget = reading_budget_mm([62.20, 62.23, 62.26])
    scatter = part(budget, "repeat scatter").contribution
    assert scatter.dof == 2
    assert math.isclose(scatter.u, 0.03 / math.sqrt(3), rel_tol=1e-9)
    assert 2 < budget.dof < math.inf


def test_equal_repeats_leave_scatter_to_the_resolution():
    budget = reading_budget_mm([62.2, 62.2, 62.2])
    assert "repeat scatter" not in [row.contribution.name for row in budget.rows]
    assert budget.dof == math.inf


def test_more_repeats_never_widen_a_like_scatter():
    """The mean of four is worth more than the mean of two that scatter alike."""
    two = reading_budget_mm([62.20, 62.21])
    four = reading_budget_mm([62.20, 62.21, 62.20, 62.21])
    assert four.u < two.u


def test_what_is_known_of_the_temperature_takes_the_place_of_its_default():
    known = Contribution("temperature of the blade", 0.05)
    budget = reading_budget_mm([62.2], warmth=(known,))
    assert budget.largest == known
    assert "temperature" not in [r.contribution.name for r in budget.rows]


@given(st.floats(0, 200), st.floats(0, 5), st.floats(-3, 3))
def test_contact_height_only_ever_adds(length_mm, height_u, slope):
    plain = reading_budget_mm([length_mm])
    slanted = reading_budget_mm([length_mm], contact_height_u_mm=height_u, slope=slope)
    assert math.isclose(slanted.u, math.hypot(plain.u, height_u * slope), rel_tol=1e-9)


@pytest.mark.parametrize(
    ("options", "field"),
    [
        ({"caliper": CaliperFigures(resolution_mm=0)}, "resolution"),
        ({"caliper": CaliperFigures(mpe_mm=-0.02)}, "caliper error"),
        ({"caliper": CaliperFigures(zero_mm=math.nan)}, "zero and gauge block"),
        ({"scatter": Scatter(0.0, 12)}, "repeat scatter"),
        ({"contact_height_u_mm": -1}, "contact height"),
        ({"contact_height_u_mm": math.nan}, "contact height"),
    ],
)
def test_figures_that_cannot_be_are_told(options, field):
    with pytest.raises(InputError, match=field):
        reading_budget_mm([62.2], **options)


def test_no_reading_is_told():
    with pytest.raises(InputError, match="1 or more readings"):
        reading_budget_mm([])
