"""Contributions and budgets: JCGM 100 and EA-4/02 examples, and independent oracles."""

from __future__ import annotations

import math
import random

import GTC
import numpy as np
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.budget import Budget, Contribution
from workbench.measure.distributions import coverage_factor
from workbench.measure.repeats import summarise


def shortest(draws: np.ndarray, level: float) -> tuple[float, float]:
    """Shortest interval that holds ``level`` of the draws (JCGM 101:2008, 5.3.4)."""
    ordered = np.sort(draws)
    held = int(level * len(ordered))
    start = int(np.argmin(ordered[held:] - ordered[: len(ordered) - held]))
    return float(ordered[start]), float(ordered[start + held])


positive = st.floats(1e-6, 1e3)
contributions = st.builds(
    Contribution,
    st.just("part"),
    positive,
    st.one_of(st.just(math.inf), st.floats(1, 200)),
    st.floats(-50, 50).filter(lambda c: abs(c) > 1e-3),
)
budgets = st.lists(contributions, min_size=1, max_size=8).map(lambda p: Budget(tuple(p)))


def test_effective_degrees_of_freedom_of_two():
    """u1 = 0.57 with 9 dof, u2 = 0.25 (Sandia ENGR224 course, welch-satterthwaite)."""
    budget = Budget((Contribution("a", 0.57, 9), Contribution("b", 0.25)))
    figure("welch-satterthwaite").check(nu_eff=budget.dof)


def test_gum_h1():
    """JCGM 100:2008 H.1, end gauge of 50 mm by comparison (gum-h1)."""
    example = figure("gum-h1")
    given_ = example.inputs
    u_d = Budget(
        (
            Contribution("observations", given_["u_d_obs_nm"], given_["dof"]),
            Contribution("random", given_["u_comparator_random_nm"], given_["dof_random"]),
            Contribution(
                "systematic", given_["u_comparator_systematic_nm"], given_["dof_systematic"]
            ),
        )
    )
    length, theta = given_["l_S_nm"], given_["theta_bar_C"]
    d_alpha = Contribution(
        "delta alpha", given_["delta_alpha_rect_halfwidth"] / math.sqrt(3),
        given_["dof_delta_alpha"], -length * theta,
    )  # fmt: skip
    d_theta = Contribution(
        "delta theta", given_["delta_theta_rect_halfwidth_C"] / math.sqrt(3),
        given_["dof_delta_theta"], -length * given_["alpha_S_per_C"],
    )  # fmt: skip
    alpha = Contribution.rectangular("alpha", given_["alpha_S_rect_halfwidth"], sensitivity=0.0)
    swing = Contribution("Delta", given_["Delta_arcsine_halfwidth_C"] / math.sqrt(2))
    theta_u = Budget((Contribution("theta bar", given_["u_theta_bar_C"]), swing)).u
    total = Budget(
        (
            Contribution("standard", given_["u_l_S_nm"], given_["dof_l_S"]),
            Contribution("difference", u_d.u, u_d.dof),
            d_alpha,
            d_theta,
            alpha,
            Contribution("theta", theta_u, sensitivity=0.0),
        )
    )
    example.check(
        u_d_nm=u_d.u,
        dof_d=u_d.dof,
        u_alpha_S=alpha.u,
        u_delta_alpha=d_alpha.u,
        u_theta_C=theta_u,
        u_Delta_C=swing.u,
        u_delta_theta_C=d_theta.u,
        component_delta_alpha_nm=abs(d_alpha.component),
        component_delta_theta_nm=abs(d_theta.component),
        u_c_nm=total.u,
        nu_eff=math.floor(total.dof),
        t99_16=total.coverage(0.99),
        U99_nm=total.coverage(0.99) * round(total.u),  # H.1.6 multiplies the rounded 32 nm
        l_mm=(length + given_["d_nm"]) / 1e6,
    )


def test_ea402_s10():
    """EA-4/02 S10, a vernier caliper at 150 mm, from memory (ea402-s10)."""
    example = figure("ea402-s10")
    given_ = example.inputs
    block = Contribution.rectangular("gauge block", given_["gauge_block_rect_um"])
    per_k = given_["L_mm"] * 1000 * given_["alpha_per_C"]
    warmth = Contribution.rectangular("warmth", given_["delta_t_rect_C"], sensitivity=per_k)
    step = Contribution.rectangular("resolution", given_["resolution_rect_um"])
    works = Contribution.rectangular("mechanics", given_["mechanical_rect_um"])
    budget = Budget((block, warmth, step, works))
    # Two rectangles make a trapezoid; S10 takes its factor from the edge parameter beta.
    wide, narrow = given_["mechanical_rect_um"], given_["resolution_rect_um"]
    beta = (wide - narrow) / (wide + narrow)
    k = (1 - math.sqrt((1 - 0.95) * (1 - beta**2))) / math.sqrt((1 + beta**2) / 6)
    example.check(
        u_l_S_um=block.u,
        u_delta_t_K=warmth.u,
        c_um_per_K=per_k,
        component_t_um=warmth.component,
        u_res_um=step.u,
        u_mech_um=works.u,
        u_um=budget.u,
        beta=beta,
        k=k,
        U_mm=round(k * budget.u / 1000, 2),
        error_mm=round(given_["indication_mm"] - given_["nominal_mm"], 2),
    )


def test_ea402_s4():
    """EA-4/02 S4, a gauge block of 50 mm by comparison, from memory (ea402-s4)."""
    example = figure("ea402-s4")
    given_ = example.inputs
    budget = Budget(
        (
            Contribution("standard", given_["u_l_S_nm"]),
            Contribution.rectangular("drift", given_["drift_rect_nm"]),
            Contribution("difference", given_["u_difference_nm"]),
            Contribution.rectangular("comparator", given_["comparator_rect_nm"]),
            Contribution.rectangular(
                "warmth", given_["delta_t_rect_C"], sensitivity=50e6 * given_["alpha_av_per_C"]
            ),
            Contribution("alpha and temperature", given_["component_dalpha_dT_nm"]),
            Contribution.rectangular("length", given_["variation_in_length_rect_nm"]),
        )
    )
    example.check(
        u_nm=budget.u, U_nm=2 * budget.u, l_X_mm=given_["l_S_mm"] + given_["difference_mm"]
    )


def test_a_half_width_becomes_a_standard_uncertainty():
    """Divided by root three (JCGM 100:2008, 4.3.7), as draws of that shape scatter."""
    part = Contribution.rectangular("x", 0.6)
    assert math.isclose(part.u, 0.6 / math.sqrt(3), rel_tol=1e-15)
    rng = random.Random(20260101)
    sd = summarise([rng.uniform(-0.6, 0.6) for _ in range(40_000)]).sd
    assert math.isclose(part.u, sd, rel_tol=0.01)


def test_additive_model():
    """JCGM 101:2008, 9.2: four alike inputs, normal or rectangular (jcgm101-additive)."""
    example = figure("jcgm101-additive")
    budget = Budget(tuple(Contribution(name, 1.0) for name in "abcd"))
    example.check(u=budget.u, normal_95_halfwidth=budget.expanded())
    rng = np.random.default_rng(92)
    draws = rng.uniform(-math.sqrt(3), math.sqrt(3), (4, 1_000_000)).sum(axis=0)
    low, high = shortest(draws, 0.95)
    example.check(u=float(draws.std()), rect_95_halfwidth=(high - low) / 2)


@given(budgets)
def test_budget_agrees_with_uncertainties(budget):
    """The combined uncertainty is the one the package `uncertainties` makes of the same sum."""
    total = sum(p.sensitivity * uncertainties.ufloat(0, p.u) for p in budget.parts)
    assert math.isclose(budget.u, total.std_dev, rel_tol=1e-12)


@given(budgets)
@settings(max_examples=50)
def test_budget_agrees_with_gtc(budget):
    """Combined uncertainty and effective degrees of freedom are those of GTC."""
    total = sum(p.sensitivity * GTC.ureal(0, p.u, p.dof) for p in budget.parts)
    assert math.isclose(budget.u, GTC.uncertainty(total), rel_tol=1e-12)
    ours, theirs = budget.dof, GTC.dof(total)
    assert math.isclose(ours, theirs, rel_tol=1e-9) or (ours > 1e6 and theirs > 1e6)


@given(budgets)
def test_shares_make_one_and_name_the_largest(budget):
    assert math.isclose(math.fsum(budget.shares), 1, rel_tol=1e-12)
    assert abs(budget.largest.component) == max(row.component for row in budget.rows)


@given(budgets)
def test_effective_degrees_of_freedom_lie_between(budget):
    """No fewer than the least certain part, no more than all parts together."""
    dofs = [p.dof for p in budget.parts]
    assert min(dofs) * (1 - 1e-12) <= budget.dof
    assert budget.dof <= math.fsum(dofs) * (1 + 1e-12)


def test_coverage_cuts_degrees_of_freedom_to_whole():
    """JCGM 100, G.4.1: the next lower whole number."""
    budget = Budget((Contribution("a", 1.0, 9.9),))
    assert math.isclose(budget.coverage(), coverage_factor(0.95, 9))
    assert math.isclose(budget.expanded(0.99), coverage_factor(0.99, 9))
    assert math.isclose(Budget((Contribution("a", 1.0),)).coverage(), 1.959963984540054)


@pytest.mark.parametrize("u", [0, -0.1, math.nan, math.inf])
def test_an_uncertainty_must_be_positive(u):
    with pytest.raises(InputError, match=r"uncertainty of jaw: .* more than 0"):
        Contribution("jaw", u)
    with pytest.raises(InputError, match=r"half-width of jaw: .* more than 0"):
        Contribution.rectangular("jaw", u)


@pytest.mark.parametrize("dof", [0, 0.5, -3, math.nan])
def test_degrees_of_freedom_below_one_are_refused(dof):
    with pytest.raises(InputError, match="degrees of freedom of jaw"):
        Contribution("jaw", 1.0, dof)


def test_sensitivity_must_be_finite():
    with pytest.raises(InputError, match="sensitivity of jaw"):
        Contribution("jaw", 1.0, sensitivity=math.nan)


def test_an_empty_budget_is_refused():
    with pytest.raises(InputError, match="one or more contributions"):
        Budget(())


def test_a_budget_is_a_value():
    first = Budget((Contribution("a", 1.0), Contribution("b", 2.0)))
    again = Budget((Contribution("a", 1.0), Contribution("b", 2.0)))
    assert first == again
    assert hash(first) == hash(again)


@pytest.mark.parametrize(
    ("part", "known", "divisor", "distribution", "evaluation"),
    [
        # JCGM 100:2008, H.1.3.3: expansion of the standard, within 2e-6 per °C, rectangular.
        (Contribution.rectangular("expansion", 2e-6), 2e-6, math.sqrt(3), "rectangular", "B"),
        # H.1.3.2: mean of five repeats whose standard deviation is 13 nm.
        (
            Contribution("repeats", 13 / math.sqrt(5), 24, kind="scatter", divisor=math.sqrt(5)),
            13, math.sqrt(5), "normal", "A",
        ),
        (Contribution("told", 0.2), 0.2, 1, "normal", "B"),
    ],
)  # fmt: skip
def test_a_part_tells_what_was_known_and_how_its_u_was_made(
    part: Contribution, known: float, divisor: float, distribution: str, evaluation: str
) -> None:
    """What JCGM 100, table H.1 and annex H.1 say of each source."""
    assert part.known == pytest.approx(known, rel=1e-12)
    assert part.u == pytest.approx(known / divisor, rel=1e-12)
    assert (part.divisor, part.distribution, part.evaluation) == (divisor, distribution, evaluation)
