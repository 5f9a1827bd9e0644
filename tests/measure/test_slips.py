"""The likeliest slip behind a reading: the nearest line, however coarse the check."""

from __future__ import annotations

import pytest
from scipy import stats

from workbench.measure.doubtful import CRITICAL, GRADUATIONS_IN, doubt


@pytest.mark.parametrize("step_in", GRADUATIONS_IN)
@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("u_mm", [0.02, 0.2])
def test_the_line_misread_is_the_nearest(step_in: float, sign: float, u_mm: float) -> None:
    """Where several lines lie within reach of a coarse check, the nearest one is named."""
    found = doubt(60.0 + sign * step_in * 25.4, 60.0, u_mm)
    if step_in * 25.4 <= 2.95 * u_mm:
        assert found is None
    else:
        assert found is not None
        assert (found.slip, found.detail) == ("graduation", f"{step_in:.3f} in")


def test_a_tenth_seen_through_a_mark_of_half_a_millimetre_is_a_tenth() -> None:
    found = doubt(22.9, 20.6, 0.5)
    assert found is not None
    assert found.detail == "0.100 in"


@pytest.mark.parametrize("dof", [1, 4, 12, 60])
def test_few_degrees_of_freedom_take_student_s_t_of_the_same_chance(dof: int) -> None:
    """By scipy: as many right readings are doubted as by a normal beyond CRITICAL."""
    edge = float(stats.t.isf(stats.norm.sf(CRITICAL), dof))
    assert doubt(60.0 + 0.02 * (edge - 1e-6), 60.0, 0.02, dof=dof) is None
    assert doubt(60.0 + 0.02 * (edge + 1e-6), 60.0, 0.02, dof=dof) is not None


def test_a_study_of_few_readings_asks_about_fewer() -> None:
    """3.2 u is odd where u is well known, and not where four degrees of freedom support it."""
    assert doubt(60.064, 60.0, 0.02) is not None
    assert doubt(60.064, 60.0, 0.02, dof=4) is None


@pytest.mark.parametrize(("expected_in", "read_in"), [(2.4270, 2.4520), (2.4500, 2.4250)])
def test_a_line_s_distance_exactly_is_a_line_misread_before_exchanged_digits(
    expected_in: float, read_in: float
) -> None:
    """Exchanging the 2 and the 5 comes within 0.002 in as well, but explains less than the line."""
    found = doubt(read_in * 25.4, expected_in * 25.4, 0.03, (f"{read_in:.4f}", "in"))
    assert found is not None
    assert (found.slip, found.detail) == ("graduation", "0.025 in")


def test_digits_that_explain_the_number_better_than_a_line_are_named() -> None:
    """2.4255 for 2.4525 is 0.027 off: two thousandths from a line, and exchanged digits exactly."""
    found = doubt(2.4255 * 25.4, 2.4525 * 25.4, 0.03, ("2.4255", "in"))
    assert found is not None
    assert (found.slip, found.detail) == ("digits", "2.4525")
