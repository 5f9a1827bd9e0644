"""Which difference of two readings is more than chance, from a repeatability study.

r = 2.8 s_r for two readings by one person and R = 2.8 s_R for two by anyone (ISO 5725-6:1994, 4.1,
from memory): see ``Scatter.change``.
"""

from __future__ import annotations

import math

from workbench.measure.repeats import Scatter
from workbench.measure.stats.anova import Effect
from workbench.measure.stats.gauge_study import GaugeAnova
from workbench.measure.stats.study import Study


def by_one_person(result: GaugeAnova) -> Scatter:
    """Repeatability: the same person, the same part."""
    return Scatter(result.gauge.ev, result.error.dof)


def by_anyone(result: GaugeAnova, study: Study) -> Scatter:
    """Repeatability and reproducibility together, whoever reads.

    The variance is a sum of mean squares, whose effective degrees of freedom are Satterthwaite's
    (JCGM 100:2008, G.4.1, with mean squares for the component variances).
    """
    gauge, table = result.gauge, result.table
    above = result.error if gauge.pooled else table.interaction
    shares: list[tuple[Effect, float]] = [(result.error, 1.0)]
    if gauge.interaction > 0:
        shares += [(table.interaction, 1 / study.trials), (result.error, -1 / study.trials)]
    if gauge.av > 0:
        per = 1 / (len(study.parts) * study.trials)
        shares += [(table.person, per), (above, -per)]
    return Scatter(gauge.grr, _satterthwaite(shares, result.error.dof))


def _satterthwaite(shares: list[tuple[Effect, float]], fallback: float) -> float:
    """Effective degrees of freedom of a sum of mean squares; of one effect the shares add up."""
    summed: dict[int, tuple[Effect, float]] = {}
    for effect, share in shares:
        _, before = summed.get(id(effect), (effect, 0.0))
        summed[id(effect)] = (effect, before + share)
    parts = [(share * effect.ms, effect.dof) for effect, share in summed.values()]
    under = math.fsum(part**2 / dof for part, dof in parts if dof)
    return math.fsum(part for part, _ in parts) ** 2 / under if under > 0 else fallback
