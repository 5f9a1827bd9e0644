"""The global test and the redundancy of an order's readings."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from scipy.stats import chi2

from workbench.work.order.order_answers import turns_report
from workbench.work.order.order_file import Order, read_order
from workbench.work.order.rigs import fit_of
from workbench.work.trust.plausibility import adjustment_of, agreement_words

ORDERS = Path(__file__).parents[2] / "fixtures" / "orders"


@pytest.fixture
def five() -> Order:
    return read_order(ORDERS / "rowan-five-readings.json")


def test_three_readings_are_checked_by_nothing() -> None:
    """No test is made up for them."""
    order = read_order(ORDERS / "practice-plate.toml")
    assert turns_report(order)["agreement"] is None
    assert agreement_words(fit_of(order.rig, order.readings)) == ""


def test_redundancy_sums_to_what_is_more_than_needed(five: Order) -> None:
    """The trace of the redundancy matrix (W. Baarda, 1968); p by scipy's own chi-square."""
    found = adjustment_of(fit_of(five.rig, five.readings))
    assert found is not None
    assert math.fsum(found.redundancy) == pytest.approx(2.0, abs=1e-9)
    assert found.p == pytest.approx(chi2.sf(found.chi2, 2), rel=1e-9)
    report = turns_report(five)["agreement"]
    assert report["degrees_of_freedom"] == 2
    assert report["agree"] is True
    assert "agree within their uncertainties" in agreement_words(fit_of(five.rig, five.readings))


def test_a_wrong_reading_fails_the_global_test(five: Order) -> None:
    """Ten standard uncertainties and more: said in words, and its residual stands out."""
    first, *others = five.readings
    wrong = replace(first, value_mm=first.value_mm + 20.0 * first.u_mm)
    broken = replace(five, readings=(wrong, *others))
    report = turns_report(broken)["agreement"]
    assert report["agree"] is False
    assert report["chi_square"] > chi2.isf(0.05, 2)
    assert report["readings"][0]["normalised_residual"] > 0, "read too large"
    assert "do NOT agree" in agreement_words(fit_of(broken.rig, broken.readings))
