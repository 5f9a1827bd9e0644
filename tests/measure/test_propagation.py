"""First-order propagation against JCGM 100 and against Monte Carlo (JCGM 101)."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values, covariance_matrix, umath

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.budget import Budget, Contribution
from workbench.measure.propagation import (
    correlation,
    correlations_of,
    covariance_of_means,
    jacobian_row,
    propagate,
    propagate_formula,
)
from workbench.measure.repeats import summarise


def shortest(draws: np.ndarray, level: float) -> tuple[float, float]:
    """Shortest interval that holds ``level`` of the draws (JCGM 101:2008, 5.3.4)."""
    ordered = np.sort(draws)
    held = int(level * len(ordered))
    start = int(np.argmin(ordered[held:] - ordered[: len(ordered) - held]))
    return float(ordered[start]), float(ordered[start + held])


def test_gum_h2_resistance_and_reactance():
    """JCGM 100:2008 H.2, correlated repeat readings; approach-2 figures from memory (gum-h2)."""
    example = figure("gum-h2")
    volt, milliamp, phi = (example.inputs[key] for key in ("V_volt", "I_mA", "phi_rad"))
    columns = [volt, [i / 1000 for i in milliamp], phi]
    means = [summarise(column).mean for column in columns]
    covariance = covariance_of_means(columns)
    u = [math.sqrt(covariance[i][i]) for i in range(3)]
    r = correlations_of(covariance)
    example.check(
        V_mean=means[0], I_mean_mA=means[1] * 1000, phi_mean=means[2],
        u_V=u[0], u_I_mA=u[1] * 1000, u_phi=u[2],
        r_VI=r[0][1], r_Vphi=r[0][2], r_Iphi=r[1][2],
    )  # fmt: skip
    assert math.isclose(correlation(columns[0], columns[2]), r[0][2], rel_tol=1e-9)

    formulas = [
        lambda q: q[0] / q[1] * math.cos(q[2]),
        lambda q: q[0] / q[1] * math.sin(q[2]),
        lambda q: q[0] / q[1],
    ]
    jacobian = [jacobian_row(f, means, u) for f in formulas]
    outcome = propagate(jacobian, covariance)
    r_out = correlations_of(outcome)
    example.check(
        R=formulas[0](means), X=formulas[1](means), Z=formulas[2](means),
        u_R=math.sqrt(outcome[0][0]), u_X=math.sqrt(outcome[1][1]), u_Z=math.sqrt(outcome[2][2]),
        r_RX=r_out[0][1], r_RZ=r_out[0][2], r_XZ=r_out[1][2],
    )  # fmt: skip

    each = [[f(row) for row in zip(*columns, strict=True)] for f in formulas]
    example.check(approach2_R=summarise(each[0]).mean, approach2_u_X=summarise(each[1]).u_mean)


def test_gum_h1_second_order():
    """JCGM 100:2008 H.1.7: what the products add, from memory (gum-h1)."""
    example = figure("gum-h1")
    length = example.inputs["l_S_nm"]
    u_alpha = Contribution.rectangular("a", example.inputs["alpha_S_rect_halfwidth"]).u
    u_d_alpha = Contribution.rectangular("da", example.inputs["delta_alpha_rect_halfwidth"]).u
    u_d_theta = Contribution.rectangular("dt", example.inputs["delta_theta_rect_halfwidth_C"]).u
    u_theta = math.hypot(example.inputs["u_theta_bar_C"], 0.5 / math.sqrt(2))

    def gauge(q):
        standard, difference, d_alpha, theta, alpha, d_theta = q
        return standard + difference - standard * (d_alpha * theta + alpha * d_theta)

    first = propagate_formula(
        lambda q: length * q[0] * q[1], [0, example.inputs["theta_bar_C"]], [u_d_alpha, u_theta]
    )
    second = propagate_formula(
        lambda q: length * q[0] * q[1], [example.inputs["alpha_S_per_C"], 0], [u_alpha, u_d_theta]
    )
    whole = propagate_formula(
        gauge,
        [length, 215, 0, -0.1, 11.5e-6, 0],
        [example.inputs["u_l_S_nm"], 9.7, u_d_alpha, u_theta, u_alpha, u_d_theta],
    )
    example.check(
        second_order_delta_alpha_theta_nm=first.second_order,
        second_order_alpha_delta_theta_nm=second.second_order,
        u_c_nm=whole.u,
        u_c_with_second_order_nm=math.hypot(whole.u, whole.second_order),
    )
    assert whole.curved


def test_gauge_block_by_monte_carlo():
    """JCGM 101:2008, 9.5 (jcgm101-gaugeblock); the input distributions are from memory."""
    example = figure("jcgm101-gaugeblock")
    rng = np.random.default_rng(example.inputs["seed"])
    n = 1_000_000

    def trapezoid(a, b, d):
        low = a - d + 2 * d * rng.random(n)
        return low + (a + b - 2 * low) * rng.random(n)

    standard = 50000623 + 25 * rng.standard_t(18, n)
    difference = 215 + 6 * rng.standard_t(24, n)
    random_, systematic = 4 * rng.standard_t(5, n), 7 * rng.standard_t(8, n)
    alpha = rng.uniform(9.5e-6, 13.5e-6, n)
    theta = rng.normal(-0.1, 0.2, n) + 0.5 * np.sin(rng.uniform(-np.pi, np.pi, n))
    d_alpha, d_theta = trapezoid(-1e-6, 1e-6, 0.1e-6), trapezoid(-0.05, 0.05, 0.025)
    draws = standard + difference + random_ + systematic - 50000000
    draws = draws - standard * (d_alpha * theta + alpha * d_theta)
    low, high = shortest(draws, 0.99)
    example.check(mean_nm=float(draws.mean()), u_nm=float(draws.std()), low_nm=low, high_nm=high)

    def gauge(q):
        return q[0] + q[1] + q[2] + q[3] - 5e7 - q[0] * (q[4] * q[5] + q[6] * q[7])

    u = [25, 6, 4, 7, 0.1e-6, 1e-6, 2e-6 / math.sqrt(3), 0.05 / math.sqrt(3)]
    u[4], u[5] = 1e-6 / math.sqrt(3), math.hypot(0.2, 0.5 / math.sqrt(2))
    linear = propagate_formula(gauge, [50000623, 215, 0, 0, 0, -0.1, 11.5e-6, 0], u)
    assert round(linear.value) == 838
    assert round(linear.u) == 32
    assert linear.curved


def test_additive_model():
    """JCGM 101:2008, 9.2: four alike inputs, normal or rectangular (jcgm101-additive)."""
    example = figure("jcgm101-additive")
    budget = Budget(tuple(Contribution(name, 1.0) for name in "abcd"))
    example.check(u=budget.u, normal_95_halfwidth=budget.expanded())
    rng = np.random.default_rng(92)
    draws = rng.uniform(-math.sqrt(3), math.sqrt(3), (4, 1_000_000)).sum(axis=0)
    low, high = shortest(draws, 0.95)
    example.check(u=float(draws.std()), rect_95_halfwidth=(high - low) / 2)


def test_comparison_loss_is_flagged():
    """JCGM 101:2008, 9.4: at a stationary point the first order says 0, and the flag is up."""
    example = figure("jcgm101-comparison-loss")
    u = example.inputs["u"]
    linear = propagate_formula(lambda q: q[0] ** 2 + q[1] ** 2, [0, 0], [u, u])
    rng = np.random.default_rng(94)
    draws = (rng.normal(0, u, (2, 1_000_000)) ** 2).sum(axis=0)
    example.check_item("gum_u", linear.u)
    example.check_item("mc_mean_e-6", float(draws.mean()) * 1e6)
    example.check_item("mc_u_e-6", float(draws.std()) * 1e6)
    example.check_item("mc_u_e-6", linear.second_order * 1e6)
    # The density falls from its largest at 0, so the shortest interval is one-sided.
    example.check_item("shortest95_high_e-6", float(np.quantile(draws, 0.95)) * 1e6)
    assert linear.curved


@given(st.lists(st.floats(0.5, 2), min_size=3, max_size=3), st.floats(-0.8, 0.8))
def test_propagation_agrees_with_uncertainties(inputs, r):
    """Correlated inputs through two formulas give the covariance of the `uncertainties` package."""
    u = [0.01, 0.02, 0.015]
    covariance = [[u[i] * u[j] * (1 if i == j else r / 2) for j in range(3)] for i in range(3)]
    ours = propagate(
        [
            jacobian_row(lambda q: q[0] * math.sin(q[1]), inputs, u),
            jacobian_row(lambda q: q[1] / q[2], inputs, u),
        ],
        covariance,
    )
    a, b, c = correlated_values(inputs, np.array(covariance))
    theirs = covariance_matrix([a * umath.sin(b), b / c])
    for i in range(2):
        for j in range(2):
            assert math.isclose(ours[i][j], theirs[i][j], rel_tol=1e-5, abs_tol=1e-10)


@given(st.floats(5, 300), st.floats(0.05, 0.6), st.integers(0, 2**32))
def test_linear_propagation_agrees_with_monte_carlo(length, angle, seed):
    """A reading off a slanted edge: seeded draws scatter as the first order says, within 5 %."""
    u = [0.02, 0.003, 0.05]

    def reading(q):
        return q[0] * math.cos(q[1]) + q[2] * math.tan(q[1])

    inputs = [length, angle, 0.3]
    linear = propagate_formula(reading, inputs, u)
    rng = random.Random(seed)
    draws = [
        reading([rng.gauss(x, s) for x, s in zip(inputs, u, strict=True)]) for _ in range(6000)
    ]
    assert not linear.curved
    assert math.isclose(linear.u, summarise(draws).sd, rel_tol=0.05)


def test_bad_input_is_told():
    with pytest.raises(InputError, match="uncertainty of an input"):
        propagate_formula(lambda q: q[0], [1.0], [0.0])
    with pytest.raises(InputError, match="inputs"):
        jacobian_row(lambda q: q[0], [1.0, 2.0], [1.0])
    with pytest.raises(InputError, match="covariance"):
        propagate([[1.0, 2.0]], [[1.0]])
    with pytest.raises(InputError, match="pairs"):
        correlation([1.0, 2.0], [1.0])
    with pytest.raises(InputError, match="values that differ"):
        correlation([1.0, 2.0], [1.0, 1.0])
    with pytest.raises(InputError, match="equally many"):
        covariance_of_means([[1.0, 2.0], [1.0]])
