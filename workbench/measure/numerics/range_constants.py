"""Mean and spread of the range of n normal readings: the constants of the range method.

Computed, not tabulated: d2 is the mean and d3 the standard deviation of the range of n standard
normal values (L. H. C. Tippett, Biometrika 17 (1925) 364).
"""

from __future__ import annotations

import math
from functools import lru_cache

from workbench.errors import InputError
from workbench.measure.numerics.distributions import normal_cdf

_STEP = 0.05
_REACH = 8.0
_MANY = 15


@lru_cache(maxsize=64)
def range_moments(n: int) -> tuple[float, float]:
    """d2 and d3 for ``n`` >= 2, to six digits or better."""
    if not 2 <= n <= 1000:
        raise InputError("readings in a range", n, "2 to 1000")
    count = round(2 * _REACH / _STEP) + 1
    grid = [-_REACH + i * _STEP for i in range(count)]
    below = [normal_cdf(x) for x in grid]
    density = [math.exp(-x * x / 2) / math.sqrt(2 * math.pi) for x in grid]
    mean = _STEP * math.fsum(1 - p**n - (1 - p) ** n for p in below)
    # The trapezium rule is all but exact for smooth functions that vanish at both ends.
    square = math.fsum(
        (k * _STEP) ** 2
        * math.fsum(
            density[i] * density[i + k] * (below[i + k] - below[i]) ** (n - 2)
            for i in range(count - k)
        )
        for k in range(1, count)
    )
    square *= n * (n - 1) * _STEP * _STEP
    return mean, math.sqrt(square - mean * mean)


def k_many(n: int, groups: int) -> float:
    """1 / d2* for the mean range of ``groups`` ranges of ``n`` (K1; 1 / d2 above 15 groups).

    To the four digits that AIAG prints, so that its worked figures come out.
    """
    d2, d3 = range_moments(n)
    return round(1 / (d2 if groups > _MANY else math.hypot(d2, d3 / math.sqrt(groups))), 4)


def k_one(n: int) -> float:
    """1 / d2* for a single range of ``n`` (K2 of persons, K3 of parts)."""
    return k_many(n, 1)
