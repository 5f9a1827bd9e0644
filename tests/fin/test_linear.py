"""The small linear algebra against numpy and a published adjustment."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from workbench.measure.linalg import (
    gram_of_three,
    inverse,
    multiply,
    normal_matrix,
    pseudo_inverse,
    solve,
    symmetric_eigen,
)

ENTRIES = st.integers(-50, 50).map(lambda n: n / 8.0)
ROWS3 = st.tuples(ENTRIES, ENTRIES, ENTRIES)
SQUARE = st.lists(ROWS3, min_size=3, max_size=3)


@given(SQUARE, ROWS3)
def test_solve_and_inverse_agree_with_numpy(
    matrix: list[tuple[float, ...]], right: tuple[float, ...]
) -> None:
    """A regular system has numpy's solution and inverse."""
    assume(np.linalg.cond(matrix) < 1e6)
    got, back = solve(matrix, right), inverse(matrix)
    assert got == pytest.approx(np.linalg.solve(matrix, right), rel=1e-9, abs=1e-9)
    assert back is not None
    assert np.allclose(back, np.linalg.inv(matrix), rtol=1e-8, atol=1e-9)


@pytest.mark.parametrize(
    "matrix",
    [
        [[1, 2, 3], [2, 4, 6], [0, 1, 0]],
        [[0, 0, 0], [0, 1, 0], [0, 0, 1]],
        [[1e-9, 0, 1], [0, 0, 1], [0, 0, 2]],
    ],
)
def test_a_singular_system_has_no_solution(matrix: list[list[float]]) -> None:
    assert solve(matrix, [1.0, 2.0, 3.0]) is None
    assert inverse(matrix) is None
    assert pseudo_inverse(matrix) is None


def test_rows_of_very_different_size_solve() -> None:
    """Scaled pivoting is not led astray by a row a million times larger."""
    matrix = [[1e7, 2e7, 3e7], [1.0, 1.0, 0.0], [0.0, 1.0, 1.0]]
    expected = [0.5, -0.25, 2.0]
    right = [sum(a * x for a, x in zip(row, expected, strict=True)) for row in matrix]
    assert solve(matrix, right) == pytest.approx(expected, rel=1e-12)


@given(st.lists(ROWS3, min_size=3, max_size=7))
def test_pseudo_inverse_agrees_with_numpy(rows: list[tuple[float, ...]]) -> None:
    assume(np.linalg.matrix_rank(rows) == 3 and np.linalg.cond(rows) < 1e5)
    got = pseudo_inverse(rows)
    assert got is not None
    assert np.allclose(got, np.linalg.pinv(rows), rtol=1e-7, atol=1e-9)


@given(SQUARE)
def test_eigenpairs_of_a_normal_matrix(rows: list[tuple[float, float, float]]) -> None:
    """Eigenvalues are numpy's, in rising order, and each vector is of unit length and its own."""
    matrix = normal_matrix(rows, [1.0, 2.0, 0.5])
    assert np.allclose(matrix, np.array(rows).T @ np.diag([1.0, 2.0, 0.5]) @ np.array(rows))
    pairs = symmetric_eigen(matrix)
    size = max(1.0, float(np.abs(matrix).max()))
    assert [p[0] for p in pairs] == pytest.approx(np.linalg.eigvalsh(matrix), abs=1e-11 * size)
    for value, vector in pairs:
        assert math.hypot(*vector) == pytest.approx(1.0, abs=1e-12)
        assert np.allclose(np.array(matrix) @ vector, value * np.array(vector), atol=1e-11 * size)


def test_conformal_transformation_of_ghilani() -> None:
    """Rotation, scale and shift from three common points, by this algebra's normal equations.

    C. D. Ghilani, Adjustment Computations, chapter 18, example 18.1 (ghilani-conformal):
    E = a x - b y + Tx, N = b x + a y + Ty; our ``solve`` and ``multiply`` do the adjustment. The
    further source points, the rotation and the scale are from memory.
    """
    measured = [(121.622, -128.066), (141.228, 187.718), (175.802, 135.728)]
    target = [(1049422.40, 51089.20), (1049413.95, 49659.30), (1049244.95, 49884.95)]
    rows, right = [], []
    for (x, y), (e, n) in zip(measured, target, strict=True):
        rows += [[x, -y, 1.0, 0.0], [y, x, 0.0, 1.0]]
        right += [[e], [n]]
    across = [list(column) for column in zip(*rows, strict=True)]
    out = solve(multiply(across, rows), [row[0] for row in multiply(across, right)])
    assert out is not None
    a, b, tx, ty = out
    assert a == pytest.approx(-4.51249, abs=6e-6)
    assert b == pytest.approx(-0.25371, abs=6e-6)
    assert tx == pytest.approx(1050003.715, abs=1e-3)
    assert ty == pytest.approx(50542.131, abs=1e-3)
    assert math.degrees(math.atan2(b, a)) % 360 == pytest.approx(183.218056, abs=5e-5)
    assert math.hypot(a, b) == pytest.approx(4.51962, abs=5e-6)
    further = {
        (174.148, -120.262): (1049187.361, 51040.629),
        (513.520, -192.130): (1047637.713, 51278.829),
        (754.444, -67.706): (1046582.113, 50656.241),
        (972.788, 120.994): (1045644.713, 49749.336),
    }
    for (x, y), expected in further.items():
        image = (a * x - b * y + tx, b * x + a * y + ty)
        assert image == pytest.approx(expected, abs=1e-3)
    by_columns = pseudo_inverse(rows)
    assert by_columns is not None
    again = [sum(g * r[0] for g, r in zip(row, right, strict=True)) for row in by_columns]
    assert again == pytest.approx(out, rel=1e-8)


@given(
    st.integers(1, 6).flatmap(lambda n: st.lists(st.tuples(*[ENTRIES] * n), min_size=3, max_size=3))
)
def test_rows_products_are_numpys(rows: list[tuple[float, ...]]) -> None:
    """Eighths up to fifty multiply and add without rounding: equal to the last bit."""
    a = np.array(rows)
    assert np.array_equal(gram_of_three(rows), a @ a.T)
