"""Weighted adjustment, the global test and data snooping."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.adjustment import (
    ALPHA,
    POWER,
    Adjustment,
    adjust,
    critical_w,
    detectable_shift,
)


def s0(result: Adjustment) -> float:
    """Standard deviation of unit weight."""
    return math.sqrt(result.chi2 / result.dof)


def suspects(result: Adjustment) -> list[int]:
    """Readings whose normalised residual is beyond Baarda's critical value, the worst first."""
    sizes = {i: abs(w) for i, w in enumerate(result.w) if w is not None and abs(w) > critical_w()}
    return sorted(sizes, key=lambda i: -sizes[i])


def level_net():
    """Rows, uncertainties and misclosures (mm) of the level network, point 4 fixed."""
    inputs = figure("snoop-levelnet").inputs
    heights = inputs["preliminary_heights_m"]
    rows, u, misclosures = [], [], []
    for start, end, rise, length in inputs["obs_from_to_dh_m_L_km"]:
        row = [0.0] * 4
        row[start - 1], row[end - 1] = -1.0, 1.0
        rows.append(row[:3])
        u.append(inputs["sd_mm_per_km"] * length)
        misclosures.append((rise - (heights[end - 1] - heights[start - 1])) * 1000)
    return rows, u, misclosures


def test_level_network():
    """OSGeoLab level network: corrections, redundancy, normalised residuals (snoop-levelnet)."""
    example = figure("snoop-levelnet")
    rows, u, misclosures = level_net()
    result = adjust(rows, u, misclosures)
    # The tutorial states deviations after scaling by m0.
    for i in range(3):
        example.check_item(f"correction_mm_point{i + 1}", result.corrections[i])
        height = example.inputs["preliminary_heights_m"][i] + result.corrections[i] / 1000
        example.check_item(f"height_m_point{i + 1}", height)
    for i, obs in enumerate(example.inputs["obs_from_to_dh_m_L_km"]):
        sd_adjusted = s0(result) * u[i] * math.sqrt(1 - result.redundancy[i])
        for name, value in {
            "v_mm": result.residuals[i],
            "adjusted_m": obs[2] + result.residuals[i] / 1000,
            "sd_adjusted_mm": sd_adjusted,
            "tau": abs(result.w[i]) / s0(result),
            "w": abs(result.w[i]),
            "redundancy": result.redundancy[i],
        }.items():
            example.check_item(f"{name}_{i + 1}", value)
    example.check(m0=s0(result), vPv=result.chi2)
    more_digits = [1.87977, 2.08531, 0.00437, 2.59179, 0.72239, 0.59030]
    assert [abs(w) for w in result.w] == pytest.approx(more_digits, abs=5e-6)


def test_baarda_constants():
    """Baarda 1968: 3.29, 4.13 and 17.075 at 0.001 and 80 %, from memory (baarda-constants)."""
    example = figure("baarda-constants")
    assert (example.inputs["alpha0"], example.inputs["power"]) == (ALPHA, POWER)
    delta0 = detectable_shift()
    example.check(critical_w=critical_w(), delta0=delta0, lambda0=delta0**2)


def test_longley():
    """NIST StRD Longley: ill-conditioned, and lost if normal equations are formed."""
    example = figure("strd-lls-longley")
    rows = [[1.0, *row[1:]] for row in example.inputs["rows"]]
    names = ["const", *example.inputs["columns"][1:]]
    result = adjust(rows, [1.0] * len(rows), [row[0] for row in example.inputs["rows"]])
    for j, name in enumerate(names):
        example.check_item(name, result.corrections[j])
    example.check(rss=result.chi2, residual_mean_square=result.chi2 / result.dof)


def test_norris():
    """NIST StRD Norris as an adjustment with unit weights."""
    example = figure("strd-lls-norris")
    pairs = example.inputs["y_x_pairs"]
    result = adjust([[1.0, x] for _, x in pairs], [1.0] * len(pairs), [y for y, _ in pairs])
    example.check(B0=result.corrections[0], B1=result.corrections[1], residual_sd=s0(result))


def random_system(seed: int, m: int = 7, n: int = 3):
    """A random model and its noise, standard normal over the stated uncertainties."""
    rng = random.Random(seed)
    rows = [[rng.gauss(0, 1) for _ in range(n)] for _ in range(m)]
    u = [rng.uniform(0.5, 2) for _ in range(m)]
    return rows, u, [rng.gauss(0, s) for s in u]


@given(st.integers(0, 2**32), st.integers(4, 9))
def test_agrees_with_the_textbook_formulas(seed, m):
    """Corrections, redundancy and chi-square are those of (A'PA)^-1 A'Pl."""
    rows, u, misclosures = random_system(seed, m)
    result = adjust(rows, u, misclosures)
    a, p, y = np.array(rows), np.diag([1 / s**2 for s in u]), np.array(misclosures)
    q = np.linalg.inv(a.T @ p @ a)
    x = q @ a.T @ p @ y
    v = a @ x - y
    tolerance = 1e-9 * np.linalg.cond(a) ** 2
    assert np.allclose(result.corrections, x, rtol=tolerance, atol=tolerance)
    q_v = np.linalg.inv(p) - a @ q @ a.T
    assert np.allclose(result.redundancy, np.diag(q_v @ p), rtol=tolerance, atol=tolerance)
    assert np.isclose(result.chi2, v @ p @ v, rtol=tolerance, atol=tolerance)


@given(st.integers(0, 2**32), st.integers(4, 9))
def test_redundancy_numbers_sum_to_the_degrees_of_freedom(seed, m):
    result = adjust(*random_system(seed, m))
    assert math.isclose(math.fsum(result.redundancy), result.dof, rel_tol=1e-9)
    assert all(0 <= r <= 1 + 1e-12 for r in result.redundancy)


@given(st.integers(0, 2**32))
def test_normalised_residuals_never_exceed_the_whole(seed):
    """The square of one normalised residual is part of chi-square."""
    result = adjust(*random_system(seed))
    assert all(w * w <= result.chi2 * (1 + 1e-9) for w in result.w)


@given(st.integers(0, 2**32), st.integers(0, 6), st.floats(-50, 50))
def test_a_single_gross_error_is_recovered(seed, wrong, error):
    """Without noise, the likely error of the wrong reading is exactly what was added to it."""
    rows, u, _ = random_system(seed)
    misclosures = [0.0] * 7
    misclosures[wrong] = error
    result = adjust(rows, u, misclosures)
    if result.redundancy[wrong] > 0.01:
        likely = -result.residuals[wrong] / result.redundancy[wrong]
        assert math.isclose(likely, error, rel_tol=1e-9, abs_tol=1e-12)


def test_a_large_error_is_named():
    rows, u, misclosures = random_system(4)
    clean = adjust(rows, u, misclosures)
    assert clean.agrees()
    assert suspects(clean) == []
    misclosures[2] += 3 * clean.detectable()[2]
    result = adjust(rows, u, misclosures)
    assert not result.agrees()
    assert suspects(result)[0] == 2


def test_alarm_rate_and_power_are_as_stated():
    """Over seeded draws: w beyond 3.29 in about 0.1 %, a minimal detectable bias caught in 80 %."""
    rows, u, _ = random_system(11)
    rng = random.Random(2)
    bias = adjust(rows, u, [0.0] * 7).detectable()[0]
    alarms = caught = 0
    trials = 1500
    for _ in range(trials):
        noise = [rng.gauss(0, s) for s in u]
        alarms += 0 in suspects(adjust(rows, u, noise))
        noise[0] += bias
        caught += 0 in suspects(adjust(rows, u, noise))
    assert alarms / trials < 0.005
    assert abs(caught / trials - 0.80) < 0.04


def test_an_unchecked_reading_says_so():
    """Nothing else touches the second unknown: its reading has no redundancy and no verdict."""
    result = adjust([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0]], [1.0] * 3, [0.0, 9.0, 7.0])
    assert result.redundancy == pytest.approx((0.5, 0.5, 0))
    assert result.w[2] is None
    assert result.detectable()[2] is None
    assert set(suspects(result)) == {0, 1}


def test_without_redundancy_nothing_contradicts():
    result = adjust([[2.0]], [0.5], [3.0])
    assert result.corrections == (1.5,)
    assert (result.dof, result.p, result.w) == (0, None, (None,))
    assert result.agrees()


def test_agreement_is_exact_without_noise():
    """Perfect readings: no residual, and agreement."""
    result = adjust([[1.0], [2.0]], [1.0, 1.0], [1.0, 2.0])
    assert result.agrees()
    assert suspects(result) == []


@pytest.mark.parametrize("rows", [[[1.0, 2.0]], [[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]]])
def test_an_open_unknown_is_told(rows):
    with pytest.raises(InputError, match="tell all unknowns apart"):
        adjust(rows, [1.0] * len(rows), [0.0] * len(rows))
