"""How far two methods, or two people, agree: the difference, its spread and its limits.

J. M. Bland and D. G. Altman, Lancet 1986; i: 307-310.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from workbench.errors import InputError
from workbench.measure.numerics.distributions import coverage_factor
from workbench.measure.repeats import checked, summarise

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


def repeatability_coefficient(first: Sequence[float], second: Sequence[float]) -> float:
    """Twice the root mean square difference of readings repeated by one method (BSI)."""
    a, b = _paired(first, second)
    return 2 * math.sqrt(math.fsum((x - y) ** 2 for x, y in zip(a, b, strict=True)) / len(a))


def _paired(
    first: Sequence[float], second: Sequence[float]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    if len(first) != len(second):
        raise InputError("pairs", (len(first), len(second)), "as many readings by both methods")
    return checked(first, "pairs", 2), checked(second, "pairs", 2)
