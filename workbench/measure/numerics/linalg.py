"""The little linear algebra that least squares wants, on plain lists.

Columns are made orthogonal by Gram-Schmidt, twice over and with the largest remaining column
first, so that normal equations (which lose half the digits) are never formed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.frozen import dataclass

_Row = list[float]
_DEPENDENT = 1e-10


@dataclass(frozen=True, slots=True)
class Factors:
    """A matrix of m rows and n columns as an orthonormal basis times a triangle.

    ``basis`` holds ``rank`` columns of length m, ``triangle`` the rows of the triangle for the
    columns in ``order`` after division by their ``scales``; ``rank`` is less than n where columns
    depend on each other to ten digits.
    """

    basis: list[_Row]
    triangle: list[_Row]
    order: list[int]
    scales: _Row
    rank: int


def factor(rows: Sequence[Sequence[float]]) -> Factors:
    """Factors of the matrix with these rows."""
    n = len(rows[0])
    columns = [[row[j] for row in rows] for j in range(n)]
    scales = [math.hypot(*column) or 1.0 for column in columns]
    left = [[v / scales[j] for v in columns[j]] for j in range(n)]
    basis: list[_Row] = []
    triangle = [[0.0] * n for _ in range(n)]
    order = list(range(n))
    for k in range(n):
        pivot = max(range(k, n), key=lambda p: math.hypot(*left[order[p]]))
        order[k], order[pivot] = order[pivot], order[k]
        for row in triangle[:k]:
            row[k], row[pivot] = row[pivot], row[k]
        column = left[order[k]]
        # The second pass takes out what rounding left of the earlier directions.
        _take_out(column, basis, triangle, k)
        size = math.hypot(*column)
        if size <= _DEPENDENT:
            return Factors(basis, triangle, order, scales, k)
        direction = [v / size for v in column]
        basis.append(direction)
        triangle[k][k] = size
        for p in range(k + 1, n):
            part = dot(direction, left[order[p]])
            triangle[k][p] += part
            left[order[p]] = [v - part * d for v, d in zip(left[order[p]], direction, strict=True)]
    return Factors(basis, triangle, order, scales, n)


def _take_out(column: _Row, basis: list[_Row], triangle: list[_Row], k: int) -> None:
    for i, direction in enumerate(basis):
        part = dot(direction, column)
        triangle[i][k] += part
        for row, d in enumerate(direction):
            column[row] -= part * d


def solve(factors: Factors, right: Sequence[float]) -> _Row:
    """Least-squares solution for a right side of length m; the matrix has full rank."""
    triangle, n = factors.triangle, len(factors.order)
    answer, out = [0.0] * n, [0.0] * n
    for i in reversed(range(n)):
        known = math.fsum(triangle[i][j] * answer[j] for j in range(i + 1, n))
        answer[i] = (dot(factors.basis[i], right) - known) / triangle[i][i]
    for value, column in zip(answer, factors.order, strict=True):
        out[column] = value / factors.scales[column]
    return out


def dot(a: Sequence[float], b: Sequence[float]) -> float:
    """Sum of products, summed exactly."""
    return math.fsum(x * y for x, y in zip(a, b, strict=True))
