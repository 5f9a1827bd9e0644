"""The little linear algebra that poses and least squares want, on plain lists.

Three unknowns do not repay the start-up time of a numerical library.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import mul

from workbench.frozen import dataclass

Three = tuple[float, float, float]
Matrix3 = tuple[Three, Three, Three]


def solve(matrix: Sequence[Sequence[float]], right: Sequence[float]) -> list[float] | None:
    """Solve ``matrix`` (n x n) times x = ``right`` by elimination with scaled partial pivoting.

    Returns None where the matrix is singular to working precision.
    """
    n = len(right)
    if n == 3:
        quick = _solve_three(matrix, right)
        if quick is not None:
            return quick
    rows = [[*map(float, row), float(b)] for row, b in zip(matrix, right, strict=True)]
    scales = [max(map(abs, row[:n]), default=0.0) for row in rows]
    if not all(scales):
        return None
    for k in range(n):
        pivot = max(range(k, n), key=lambda i: abs(rows[i][k]) / scales[i])
        if abs(rows[pivot][k]) <= 1e-14 * scales[pivot]:
            return None
        rows[k], rows[pivot] = rows[pivot], rows[k]
        scales[k], scales[pivot] = scales[pivot], scales[k]
        for i in range(k + 1, n):
            factor = rows[i][k] / rows[k][k]
            if factor:
                rows[i] = [a - factor * b for a, b in zip(rows[i], rows[k], strict=True)]
    out = [0.0] * n
    for k in reversed(range(n)):
        rest = sum(rows[k][j] * out[j] for j in range(k + 1, n))
        out[k] = (rows[k][n] - rest) / rows[k][k]
    return out


def _solve_three(matrix: Sequence[Sequence[float]], right: Sequence[float]) -> list[float] | None:
    """Solve three equations by cofactors, with one step of refinement; None where it is no use.

    Good only where the matrix is far from singular; elimination takes the rest.
    """
    (a, b, c), (d, e, f), (g, h, i) = matrix
    p, q, r = e * i - f * h, f * g - d * i, d * h - e * g
    det = a * p + b * q + c * r
    # Cofactors lose as many digits as the determinant's terms cancel: four are given away.
    if abs(det) <= 1e-4 * (abs(a * p) + abs(b * q) + abs(c * r)) or not math.isfinite(det):
        return None
    s, t, u = c * h - b * i, a * i - c * g, b * g - a * h
    v, w, z = b * f - c * e, c * d - a * f, a * e - b * d
    x0, x1, x2 = 0.0, 0.0, 0.0
    y0, y1, y2 = right
    for _ in range(2):
        x0 += (p * y0 + s * y1 + v * y2) / det
        x1 += (q * y0 + t * y1 + w * y2) / det
        x2 += (r * y0 + u * y1 + z * y2) / det
        y0 = right[0] - (a * x0 + b * x1 + c * x2)
        y1 = right[1] - (d * x0 + e * x1 + f * x2)
        y2 = right[2] - (g * x0 + h * x1 + i * x2)
    return [x0, x1, x2]


def inverse_of_three(rows: Sequence[Sequence[float]]) -> Matrix3 | None:
    """Return the inverse of a 3 x 3 matrix by cofactors; None unless far from singular."""
    (a, b, c), (d, e, f), (g, h, i) = rows
    p, q, r = e * i - f * h, f * g - d * i, d * h - e * g
    det = a * p + b * q + c * r
    if not abs(det) > 1e-4 * (abs(a * p) + abs(b * q) + abs(c * r)):
        return None
    k = 1.0 / det
    return (
        (p * k, (c * h - b * i) * k, (b * f - c * e) * k),
        (q * k, (a * i - c * g) * k, (c * d - a * f) * k),
        (r * k, (b * g - a * h) * k, (a * e - b * d) * k),
    )


def inverse(matrix: Sequence[Sequence[float]]) -> list[list[float]] | None:
    """Return the inverse of an n x n matrix, or None where it is singular."""
    n = len(matrix)
    columns = []
    for j in range(n):
        column = solve(matrix, [1.0 if i == j else 0.0 for i in range(n)])
        if column is None:
            return None
        columns.append(column)
    return [[columns[j][i] for j in range(n)] for i in range(n)]


def normal_matrix(rows: Sequence[Three], weights: Sequence[float]) -> list[list[float]]:
    """Return the 3 x 3 normal matrix: the sum of w times row^T row."""
    return [
        [sum(w * row[i] * row[j] for row, w in zip(rows, weights, strict=True)) for j in range(3)]
        for i in range(3)
    ]


def determinant(m: Sequence[Sequence[float]]) -> float:
    """Return the determinant of a 3 x 3 matrix."""
    (a, b, c), (d, e, f), (g, h, i) = m
    return a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g)


def pseudo_inverse(rows: Sequence[Sequence[float]]) -> list[list[float]] | None:
    """Return (A^T A)^-1 A^T for the n x k matrix A of ``rows``, or None where its rank is below k.

    By orthogonal columns (modified Gram-Schmidt; Golub and Van Loan, Matrix Computations, section
    5.2), so that rows of very different size do not meet as squares.
    """
    if len(rows) == len(rows[0]) == 3:
        quick = inverse_of_three(rows)
        if quick is not None:
            return [list(row) for row in quick]
    columns = [list(map(float, column)) for column in zip(*rows, strict=True)]
    k = len(columns)
    upper = [[0.0] * k for _ in range(k)]
    for j in range(k):
        whole = math.hypot(*columns[j])
        for i in range(j):
            along = sum(a * b for a, b in zip(columns[i], columns[j], strict=True))
            upper[i][j] = along
            columns[j] = [b - along * a for a, b in zip(columns[i], columns[j], strict=True)]
        left = math.hypot(*columns[j])
        if left <= 1e-13 * whole:
            return None
        upper[j][j] = left
        columns[j] = [a / left for a in columns[j]]
    out: list[list[float]] = [[]] * k
    for i in reversed(range(k)):
        row = columns[i]
        for j in range(i + 1, k):
            row = [a - upper[i][j] * b for a, b in zip(row, out[j], strict=True)]
        out[i] = [a / upper[i][i] for a in row]
    return out


def multiply(a: Sequence[Sequence[float]], b: Sequence[Sequence[float]]) -> list[list[float]]:
    """Return the matrix product a b."""
    columns = list(zip(*b, strict=True))
    return [[sum(map(mul, row, col)) for col in columns] for row in a]


def gram_of_three(rows: Sequence[Sequence[float]]) -> Matrix3:
    """Return A A^T for the 3 x n matrix A of ``rows``: the products of its rows with each other."""
    x, y, z = rows
    xy, xz, yz = (float(sum(map(mul, *pair))) for pair in ((x, y), (x, z), (y, z)))
    xx, yy, zz = (float(sum(map(mul, row, row))) for row in rows)
    return ((xx, xy, xz), (xy, yy, yz), (xz, yz, zz))


def symmetric_eigen(matrix: Sequence[Sequence[float]]) -> list[tuple[float, list[float]]]:
    """Return (eigenvalue, unit eigenvector) pairs of a symmetric matrix, smallest value first.

    Cyclic Jacobi rotations (Golub and Van Loan, Matrix Computations, section 8.5).
    """
    n = len(matrix)
    a = [list(map(float, row)) for row in matrix]
    v = [[1.0 if i == j else 0.0 for j in range(n)] for i in range(n)]
    for _ in range(30):
        off = sum(a[i][j] ** 2 for i in range(n) for j in range(n) if i != j)
        if off <= 1e-30 * sum(a[i][i] ** 2 for i in range(n)):
            break
        for p in range(n - 1):
            for q in range(p + 1, n):
                _rotate(a, v, p, q)
    pairs = [(a[i][i], [v[k][i] for k in range(n)]) for i in range(n)]
    return sorted(pairs, key=lambda pair: pair[0])


def _rotate(a: list[list[float]], v: list[list[float]], p: int, q: int) -> None:
    """Zero a[p][q] by one Jacobi rotation, gathering the rotation in ``v``."""
    if a[p][q] == 0.0:
        return
    theta = (a[q][q] - a[p][p]) / (2.0 * a[p][q])
    t = math.copysign(1.0, theta) / (abs(theta) + math.hypot(theta, 1.0))
    c = 1.0 / math.hypot(t, 1.0)
    s = t * c
    for row in a:
        row[p], row[q] = c * row[p] - s * row[q], s * row[p] + c * row[q]
    for k in range(len(a)):
        a[p][k], a[q][k] = c * a[p][k] - s * a[q][k], s * a[p][k] + c * a[q][k]
    for row in v:
        row[p], row[q] = c * row[p] - s * row[q], s * row[p] + c * row[q]


# -- least squares ---------------------------------------------------------------------------------

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
    """Return the factors of the matrix with these rows."""
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


def least_squares(factors: Factors, right: Sequence[float]) -> _Row:
    """Return the least-squares solution for a right side of length m; the matrix has full rank."""
    triangle, n = factors.triangle, len(factors.order)
    answer, out = [0.0] * n, [0.0] * n
    for i in reversed(range(n)):
        known = math.fsum(triangle[i][j] * answer[j] for j in range(i + 1, n))
        answer[i] = (dot(factors.basis[i], right) - known) / triangle[i][i]
    for value, column in zip(answer, factors.order, strict=True):
        out[column] = value / factors.scales[column]
    return out


def dot(a: Sequence[float], b: Sequence[float]) -> float:
    """Return the sum of products, summed exactly."""
    return math.fsum(x * y for x, y in zip(a, b, strict=True))
