"""The linear algebra under the adjustment."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from workbench.measure.linalg import factor, least_squares


@given(st.integers(1, 5), st.integers(0, 8), st.integers(0, 2**32))
def test_the_solution_agrees_with_numpy(n, more, seed):
    """Random well-posed systems give numpy's least-squares answer."""
    rng = np.random.default_rng(seed)
    a, b = rng.normal(size=(n + more + 1, n)), rng.normal(size=n + more + 1)
    factors = factor(a.tolist())
    scale = np.linalg.cond(a)
    assert factors.rank == n
    assert np.allclose(
        least_squares(factors, b.tolist()),
        np.linalg.lstsq(a, b, rcond=None)[0],
        rtol=1e-12 * scale**2,
    )


def test_basis_is_orthonormal_for_nearly_dependent_columns():
    """Columns alike to eight digits still give a basis orthonormal to rounding."""
    rows = [[1.0, 1.0 + 1e-8 * i, (i % 2) * 1e-8 + 1.0] for i in range(6)]
    factors = factor(rows)
    gram = np.array(factors.basis) @ np.array(factors.basis).T
    assert factors.rank == 3
    assert np.allclose(gram, np.eye(3), atol=1e-14)


def test_dependent_columns_and_columns_of_zeros_lower_the_rank():
    """Column 2 is twice column 0; column 1 has nothing to do with it."""
    rows = [[1.0, 0.0, 2.0], [2.0, 1.0, 4.0], [3.0, 5.0, 6.0], [4.0, 1.0, 8.0]]
    assert factor(rows).rank == 2
    assert factor([[1.0, 0.0], [2.0, 0.0]]).rank == 1


def test_units_of_the_columns_do_not_matter():
    """Millimetres beside radians: the solution scales with the column, digit for digit."""
    rows = [[1.0, 3.0], [2.0, -1.0], [0.5, 4.0]]
    tiny = [[a, b * 1e-9] for a, b in rows]
    plain, scaled = (least_squares(factor(r), [1.0, 2.0, 3.0]) for r in (rows, tiny))
    assert math.isclose(plain[0], scaled[0], rel_tol=1e-12)
    assert math.isclose(plain[1], scaled[1] * 1e-9, rel_tol=1e-12)
