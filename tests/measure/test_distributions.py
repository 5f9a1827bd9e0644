"""Probabilities and quantiles against scipy and the published table."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.distributions import (
    chi2_quantile,
    chi2_sf,
    coverage_factor,
    f_sf,
    normal_quantile,
    normal_sf,
    t_quantile,
)

PROBABILITIES = [1e-12, 1e-6, 0.001, 0.01, 0.05, 0.25, 0.4, 0.6, 0.9, 0.975, 0.995, 0.99999]
DOFS = [0.5, 1, 1.5, 2, 3, 4, 7, 16.75, 30, 100, 1000]


def close(value: float, oracle: float, rel: float = 1e-12) -> None:
    assert math.isclose(value, float(oracle), rel_tol=rel)


@pytest.mark.parametrize("cell", figure("gum-table-g2").expected)
def test_gum_table_g2(cell):
    """JCGM 100:2008 Table G.2 (= NIST TN 1297 Table B.1): t_p(nu) as printed (gum-table-g2)."""
    nu, level = cell.removeprefix("nu").split("_p")
    figure("gum-table-g2").check_item(cell, coverage_factor(float(level) / 100, float(nu)))


@pytest.mark.parametrize("p", PROBABILITIES)
def test_normal_quantile_agrees_with_scipy(p):
    close(normal_quantile(p), stats.norm.ppf(p))


@pytest.mark.parametrize("z", [-37, -8, -1.5, 0, 1e-9, 0.5, 3, 30])
def test_normal_tails_agree_with_scipy(z):
    close(normal_sf(z), stats.norm.sf(z))


@pytest.mark.parametrize("dof", [*DOFS, 1e5, 1e7, 1e10, math.inf])
@pytest.mark.parametrize("p", PROBABILITIES)
def test_t_quantile_agrees_with_scipy(p, dof):
    close(t_quantile(p, dof), stats.t.ppf(p, dof))


@pytest.mark.parametrize("dof", [d for d in DOFS if d >= 1])
@pytest.mark.parametrize("p", PROBABILITIES)
def test_chi2_agrees_with_scipy(p, dof):
    x = chi2_quantile(p, dof)
    close(x, stats.chi2.ppf(p, dof))
    close(chi2_sf(x, dof), stats.chi2.sf(x, dof))


@pytest.mark.parametrize("dof2", [1, 2, 3, 10, 50, 300])
@pytest.mark.parametrize("dof1", [1.5, 2, 7, 30, 1000])
@pytest.mark.parametrize("p", PROBABILITIES)
def test_f_agrees_with_scipy(p, dof1, dof2):
    x = stats.f.ppf(p, dof1, dof2)
    close(f_sf(x, dof1, dof2), stats.f.sf(x, dof1, dof2))


@pytest.mark.parametrize("p", [1e-12, 1e-6, 0.1, 0.5, 0.9, 0.999])
def test_f_with_one_and_one_is_a_squared_tangent(p):
    """F with 1 and 1 degrees of freedom is the square of a Cauchy value, known in closed form."""
    x = math.tan(math.pi * p / 2) ** 2
    close(f_sf(x, 1, 1), math.atan(1 / math.sqrt(x)) * 2 / math.pi)


def test_t_near_its_middle_keeps_relative_digits():
    """Close to p = 1/2 the quantile is the distance to it over the density at 0 (3/8 for 4 dof)."""
    close(t_quantile(0.5 + 2**-40, 4), 2**-40 / 0.375)
    assert t_quantile(0.5, 4) == 0


@given(p=st.floats(1e-9, 1 - 1e-9), dof=st.floats(1, 1e6))
def test_t_quantile_undoes_the_cdf(p, dof):
    """The quantile's own probability is the one asked for, on both sides alike."""
    t = t_quantile(p, dof)
    assert math.isclose(stats.t.cdf(t, dof), p, rel_tol=1e-9)
    assert math.isclose(stats.t.sf(-t, dof), p, rel_tol=1e-9)


@given(x=st.floats(1e-3, 1e3), dof1=st.floats(0.5, 500), dof2=st.floats(0.5, 500))
def test_f_tails_are_complements_and_mirror(x, dof1, dof2):
    """Below and above make 1, and F turned over is F with its degrees of freedom exchanged."""
    assert math.isclose(f_sf(1 / x, dof2, dof1) + f_sf(x, dof1, dof2), 1, rel_tol=1e-9)


@pytest.mark.parametrize("x", [0, -3, math.inf])
def test_no_chi_square_below_zero_or_beyond_infinity(x):
    assert chi2_sf(x, 3) == (0 if x > 0 else 1)
    assert f_sf(x, 3, 4) == (0 if x > 0 else 1)


@pytest.mark.parametrize("p", [0, 1, -0.1, 1.5, math.nan])
@pytest.mark.parametrize("call", [normal_quantile, lambda p: t_quantile(p, 3), coverage_factor])
def test_probabilities_out_of_range_are_refused(call, p):
    with pytest.raises(InputError, match="more than 0 and less than 1"):
        call(p)


@pytest.mark.parametrize("dof", [0, -1, math.nan])
def test_degrees_of_freedom_must_be_positive(dof):
    for call in (lambda x, dof: t_quantile(0.9, dof), chi2_sf):
        with pytest.raises(InputError, match="degrees of freedom"):
            call(1, dof)
    with pytest.raises(InputError, match="degrees of freedom"):
        f_sf(0.5, dof, 3)
