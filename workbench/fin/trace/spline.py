"""A smooth curve through uncertain numbers, and how well it is known everywhere.

The cubic smoothing spline as the mean of an integrated random walk (G. Wahba, J. R. Statist. Soc. B
40 (1978) 364), by the Kalman filter and smoother (W. E. Wecker and C. F. Ansley, J. Am. Statist.
Assoc. 78 (1983) 81). How far it may bend is what makes the numbers most likely.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.frozen import dataclass

DIFFUSE_MM2, DIFFUSE_SLOPE = 1e6, 25.0
"""The variances of the value and of the slope at the begin, of which nothing is known but that a
coordinate changes no faster than the way along the curve."""

BENDS = (1e-4, 1.0)
"""The least and the largest bend that is tried: the slope's random walk over 1 mm, per root mm."""


@dataclass(frozen=True, slots=True)
class Smooth:
    """The curve at each place: value and variance; ``likelihood`` is the numbers' logarithm."""

    values: tuple[float, ...]
    variances: tuple[float, ...]
    likelihood: float


def smoothed(
    places: Sequence[float], numbers: Sequence[float | None], u: float, bend: float
) -> Smooth:
    """Return the smooth curve through numbers at ascending places; None where none was taken.

    ``u`` is the numbers' standard uncertainty, ``bend`` how far the curve bends.
    """
    ahead: list[tuple[float, float, float, float, float]] = []
    forecasts: list[tuple[float, float, float, float, float]] = []
    f, g, pff, pfg, pgg = 0.0, 0.0, DIFFUSE_MM2, 0.0, DIFFUSE_SLOPE
    likelihood, seen = 0.0, 0
    for k, number in enumerate(numbers):
        if k:
            d = places[k] - places[k - 1]
            q = bend * bend * d
            f += d * g
            pff += 2.0 * d * pfg + d * d * pgg + q * d * d / 3.0
            pfg += d * pgg + q * d / 2.0
            pgg += q
        forecasts.append((f, g, pff, pfg, pgg))
        if number is not None:
            noise = u * u
            total = pff + noise
            off = number - f
            if seen >= 2:  # two numbers fix a line: only what comes after them tells of the bend
                likelihood -= 0.5 * (math.log(total) + off * off / total)
            seen += 1
            kf, kg = pff / total, pfg / total
            f, g = f + kf * off, g + kg * off
            pgg -= kg * pfg
            pfg *= noise / total
            pff *= noise / total
        ahead.append((f, g, pff, pfg, pgg))
    return _back(places, ahead, forecasts, likelihood)


def _back(
    places: Sequence[float],
    ahead: list[tuple[float, float, float, float, float]],
    forecasts: list[tuple[float, float, float, float, float]],
    likelihood: float,
) -> Smooth:
    """The smoother of H. E. Rauch, F. Tung and C. T. Striebel, AIAA J. 3 (1965) 1445."""
    n = len(ahead)
    values, variances = [0.0] * n, [0.0] * n
    f, g, pff, pfg, pgg = ahead[-1]
    values[-1], variances[-1] = f, pff
    for k in range(n - 2, -1, -1):
        d = places[k + 1] - places[k]
        af, ag, aff, afg, agg = ahead[k]
        cf, cg, cff, cfg, cgg = forecasts[k + 1]
        det = cff * cgg - cfg * cfg
        # The gain: filtered covariance, taken forward, over the forecast's.
        m00, m01 = aff + d * afg, afg
        m10, m11 = afg + d * agg, agg
        g00 = (m00 * cgg - m01 * cfg) / det
        g01 = (m01 * cff - m00 * cfg) / det
        g10 = (m10 * cgg - m11 * cfg) / det
        g11 = (m11 * cff - m10 * cfg) / det
        df, dg = f - cf, g - cg
        sff, sfg, sgg = pff - cff, pfg - cfg, pgg - cgg
        f, g = af + g00 * df + g01 * dg, ag + g10 * df + g11 * dg
        t00, t01 = g00 * sff + g01 * sfg, g00 * sfg + g01 * sgg
        t10, t11 = g10 * sff + g11 * sfg, g10 * sfg + g11 * sgg
        pff = aff + t00 * g00 + t01 * g01
        pfg = afg + t00 * g10 + t01 * g11
        pgg = agg + t10 * g10 + t11 * g11
        values[k], variances[k] = f, max(pff, 0.0)
    return Smooth(tuple(values), tuple(variances), likelihood)


def likeliest_bend(
    places: Sequence[float], curves: Sequence[Sequence[float | None]], u: float
) -> float:
    """Return the bend that makes the numbers of all these curves together most likely."""

    def unlikely(log_bend: float) -> float:
        bend = math.exp(log_bend)
        return -math.fsum(smoothed(places, y, u, bend).likelihood for y in curves)

    low, high = map(math.log, BENDS)
    tried = [(unlikely(low + (high - low) * i / 8.0), i) for i in range(9)]
    _, at = min(tried)
    a = low + (high - low) * max(at - 1, 0) / 8.0
    b = low + (high - low) * min(at + 1, 8) / 8.0
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(8):
        c, d = b - golden * (b - a), a + golden * (b - a)
        if unlikely(c) < unlikely(d):
            b = d
        else:
            a = c
    return math.exp((a + b) / 2.0)
