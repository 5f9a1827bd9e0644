"""Regularised incomplete gamma and beta functions, in plain Python.

Both are a prefactor times a series or a continued fraction. The prefactor is written as a
saddle-point deviance, so that large parameters keep their digits (C. Loader, "Fast and accurate
computation of binomial probabilities", 2000); the continued fractions are evaluated by the
modified Lentz method (Abramowitz & Stegun 6.5.31 and 26.5.8).
"""

from __future__ import annotations

import math

_EPS = 1e-16
_TINY = 1e-300
_HALF_LOG_2PI = 0.918938533204672741780329736406
_STIRLING = (1 / 12, -1 / 360, 1 / 1260, -1 / 1680, 1 / 1188, -691 / 360360, 1 / 156)


def gamma_p_q(a: float, x: float) -> tuple[float, float]:
    """Lower and upper regularised incomplete gamma functions P(a, x) and Q(a, x).

    ``a`` > 0, ``x`` >= 0; the smaller of the two keeps its relative accuracy.
    """
    if x <= 0:
        return 0.0, 1.0
    if math.isinf(x):
        return 1.0, 0.0
    scale = math.exp(-_stirling_error(a) - _deviance(a, x)) * math.sqrt(a / (2 * math.pi))
    if x < a + 1:
        lower = scale * _gamma_series(a, x)
        return lower, 1 - lower
    upper = scale * _gamma_fraction(a, x)
    return 1 - upper, upper


def beta_i(a: float, b: float, x: float, y: float) -> tuple[float, float]:
    """Regularised incomplete beta function I_x(a, b) and its complement I_y(b, a).

    ``y`` is 1 - x, given apart so that neither end loses its digits; ``a``, ``b`` > 0.
    """
    if x <= 0:
        return 0.0, 1.0
    if y <= 0:
        return 1.0, 0.0
    scale = _beta_scale(a, b, x, y)
    if x <= (a + 1) / (a + b + 2):
        lower = scale * _beta_fraction(a, b, x) / a
        return lower, 1 - lower
    upper = scale * _beta_fraction(b, a, y) / b
    return 1 - upper, upper


def _beta_scale(a: float, b: float, x: float, y: float) -> float:
    """x^a y^b / B(a, b)."""
    n = a + b
    exponent = (
        _stirling_error(n)
        - _stirling_error(a)
        - _stirling_error(b)
        - _deviance(a, n * x)
        - _deviance(b, n * y)
    )
    return math.exp(exponent) * math.sqrt(a / n * b / (2 * math.pi))


def _stirling_error(a: float) -> float:
    """ln Gamma(a) minus Stirling's (a - 1/2) ln a - a + ln(2 pi) / 2."""
    if a < 12:
        return math.lgamma(a) - (a - 0.5) * math.log(a) + a - _HALF_LOG_2PI
    square = a * a
    total = 0.0
    for term in reversed(_STIRLING):
        total = total / square + term
    return total / a


def _deviance(a: float, m: float) -> float:
    """A ln(a / m) + m - a, without cancellation where ``a`` is near ``m``."""
    if m <= 0:
        return math.inf
    difference = a - m
    if abs(difference) > 0.1 * (a + m):
        return a * math.log(a / m) - difference
    ratio = difference / (a + m)
    total = difference * ratio
    term = 2 * a * ratio
    for j in range(1, 100):
        term *= ratio * ratio
        grown = total + term / (2 * j + 1)
        if grown == total:
            break
        total = grown
    return total


def _gamma_series(a: float, x: float) -> float:
    """Sum of x^n / (a (a+1) ... (a+n)), for the lower tail."""
    term = total = 1 / a
    n = a
    while abs(term) > abs(total) * _EPS:
        n += 1
        term *= x / n
        total += term
    return total


def _gamma_fraction(a: float, x: float) -> float:
    """The continued fraction of the upper tail, even part."""
    b = x + 1 - a
    c = 1 / _TINY
    d = 1 / b
    value = d
    for i in range(1, 10_000_000):
        step = -i * (i - a)
        b += 2
        d = 1 / _apart(step * d + b)
        c = _apart(b + step / c)
        value *= d * c
        if abs(d * c - 1) < 4 * _EPS:
            break
    return value


def _beta_fraction(a: float, b: float, x: float) -> float:
    c = 1.0
    d = 1 / _apart(1 - (a + b) * x / (a + 1))
    value = d
    for m in range(1, 10_000_000):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        d = 1 / _apart(1 + even * d)
        c = _apart(1 + even / c)
        value *= d * c
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        d = 1 / _apart(1 + odd * d)
        c = _apart(1 + odd / c)
        value *= d * c
        if abs(d * c - 1) < 4 * _EPS:
            break
    return value


def _apart(value: float) -> float:
    """Keep a denominator off zero."""
    return value if abs(value) > _TINY else _TINY
