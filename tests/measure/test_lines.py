"""Straight lines with errors in y, and in both."""

from __future__ import annotations

import math
import random
from statistics import correlation

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from tests.measure.figures import figure
from workbench.measure.adjustment import adjust
from workbench.measure.learnt_offset import Line, LineError, deming, jackknife, weighted_line, york


def ordinary_line(xs: list[float], ys: list[float]) -> Line:
    """The line of points whose equal scatter in y is estimated from themselves."""
    return weighted_line(xs, ys, [1.0] * len(xs)).from_scatter()


def cloud(seed: int, n: int = 12) -> tuple[list[float], list[float]]:
    """Points scattered about y = 3 + 1.5 x."""
    rng = random.Random(seed)
    xs = [rng.uniform(0, 10) for _ in range(n)]
    return xs, [3 + 1.5 * x + rng.gauss(0, 0.3) for x in xs]


def test_norris():
    """NIST StRD Norris (strd-lls-norris)."""
    example = figure("strd-lls-norris")
    ys, xs = zip(*example.inputs["y_x_pairs"], strict=True)
    line = ordinary_line(xs, ys)
    example.check(
        B0=line.intercept,
        B1=line.slope,
        sd_B0=line.u_intercept,
        sd_B1=line.u_slope,
        residual_sd=line.residual_sd,
        r_squared=correlation(xs, ys) ** 2,
    )


def test_a_common_scatter_is_estimated_from_the_points():
    """Weights all 1, then scaled so that chi-square is its degrees of freedom (scipy's curve_fit).

    The scatter of one more y is in the same scale.
    """
    xs, ys = cloud(7)
    line = weighted_line(xs, ys, [1.0] * len(xs)).from_scatter(3.0)
    best, covariance = optimize.curve_fit(lambda x, a, b: a + b * x, xs, ys)
    assert (line.intercept, line.slope) == pytest.approx(tuple(best), rel=1e-6)
    assert line.u_intercept == pytest.approx(math.sqrt(covariance[0][0]), rel=1e-6)
    assert line.u_slope == pytest.approx(math.sqrt(covariance[1][1]), rel=1e-6)
    assert line.covariance == pytest.approx(covariance[0][1], rel=1e-6)
    squares = sum((y - best[0] - best[1] * x) ** 2 for x, y in zip(xs, ys, strict=True))
    assert line.residual_sd == pytest.approx(3.0 * math.sqrt(squares / (len(xs) - 2)), rel=1e-6)


def test_natrella_line():
    """NBS Handbook 91, 5-4.1, Young's modulus against temperature (natrella-line)."""
    example = figure("natrella-line")
    line = ordinary_line(example.inputs["x"], example.inputs["y"])
    example.check(
        slope=line.slope,
        intercept=line.intercept,
        var_slope=line.u_slope**2,
        var_intercept=line.u_intercept**2,
        residual_sd=line.residual_sd,
        var_line_at_1200=line.at(1200)[1] ** 2,
        var_prediction_at_750=line.predict(750)[1] ** 2,
    )


def test_gum_h3():
    """JCGM 100:2008 H.3, a thermometer's calibration line about 20 degC (gum-h3)."""
    example = figure("gum-h3")
    line = ordinary_line(
        [t - example.inputs["t0"] for t in example.inputs["t_C"]], example.inputs["b_C"]
    )
    b_30, u_b_30 = line.at(10)
    example.check(
        y1=line.intercept,
        s_y1=line.u_intercept,
        y2=line.slope,
        s_y2=line.u_slope,
        r=line.covariance / (line.u_intercept * line.u_slope),
        s=line.residual_sd,
        b_30=b_30,
        u_b_30=u_b_30,
    )


def test_iso_28037_weighted_line():
    """ISO/TS 28037:2010 pp. 13-14, and the x of a new reading (iso28037-wls1)."""
    example = figure("iso28037-wls1")
    given_ = example.inputs
    line = weighted_line(given_["x"], given_["y"], given_["u_y"])
    x0 = (given_["y0"] - line.intercept) / line.slope
    u_x0 = math.hypot(line.at(x0)[1], given_["u_y0"]) / line.slope
    example.check(
        a=line.intercept,
        b=line.slope,
        u_a=line.u_intercept,
        u_b=line.u_slope,
        cov_ab=line.covariance,
        chi2_obs=line.chi2,
        x0=x0,
        u_x0=u_x0,
    )
    assert line.dof == 4


def test_iso_28037_errors_in_both():
    """ISO/TS 28037:2010 clause 7, p. 21, with its printed uncertainties (iso28037-wtls)."""
    example = figure("iso28037-wtls")
    given_ = example.inputs
    line = york(given_["x"], given_["y"], [given_["u_x"]] * 6, given_["u_y"])
    example.check(a=line.intercept, b=line.slope, chi2_obs=line.chi2)
    assert line.u_intercept == pytest.approx(0.4764, abs=5e-5)
    assert line.u_slope == pytest.approx(0.1355, abs=5.1e-5)
    assert line.covariance == pytest.approx(-0.0577, abs=5e-5)


def test_pearson_data_with_york_weights():
    """Pearson's data, York's weights: exact line of Neri et al. 1989 (pearson-york)."""
    example = figure("pearson-york")
    given_ = example.inputs
    u_x = [1 / math.sqrt(w) for w in given_["weight_x"]]
    u_y = [1 / math.sqrt(w) for w in given_["weight_y"]]
    line = york(given_["x"], given_["y"], u_x, u_y)
    example.check(
        intercept=line.intercept, slope=line.slope, chi2_over_n_minus_2=line.chi2 / line.dof
    )


def test_method_comparison_data():
    """Roche mcr test case TD15: least squares, Deming and its jackknife (mcr-td15)."""
    example = figure("mcr-td15")
    xs, ys = example.inputs["x"], example.inputs["y"]
    plain, slopes = ordinary_line(xs, ys), jackknife(xs, ys)
    example.check(
        ols_intercept=plain.intercept,
        ols_slope=plain.slope,
        deming_ratio1_slope=deming(xs, ys),
        deming1_jackknife_slope_low=slopes[0],
        deming1_jackknife_slope_high=slopes[1],
    )


@given(st.integers(0, 2**32))
def test_ordinary_line_agrees_with_scipy(seed):
    xs, ys = cloud(seed)
    line, theirs = ordinary_line(xs, ys), stats.linregress(xs, ys)
    assert math.isclose(line.slope, theirs.slope, rel_tol=1e-9)
    assert math.isclose(line.intercept, theirs.intercept, rel_tol=1e-9)
    assert math.isclose(line.u_slope, theirs.stderr, rel_tol=1e-9)
    assert math.isclose(line.u_intercept, theirs.intercept_stderr, rel_tol=1e-9)


@given(st.integers(0, 2**32))
def test_weighted_line_is_an_adjustment(seed):
    """The closed form and the general adjustment give the same line."""
    xs, ys = cloud(seed)
    u = [random.Random(seed + 1).uniform(0.2, 3) for _ in xs]
    line, general = weighted_line(xs, ys, u), adjust([[1.0, x] for x in xs], u, ys)
    assert math.isclose(line.intercept, general.corrections[0], rel_tol=1e-9)
    assert math.isclose(line.slope, general.corrections[1], rel_tol=1e-9)
    assert math.isclose(line.chi2, general.chi2, rel_tol=1e-9)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32))
def test_york_agrees_with_a_general_minimiser(seed):
    """scipy finds the same line by moving every point to where the line wants it."""
    xs, ys = cloud(seed)
    rng = random.Random(seed + 1)
    u_x, u_y = ([rng.uniform(0.1, 0.5) for _ in xs] for _ in range(2))
    line = york(xs, ys, u_x, u_y)

    def misfit(unknowns):
        a, b, *moved = unknowns
        along = [(m - x) / u for m, x, u in zip(moved, xs, u_x, strict=True)]
        return along + [(a + b * m - y) / u for m, y, u in zip(moved, ys, u_y, strict=True)]

    fit = optimize.least_squares(misfit, [3, 1.5, *xs], xtol=1e-12, ftol=1e-14, gtol=1e-12)
    assert math.isclose(line.slope, fit.x[1], rel_tol=1e-6)
    assert math.isclose(line.intercept, fit.x[0], rel_tol=1e-6, abs_tol=1e-6)
    assert math.isclose(line.chi2, 2 * fit.cost, rel_tol=1e-6)


@given(st.integers(0, 2**32))
def test_york_without_errors_in_x_is_the_weighted_line(seed):
    xs, ys = cloud(seed)
    u_y = [random.Random(seed + 1).uniform(0.2, 1) for _ in xs]
    both, plain = york(xs, ys, [0.0] * len(xs), u_y), weighted_line(xs, ys, u_y)
    assert math.isclose(both.slope, plain.slope, rel_tol=1e-12)
    assert math.isclose(both.u_intercept, plain.u_intercept, rel_tol=1e-9)


@given(st.integers(0, 2**32))
def test_deming_is_york_with_equal_weights(seed):
    xs, ys = cloud(seed)
    general = york(xs, ys, [1.0] * len(xs), [1.0] * len(xs))
    assert math.isclose(general.slope, deming(xs, ys), rel_tol=1e-9)


@given(st.integers(0, 2**32))
def test_deming_turned_round_is_the_same_line(seed):
    """Exchanging the methods inverts the slope, which ordinary least squares does not."""
    xs, ys = cloud(seed)
    assert math.isclose(deming(xs, ys), 1 / deming(ys, xs))


def test_uncertainties_of_york_match_the_scatter_of_seeded_repeats():
    """Redrawn points scatter their slopes by what the line states, within 5 %."""
    rng = random.Random(7)
    true_x = [i / 2 for i in range(20)]
    u_x, u_y = [0.1] * 20, [0.15] * 20
    slopes, stated = [], []
    for _ in range(1500):
        xs = [rng.gauss(x, 0.1) for x in true_x]
        ys = [rng.gauss(1 + 0.8 * x, 0.15) for x in true_x]
        line = york(xs, ys, u_x, u_y)
        slopes.append(line.slope)
        stated.append(line.u_slope)
    mean = math.fsum(slopes) / 1500
    sd = math.sqrt(math.fsum((s - mean) ** 2 for s in slopes) / 1499)
    assert math.isclose(math.fsum(stated) / 1500, sd, rel_tol=0.05)


def test_an_exact_line_is_found_exactly():
    assert deming([0, 1, 2], [1, 3, 5]) == 2
    line = york([0, 1, 2], [1, 3, 5], [1.0] * 3, [1.0] * 3)
    assert (line.intercept, line.slope, line.chi2) == pytest.approx((1, 2, 0))


def test_points_that_make_no_line_are_told():
    with pytest.raises(LineError, match="no slope"):
        weighted_line([1, 1], [1, 2], [1.0, 1.0])
    with pytest.raises(LineError, match="no slope"):
        york([1, 1], [1, 2], [1.0, 1.0], [1.0, 1.0])
    with pytest.raises(LineError, match="do not vary together"):
        deming([1, 2, 3], [5, 5, 5])
