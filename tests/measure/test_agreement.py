"""How far two methods agree."""

from __future__ import annotations

import math
import random
from statistics import correlation

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.distributions import coverage_factor
from workbench.measure.learnt_offset import agreement, learn_offset

pairs = st.lists(st.tuples(st.floats(-100, 100), st.floats(-100, 100)), min_size=2, max_size=30)


def repeatability_coefficient(first: list[float], second: list[float]) -> float:
    """Twice the root mean square difference of readings repeated by one method (BSI)."""
    found = agreement(first, second)
    return 2 * math.sqrt(found.bias**2 + found.sd**2 * (found.n - 1) / found.n)


def test_peak_flow():
    """Bland & Altman 1986, 2 sd limits; intervals and repeatabilities from memory."""
    example = figure("bland-altman-pefr")
    data = example.inputs
    result = agreement(data["wright_1"], data["mini_1"])
    wright, mini = (data["wright_1"], data["wright_2"]), (data["mini_1"], data["mini_2"])
    example.check(
        mean_difference=result.bias,
        sd=result.sd,
        lower_2sd=result.bias - 2 * result.sd,
        upper_2sd=result.bias + 2 * result.sd,
        se_mean=result.se_bias,
        se_limit=result.half_limit / coverage_factor(0.95, result.n - 1),
        correlation=correlation(data["wright_1"], data["mini_1"]),
        repeatability_wright=repeatability_coefficient(*wright),
        repeatability_mini=repeatability_coefficient(*mini),
    )


def test_unrounded_limits():
    """The 1.96 sd limits of the same data, as R prints them."""
    data = figure("bland-altman-pefr").inputs
    result = agreement(data["wright_1"], data["mini_1"])
    assert math.isclose(result.lower, -78.097301611093997, rel_tol=1e-14)
    assert math.isclose(result.upper, 73.862007493446924, rel_tol=1e-14)


@given(pairs)
def test_exchanging_the_methods_mirrors_the_limits(points):
    first, second = zip(*points, strict=True)
    there, back = agreement(first, second), agreement(second, first)
    assert math.isclose(there.bias, -back.bias, abs_tol=1e-9)
    assert math.isclose(there.lower, -back.upper, abs_tol=1e-9)
    assert math.isclose(there.sd, back.sd, abs_tol=1e-9)


def test_a_learnt_offset_restates_a_reading():
    """Offsets about 0.3: the reading moves by their mean, and their scatter joins its own."""
    found = learn_offset([10.0, 11.0, 9.0], [10.30, 11.32, 9.28]).restate(10.5, 0.01)
    assert math.isclose(found.value, 10.8)
    assert math.isclose(found.u, math.hypot(0.01, 0.02, 0.02 / math.sqrt(3)), rel_tol=1e-9)


def test_restated_readings_scatter_as_stated():
    """Seeded draws: offset learnt from 7 pairs, then used once; the error's rms is its u."""
    rng = random.Random(3)
    squares, stated = [], []
    for _ in range(4000):
        truth = [rng.uniform(50, 60) for _ in range(9)]
        first = [t + 0.3 + rng.gauss(0, 0.02) for t in truth]
        second = [t + rng.gauss(0, 0.01) for t in truth]
        found = learn_offset(second[:7], first[:7]).restate(second[8], 0.0)
        squares.append((found.value - first[8]) ** 2)
        stated.append(found.u**2)
    assert math.isclose(math.fsum(squares), math.fsum(stated), rel_tol=0.06)


def test_bad_input_is_told():
    with pytest.raises(InputError, match="2 or more"):
        learn_offset([1.0], [1.0])
    with pytest.raises(InputError, match="as many readings by both"):
        learn_offset([1.0, 2.0, 3.0], [1.0, 2.0])
    with pytest.raises(InputError, match="finite number"):
        learn_offset([1.0, math.nan], [1.0, 2.0])
