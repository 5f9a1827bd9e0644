"""Analysis of variance: one factor, and two crossed factors with their interaction.

Sums of squares are taken from deviations, never from differences of large sums, so that constant
leading digits cost nothing (NIST StRD, Analysis of Variance).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.frozen import dataclass
from workbench.measure.numerics.distributions import f_sf
from workbench.measure.repeats import mean_of, sum_of_squares


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
        effects = (self.part, self.person, self.interaction, self.equipment)
        return Effect(math.fsum(e.ss for e in effects), sum(e.dof for e in effects))

    @property
    def pooled(self) -> Effect:
        """Interaction and equipment together, as one error."""
        return Effect(
            self.interaction.ss + self.equipment.ss, self.interaction.dof + self.equipment.dof
        )


def two_way(table: Sequence[Sequence[Sequence[float]]]) -> TwoWay:
    """Analysis of ``table[part][person]``, a sequence of trials, as many in every cell."""
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
    """F of an effect over its error; infinite over an error of nothing."""
    if error.ms > 0:
        return effect.ms / error.ms
    return math.inf if effect.ms > 0 else 0.0


def probability(effect: Effect, error: Effect) -> float:
    """Probability of an F as large by chance."""
    f = ratio(effect, error)
    return 0.0 if math.isinf(f) else f_sf(f, effect.dof, error.dof)
