"""Uncertainties carried through a formula, to first order and with a look at the second.

Covariance matrices and Jacobians are lists of rows. Derivatives are central differences with
steps of the size of the uncertainties, which is where the formula matters (JCGM 100:2008, 5.1.3).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from workbench.errors import InputError

Matrix = Sequence[Sequence[float]]
_STEP = 1e-3
_SECOND_STEP = 0.1


@dataclass(frozen=True, slots=True)
class Linear:
    """A formula's value with its uncertainty.

    ``u`` is the first-order standard uncertainty, ``components`` each input's part of it with its
    sign, ``second_order`` what the curvature adds (root sum of squares of half the second
    derivatives times the products of the uncertainties). ``curved`` says that the curvature adds
    more than a tenth of ``u``, as at a stationary point: do not trust ``u`` alone there.
    """

    value: float
    u: float
    components: tuple[float, ...]
    second_order: float

    @property
    def curved(self) -> bool:
        """Whether the formula bends too much for ``u``."""
        return self.second_order > 0.1 * self.u


def propagate(jacobian: Matrix, covariance: Matrix) -> list[list[float]]:
    """Covariance of the outputs, J V J' (JCGM 102:2011, 6.2), for an m x n and an n x n matrix."""
    n = len(covariance)
    if any(len(row) != n for row in [*jacobian, *covariance]):
        raise InputError("covariance", f"{n} rows", "as many rows and columns as Jacobian columns")
    half = [
        [math.fsum(row[k] * covariance[k][j] for k in range(n)) for j in range(n)]
        for row in jacobian
    ]
    return [[math.fsum(map(_product, left, row)) for row in jacobian] for left in half]


def propagate_formula(
    formula: Callable[[Sequence[float]], float], inputs: Sequence[float], u: Sequence[float]
) -> Linear:
    """First- and second-order uncertainty of ``formula`` of independent ``inputs`` with ``u``."""
    _check(inputs, u)
    value = formula(inputs)
    components = [_first(formula, inputs, u, i) for i in range(len(u))]
    return Linear(
        value, math.hypot(*components), tuple(components), _second(formula, inputs, u, value)
    )


def jacobian_row(
    formula: Callable[[Sequence[float]], float], inputs: Sequence[float], u: Sequence[float]
) -> list[float]:
    """Derivatives of ``formula`` with respect to each input, on the scale of ``u``."""
    _check(inputs, u)
    return [_first(formula, inputs, u, i) / u[i] for i in range(len(u))]


def correlation(xs: Sequence[float], ys: Sequence[float]) -> float:
    """Pearson's correlation coefficient of two equally long lists, two pairs or more."""
    from workbench.measure.repeats import mean_of, sum_of_squares

    if len(xs) != len(ys) or len(xs) < 2:
        raise InputError("pairs", (len(xs), len(ys)), "two lists of the same length, 2 or more")
    squares = sum_of_squares(xs) * sum_of_squares(ys)
    if squares == 0:
        raise InputError("pairs", "all alike", "values that differ")
    mean_x, mean_y = mean_of(xs), mean_of(ys)
    cross = math.fsum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True))
    return cross / math.sqrt(squares)


def covariance_of_means(columns: Matrix) -> list[list[float]]:
    """Covariance matrix of the means of columns read together (JCGM 100, 5.2.3)."""
    from workbench.measure.repeats import mean_of

    n = len(columns[0])
    if n < 2 or any(len(column) != n for column in columns):
        raise InputError("columns", [len(c) for c in columns], "equally many readings, 2 or more")
    residuals = [[value - mean_of(column) for value in column] for column in columns]
    return [[math.fsum(map(_product, a, b)) / (n * (n - 1)) for b in residuals] for a in residuals]


def correlations_of(covariance: Matrix) -> list[list[float]]:
    """A covariance matrix scaled to correlation coefficients."""
    sd = [math.sqrt(row[i]) for i, row in enumerate(covariance)]
    return [
        [value / (sd[i] * sd[j]) for j, value in enumerate(r)] for i, r in enumerate(covariance)
    ]


def _product(a: float, b: float) -> float:
    return a * b


def _moved(inputs: Sequence[float], shifts: dict[int, float]) -> list[float]:
    return [value + shifts.get(i, 0.0) for i, value in enumerate(inputs)]


def _first(
    formula: Callable[[Sequence[float]], float],
    inputs: Sequence[float],
    u: Sequence[float],
    i: int,
) -> float:
    """Derivative times uncertainty of input ``i``."""
    step = _STEP * u[i]
    above, below = formula(_moved(inputs, {i: step})), formula(_moved(inputs, {i: -step}))
    return (above - below) / (2 * _STEP)


def _second(
    formula: Callable[[Sequence[float]], float],
    inputs: Sequence[float],
    u: Sequence[float],
    value: float,
) -> float:
    """Root of sum over i, j of (second derivative x u_i x u_j)^2 / 2 (JCGM 100, 5.1.2 note)."""
    n = len(u)
    h = [_SECOND_STEP * x for x in u]
    total = 0.0
    for i in range(n):
        both = formula(_moved(inputs, {i: h[i]})) + formula(_moved(inputs, {i: -h[i]}))
        total += ((both - 2 * value) / _SECOND_STEP**2) ** 2 / 2
        for j in range(i):
            corners = sum(
                si * sj * formula(_moved(inputs, {i: si * h[i], j: sj * h[j]}))
                for si in (1, -1)
                for sj in (1, -1)
            )
            total += (corners / (4 * _SECOND_STEP**2)) ** 2
    return math.sqrt(total)


def _check(inputs: Sequence[float], u: Sequence[float]) -> None:
    if len(inputs) != len(u) or not inputs:
        raise InputError("inputs", len(inputs), f"one for each of the {len(u)} uncertainties")
    for x in u:
        if not 0 < x < math.inf:
            raise InputError("uncertainty of an input", x, "a finite number more than 0")
