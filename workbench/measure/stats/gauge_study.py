"""What a repeatability study says: how well the shop agrees, and which change it can tell.

Two published ways (AIAG, Measurement Systems Analysis, 4th ed. 2010): analysis of variance, and
averages and ranges. Standard deviations throughout, in the study's unit.
"""

from __future__ import annotations

import math
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.numerics.distributions import coverage_factor
from workbench.measure.stats.anova import (
    Effect,
    TwoWay,
    probability,
    two_way,
)
from workbench.measure.stats.study import Study

POOL_ALPHA = 0.25
"""Interaction is pooled into the error unless its F is significant at this level (common
practice, no source: large, so that a real interaction is seldom pooled away)."""

DISTINCT = 1.41
"""Factor of the number of distinct categories (AIAG)."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """Variation split into its sources.

    ``ev`` repeatability (one person, one part), ``av`` reproducibility between persons,
    ``interaction`` of persons with parts, ``pv`` the parts' own (``None`` with a single part).
    ``pooled`` says whether interaction was taken into the error, by the rule in ``method``.
    """

    ev: float
    av: float
    interaction: float
    pv: float | None
    pooled: bool
    method: str
    unit: str

    @property
    def reproducibility(self) -> float:
        """Between persons, interaction included."""
        return math.hypot(self.av, self.interaction)

    @property
    def grr(self) -> float:
        """Repeatability and reproducibility together: a reading's standard deviation."""
        return math.hypot(self.ev, self.av, self.interaction)

    @property
    def tv(self) -> float:
        """Total variation, parts included."""
        return math.hypot(self.grr, self.pv or 0.0)

    def percent(self, sd: float) -> float:
        """A standard deviation as a percentage of the total variation."""
        return 100 * sd / self.tv if self.tv else 0.0

    def contribution(self, sd: float) -> float:
        """A variance as a percentage of the total variance."""
        return self.percent(sd) ** 2 / 100

    @property
    def ndc(self) -> int | None:
        """Number of distinct categories: how many kinds of part the readings tell apart."""
        if self.pv is None or self.grr == 0:
            return None
        return math.floor(DISTINCT * self.pv / self.grr)

    def smallest_change(self, level: float = 0.95) -> float:
        """Difference of two readings, by anyone, that chance exceeds in 1 - ``level`` of cases.

        1.96 sqrt(2) grr at 95 %.
        """
        return coverage_factor(level) * math.sqrt(2) * self.grr

    @property
    def sentence(self) -> str:
        """Which change of setting this shop can honestly distinguish."""
        if self.grr == 0:
            return "Every reading agreed to the last digit: the display hides your scatter."
        from workbench.measure.rounding import round_to_uncertainty

        change = self.smallest_change()
        text = round_to_uncertainty(change, change)[1]
        return f"Between any two of your readings, a change under {text} {self.unit} may be chance."


@dataclass(frozen=True, slots=True)
class GaugeAnova:
    """The analysis behind a :class:`Gauge`: its table, error term and F tests.

    ``p_interaction`` is ``None`` where the study cannot test it.
    """

    table: TwoWay
    error: Effect
    p_interaction: float | None
    gauge: Gauge


def by_anova(study: Study, alpha: float = POOL_ALPHA) -> GaugeAnova:
    """Variance components of a crossed study, by two-way analysis of variance.

    Interaction is pooled into the error when its p is ``alpha`` or more, and of necessity with a
    single trial, part or person. Negative components count as 0. Raises :class:`InputError` where
    nothing was repeated.
    """
    if not 0 <= alpha <= 1:
        raise InputError("alpha of pooling", alpha, "0 to 1")
    table = two_way(study.table)
    testable = table.interaction.dof > 0 and table.equipment.dof > 0
    p = probability(table.interaction, table.equipment) if testable else None
    pooled = p is None or p >= alpha
    error = table.pooled if pooled else table.equipment
    if error.dof == 0:
        raise InputError("study", "one trial of each", "2 or more trials: nothing was repeated")
    above = error if pooled else table.interaction
    n_parts, n_persons, r = len(study.parts), len(study.persons), study.trials
    many = n_parts > 1
    gauge = Gauge(
        ev=math.sqrt(error.ms),
        av=_component(table.person, above, n_parts * r),
        interaction=0.0 if pooled else _component(table.interaction, error, r),
        pv=_component(table.part, above, n_persons * r) if many else None,
        pooled=pooled,
        method=f"ANOVA, interaction {_pool_words(p, alpha)}",
        unit=study.unit,
    )
    return GaugeAnova(table, error, p, gauge)


Rating = Literal["good", "fair", "poor"]


def rating(gauge: Gauge) -> Rating | None:
    """AIAG's reading of the percentage: under 10 good, to 30 fair, above poor (from memory)."""
    if gauge.pv is None:
        return None
    percent = gauge.percent(gauge.grr)
    return "good" if percent < 10 else "fair" if percent <= 30 else "poor"


def _component(effect: Effect, error: Effect, count: int) -> float:
    """Standard deviation of one source, from its mean square over that of its error."""
    return math.sqrt(max(0.0, effect.ms - error.ms) / count) if effect.dof else 0.0


def _pool_words(p: float | None, alpha: float) -> str:
    if p is None:
        return "not testable, pooled"
    return f"{'pooled' if p >= alpha else 'kept'} (p = {p:.3f}, pooled from {alpha:g} on)"
