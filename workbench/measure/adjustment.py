"""Weighted least-squares adjustment with more readings than unknowns, and which reading is wrong.

The model is linearised: row i of the Jacobian times the corrections should equal misclosure i
(observed minus computed), whose standard uncertainty is u_i; readings are independent. Residuals
are adjusted minus observed. Tests after W. Baarda, A testing procedure for use in geodetic
networks, 1968.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.distributions import chi2_sf, normal_quantile
from workbench.measure.linalg import Factors, dot, factor, least_squares

ALPHA = 0.001
"""Baarda's two-sided level for a single normalised residual."""

POWER = 0.80
"""Baarda's probability of catching a bias of the minimal detectable size."""

_UNCONTROLLED = 1e-8


@dataclass(frozen=True, slots=True)
class Adjustment:
    """An adjusted model of m readings and n unknowns.

    ``corrections`` (n) and ``residuals`` (m); ``redundancy`` (m) is each reading's share of the
    degrees of freedom, 0 where no other reading checks it; ``u`` (m) are the uncertainties stated
    and ``chi2`` is the sum of squared residuals over them.
    """

    corrections: tuple[float, ...]
    residuals: tuple[float, ...]
    redundancy: tuple[float, ...]
    u: tuple[float, ...]
    chi2: float

    @property
    def dof(self) -> int:
        """Readings beyond those needed."""
        return len(self.residuals) - len(self.corrections)

    @property
    def p(self) -> float | None:
        """Probability of a chi-square as large by chance; ``None`` without redundancy."""
        return chi2_sf(self.chi2, self.dof) if self.dof > 0 else None

    def agrees(self) -> bool:
        """Return the global test at 5 %: whether the readings agree within their uncertainties.

        Without redundancy nothing contradicts.
        """
        return self.p is None or self.p >= 0.05

    @property
    def w(self) -> tuple[float | None, ...]:
        """Normalised residuals, standard normal when nothing is wrong; ``None`` if unchecked."""
        return tuple(
            v / (u * math.sqrt(r)) if r > 0 else None
            for v, u, r in zip(self.residuals, self.u, self.redundancy, strict=True)
        )

    def detectable(self) -> tuple[float | None, ...]:
        """Return the minimal detectable bias of each reading: delta0 u / sqrt(r) (Baarda)."""
        delta = detectable_shift()
        return tuple(
            delta * u / math.sqrt(r) if r > 0 else None
            for u, r in zip(self.u, self.redundancy, strict=True)
        )


def adjust(
    jacobian: Sequence[Sequence[float]], u: Sequence[float], misclosures: Sequence[float]
) -> Adjustment:
    """Adjust m readings: ``jacobian`` m x n, ``u`` and ``misclosures`` of length m.

    Raises :class:`InputError` for readings that leave an unknown open.
    """
    weighted = [[a / s for a in row] for row, s in zip(jacobian, u, strict=True)]
    factors = factor(weighted)
    if factors.rank < len(jacobian[0]):
        raise InputError("readings", len(jacobian), "readings that tell all unknowns apart")
    right = [value / s for value, s in zip(misclosures, u, strict=True)]
    corrections = _refined(factors, weighted, right)
    reduced = [dot(row, corrections) - b for row, b in zip(weighted, right, strict=True)]
    # Identity less the projection onto the model: what of each reading its residual shows.
    free = (1.0 - math.fsum(v * v for v in row) for row in zip(*factors.basis, strict=True))
    return Adjustment(
        corrections=tuple(corrections),
        residuals=tuple(v * s for v, s in zip(reduced, u, strict=True)),
        redundancy=tuple(share if share > _UNCONTROLLED else 0.0 for share in free),
        u=tuple(u),
        chi2=dot(reduced, reduced),
    )


def critical_w() -> float:
    """Return the two-sided critical value of a normalised residual (3.29 for Baarda's 0.001)."""
    return -normal_quantile(ALPHA / 2)


def detectable_shift() -> float:
    """Return Baarda's delta0: the shift of a normalised residual caught with his power.

    The far tail, some 1e-13 at Baarda's constants, is left out as he does.
    """
    return critical_w() + normal_quantile(POWER)


def _refined(factors: Factors, rows: list[list[float]], right: list[float]) -> list[float]:
    """Return the solution with one step of refinement, which wins back what conditioning took."""
    first = least_squares(factors, right)
    left = [math.fsum([b, *(-a * x for a, x in zip(r, first, strict=True))])
            for r, b in zip(rows, right, strict=True)]  # fmt: skip
    return [x + dx for x, dx in zip(first, least_squares(factors, left), strict=True)]
