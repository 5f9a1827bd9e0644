"""Where the blade is: a rigid placement in the plane, and the algebra of three unknowns.

Three unknowns do not repay a numerical library's start-up time, so it is written out in plain
floats.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import mul

from workbench.frozen import dataclass

Point = tuple[float, float]


def direction(a: Point, b: Point) -> Point:
    """Return the unit direction from a to b; (0, 0) where they are one point."""
    length = math.dist(a, b) or 1.0
    return (b[0] - a[0]) / length, (b[1] - a[1]) / length


@dataclass(frozen=True, slots=True)
class Pose:
    """Places a blade point (u, v) at (x, y) + Rot(tilt)(u, v); tilt is counter-clockwise."""

    x_mm: float
    y_mm: float
    tilt_rad: float

    def place(self, point: Point) -> Point:
        """Return the ski-frame position (mm) of a blade-frame point (mm)."""
        c, s = math.cos(self.tilt_rad), math.sin(self.tilt_rad)
        u, v = point
        return (self.x_mm + c * u - s * v, self.y_mm + s * u + c * v)

    def locate(self, point: Point) -> Point:
        """Return the blade-frame coordinates (mm) of a ski-frame point (mm)."""
        c, s = math.cos(self.tilt_rad), math.sin(self.tilt_rad)
        dx, dy = point[0] - self.x_mm, point[1] - self.y_mm
        return (c * dx + s * dy, -s * dx + c * dy)

    def then(self, other: Pose) -> Pose:
        """Return the pose that places a point by this pose first and by ``other`` after it."""
        x, y = other.place((self.x_mm, self.y_mm))
        return Pose(x, y, self.tilt_rad + other.tilt_rad)

    def inverse(self) -> Pose:
        """Return the pose that undoes this one."""
        x, y = self.locate((0.0, 0.0))
        return Pose(x, y, -self.tilt_rad)

    def moved(self, dx_mm: float, dy_mm: float, dtilt_rad: float) -> Pose:
        """Return the pose with its three parameters changed by these amounts."""
        return Pose(self.x_mm + dx_mm, self.y_mm + dy_mm, self.tilt_rad + dtilt_rad)

    def toward(self, other: Pose, share: float) -> Pose:
        """Return the pose that share of the way from this one to ``other``, each value alone."""
        return self.moved(
            share * (other.x_mm - self.x_mm),
            share * (other.y_mm - self.y_mm),
            share * (other.tilt_rad - self.tilt_rad),
        )


# -- linear algebra --------------------------------------------------------------------------------

Row = tuple[float, float, float]
Matrix3 = tuple[Row, Row, Row]


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


def normal_matrix(rows: Sequence[Row], weights: Sequence[float]) -> list[list[float]]:
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
