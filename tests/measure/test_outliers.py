"""Doubtful repeats by Grubbs, Rosner and Pope, as published."""

from __future__ import annotations

import math
import time
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.doubtful import Suspect, doubtful_repeats, generalised_esd, grubbs_critical
from workbench.measure.repeats import summarise

many = st.lists(st.integers(-1000, 1000).map(float), min_size=3, max_size=40)


def grubbs(values: list[float], alpha: float = 0.05) -> Suspect:
    """Grubbs' test of the reading farthest from the mean: the first step of the ESD."""
    return generalised_esd(values, 1, alpha)[0][0]


@pytest.mark.parametrize("cell", figure("grubbs-table").expected)
def test_grubbs_table(cell):
    """Grubbs' critical values: one-sided at alpha, two-sided at twice that (grubbs-table)."""
    n, alpha = cell.removeprefix("n").split("_a")
    figure("grubbs-table").check_item(cell, grubbs_critical(int(n), 2 * float(alpha)))


def test_grubbs_worked_example():
    """Six concentrations, the lowest suspect and kept (grubbs-worked-6)."""
    example = figure("grubbs-worked-6")
    data = example.inputs["data"]
    summary, suspect = summarise(data), grubbs(data, 0.1)
    assert suspect.value == example.inputs["suspect"]
    assert not suspect.doubtful
    example.check(
        mean=summary.mean, s=summary.sd, G=suspect.statistic, critical_95_one_sided=suspect.critical
    )


def test_grubbs_nist():
    """NIST/SEMATECH e-Handbook 1.3.5.17.1, from memory (grubbs-nist)."""
    example = figure("grubbs-nist")
    suspect = grubbs(example.inputs["data"], 0.1)
    assert (suspect.value, suspect.doubtful) == (245.57, True)
    example.check(G=suspect.statistic, critical_one_sided_05=suspect.critical)


def test_grubbs_e178():
    """ASTM E178 example 1, ten breaking strengths, from memory (grubbs-e178)."""
    example = figure("grubbs-e178")
    data = example.inputs["data"]
    summary = summarise(data)
    example.check(mean=summary.mean, s=summary.sd, T10=grubbs(data).statistic)


def test_rosner_masked_outliers():
    """Rosner 1983: three of 54, although the first two steps alone say nothing (rosner-gesd)."""
    example = figure("rosner-gesd")
    steps, count = generalised_esd(example.inputs["data"], 5, example.inputs["alpha"])
    assert count == 3
    assert [step.value for step in steps[:count]] == [6.01, 5.42, 5.34]
    assert [step.doubtful for step in steps] == [False, False, True, False, False]
    for number, step in enumerate(steps, 1):
        example.check(**{f"R{number}": step.statistic, f"lambda{number}": step.critical})


def test_clean_readings_are_left_alone():
    """Evenly spread readings give steps to look at and none that is doubtful."""
    steps, count = generalised_esd([float(i) for i in range(20)], 4)
    assert (len(steps), count) == (4, 0)
    assert doubtful_repeats([float(i) for i in range(20)]).indices == ()


@given(many, st.floats(0.01, 100), st.floats(-1e3, 1e3))
def test_unit_and_zero_do_not_matter(values, factor, shift):
    """The same readings in another unit, or from another zero, are as doubtful as before."""
    assume(len(set(values)) > 2)
    here = grubbs(values)
    there = grubbs([v * factor + shift for v in values])
    assert math.isclose(here.statistic, there.statistic, rel_tol=1e-6)


def test_equal_readings_are_never_doubtful():
    assert grubbs([2.0, 2.0, 2.0]).statistic == 0
    assert doubtful_repeats([2.0] * 20).indices == ()


def test_a_slipped_digit_among_five_is_found():
    doubts = doubtful_repeats([2.4725, 2.4730, 2.4725, 2.4825, 2.4720], resolution=0.0005)
    assert doubts.indices == (3,)
    assert doubts.test == "Grubbs, two-sided, 0.05"


def test_two_slips_among_twenty_are_both_found():
    """From 15 readings on the generalised ESD finds a pair that hide each other."""
    values = [62.20 + 0.01 * (i % 3) for i in range(20)]
    values[4], values[11] = 62.45, 62.46
    doubts = doubtful_repeats(values)
    assert set(doubts.indices) == {4, 11}
    assert doubts.test.startswith("generalised ESD")


def test_one_step_of_the_display_is_no_reason_for_doubt():
    """Two alike and one a step off exceeds Grubbs' value for three, and means nothing."""
    values = [62.2000, 62.2000, 62.2127]
    assert doubtful_repeats(values).indices == (2,)
    assert doubtful_repeats(values, resolution=0.0127).indices == ()


@pytest.mark.parametrize("n", [3, 4, 5, 8, 14])
def test_rounded_repeats_raise_false_alarms_in_no_more_than_5_of_100(n):
    """Right readings of normal scatter, rounded to steps of 1: level reached, whatever the scatter.

    Simulated 3000 times each; 0.012 is three standard deviations of that count at 5 %.
    """
    rng = np.random.default_rng(20261129 + n)
    for sd in (0.3, 0.6, 1.0, 2.0, 5.0, 20.0):
        sets = np.round(rng.normal(0.0, sd, (3000, n)) + rng.uniform(-0.5, 0.5, (3000, 1)))
        # Most sets occur often; each is tested once.
        found, counts = np.unique(np.sort(sets, axis=1), axis=0, return_counts=True)
        alarms = [bool(doubtful_repeats(list(v), resolution=1.0).indices) for v in found]
        assert np.dot(alarms, counts) / 3000 <= 0.05 + 0.012


def test_two_alike_and_one_two_steps_off_is_how_a_display_reads():
    """The published test doubts it, as any two alike and one other: 23 of 100 sets of three."""
    for off in (0.0254, 0.0381, 0.1):
        values = [62.2, 62.2, 62.2 + off]
        assert grubbs(values).doubtful
        assert doubtful_repeats(values, resolution=0.0127).indices == ()


def test_a_line_misread_among_three_is_still_found():
    """0.025 in beside two alike on a display of 0.0005 in."""
    assert doubtful_repeats([2.4725, 2.4725, 2.4975], resolution=0.0005).indices == (2,)


def test_two_readings_are_not_doubted_while_nothing_is_known_of_their_scatter():
    doubts = doubtful_repeats([1.0, 9.0])
    assert doubts.indices == ()
    assert "fewer than 3" in doubts.test


@pytest.mark.parametrize("alpha", [0, 1, -0.1, math.nan])
def test_alpha_must_be_a_probability(alpha):
    with pytest.raises(InputError, match="alpha"):
        grubbs_critical(5, alpha)


def test_too_few_readings_are_told():
    with pytest.raises(InputError, match="3 or more"):
        grubbs([1.0, 2.0])
    with pytest.raises(InputError, match="3 or more"):
        grubbs_critical(2)
    with pytest.raises(InputError, match="1 to 3"):
        generalised_esd([1.0, 2.0, 3.0, 4.0, 5.0], 4)


@given(
    st.lists(
        st.one_of(
            st.sampled_from([2.45, 2.4505, 2.451]), st.floats(-1e9, 1e9, allow_subnormal=False)
        ),
        min_size=8,
        max_size=30,
    ),
    st.sampled_from([0.0, 0.0005, 0.0127]),
)
def test_each_step_is_what_a_look_at_all_that_are_left_gives(
    values: list[float], resolution: float
) -> None:
    """The statistic is that of the definition, and the value it is of is the farthest out."""
    steps, _ = generalised_esd(values, 6, resolution=resolution)
    left = list(values)
    for step in steps:
        mean = Fraction(sum(map(Fraction, left))) / len(left)
        out = [abs(Fraction(v) - mean) for v in left]
        assert float(abs(Fraction(step.value) - mean)) == pytest.approx(float(max(out)), rel=1e-9)
        variance = sum(x * x for x in out) / (len(left) - 1) + Fraction(resolution) ** 2 / 12
        sd = math.sqrt(float(variance))
        assert step.statistic == pytest.approx(float(max(out)) / sd if sd else 0.0, rel=1e-9)
        left.remove(step.value)


def test_many_repeats_cost_in_proportion() -> None:
    """Four times as many cost about four times as much; looking at all anew each time, sixteen."""

    def cost(n: int) -> float:
        values = [2.45 + (i * 7919 % 101) * 1e-4 for i in range(n)]
        begun = time.process_time()
        doubtful_repeats(values, resolution=0.0005)
        return time.process_time() - begun

    assert min(cost(4000) for _ in range(3)) < 8 * min(cost(1000) for _ in range(3))
