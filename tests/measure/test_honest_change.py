"""The smallest change that is no chance: its factor, its degrees of freedom, its coverage."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.test_gauge import made_up, reference_study
from workbench.measure.distributions import coverage_factor
from workbench.measure.gauge_study import by_anova
from workbench.measure.repeats import Scatter


def test_for_many_degrees_of_freedom_it_is_the_limit_of_2_8() -> None:
    """ISO 5725-6:1994, 4.1 (from memory): r = 2.8 s_r, as the standard rounds 1.96 sqrt(2)."""
    assert round(Scatter(1.0, math.inf).change, 1) == 2.8


def test_few_degrees_of_freedom_widen_it_by_student_s_t() -> None:
    """JCGM 100:2008, Table G.2: t at 95 % is 12.71 for 1, 2.57 for 5, 2.09 for 20."""
    for dof, t in ((1, 12.71), (5, 2.57), (20, 2.09)):
        assert round(Scatter(1.0, dof).k, 2) == t
        assert Scatter(2.0, dof).change == pytest.approx(
            2.0 * math.sqrt(2) * coverage_factor(0.95, dof)
        )


def test_the_reference_study() -> None:
    """By hand from AIAG's mean squares: pooled error 0.03997 (78), people 1.58363 (2)."""
    result = by_anova(reference_study())
    one, anyone = result.one_person, result.anyone
    assert one.dof == 78
    assert one.sd == result.gauge.ev
    error, people = 0.039973, 1.58363
    variance = people / 30 + error * (1 - 1 / 30)
    dof = variance**2 / ((people / 30) ** 2 / 2 + (error * (1 - 1 / 30)) ** 2 / 78)
    assert anyone.sd == pytest.approx(math.sqrt(variance), rel=1e-4)
    assert anyone.dof == pytest.approx(dof, rel=1e-4)


@given(st.integers(0, 10_000), st.sampled_from([0.0, 0.2]))
def test_its_variance_is_the_study_s_and_its_dof_lies_within_the_table(
    seed: int, interaction: float
) -> None:
    """Mean squares in the shares that the components have add up to the reading's variance."""
    result = by_anova(made_up(seed, sd=(1.0, 0.3, interaction, 0.1)))
    anyone = result.anyone
    assert anyone.sd == result.gauge.grr
    assert 1.0 <= anyone.dof <= result.table.total.dof


def test_people_who_do_not_differ_leave_repeatability_alone() -> None:
    """Without a component between people the degrees of freedom are the error's."""
    table = (((0.0, 2.0), (2.0, 0.0)), ((5.0, 3.0), (3.0, 5.0)))
    result = by_anova(table)
    assert result.anyone.dof == result.error.dof


def test_two_readings_by_one_person_differ_by_more_in_one_case_of_twenty() -> None:
    """Over seeded small studies the change covers 95 % of differences, within 1.5 %."""
    rng = random.Random(3)
    within = total = 0
    for seed in range(300):
        study = made_up(seed, parts=2, persons=2, trials=2, sd=(1.0, 0.0, 0.0, 0.1))
        change = by_anova(study, alpha=0.0).one_person.change
        for _ in range(40):
            within += abs(rng.gauss(0, 0.1) - rng.gauss(0, 0.1)) <= change
            total += 1
    assert within / total == pytest.approx(0.95, abs=0.015)
