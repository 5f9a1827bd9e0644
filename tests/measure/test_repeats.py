"""Mean, scatter and spread of repeat readings."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.distributions import coverage_factor
from workbench.measure.repeats import Repeats, pooled_sd, sum_of_squares, summarise

readings = st.lists(st.floats(-1e6, 1e6, allow_nan=False), min_size=2, max_size=30)


def strd_data(identity: str) -> list[float]:
    """The values of a NIST StRD set, which are listed or follow a published rule."""
    data = figure(identity).inputs["data"]
    if isinstance(data, dict):
        data = [data["first"], *data["then_repeat_500_times"] * 500]
    return [float(value) for value in data]


@pytest.mark.parametrize("name", ["lew", "michelso", "numacc1", "numacc2", "numacc3", "numacc4"])
def test_strd_univariate(name):
    """NIST StRD univariate sets to their certified digits; NumAcc3's rule is from memory."""
    values = strd_data(f"strd-uni-{name}")
    summary = summarise(values)
    assert summary.n == figure(f"strd-uni-{name}").inputs["n"]
    figure(f"strd-uni-{name}").check(mean=summary.mean, stdev_n_minus_1=summary.sd)


def test_one_reading_shows_no_scatter():
    """Scatter of a single reading is unknown, which is not the same as zero."""
    one = summarise([2.4725])
    assert one == Repeats((2.4725,), 2.4725, None, None, None)
    assert (one.n, one.dof) == (1, 0)


def test_equal_readings_scatter_by_zero():
    equal = summarise([62.2, 62.2, 62.2])
    assert (equal.mean, equal.sd, equal.u_mean, equal.spread) == (62.2, 0, 0, 0)


def test_spread_and_uncertainty_of_two():
    """Two readings: sd is the difference over root two, u of the mean half the difference."""
    pair = summarise([2.4720, 2.4735])
    assert math.isclose(pair.spread, 0.0015, rel_tol=1e-12)
    assert math.isclose(pair.sd, 0.0015 / math.sqrt(2), rel_tol=1e-12)
    assert math.isclose(pair.u_mean, 0.00075, rel_tol=1e-12)


@given(readings)
def test_digits_agree_with_exact_fractions(values):
    """The sum of squares is that of exact arithmetic, whatever the readings have in common."""
    exact = [Fraction(v) for v in values]
    mean = sum(exact) / len(exact)
    squares = sum((v - mean) ** 2 for v in exact)
    summary = summarise(values)
    assert math.isclose(summary.mean, mean, rel_tol=1e-15, abs_tol=1e-300)
    assert math.isclose(sum_of_squares(values), squares, rel_tol=1e-13, abs_tol=1e-25)


@given(readings, st.integers(-(10**6), 10**6))
def test_a_shift_moves_the_mean_and_not_the_scatter(values, shift):
    values = [round(v) for v in values]
    moved = summarise([v + shift for v in values])
    still = summarise(values)
    assert math.isclose(moved.sd, still.sd, rel_tol=1e-12, abs_tol=1e-9)
    assert math.isclose(moved.mean, still.mean + shift, rel_tol=1e-12, abs_tol=1e-9)


def test_confidence_interval_of_a_mean():
    """NIST/SEMATECH e-Handbook 1.3.5.2, ZARR13 (nist-ci-mean)."""
    example = figure("nist-ci-mean")
    n, mean, s = (float(example.inputs[key]) for key in ("n", "mean", "s"))
    t, u = coverage_factor(0.95, n - 1), s / math.sqrt(n)
    example.check(t=t, lower=mean - t * u, upper=mean + t * u)


def test_pooled_over_wafers():
    """NIST/SEMATECH e-Handbook 2.4.4.4; the value of s1 from memory (nist-grr-level1)."""
    example = figure("nist-grr-level1")
    groups = [(ss, example.inputs["dof_each"]) for ss in example.inputs["ss_by_wafer"]]
    s1, dof = pooled_sd(groups)
    example.check(ss_total=math.fsum(ss for ss, _ in groups), dof_total=dof, s1=s1)


def test_pooling_needs_repeats():
    with pytest.raises(InputError, match="repeats of 2 or more"):
        pooled_sd([(0.0, 0), (0.0, 0)])
    with pytest.raises(InputError, match="sum of squares"):
        pooled_sd([(-1.0, 3)])


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e308])
def test_what_is_no_number_is_refused(bad):
    with pytest.raises(InputError, match="a finite number"):
        summarise([1.0, bad])


def test_no_reading_is_refused():
    with pytest.raises(InputError, match="readings: 0 — 1 or more readings"):
        summarise([])
