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
from workbench.measure.stats.regression import Line, LineError, deming, jackknife, york

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
        return Restatement(there, u_there, expanded, self.n, self.line is not None, within)


@dataclass(frozen=True, slots=True)
class Restatement:
    """A restated reading, its standard uncertainty and the expanded one (95 %), and its pairs.

    ``sloped``: by the line, not by a constant. ``within``: the reading lies among those that the
    offset was learnt from.
    """

    value: float
    u: float
    expanded: float
    n: int
    sloped: bool
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


FACTOR = 1.96
"""Standard deviations from the mean difference to the limits of agreement, for 95 %."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Differences first minus second of ``n`` pairs, in the unit of the readings.

    ``bias`` is their mean and ``sd`` their standard deviation; 95 % of further differences are to
    be expected between ``lower`` and ``upper``. The three intervals are 95 % confidence intervals,
    ``se_bias`` and ``se_limit`` the standard errors behind them.
    """

    n: int
    bias: float
    sd: float
    lower: float
    upper: float
    se_bias: float
    se_limit: float
    bias_interval: tuple[float, float]
    lower_interval: tuple[float, float]
    upper_interval: tuple[float, float]


def agreement(
    first: Sequence[float], second: Sequence[float], factor: float = FACTOR, level: float = 0.95
) -> Agreement:
    """Agreement of paired readings of the same things by two methods, two pairs or more."""
    a, b = _paired(first, second)
    differences = summarise([x - y for x, y in zip(a, b, strict=True)])
    n, bias, sd, se = differences.n, differences.mean, differences.sd, differences.u_mean
    # Two pairs or more: both are numbers.
    assert sd is not None
    assert se is not None
    se_limit = math.sqrt(3) * se
    t = coverage_factor(level, n - 1)
    lower, upper = bias - factor * sd, bias + factor * sd
    return Agreement(
        n=n,
        bias=bias,
        sd=sd,
        lower=lower,
        upper=upper,
        se_bias=se,
        se_limit=se_limit,
        bias_interval=(bias - t * se, bias + t * se),
        lower_interval=(lower - t * se_limit, lower + t * se_limit),
        upper_interval=(upper - t * se_limit, upper + t * se_limit),
    )


def restated(value: float, u: float, offset: Agreement) -> tuple[float, float]:
    """A reading by the second method as the first would read it, with its standard uncertainty.

    The learnt offset is added; its standard error joins the reading's own ``u``, and so does the
    scatter of a single difference.
    """
    if not 0 <= u < math.inf:
        raise InputError("uncertainty", u, "a finite number, 0 or more")
    return value + offset.bias, math.hypot(u, offset.se_bias, offset.sd)


def _paired(
    first: Sequence[float], second: Sequence[float]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    if len(first) != len(second):
        raise InputError("pairs", (len(first), len(second)), "as many readings by both methods")
    return checked(first, "pairs", 2), checked(second, "pairs", 2)
