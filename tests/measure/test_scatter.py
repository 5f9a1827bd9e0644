"""The scatter of a mean: by a study, by the repeats, by both as one; and how often it holds."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from workbench.errors import InputError
from workbench.measure.budget import ASSUMED, SCATTER, reading_budget_mm
from workbench.measure.doubtful import doubtful_repeats
from workbench.measure.repeats import Scatter, scatter_of, summarise

STUDY = Scatter(0.012, 18)
SDS = st.floats(0.001, 0.1)
DOFS = st.integers(1, 60)


def test_a_single_reading_takes_the_study_s_figure_and_its_degrees_of_freedom() -> None:
    """JCGM 100:2008, 4.2.4: u = s_p / sqrt(n), here with n = 1."""
    assert scatter_of(summarise([62.2]), STUDY) == (STUDY, "study")
    part = next(
        p for p in reading_budget_mm([62.2], scatter=STUDY).parts if p.name == SCATTER
    )  # fmt: skip
    assert (part.u, part.dof, part.kind) == (0.012, 18, "scatter")


def test_three_repeats_are_pooled_with_the_study_by_hand() -> None:
    """s^2 = (18 x 0.012^2 + 2 x 0.01^2) / 20 = 0.0001396, and u = s / sqrt(3)."""
    found = scatter_of(summarise([62.19, 62.20, 62.21]), STUDY)
    assert found is not None
    scatter, basis = found
    assert basis == "pooled"
    assert scatter.sd == pytest.approx(math.sqrt(0.0001396), rel=1e-9)
    assert scatter.dof == 20
    parts = reading_budget_mm([62.19, 62.20, 62.21], scatter=STUDY).parts
    assert next(p.u for p in parts if p.name == SCATTER) == pytest.approx(
        math.sqrt(0.0001396 / 3), rel=1e-9
    )


def test_equal_repeats_are_not_without_scatter_where_a_study_saw_it() -> None:
    """Two alike are no proof: s^2 = 18 x 0.012^2 / 19."""
    found = scatter_of(summarise([62.2, 62.2]), STUDY)
    assert found is not None
    assert found[0].sd == pytest.approx(0.012 * math.sqrt(18 / 19))
    assert scatter_of(summarise([62.2, 62.2]), None) == (Scatter(0.0, 1), "repeats")


@pytest.mark.parametrize(
    ("sd", "dof", "named"),
    [(math.nan, 3.0, "standard deviation: nan"), (-0.1, 3.0, "standard deviation: -0.1"),
     (math.inf, 3.0, "standard deviation: inf"), (0.1, 0.0, "degrees of freedom: 0"),
     (0.1, math.nan, "degrees of freedom: nan")],
)  # fmt: skip
def test_a_scatter_that_is_none_is_refused(sd: float, dof: float, named: str) -> None:
    """Named with its value, before it makes a reading look better than it is."""
    with pytest.raises(InputError, match=named):
        Scatter(sd, dof)


def test_a_study_that_shows_no_scatter_says_nothing_of_repeats() -> None:
    """The display hides it: to pool it would make repeats look better than they are."""
    with pytest.raises(InputError, match="repeat scatter of a repeatability test"):
        scatter_of(summarise([62.19, 62.20]), Scatter(0.0, 12))


def test_without_a_study_repeats_speak_alone_and_one_reading_says_nothing() -> None:
    assert scatter_of(summarise([62.2]), None) is None
    found = scatter_of(summarise([62.19, 62.20, 62.21]), None)
    assert found is not None
    assert found[1] == "repeats"
    assert found[0].sd == pytest.approx(0.01)
    part = next(p for p in reading_budget_mm([62.2]).parts if p.name == SCATTER)
    assert (part.u, part.dof, part.kind) == (ASSUMED.sd, math.inf, "standard")


@given(st.lists(st.floats(-1.0, 1.0), min_size=2, max_size=7), SDS, DOFS)
def test_repeats_that_a_study_does_not_explain_speak_for_themselves(
    values: list[float], sd: float, dof: int
) -> None:
    """By scipy's F: their variance over the study's exceeds it in 5 % of cases by chance."""
    repeats = summarise(values)
    assert repeats.sd is not None
    found = scatter_of(repeats, Scatter(sd, dof))
    assert found is not None
    chance = stats.f.sf((repeats.sd / sd) ** 2, len(values) - 1, dof)
    if abs(chance - 0.05) > 1e-9:
        assert (found[1] == "unlike") == (chance < 0.05)
    if found[1] == "unlike":
        assert found[0] == Scatter(repeats.sd, repeats.dof)
    else:
        assert found[0].dof == dof + repeats.dof


@given(st.floats(-0.2, 0.2), SDS, DOFS)
def test_two_repeats_are_flagged_just_where_their_own_scatter_takes_over(
    apart: float, sd: float, dof: int
) -> None:
    """For two, F at 5 % is the square of Student's t: budget and flag cannot contradict."""
    study = Scatter(sd, dof)
    if abs(abs(apart) - study.change) < 1e-9:
        return
    found = scatter_of(summarise([62.0, 62.0 + apart]), study)
    assert found is not None
    flagged = doubtful_repeats([62.0, 62.0 + apart], scatter=study).indices != ()
    assert flagged == (found[1] == "unlike")


@pytest.mark.parametrize("n", [1, 2, 3, 5])
@pytest.mark.parametrize("dof", [4, 18])
def test_the_interval_of_the_mean_covers_what_it_claims(n: int, dof: int) -> None:
    """20,000 seeded shops: 95 % of intervals hold the true value, within what is shown below.

    Repeats that look unlike a study by chance take wider ones, never narrower: a little more than
    95 % is honest. Four standard errors of such a run are 0.6 %.
    """
    rng = np.random.default_rng(20261127)
    runs = 20_000
    studies = np.sqrt(rng.chisquare(dof, runs) / dof)
    readings = rng.standard_normal((runs, n))
    held = 0
    for sd, values in zip(studies, readings, strict=True):
        found = scatter_of(summarise(values), Scatter(float(sd), dof))
        assert found is not None
        scatter = found[0]
        # Student's t by scipy's table below, not by the kernel under test.
        held += abs(values.mean()) <= T95[int(scatter.dof)] * scatter.sd / math.sqrt(n)
    assert 0.944 <= held / runs <= 0.962


T95 = {dof: float(stats.t.ppf(0.975, dof)) for dof in range(1, 40)}


# -- two repeats far apart -------------------------------------------------------------------------


def test_the_limit_is_2_77_times_a_known_scatter() -> None:
    """r = 1.96 sqrt(2) s_r = 2.772 s_r (ISO 5725-6:1994, 4.1, from memory)."""
    found = doubtful_repeats([62.0, 62.1], scatter=ASSUMED)
    assert found.limit == pytest.approx(1.959964 * math.sqrt(2) * 0.01, rel=1e-6)
    assert found.limit == pytest.approx(2.772 * 0.01, rel=1e-4)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_two_are_both_doubtful_just_beyond_the_limit_and_neither_at_it(sign: float) -> None:
    near = doubtful_repeats([62.0, 62.0 + sign * 0.0277], scatter=ASSUMED)
    far = doubtful_repeats([62.0, 62.0 + sign * 0.0278], scatter=ASSUMED)
    assert (near.indices, near.apart) == ((), False)
    assert (far.indices, far.apart) == ((1, 0), True)


def test_one_step_of_the_display_is_never_far_apart() -> None:
    fine = Scatter(0.001, math.inf)
    assert doubtful_repeats([62.0, 62.05], scatter=fine, resolution=0.05).indices == ()
    assert doubtful_repeats([62.0, 62.10], scatter=fine, resolution=0.05).indices == (1, 0)


def test_other_counts_go_by_their_own_tests() -> None:
    """One reading has nothing to differ from; three are Grubbs'."""
    assert doubtful_repeats([62.0], scatter=ASSUMED).limit is None
    three = doubtful_repeats([62.0, 62.0, 63.0], scatter=ASSUMED)
    assert (three.indices, three.limit, three.apart) == ((2,), None, False)


@pytest.mark.parametrize("dof", [2, 8, 22, math.inf])
def test_honest_pairs_are_flagged_in_one_case_of_twenty(dof: float) -> None:
    """20,000 seeded pairs, each held against a study of its own: 5 %, within four standard errors.

    With 1.96 in place of Student's t, two degrees of freedom would flag one pair in five.
    """
    rng = np.random.default_rng(20261127)
    runs = 20_000
    sds = np.ones(runs) if math.isinf(dof) else np.sqrt(rng.chisquare(dof, runs) / dof)
    pairs = rng.standard_normal((runs, 2))
    k = Scatter(1.0, dof).change
    flagged = np.abs(pairs[:, 0] - pairs[:, 1]) > k * sds
    assert flagged.mean() == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / runs))
    some = [
        bool(doubtful_repeats(list(p), scatter=Scatter(float(s), dof)).indices)
        for p, s in zip(pairs[:400], sds[:400], strict=True)
    ]
    assert some == list(flagged[:400])


def test_a_display_s_rounding_adds_no_alarms_to_the_default() -> None:
    """Pairs of the assumed scatter as an inch caliper shows them, by steps of 0.0005 in."""
    rng = np.random.default_rng(20261127)
    runs, step = 20_000, 0.0127
    true = 62.0 + rng.uniform(0.0, step, (runs, 1))
    shown = np.round((true + ASSUMED.sd * rng.standard_normal((runs, 2))) / step) * step
    flagged = [
        bool(doubtful_repeats(list(p), scatter=ASSUMED, resolution=step).indices) for p in shown
    ]
    assert 0.01 < np.mean(flagged) < 0.056
