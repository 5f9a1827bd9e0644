"""An offset between two methods, learnt from pairs of readings of the same things by both.

The difference is a constant (Bland and Altman, Lancet 1986; i: 307-310) unless the pairs show
plainly that it grows with the reading: then it is a line with errors in both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from workbench.errors import InputError
from workbench.measure.numerics.distributions import coverage_factor
from workbench.measure.repeats import LEVEL, checked, summarise
from workbench.measure.stats.agreement import Agreement, agreement, restated
from workbench.measure.stats.regression import (
    Line,
    LineError,
    deming,
    jackknife,
    york,
)

FEWEST_PAIRS = 2
FEWEST_FOR_SLOPE = 8
"""Pairs below which a slope is not judged: our rule (common practice, no source)."""

LEAST_SPREAD = 2.0
"""How many times the scatter of the differences the readings' own scatter must be, for a slope to
be judged: our rule (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class LearntOffset:
    """What to add to a reading by one method to have it by another, from ``n`` pairs.

    ``agreement`` holds the differences, second method minus first. ``slope`` and its 95 % interval
    are Deming's with Linnet's jackknife, None where too few pairs or too little spread let none be
    judged. ``line`` is the errors-in-both line of second on first, only where the slope is
    clear of 1; it is then what restates. ``low`` and ``high`` are the ends of the first method's
    readings: beyond them nothing was learnt.
    """

    n: int
    agreement: Agreement
    slope: float | None
    slope_interval: tuple[float, float] | None
    line: Line | None
    low: float
    high: float

    def difference_at(self, value: float) -> tuple[float, float]:
        """Return second minus first at a reading by the first, and its own standard uncertainty."""
        if self.line is None:
            return self.agreement.bias, self.agreement.se_bias
        there, u = self.line.at(value)
        return there - value, u

    def restate(self, value: float, u: float) -> Restatement:
        """Return a reading by the first method as the second would read it."""
        if self.line is None:
            there, u_there = restated(value, u, self.agreement)
            own = math.hypot(self.agreement.sd, self.agreement.se_bias)
            dof = self.n - 1
        else:
            if not 0 <= u < math.inf:
                raise InputError("uncertainty", u, "a finite number, 0 or more")
            there, own = self.line.predict(value)
            u_there = math.hypot(own, self.line.slope * u)
            dof = self.line.dof
        expanded = u_there * coverage_factor(LEVEL, _effective_dof(u_there, own, dof))
        within = self.low <= value <= self.high
        return Restatement(there, u_there, expanded, self.n, within)


@dataclass(frozen=True, slots=True)
class Restatement:
    """A restated reading, its standard uncertainty and the expanded one (95 %), and its pairs.

    ``within``: the reading lies among those that the offset was learnt from.
    """

    value: float
    u: float
    expanded: float
    n: int
    within: bool


def learn_offset(first: Sequence[float], second: Sequence[float]) -> LearntOffset:
    """Return the offset from ``first`` to ``second``, two pairs or more.

    Raises:
        InputError: fewer than two pairs (no variance from one), or not as many by both.
    """
    if min(len(first), len(second)) < FEWEST_PAIRS:
        raise InputError("pairs", len(first), "2 or more: one pair shows no scatter")
    a, b = checked(first, "pairs"), checked(second, "pairs")
    found = agreement(b, a)
    whole = LearntOffset(len(a), found, None, None, None, min(a), max(a))
    if len(a) < FEWEST_FOR_SLOPE or not _spread_enough(a, found):
        return whole
    try:
        slope, (_, interval) = deming(a, b).slope, jackknife(a, b)
        if interval[0] <= 1.0 <= interval[1]:
            return replace(whole, slope=slope, slope_interval=interval)
        return replace(whole, slope=slope, slope_interval=interval, line=_line(a, b))
    except LineError:  # no slope to be found is no reason to doubt the constant
        return whole


def _spread_enough(readings: Sequence[float], found: Agreement) -> bool:
    spread = summarise(readings).sd or 0.0
    return spread > 0.0 and spread >= LEAST_SPREAD * found.sd


def _line(xs: Sequence[float], ys: Sequence[float]) -> Line:
    """Return the line through points whose equal scatter in x and y is estimated from themselves.

    York's equations with one uncertainty for all, scaled so that chi-square is its degrees of
    freedom; one further y scatters about the line by that of y and, through the slope, that of x.
    """
    ones = [1.0] * len(xs)
    unit = york(xs, ys, ones, ones)
    return unit.from_scatter(math.hypot(1.0, unit.slope))


def _effective_dof(u: float, own: float, dof: int) -> float:
    """Welch-Satterthwaite (JCGM 100:2008, G.4.1), the reading's own u known well."""
    return math.inf if own == 0.0 else dof * (u / own) ** 4
