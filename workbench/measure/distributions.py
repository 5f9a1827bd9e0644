"""Normal, Student t, chi-square and F: probabilities and quantiles, in plain Python.

``*_sf`` is the probability above (its own digits kept far out in the tail), ``*_quantile`` the
value with a probability below it. Degrees of freedom may be any positive number, and infinite where
that means something. Probabilities outside 0 < p < 1 and
degrees of freedom that are not positive raise :class:`~workbench.errors.InputError`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

from workbench.errors import InputError

_ROOT2 = math.sqrt(2)
_Tail = Callable[[float], float]


def normal_sf(z: float) -> float:
    """Return the probability that a standard normal value is above ``z``."""
    return 0.5 * math.erfc(z / _ROOT2)


def normal_quantile(p: float) -> float:
    """Return the standard normal value with probability ``p`` below it."""
    inner, outer = _two_sided(p)
    size = _positive_root(
        lambda z: math.erf(z / _ROOT2),
        lambda z: math.erfc(z / _ROOT2),
        lambda z: math.sqrt(2 / math.pi) * math.exp(-z * z / 2),
        inner,
        outer,
    )
    return math.copysign(size, p - 0.5)


@lru_cache(maxsize=1024)  # every look at a reading's repeats asks for the same few
def t_quantile(p: float, dof: float) -> float:
    """Return Student's t with probability ``p`` below it."""
    _check_dof(dof)
    z = normal_quantile(p)
    if math.isinf(dof) or z == 0:
        return z
    if _nearly_normal(z, dof):
        return _t_from_normal(z, dof)
    inner, outer = _two_sided(p)
    density = _t_density(dof)
    size = _positive_root(
        lambda t: _t_two_tails(t, dof)[0],
        lambda t: _t_two_tails(t, dof)[1],
        lambda t: 2 * density(t),
        inner,
        outer,
        start=abs(z),
    )
    return math.copysign(size, z)


def chi2_sf(x: float, dof: float) -> float:
    """Return the probability that chi-square with ``dof`` degrees of freedom is above ``x``."""
    _check_finite_dof(dof)
    return gamma_p_q(dof / 2, x / 2)[1]


def chi2_quantile(p: float, dof: float) -> float:
    """Return the chi-square with probability ``p`` below it."""
    _check_p(p)
    _check_finite_dof(dof)
    log_scale = math.lgamma(dof / 2) + dof / 2 * math.log(2)
    return _positive_root(
        lambda x: gamma_p_q(dof / 2, x / 2)[0],
        lambda x: gamma_p_q(dof / 2, x / 2)[1],
        lambda x: math.exp((dof / 2 - 1) * math.log(x) - x / 2 - log_scale),
        p,
        1 - p,
        start=dof,
    )


def f_sf(x: float, dof1: float, dof2: float) -> float:
    """Return the probability that F with these degrees of freedom is above ``x``."""
    _check_finite_dof(dof1)
    _check_finite_dof(dof2)
    if x <= 0:
        return 1.0
    total = dof1 * x + dof2
    if math.isinf(total):
        return 0.0
    return beta_i(dof1 / 2, dof2 / 2, dof1 * x / total, dof2 / total)[1]


def coverage_factor(level: float, dof: float = math.inf) -> float:
    """Return Student's t for a two-sided interval of ``level`` (JCGM 100:2008, Table G.2)."""
    if not 0 < level < 1:
        raise InputError("level of confidence", level, "more than 0 and less than 1, such as 0.95")
    return -t_quantile((1 - level) / 2, dof)


def _t_two_tails(t: float, dof: float) -> tuple[float, float]:
    """Return the probabilities that abs(T) is below and above ``t`` >= 0."""
    square = t * t
    if math.isinf(square):
        return 1.0, 0.0
    outer, inner = beta_i(dof / 2, 0.5, dof / (dof + square), square / (dof + square))
    return inner, outer


def _t_density(dof: float) -> _Tail:
    log_scale = math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2) - 0.5 * math.log(dof * math.pi)
    return lambda t: math.exp(log_scale - (dof + 1) / 2 * math.log1p(t * t / dof))


def _nearly_normal(t: float, dof: float) -> bool:
    """Return whether the series in 1/dof are exact to rounding: there the fraction loses digits."""
    return dof >= 1e4 and t * t <= 1e-3 * dof


def _t_from_normal(z: float, dof: float) -> float:
    """Return Student's t from the normal quantile, Abramowitz & Stegun 26.7.5."""
    s = z * z
    terms = (
        1.0,
        (s + 1) / 4,
        ((5 * s + 16) * s + 3) / 96,
        (((3 * s + 19) * s + 17) * s - 15) / 384,
        ((((79 * s + 776) * s + 1482) * s - 1920) * s - 945) / 92160,
    )
    return z * _series(terms, dof)


def _series(terms: tuple[float, ...], dof: float) -> float:
    """Return the sum of terms over the rising powers of ``dof``."""
    total = 0.0
    for term in reversed(terms):
        total = total / dof + term
    return total


def _two_sided(p: float) -> tuple[float, float]:
    """Return the probabilities within and beyond the symmetric pair of values at ``p``."""
    _check_p(p)
    return abs(1 - 2 * p), 2 * min(p, 1 - p)


def _positive_root(
    below: _Tail, above: _Tail, density: _Tail, p: float, q: float, start: float = 1.0
) -> float:
    """Return the x > 0 with ``below(x)`` = p and ``above(x)`` = q, on whichever is the smaller.

    Newton's step is taken between logarithms, where tails of every kind are nearly straight, and
    is refused for a bisection whenever it leaves the bracket.
    """
    if p <= 0:
        return 0.0
    lower_tail = p < q
    tail, target = (below, p) if lower_tail else (above, q)
    low, high, x = 0.0, math.inf, start
    for _ in range(300):
        value = tail(x)
        if (value < target) == lower_tail:
            low = x
        else:
            high = x
        slope = x * density(x) * (1 if lower_tail else -1)
        new = x
        if value > 0 and slope != 0:
            step = math.log(target / value) * value / slope
            new = x * math.exp(max(-3.0, min(3.0, step)))
        if abs(new - x) <= 2e-16 * x and value > 0 and slope != 0:
            return new
        if not low < new < high:
            new = _middle(low, high)
        if new == x or new == 0:
            return new
        x = new
    return x


def _middle(low: float, high: float) -> float:
    if math.isinf(high):
        return low * 16
    return math.sqrt(low) * math.sqrt(high) if low > 0 else high / 16


def _check_p(p: float) -> None:
    if not 0 < p < 1:
        raise InputError("probability", p, "more than 0 and less than 1")


def _check_dof(dof: float) -> None:
    if not dof > 0:
        raise InputError("degrees of freedom", dof, "more than 0")


def _check_finite_dof(dof: float) -> None:
    if not 0 < dof < math.inf:
        raise InputError("degrees of freedom", dof, "more than 0 and finite")


# -- regularised incomplete gamma and beta functions -----------------------------------------------
# Both are a prefactor times a series or a continued fraction. The prefactor is written as a
# saddle-point deviance, so that large parameters keep their digits (C. Loader, "Fast and accurate
# computation of binomial probabilities", 2000); the continued fractions are evaluated by the
# modified Lentz method (Abramowitz & Stegun 6.5.31 and 26.5.8).

_EPS = 1e-16
_TINY = 1e-300
_HALF_LOG_2PI = 0.918938533204672741780329736406
_STIRLING = (1 / 12, -1 / 360, 1 / 1260, -1 / 1680, 1 / 1188, -691 / 360360, 1 / 156)


def gamma_p_q(a: float, x: float) -> tuple[float, float]:
    """Return the lower and upper regularised incomplete gamma functions P(a, x) and Q(a, x).

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
    """Return the regularised incomplete beta function I_x(a, b) and its complement I_y(b, a).

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
    """Return x^a y^b / B(a, b)."""
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
    """Return ln Gamma(a) minus Stirling's (a - 1/2) ln a - a + ln(2 pi) / 2."""
    if a < 12:
        return math.lgamma(a) - (a - 0.5) * math.log(a) + a - _HALF_LOG_2PI
    square = a * a
    total = 0.0
    for term in reversed(_STIRLING):
        total = total / square + term
    return total / a


def _deviance(a: float, m: float) -> float:
    """Return a ln(a / m) + m - a, without cancellation where ``a`` is near ``m``."""
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
    """Return the sum of x^n / (a (a+1) ... (a+n)), for the lower tail."""
    term = total = 1 / a
    n = a
    while abs(term) > abs(total) * _EPS:
        n += 1
        term *= x / n
        total += term
    return total


def _gamma_fraction(a: float, x: float) -> float:
    """Return the continued fraction of the upper tail, even part."""
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
