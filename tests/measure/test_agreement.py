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
from workbench.measure.learnt_offset import agreement, restated

pairs = st.lists(st.tuples(st.floats(-100, 100), st.floats(-100, 100)), min_size=2, max_size=30)


def repeatability_coefficient(first: list[float], second: list[float]) -> float:
    """Twice the root mean square difference of readings repeated by one method (BSI)."""
    found = agreement(first, second)
    return 2 * math.sqrt(found.bias**2 + found.sd**2 * (found.n - 1) / found.n)


def test_peak_flow():
    """Bland & Altman 1986, 2 sd limits; intervals and repeatabilities from memory."""
    example = figure("bland-altman-pefr")
    data = example.inputs
    result = agreement(data["wright_1"], data["mini_1"], factor=2)
    wright, mini = (data["wright_1"], data["wright_2"]), (data["mini_1"], data["mini_2"])
    example.check(
        mean_difference=result.bias,
        sd=result.sd,
        lower_2sd=result.lower,
        upper_2sd=result.upper,
        se_mean=result.se_bias,
        ci_mean_low=result.bias_interval[0],
        ci_mean_high=result.bias_interval[1],
        se_limit=result.se_limit,
        ci_lower_limit_low=result.lower_interval[0],
        ci_lower_limit_high=result.lower_interval[1],
        ci_upper_limit_low=result.upper_interval[0],
        ci_upper_limit_high=result.upper_interval[1],
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
    offset = agreement([10.30, 11.32, 9.28], [10.0, 11.0, 9.0])
    value, u = restated(10.5, 0.01, offset)
    assert math.isclose(value, 10.8)
    assert math.isclose(u, math.hypot(0.01, 0.02, 0.02 / math.sqrt(3)), rel_tol=1e-9)


def test_restated_readings_scatter_as_stated():
    """Seeded draws: offset learnt from 8 pairs, then used once; the error's rms is its u."""
    rng = random.Random(3)
    squares, stated = [], []
    for _ in range(4000):
        truth = [rng.uniform(50, 60) for _ in range(9)]
        first = [t + 0.3 + rng.gauss(0, 0.02) for t in truth]
        second = [t + rng.gauss(0, 0.01) for t in truth]
        value, u = restated(second[8], 0.0, agreement(first[:8], second[:8]))
        squares.append((value - first[8]) ** 2)
        stated.append(u * u)
    assert math.isclose(math.fsum(squares), math.fsum(stated), rel_tol=0.06)


def test_bad_input_is_told():
    with pytest.raises(InputError, match="2 or more"):
        agreement([1.0], [1.0])
    with pytest.raises(InputError, match="as many readings by both"):
        agreement([1.0, 2.0], [1.0])
    with pytest.raises(InputError, match="finite number"):
        agreement([1.0, math.nan], [1.0, 2.0])
    with pytest.raises(InputError, match="uncertainty"):
        restated(1.0, -0.1, agreement([1.0, 2.0], [1.0, 2.1]))
