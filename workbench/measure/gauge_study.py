"""What a repeatability study says: how well the shop agrees, and which change it can tell.

Two crossed factors, parts and people, by analysis of variance (AIAG, Measurement Systems Analysis,
4th ed. 2010). Standard deviations throughout, in the unit of the readings. Sums of squares are
taken from deviations, never from differences of large sums, so that constant leading digits cost
nothing (NIST StRD, Analysis of Variance).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.distributions import f_sf
from workbench.measure.repeats import Scatter, mean_of, sum_of_squares

POOL_ALPHA = 0.25
"""Interaction is pooled into the error unless its F is significant at this level (common
practice, no source: large, so that a real interaction is seldom pooled away)."""

DISTINCT = 1.41
"""Factor of the number of distinct categories (AIAG)."""

Readings = Sequence[Sequence[Sequence[float]]]
"""``[part][person]`` holds the trials, as many in every cell."""


# -- analysis of variance --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Effect:
    """One line of the table: a sum of squares with its degrees of freedom."""

    ss: float
    dof: int

    @property
    def ms(self) -> float:
        """Mean square; 0 where there is no degree of freedom."""
        return self.ss / self.dof if self.dof else 0.0


@dataclass(frozen=True, slots=True)
class TwoWay:
    """Parts crossed with persons, each cell with the same number of trials."""

    part: Effect
    person: Effect
    interaction: Effect
    equipment: Effect

    @property
    def total(self) -> Effect:
        """All readings about their mean."""
        return _together(self.part, self.person, self.interaction, self.equipment)


def _together(*effects: Effect) -> Effect:
    return Effect(math.fsum(e.ss for e in effects), sum(e.dof for e in effects))


def two_way(table: Readings) -> TwoWay:
    """Analyse the variance of a study's readings."""
    parts, persons, trials = len(table), len(table[0]), len(table[0][0])
    means = [[mean_of(cell) for cell in row] for row in table]
    part_means = [mean_of(row) for row in means]
    person_means = [mean_of(column) for column in zip(*means, strict=True)]
    grand = mean_of(part_means)
    inner = math.fsum(
        (means[i][j] - part_means[i] - person_means[j] + grand) ** 2
        for i in range(parts)
        for j in range(persons)
    )
    within = math.fsum(sum_of_squares(cell) for row in table for cell in row)
    return TwoWay(
        part=Effect(persons * trials * sum_of_squares(part_means), parts - 1),
        person=Effect(parts * trials * sum_of_squares(person_means), persons - 1),
        interaction=Effect(trials * inner, (parts - 1) * (persons - 1)),
        equipment=Effect(within, parts * persons * (trials - 1)),
    )


def ratio(effect: Effect, error: Effect) -> float:
    """Return F of an effect over its error; infinite over an error of nothing."""
    if error.ms > 0:
        return effect.ms / error.ms
    return math.inf if effect.ms > 0 else 0.0


def probability(effect: Effect, error: Effect) -> float:
    """Return the probability of an F as large by chance."""
    f = ratio(effect, error)
    return 0.0 if math.isinf(f) else f_sf(f, effect.dof, error.dof)


# -- the study -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Gauge:
    """Variation split into its sources.

    ``ev`` repeatability (one person, one part), ``av`` reproducibility between persons,
    ``interaction`` of persons with parts, ``pv`` the parts' own (``None`` with a single part).
    ``pooled`` says whether interaction was taken into the error.
    """

    ev: float
    av: float
    interaction: float
    pv: float | None
    pooled: bool

    @property
    def grr(self) -> float:
        """Repeatability and reproducibility together: a reading's standard deviation."""
        return math.hypot(self.ev, self.av, self.interaction)

    @property
    def tv(self) -> float:
        """Total variation, parts included."""
        return math.hypot(self.grr, self.pv or 0.0)

    def percent(self, sd: float) -> float:
        """Return a standard deviation as a percentage of the total variation."""
        return 100 * sd / self.tv if self.tv else 0.0

    def contribution(self, sd: float) -> float:
        """Return a variance as a percentage of the total variance."""
        return self.percent(sd) ** 2 / 100

    @property
    def ndc(self) -> int | None:
        """Number of distinct categories: how many kinds of part the readings tell apart."""
        if self.pv is None or self.grr == 0:
            return None
        return math.floor(DISTINCT * self.pv / self.grr)

    @property
    def rating(self) -> Literal["good", "fair", "poor"] | None:
        """AIAG's reading of the percentage: under 10 good, to 30 fair, above poor (from memory)."""
        if self.pv is None:
            return None
        percent = self.percent(self.grr)
        return "good" if percent < 10 else "fair" if percent <= 30 else "poor"


@dataclass(frozen=True, slots=True)
class GaugeAnova:
    """The analysis behind a :class:`Gauge`: its table, error term and F test.

    ``p_interaction`` is ``None`` where the study cannot test it. ``one_person``: the scatter of a
    reading by one person, ``anyone``: whoever reads. Their changes are the limits r = 2.8 s_r and
    R = 2.8 s_R (ISO 5725-6:1994, 4.1, from memory): see ``Scatter.change``.
    """

    table: TwoWay
    error: Effect
    p_interaction: float | None
    gauge: Gauge
    one_person: Scatter
    anyone: Scatter


def by_anova(readings: Readings, alpha: float = POOL_ALPHA) -> GaugeAnova:
    """Return the variance components of a crossed study, by two-way analysis of variance.

    Interaction is pooled into the error when its p is ``alpha`` or more, and of necessity with a
    single trial, part or person. Negative components count as 0. Raises :class:`InputError` where
    nothing was repeated.
    """
    table = two_way(readings)
    n_parts, n_persons, trials = len(readings), len(readings[0]), len(readings[0][0])
    testable = table.interaction.dof > 0 and table.equipment.dof > 0
    p = probability(table.interaction, table.equipment) if testable else None
    pooled = p is None or p >= alpha
    error = _together(table.interaction, table.equipment) if pooled else table.equipment
    if error.dof == 0:
        raise InputError("study", "one trial of each", "2 or more trials: nothing was repeated")
    above = error if pooled else table.interaction
    gauge = Gauge(
        ev=math.sqrt(error.ms),
        av=_component(table.person, above, n_parts * trials),
        interaction=0.0 if pooled else _component(table.interaction, error, trials),
        pv=_component(table.part, above, n_persons * trials) if n_parts > 1 else None,
        pooled=pooled,
    )
    own = Scatter(gauge.ev, error.dof)
    anyone = Scatter(gauge.grr, _dof_of_anyone(table, gauge, error, n_parts, trials))
    return GaugeAnova(table, error, p, gauge, own, anyone)


def _component(effect: Effect, error: Effect, count: int) -> float:
    """Return the standard deviation of one source, from its mean square over that of its error."""
    return math.sqrt(max(0.0, effect.ms - error.ms) / count) if effect.dof else 0.0


def _dof_of_anyone(table: TwoWay, gauge: Gauge, error: Effect, n_parts: int, trials: int) -> float:
    """Return the effective degrees of freedom of a reading by anyone.

    Its variance is a sum of mean squares, whose degrees of freedom are Satterthwaite's (JCGM
    100:2008, G.4.1, with mean squares for the component variances).
    """
    crossed = 1 / trials if gauge.interaction > 0 else 0.0
    people = 1 / (n_parts * trials) if gauge.av > 0 else 0.0
    shares = (
        (error, 1.0 - crossed - (people if gauge.pooled else 0.0)),
        (table.interaction, crossed - (0.0 if gauge.pooled else people)),
        (table.person, people),
    )
    parts = [(share * effect.ms, effect.dof) for effect, share in shares if effect.dof]
    under = math.fsum(part**2 / dof for part, dof in parts)
    return math.fsum(part for part, _ in parts) ** 2 / under if under > 0 else error.dof
