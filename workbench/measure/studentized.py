"""The studentized range: how far n readings spread, in standard deviations known or estimated.

Computed, not tabulated. The range of n standard normal values is below w with probability
n int phi(z) (Phi(z + w) - Phi(z))^(n-1) dz (L. H. C. Tippett, Biometrika 17 (1925) 364); with a
standard deviation estimated from nu degrees of freedom, that is averaged over the estimate's own
scatter, chi over sqrt(nu) (H. L. Harter, Ann. Math. Statist. 31 (1960) 1122). Both integrands are
smooth and vanish at both ends, where the trapezium rule is all but exact.
"""

from __future__ import annotations

import math
from functools import lru_cache

from workbench.errors import InputError

MOST = 1000
"""Most readings in a range."""

_NORMAL_STEP = 0.125
_NORMAL_REACH = 9.0
_TAIL = 40.0
"""What e is raised to, with a minus, where an integrand counts as nothing."""

_NEARLY_KNOWN = 1e5
"""Degrees of freedom from which the estimate counts as known: it changes q by less than 1e-4."""


def studentized_range_cdf(q: float, n: int, dof: float = math.inf) -> float:
    """Probability that ``n`` normal readings spread less than ``q`` standard deviations.

    The standard deviation is an estimate with ``dof`` degrees of freedom that shares no reading
    with the range. Good to 1e-9 for probabilities that matter.
    """
    _check(n, dof)
    if not q > 0:
        return 0.0
    if dof >= _NEARLY_KNOWN:
        return _range_cdf(q, n)
    return min(1.0, math.fsum(w * _range_cdf(q * s, n) for s, w in _estimates(dof)))


@lru_cache(maxsize=256)
def studentized_range_quantile(p: float, n: int, dof: float = math.inf) -> float:
    """How many standard deviations the range of ``n`` stays below with probability ``p``."""
    if not 0 < p < 1:
        raise InputError("probability", p, "more than 0 and less than 1")
    _check(n, dof)
    low, high = 0.0, 4.0
    while studentized_range_cdf(high, n, dof) < p:
        low, high = high, 2 * high
    return _crossing(p, n, dof, low, high)


def _crossing(p: float, n: int, dof: float, low: float, high: float) -> float:
    """Where the cdf crosses ``p`` between ``low`` and ``high``: regula falsi, Illinois form."""
    below = studentized_range_cdf(low, n, dof) - p
    above = studentized_range_cdf(high, n, dof) - p
    for _ in range(200):
        new = (low * above - high * below) / (above - below)
        off = studentized_range_cdf(new, n, dof) - p
        if abs(off) < 1e-13 or high - low < 1e-12 * high:
            return new
        if off > 0:
            high, above, below = new, off, below / 2
        else:
            low, below, above = new, off, above / 2
    return new


def _range_cdf(w: float, n: int) -> float:
    """Probability that the range of ``n`` standard normal values is below ``w``."""
    half = w / 2
    count = round(_NORMAL_REACH / _NORMAL_STEP)
    total = 0.0
    for i in range(-count, count + 1):
        z = i * _NORMAL_STEP
        inside = _between(z - half, z + half)
        total += math.exp(-(z - half) * (z - half) / 2) * inside ** (n - 1)
    return min(1.0, n * _NORMAL_STEP / math.sqrt(2 * math.pi) * total)


def _between(low: float, high: float) -> float:
    """Probability of a standard normal value between the two, its digits kept in either tail."""
    if low > 0:
        low, high = -high, -low
    return 0.5 * (math.erfc(-high / math.sqrt(2)) - math.erfc(-low / math.sqrt(2)))


@lru_cache(maxsize=64)
def _estimates(dof: float) -> tuple[tuple[float, float], ...]:
    """Estimates s of a standard deviation of 1, and the weight of each.

    Even steps of ln s: its density is smooth and falls off at both ends for any ``dof``.
    """
    step = min(0.125, 0.5 / math.sqrt(2 * dof))
    out: list[tuple[float, float]] = []
    for way in (1, -1):
        i = 0 if way == 1 else -1
        while (fall := _log_fall(i * step, dof)) > -_TAIL:
            out.append((math.exp(i * step), math.exp(fall)))
            i += way
    whole = math.fsum(weight for _, weight in out)
    return tuple((s, weight / whole) for s, weight in out)


def _log_fall(x: float, dof: float) -> float:
    """Logarithm of the density of x = ln s, less that at its top, where s is 1."""
    return dof * (x - math.expm1(2 * x) / 2)


def _check(n: int, dof: float) -> None:
    if not 2 <= n <= MOST:
        raise InputError("readings in a range", n, f"2 to {MOST}")
    if not dof > 0:
        raise InputError("degrees of freedom", dof, "more than 0")
