"""Normal, Student t, chi-square and F: probabilities and quantiles, in plain Python.

``*_cdf`` is the probability below, ``*_sf`` the probability above (its own digits kept far out in
the tail), ``*_quantile`` the value with that probability below it. Degrees of freedom may be any
positive number, and infinite where that means something. Probabilities outside 0 < p < 1 and
degrees of freedom that are not positive raise :class:`~workbench.errors.InputError`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

from workbench.errors import InputError
from workbench.measure.numerics.special import beta_i, gamma_p_q

_ROOT2 = math.sqrt(2)
_Tail = Callable[[float], float]


def normal_cdf(z: float) -> float:
    """Probability that a standard normal value is below ``z``."""
    return 0.5 * math.erfc(-z / _ROOT2)


def normal_sf(z: float) -> float:
    """Probability that a standard normal value is above ``z``."""
    return 0.5 * math.erfc(z / _ROOT2)


def normal_quantile(p: float) -> float:
    """The standard normal value with probability ``p`` below it."""
    inner, outer = _two_sided(p)
    size = _positive_root(
        lambda z: math.erf(z / _ROOT2),
        lambda z: math.erfc(z / _ROOT2),
        lambda z: math.sqrt(2 / math.pi) * math.exp(-z * z / 2),
        inner,
        outer,
    )
    return math.copysign(size, p - 0.5)


def t_cdf(t: float, dof: float) -> float:
    """Probability that Student's t with ``dof`` degrees of freedom is below ``t``."""
    return t_sf(-t, dof)


def t_sf(t: float, dof: float) -> float:
    """Probability that Student's t with ``dof`` degrees of freedom is above ``t``."""
    _check_dof(dof)
    if math.isinf(dof):
        return normal_sf(t)
    if _nearly_normal(t, dof):
        return normal_sf(_normal_from_t(t, dof))
    _, outer = _t_two_tails(abs(t), dof)
    return outer / 2 if t >= 0 else 1 - outer / 2


@lru_cache(maxsize=1024)  # every look at a reading's repeats asks for the same few
def t_quantile(p: float, dof: float) -> float:
    """Student's t with probability ``p`` below it."""
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


def chi2_cdf(x: float, dof: float) -> float:
    """Probability that chi-square with ``dof`` degrees of freedom is below ``x``."""
    _check_finite_dof(dof)
    return gamma_p_q(dof / 2, x / 2)[0]


def chi2_sf(x: float, dof: float) -> float:
    """Probability that chi-square with ``dof`` degrees of freedom is above ``x``."""
    _check_finite_dof(dof)
    return gamma_p_q(dof / 2, x / 2)[1]


def chi2_quantile(p: float, dof: float) -> float:
    """Chi-square with probability ``p`` below it."""
    _check_p(p)
    _check_finite_dof(dof)
    log_scale = math.lgamma(dof / 2) + dof / 2 * math.log(2)
    return _positive_root(
        lambda x: chi2_cdf(x, dof),
        lambda x: chi2_sf(x, dof),
        lambda x: math.exp((dof / 2 - 1) * math.log(x) - x / 2 - log_scale),
        p,
        1 - p,
        start=dof,
    )


def f_cdf(x: float, dof1: float, dof2: float) -> float:
    """Probability that F with ``dof1`` and ``dof2`` degrees of freedom is below ``x``."""
    return _f_tails(x, dof1, dof2)[0]


def f_sf(x: float, dof1: float, dof2: float) -> float:
    """Probability that F with ``dof1`` and ``dof2`` degrees of freedom is above ``x``."""
    return _f_tails(x, dof1, dof2)[1]


def coverage_factor(level: float, dof: float = math.inf) -> float:
    """Student's t for a two-sided interval of ``level``: t_p(nu) of JCGM 100:2008, Table G.2."""
    if not 0 < level < 1:
        raise InputError("level of confidence", level, "more than 0 and less than 1, such as 0.95")
    return -t_quantile((1 - level) / 2, dof)


def _t_two_tails(t: float, dof: float) -> tuple[float, float]:
    """Probabilities that abs(T) is below and above ``t`` >= 0."""
    square = t * t
    if math.isinf(square):
        return 1.0, 0.0
    outer, inner = beta_i(dof / 2, 0.5, dof / (dof + square), square / (dof + square))
    return inner, outer


def _t_density(dof: float) -> _Tail:
    log_scale = math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2) - 0.5 * math.log(dof * math.pi)
    return lambda t: math.exp(log_scale - (dof + 1) / 2 * math.log1p(t * t / dof))


def _nearly_normal(t: float, dof: float) -> bool:
    """Whether the asymptotic series are exact to rounding, where the fraction loses digits."""
    return dof >= 1e4 and t * t <= 1e-3 * dof


def _t_from_normal(z: float, dof: float) -> float:
    """Student's t from the normal quantile, Abramowitz & Stegun 26.7.5."""
    s = z * z
    terms = (
        1.0,
        (s + 1) / 4,
        ((5 * s + 16) * s + 3) / 96,
        (((3 * s + 19) * s + 17) * s - 15) / 384,
        ((((79 * s + 776) * s + 1482) * s - 1920) * s - 945) / 92160,
    )
    return z * _series(terms, dof)


def _normal_from_t(t: float, dof: float) -> float:
    """The normal value with the same tail as Student's t: the series above turned round."""
    s = t * t
    terms = (
        1.0,
        -(s + 1) / 4,
        ((13 * s + 8) * s + 3) / 96,
        -(((35 * s + 19) * s + 1) * s - 15) / 384,
        ((((6271 * s + 3224) * s - 102) * s - 1680) * s - 945) / 92160,
    )
    return t * _series(terms, dof)


def _series(terms: tuple[float, ...], dof: float) -> float:
    """Sum of terms over the rising powers of ``dof``."""
    total = 0.0
    for term in reversed(terms):
        total = total / dof + term
    return total


def _f_tails(x: float, dof1: float, dof2: float) -> tuple[float, float]:
    _check_finite_dof(dof1)
    _check_finite_dof(dof2)
    if x <= 0:
        return 0.0, 1.0
    total = dof1 * x + dof2
    if math.isinf(total):
        return 1.0, 0.0
    return beta_i(dof1 / 2, dof2 / 2, dof1 * x / total, dof2 / total)


def _two_sided(p: float) -> tuple[float, float]:
    """Probabilities within and beyond the symmetric pair of values at ``p``."""
    _check_p(p)
    return abs(1 - 2 * p), 2 * min(p, 1 - p)


def _positive_root(
    below: _Tail, above: _Tail, density: _Tail, p: float, q: float, start: float = 1.0
) -> float:
    """The x > 0 with ``below(x)`` = p and ``above(x)`` = q, on whichever is the smaller.

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
