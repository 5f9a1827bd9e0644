"""Analysis of variance against NIST, scipy and the identity of sums of squares."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tests.measure.figures import figure
from workbench.measure.gauge_study import Effect, probability, ratio, two_way
from workbench.measure.repeats import sum_of_squares


def groups_of(rows: list[list[float]]) -> list[list[float]]:
    """(treatment, value) rows as groups."""
    groups: dict[float, list[float]] = {}
    for treatment, value in rows:
        groups.setdefault(treatment, []).append(value)
    return list(groups.values())


def one_way(groups: list[list[float]]) -> tuple[Effect, Effect]:
    """The effects between and within groups: parts that one person read."""
    table = two_way([[group] for group in groups])
    assert (table.person.ss, table.interaction.ss) == (0, 0)
    return table.part, table.equipment


def test_strd_sirstv():
    """NIST StRD one-way ANOVA SiRstv (strd-anova-sirstv)."""
    example = figure("strd-anova-sirstv")
    between, within = one_way(groups_of(example.inputs["rows_treatment_value"]))
    example.check(
        ss_between=between.ss,
        ss_within=within.ss,
        F=ratio(between, within),
        residual_sd=math.sqrt(within.ms),
        r_squared=between.ss / (between.ss + within.ss),
    )
    assert (between.dof, within.dof) == (4, 20)


def test_constant_leading_digits_cost_nothing():
    """A million added to every reading changes only what the readings themselves lose."""
    groups = groups_of(figure("strd-anova-sirstv").inputs["rows_treatment_value"])
    plain = ratio(*one_way(groups))
    far = ratio(*one_way([[v + 1e6 for v in group] for group in groups]))
    assert math.isclose(plain, far, rel_tol=1e-7)


@given(st.integers(0, 2**32), st.integers(2, 5))
def test_one_way_agrees_with_scipy(seed, count):
    rng = random.Random(seed)
    size = rng.randint(2, 6)
    groups = [[rng.gauss(i / 3, 1) for _ in range(size)] for i in range(count)]
    ours, theirs = one_way(groups), stats.f_oneway(*groups)
    assert math.isclose(ratio(*ours), theirs.statistic, rel_tol=1e-9)
    assert math.isclose(probability(*ours), theirs.pvalue, rel_tol=1e-9)


@given(st.integers(0, 2**32), st.integers(1, 4), st.integers(1, 4), st.integers(1, 3))
def test_two_way_sums_to_the_whole(seed, parts, persons, trials):
    """The four sums of squares and degrees of freedom are those of all readings together."""
    rng = random.Random(seed)
    table = [
        [[rng.gauss(i + j / 2, 0.3) for _ in range(trials)] for j in range(persons)]
        for i in range(parts)
    ]
    flat = [v for row in table for cell in row for v in cell]
    total = two_way(table).total
    assert math.isclose(total.ss, sum_of_squares(flat), rel_tol=1e-9, abs_tol=1e-12)
    assert total.dof == len(flat) - 1


def test_pure_effects_land_where_they_belong():
    """Readings made of parts alone, or of persons alone, leave every other line empty."""
    parts = two_way([[[float(i)] * 2] * 3 for i in range(4)])
    assert parts.part.ss == pytest.approx(2 * 3 * 5)
    assert (parts.person.ss, parts.interaction.ss, parts.equipment.ss) == (0, 0, 0)
    persons = two_way([[[float(j)] * 2 for j in range(3)] for _ in range(4)])
    assert persons.person.ss == pytest.approx(2 * 4 * 2)
    assert (persons.part.ss, persons.interaction.ss) == (0, 0)


def test_groups_all_alike():
    """No scatter at all is F of 0; scatter only between the groups is F without bound."""
    assert ratio(*one_way([[1.0, 1.0], [1.0, 1.0]])) == 0
    split = one_way([[1.0, 1.0], [2.0, 2.0]])
    assert (ratio(*split), probability(*split)) == (math.inf, 0)
