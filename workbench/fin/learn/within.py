"""The probability that a few readings with correlated errors are all within their tolerances."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

FINE, QUICK = 18, 7
"""Nodes in each direction: to 1e-6, or to rank by."""

FARTHEST = 5.5
"""Standard deviations beyond which nothing is left to count."""

_SURE = 1e-9
"""A value whose chance to be outside is below this does not count."""

POINT_MM = 1e-9
"""A standard deviation below this is none."""

_ROOT2, _ROOT_TAU = math.sqrt(2.0), math.sqrt(math.tau)


def within(mean: float, variance: float, half: float) -> float:
    """Return the probability that a normal value lies within plus or minus ``half``."""
    sd = math.sqrt(max(variance, 0.0))
    if sd < POINT_MM:
        return 1.0 if abs(mean) <= half * (1.0 + 1e-9) + 1e-12 else 0.0
    k = 1.0 / (sd * _ROOT2)
    if mean < 0.0:
        mean = -mean
    # Both bounds on one side of the mean keep their digits as tails.
    return 0.5 * (math.erfc((mean - half) * k) - math.erfc((mean + half) * k))


def all_within(
    mean: Sequence[float],
    cov: Sequence[Sequence[float]],
    halves: Sequence[float],
    nodes: int = FINE,
) -> float:
    """Return the probability that each of some normal values lies within its plus or minus.

    One value in closed form, two and three by Gauss-Legendre quadrature over the conditional
    distributions (Genz and Bretz, Computation of Multivariate Normal and t Probabilities, section
    2; from memory). Of more than three, the three least likely to be within are taken: it is then
    an upper bound.
    """
    single = [within(m, cov[i][i], halves[i]) for i, m in enumerate(mean)]
    open_ones = [
        i for i in sorted(range(len(mean)), key=single.__getitem__) if single[i] < 1.0 - _SURE
    ]
    order = open_ones[:3]
    if not order:
        return 1.0
    if single[order[0]] < 1e-9 or len(order) == 1:
        return single[order[0]]
    # A value without any spread is within or not, whatever the others are.
    order = [i for i in order if cov[i][i] >= POINT_MM**2]
    if len(order) == 1:
        return single[order[0]]
    a, b = order[:2]
    if len(order) == 2:
        spread = (cov[a][a], cov[a][b], cov[b][b])
        return _two((mean[a], mean[b]), spread, (halves[a], halves[b]), nodes)
    c = order[2]
    sd, half = math.sqrt(cov[a][a]), halves[a]
    gain_b, gain_c = cov[a][b] / cov[a][a], cov[a][c] / cov[a][a]
    left = (
        cov[b][b] - gain_b * cov[a][b],
        cov[b][c] - gain_b * cov[a][c],
        cov[c][c] - gain_c * cov[a][c],
    )
    within_two = (halves[b], halves[c])
    total = 0.0
    for off, density in _density(mean[a], sd, half, nodes):
        at = (mean[b] + gain_b * off, mean[c] + gain_c * off)
        total += density * _two(at, left, within_two, nodes)
    return total


def _two(
    mean: tuple[float, float],
    cov: tuple[float, float, float],
    halves: tuple[float, float],
    nodes: int,
) -> float:
    """Return the probability of two values; ``cov`` is (variance, covariance, variance)."""
    (one, two), (aa, ab, bb), (half_a, half_b) = mean, cov, halves
    if aa < POINT_MM**2:
        return within(one, aa, half_a) * within(two, bb, half_b)
    gain = ab / aa
    rest = bb - gain * ab
    if rest < POINT_MM**2:
        return sum(
            density * within(two + gain * off, 0.0, half_b)
            for off, density in _density(one, math.sqrt(aa), half_a, nodes)
        )
    k = 1.0 / (math.sqrt(rest) * _ROOT2)
    total = 0.0
    erf = math.erf
    for off, density in _density(one, math.sqrt(aa), half_a, nodes):
        at = two + gain * off
        total += density * (erf((half_b - at) * k) + erf((half_b + at) * k))
    return 0.5 * total


def _density(mean: float, sd: float, half: float, nodes: int) -> list[tuple[float, float]]:
    """Return (distance from the mean, weighted density) at the nodes within the tolerance."""
    low = max(-half, mean - FARTHEST * sd) - mean
    high = min(half, mean + FARTHEST * sd) - mean
    if low >= high:
        return []
    middle, reach = (low + high) / 2.0, (high - low) / 2.0
    scale = reach / (sd * _ROOT_TAU)
    k = -0.5 / (sd * sd)
    exp = math.exp
    return [
        (off, scale * weight * exp(k * off * off))
        for at, weight in legendre(nodes)
        for off in (middle + reach * at,)
    ]


@lru_cache(maxsize=4)
def legendre(n: int) -> tuple[tuple[float, float], ...]:
    """Return the nodes and weights of Gauss-Legendre quadrature on -1 to 1.

    By Newton's method on the Legendre polynomial (Abramowitz and Stegun, 25.4.29).
    """
    out = []
    for i in range(n):
        x = math.cos(math.pi * (i + 0.75) / (n + 0.5))
        slope = 1.0
        for _ in range(100):
            p, last = 1.0, 0.0
            for k in range(n):
                p, last = ((2 * k + 1) * x * p - k * last) / (k + 1), p
            slope = n * (x * p - last) / (x * x - 1.0)
            step = p / slope
            x -= step
            if abs(step) < 1e-15:
                break
        out.append((x, 2.0 / ((1.0 - x * x) * slope * slope)))
    return tuple(out)
