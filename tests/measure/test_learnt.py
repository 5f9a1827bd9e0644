"""An offset between two methods, learnt from pairs."""

from __future__ import annotations

import math
import random

import pytest

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.learnt_offset import FEWEST_FOR_SLOPE, learn_offset


def test_peak_flow_by_two_meters() -> None:
    """Bland & Altman 1986: difference and its spread, and no slope that is clear of 1."""
    example = figure("bland-altman-pefr")
    wright, mini = example.inputs["wright_1"], example.inputs["mini_1"]
    learnt = learn_offset(mini, wright)
    example.check(
        mean_difference=learnt.agreement.bias,
        sd=learnt.agreement.sd,
        se_mean=learnt.agreement.se_bias,
    )
    assert learnt.n == 17
    assert learnt.slope is not None
    assert learnt.line is None


def test_a_published_slope_near_one() -> None:
    """Roche mcr test case TD15: Deming's slope and its jackknife hold 1, so a constant will do."""
    example = figure("mcr-td15")
    xs, ys = example.inputs["x"], example.inputs["y"]
    learnt = learn_offset(xs, ys)
    assert learnt.slope is not None
    assert learnt.slope_interval is not None
    example.check(
        deming_ratio1_slope=learnt.slope,
        deming1_jackknife_slope_low=learnt.slope_interval[0],
        deming1_jackknife_slope_high=learnt.slope_interval[1],
    )
    assert learnt.slope_interval[0] < 1.0 < learnt.slope_interval[1]
    assert learnt.line is None


def test_the_line_is_demings() -> None:
    """With one uncertainty for all, York's line is Deming's with equal variances."""
    rng = random.Random(1)
    xs = [10.0 * i + rng.gauss(0, 0.1) for i in range(12)]
    ys = [1.2 * 10.0 * i + 3.0 + rng.gauss(0, 0.1) for i in range(12)]
    learnt = learn_offset(xs, ys)
    assert learnt.line is not None
    assert learnt.line.slope == pytest.approx(learnt.slope, rel=1e-9)
    assert learnt.restate(50.0, 0.0).value == pytest.approx(63.0, abs=0.3)
    assert learnt.difference_at(50.0)[0] == pytest.approx(13.0, abs=0.3)


def test_few_pairs_judge_no_slope() -> None:
    """Seven pairs along a slope of 1.2 give a constant; eight give the line."""
    xs = [10.0 * i + 0.01 * (-1) ** i for i in range(FEWEST_FOR_SLOPE)]
    ys = [1.2 * 10.0 * i for i in range(FEWEST_FOR_SLOPE)]
    assert learn_offset(xs[:-1], ys[:-1]).line is None
    assert learn_offset(xs, ys).line is not None


def test_pairs_without_spread_judge_no_slope() -> None:
    """Readings of one setting again and again: their own scatter tells nothing of a slope."""
    rng = random.Random(2)
    xs = [62.0 + rng.gauss(0, 0.01) for _ in range(20)]
    ys = [61.0 + rng.gauss(0, 0.01) for _ in range(20)]
    learnt = learn_offset(xs, ys)
    assert learnt.slope is None
    assert learnt.agreement.bias == pytest.approx(-1.0, abs=0.02)


def test_restated_readings_lie_within_their_expanded_uncertainty() -> None:
    """Seeded draws from 4 pairs: 95 % of the errors, within what 3000 draws can tell."""
    rng = random.Random(5)
    hits, draws = 0, 3000
    for _ in range(draws):
        truth = [rng.uniform(170, 180) for _ in range(5)]
        a = [t + rng.gauss(0, 0.02) for t in truth]
        b = [t - 4.4 + rng.gauss(0, 0.02) for t in truth]
        found = learn_offset(a[:4], b[:4]).restate(a[4], 0.0)
        hits += abs(found.value - b[4]) <= found.expanded
    assert abs(hits / draws - 0.95) <= 3.0 * math.sqrt(0.95 * 0.05 / draws)


def test_beyond_what_the_pairs_cover_it_says_so() -> None:
    learnt = learn_offset([10.0, 20.0], [11.0, 21.1])
    assert learnt.restate(15.0, 0.01).within
    assert not learnt.restate(25.0, 0.01).within


@pytest.mark.parametrize("pairs", [([], []), ([1.0], [1.1]), ([1.0, 2.0], [1.0])])
def test_one_pair_teaches_no_scatter(pairs: tuple[list[float], list[float]]) -> None:
    with pytest.raises(InputError, match="pairs"):
        learn_offset(*pairs)


def test_an_impossible_uncertainty_is_refused_by_constant_and_line() -> None:
    constant = learn_offset([1.0, 2.0], [1.1, 2.0])
    line = learn_offset([10.0 * i for i in range(9)], [12.0 * i + 0.01 * (i % 3) for i in range(9)])
    assert line.line is not None
    for learnt in (constant, line):
        with pytest.raises(InputError, match="uncertainty"):
            learnt.restate(1.0, -0.1)
