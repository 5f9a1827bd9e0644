"""Straight lines that a few wild points cannot pull: from ranks of pairwise slopes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from workbench.errors import InputError
from workbench.measure.numerics.distributions import normal_quantile
from workbench.measure.stats.regression import LineError, Slope


@dataclass(frozen=True, slots=True)
class RankLine:
    """A line with confidence intervals, each (low, high)."""

    intercept: float
    slope: float
    intercept_interval: tuple[float, float]
    slope_interval: tuple[float, float]


def theil_sen(xs: Sequence[float], ys: Sequence[float]) -> Slope:
    """Median of all pairwise slopes, and of what they leave (Theil 1950, Sen 1968)."""
    slope = median([s for s in _slopes(xs, ys) if math.isfinite(s)])
    return Slope(_intercept(xs, ys, slope), slope)


def passing_bablok(xs: Sequence[float], ys: Sequence[float], level: float = 0.95) -> RankLine:
    """Passing-Bablok line of two methods that measure the same thing.

    H. Passing and W. Bablok, J. Clin. Chem. Clin. Biochem. 21 (1983) 709. Slopes of exactly -1 are
    left out and the median is shifted by the number below -1; the rank of the interval's lower end
    is rounded up.
    """
    slopes = sorted(s for s in _slopes(xs, ys) if s != -1)
    count = len(slopes)
    if count == 0:
        raise LineError("every pair has a slope of -1: the methods run against each other")
    shift = sum(s < -1 for s in slopes)
    n = len(xs)
    spread = -normal_quantile((1 - level) / 2) * math.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    low = math.ceil((count - spread) / 2)
    high = count - low + 1
    if low < 1 or high + shift > count:
        raise LineError("too few points for a confidence interval of the slope")
    middle = [slopes[(count - 1) // 2 + shift], slopes[count // 2 + shift]]
    slope = math.fsum(middle) / 2
    ends = slopes[low + shift - 1], slopes[high + shift - 1]
    return RankLine(
        _intercept(xs, ys, slope),
        slope,
        (_intercept(xs, ys, ends[1]), _intercept(xs, ys, ends[0])),
        ends,
    )


def median(values: Sequence[float]) -> float:
    """Middle value, or the mean of the middle two."""
    if not values:
        raise LineError("all x are the same: no slope")
    ordered = sorted(values)
    n = len(ordered)
    return math.fsum([ordered[(n - 1) // 2], ordered[n // 2]]) / 2


def _intercept(xs: Sequence[float], ys: Sequence[float], slope: float) -> float:
    return median([y - slope * x for x, y in zip(xs, ys, strict=True)])


def _slopes(xs: Sequence[float], ys: Sequence[float]) -> list[float]:
    """Slopes of all pairs of different points; upright ones are infinite."""
    if len(xs) != len(ys) or len(xs) < 2:
        raise InputError("points", (len(xs), len(ys)), "as many x as y, 2 or more")
    if not all(map(math.isfinite, (*xs, *ys))):
        raise InputError("points", "not all numbers", "finite numbers")
    found = []
    for i in range(len(xs)):
        for j in range(i):
            dx, dy = xs[i] - xs[j], ys[i] - ys[j]
            if dx != 0:
                found.append(dy / dx)
            elif dy != 0:
                found.append(math.copysign(math.inf, dy))
    return found
