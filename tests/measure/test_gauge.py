"""Repeatability and reproducibility: the AIAG reference study by both methods."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.gauge_study import Effect, Readings, by_anova, probability, ratio


def reference_study() -> Readings:
    """Ten parts, three appraisers, three trials (AIAG)."""
    return [[row[0:3], row[3:6], row[6:9]] for row in figure("aiag-anova").inputs["data"]]


def made_up(seed, parts=6, persons=3, trials=3, sd=(1.0, 0.3, 0.0, 0.1)) -> Readings:
    """A study drawn from known part, person, interaction and repeat deviations."""
    rng = random.Random(seed)
    part = [rng.gauss(0, sd[0]) for _ in range(parts)]
    person = [rng.gauss(0, sd[1]) for _ in range(persons)]
    readings = []
    for i in range(parts):
        readings.append([])
        for j in range(persons):
            centre = part[i] + person[j] + rng.gauss(0, sd[2])
            readings[i].append([centre + rng.gauss(0, sd[3]) for _ in range(trials)])
    return readings


def test_aiag_by_anova():
    """AIAG MSA 4th ed., pooled interaction; sums and mean squares from memory (aiag-anova)."""
    example = figure("aiag-anova")
    result = by_anova(reference_study())
    table, gauge = result.table, result.gauge
    assert gauge.pooled
    example.check(
        ss_appraiser=table.person.ss,
        ss_part=table.part.ss,
        ss_interaction=table.interaction.ss,
        ss_equipment=table.equipment.ss,
        ss_total=table.total.ss,
        ms_appraiser=table.person.ms,
        ms_part=table.part.ms,
        ms_interaction=table.interaction.ms,
        ms_equipment=table.equipment.ms,
        F_interaction=ratio(table.interaction, table.equipment),
        p_interaction=result.p_interaction,
        F_part_pooled=ratio(table.part, result.error),
        F_appraiser_pooled=ratio(table.person, result.error),
        EV=gauge.ev,
        AV=gauge.av,
        GRR=gauge.grr,
        PV=gauge.pv,
        TV=gauge.tv,
        pct_EV=gauge.percent(gauge.ev),
        pct_AV=gauge.percent(gauge.av),
        pct_GRR=gauge.percent(gauge.grr),
        pct_PV=gauge.percent(gauge.pv),
        contrib_EV=gauge.contribution(gauge.ev),
        contrib_AV=gauge.contribution(gauge.av),
        contrib_GRR=gauge.contribution(gauge.grr),
        contrib_PV=gauge.contribution(gauge.pv),
        ndc_truncated=gauge.ndc,
    )


def test_interaction_is_kept_when_it_is_real():
    """A strong interaction stays a component of its own, and pooling can be forced by alpha 0."""
    study = made_up(5, sd=(1.0, 0.3, 0.5, 0.05))
    kept = by_anova(study)
    assert kept.p_interaction < 0.001
    assert not kept.gauge.pooled
    assert kept.gauge.interaction > 0.2
    forced = by_anova(study, alpha=0.0).gauge
    assert forced.pooled
    assert forced.interaction == 0
    assert forced.ev > kept.gauge.ev


def test_components_are_recovered_on_average():
    """Over seeded studies the variances come out as they were put in, within 10 %."""
    sd = (1.0, 0.4, 0.0, 0.1)
    gauges = [by_anova(made_up(seed, parts=5, persons=6, sd=sd)).gauge for seed in range(600)]
    for name, true in (("ev", 0.1), ("av", 0.4), ("pv", 1.0)):
        mean = math.fsum(getattr(g, name) ** 2 for g in gauges) / len(gauges)
        assert math.isclose(mean, true**2, rel_tol=0.1)


@given(st.integers(0, 2**32), st.floats(0.01, 100))
def test_a_change_of_unit_scales_every_deviation(seed, factor):
    study = made_up(seed)
    scaled = [[[v * factor for v in cell] for cell in row] for row in study]
    here, there = by_anova(study).gauge, by_anova(scaled).gauge
    for name in ("ev", "av", "grr", "pv"):
        assert math.isclose(
            getattr(here, name) * factor, getattr(there, name), rel_tol=1e-6, abs_tol=1e-9 * factor
        )
    assert here.ndc == there.ndc


def test_one_person_shows_repeatability_alone():
    gauge = by_anova(made_up(1, persons=1)).gauge
    assert (gauge.av, gauge.interaction) == (0, 0)
    assert gauge.grr == gauge.ev > 0


def test_one_ski_reseated_shows_no_part_variation():
    """A single part: no part variation, no categories, but people still compare."""
    result = by_anova(made_up(1, parts=1, persons=4, trials=4, sd=(1, 0.5, 0, 0.1)))
    gauge = result.gauge
    assert (gauge.pv, gauge.ndc, gauge.rating) == (None, None, None)
    assert gauge.av > 0
    assert result.p_interaction is None


def test_a_single_trial_takes_the_interaction_for_scatter():
    result = by_anova(made_up(3, trials=1))
    assert result.p_interaction is None
    assert result.gauge.pooled
    assert result.gauge.ev > 0


def test_people_who_agree_better_than_chance_differ_by_nothing():
    """A negative component is no deviation at all."""
    table = (((0.0, 2.0), (2.0, 0.0)), ((5.0, 3.0), (3.0, 5.0)))
    assert by_anova(table).gauge.av == 0


def test_nothing_repeated_is_told():
    for study in (made_up(1, parts=1, trials=1), made_up(1, persons=1, trials=1)):
        with pytest.raises(InputError, match="nothing was repeated"):
            by_anova(study)


def test_perfect_agreement_is_suspicious():
    table = (((1.0, 1.0), (1.0, 1.0)), ((2.0, 2.0), (2.0, 2.0)))
    gauge = by_anova(table).gauge
    assert gauge.grr == 0
    assert gauge.ndc is None


@pytest.mark.parametrize(
    ("sd", "word"),
    [((10, 0.1, 0, 0.2), "good"), ((1, 0.1, 0, 0.2), "fair"), ((1, 1, 0, 1), "poor")],
)
def test_rating_by_percentage(sd, word):
    """Under 10 % good, to 30 % fair, above poor (AIAG, from memory)."""
    assert by_anova(made_up(2, parts=10, sd=sd)).gauge.rating == word


def test_f_over_an_error_of_nothing():
    assert ratio(Effect(1.0, 1), Effect(0.0, 3)) == math.inf
    assert probability(Effect(1.0, 1), Effect(0.0, 3)) == 0
