"""Lines from ranks of pairwise slopes."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.stats.rank_regression import median, passing_bablok, theil_sen
from workbench.measure.stats.regression import LineError


def test_method_comparison_data():
    """Roche mcr test case TD15: Passing-Bablok with intervals, and Theil-Sen (mcr-td15)."""
    example = figure("mcr-td15")
    line = passing_bablok(example.inputs["x"], example.inputs["y"])
    example.check(
        passing_bablok_slope=line.slope,
        passing_bablok_intercept=line.intercept,
        pb_slope_low=line.slope_interval[0],
        pb_slope_high=line.slope_interval[1],
        pb_intercept_low=line.intercept_interval[0],
        pb_intercept_high=line.intercept_interval[1],
        theil_sen_slope=theil_sen(example.inputs["x"], example.inputs["y"]).slope,
    )


@given(st.integers(0, 2**32))
def test_theil_sen_agrees_with_scipy(seed):
    rng = random.Random(seed)
    xs = [rng.uniform(0, 10) for _ in range(15)]
    ys = [2 - 0.7 * x + rng.gauss(0, 1) for x in xs]
    assert math.isclose(theil_sen(xs, ys).slope, stats.theilslopes(ys, xs).slope, rel_tol=1e-12)


@given(st.integers(0, 2**32))
def test_passing_bablok_turned_round_is_the_same_line(seed):
    """Exchanging the methods inverts the slope and its interval."""
    rng = random.Random(seed)
    xs = [rng.uniform(1, 10) for _ in range(15)]
    ys = [0.5 + x + rng.gauss(0, 0.2) for x in xs]
    there, back = passing_bablok(xs, ys), passing_bablok(ys, xs)
    assert math.isclose(there.slope, 1 / back.slope, rel_tol=1e-9)
    assert math.isclose(there.slope_interval[0], 1 / back.slope_interval[1], rel_tol=1e-9)


def test_one_wild_point_pulls_neither_line():
    xs = [float(i) for i in range(12)]
    ys = [1 + 2 * x for x in xs]
    ys[5] = 500.0
    assert theil_sen(xs, ys).slope == pytest.approx(2)
    assert passing_bablok(xs, ys).slope == pytest.approx(2)


def test_median_of_odd_and_even():
    assert median([3.0, 1.0, 2.0]) == 2
    assert median([4.0, 1.0, 2.0, 3.0]) == 2.5


def test_points_that_make_no_line_are_told():
    with pytest.raises(LineError, match="no slope"):
        theil_sen([1.0, 1.0], [1.0, 2.0])
    with pytest.raises(LineError, match="against each other"):
        passing_bablok([1.0, 2.0, 3.0], [3.0, 2.0, 1.0])
    with pytest.raises(LineError, match="too few points"):
        passing_bablok([1.0, 2.0, 3.0], [1.0, 2.5, 3.0])
    with pytest.raises(InputError, match="as many x as y"):
        theil_sen([1.0], [1.0, 2.0])
    with pytest.raises(InputError, match="finite numbers"):
        theil_sen([1.0, math.inf], [1.0, 2.0])
