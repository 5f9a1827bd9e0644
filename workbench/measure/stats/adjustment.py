"""Weighted least-squares adjustment with more readings than unknowns, and which reading is wrong.

The model is linearised: row i of the Jacobian times the corrections should equal misclosure i
(observed minus computed), whose standard uncertainty is u_i; readings are independent. Residuals
are adjusted minus observed. Tests after W. Baarda, A testing procedure for use in geodetic
networks, 1968, and A. J. Pope, NOAA TR NOS 65 NGS 1, 1976.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.errors import BenchError, InputError
from workbench.frozen import dataclass
from workbench.measure.numerics.distributions import chi2_sf, normal_quantile
from workbench.measure.numerics.linalg import (
    Factors,
    dependent_columns,
    dot,
    factor,
    inverse_gram,
    solve,
)

ALPHA = 0.001
"""Baarda's two-sided level for a single normalised residual."""

POWER = 0.80
"""Baarda's probability of catching a bias of the minimal detectable size."""

_UNCONTROLLED = 1e-8


class RankDefectError(BenchError, ValueError):
    """Readings that leave unknowns undetermined; ``unknowns`` names those that take part."""

    def __init__(self, unknowns: Sequence[str], readings: int) -> None:
        self.unknowns = tuple(unknowns)
        self.readings = readings
        count = f"{readings} reading{'' if readings == 1 else 's'}"
        super().__init__(
            f"{count} cannot tell apart {', '.join(unknowns)} "
            "— add a reading that answers differently to them"
        )


@dataclass(frozen=True, slots=True)
class Adjustment:
    """An adjusted model of m readings and n unknowns.

    ``corrections`` (n) and their ``covariance`` (n x n, from the stated uncertainties alone);
    ``residuals`` (m) and ``residual_covariance`` (m x m); ``redundancy`` (m) is each reading's
    share of the degrees of freedom, 0 where no other reading checks it; ``chi2`` is the sum of
    squared residuals over their uncertainties.
    """

    corrections: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    residuals: tuple[float, ...]
    residual_covariance: tuple[tuple[float, ...], ...]
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

    @property
    def s0(self) -> float | None:
        """Standard deviation of unit weight, near 1 where the uncertainties are right."""
        return math.sqrt(self.chi2 / self.dof) if self.dof > 0 else None

    def agrees(self, alpha: float = 0.05) -> bool:
        """The global test: whether the readings agree within their uncertainties.

        Without redundancy nothing contradicts.
        """
        return self.p is None or self.p >= alpha

    @property
    def scaled_covariance(self) -> tuple[tuple[float, ...], ...]:
        """``covariance`` times s0 squared: for uncertainties known only relative to each other."""
        if self.s0 is None:
            raise InputError("redundancy", 0, "more readings than unknowns")
        factor_ = self.s0**2
        return tuple(tuple(factor_ * v for v in row) for row in self.covariance)

    @property
    def w(self) -> tuple[float | None, ...]:
        """Normalised residuals, standard normal when nothing is wrong; ``None`` if unchecked."""
        return tuple(
            v / (u * math.sqrt(r)) if r > 0 else None
            for v, u, r in zip(self.residuals, self.u, self.redundancy, strict=True)
        )

    @property
    def tau(self) -> tuple[float | None, ...]:
        """Residuals over their deviation as estimated from the adjustment itself (Pope)."""
        s0 = self.s0
        if not s0:
            return (None,) * len(self.residuals)
        return tuple(None if w is None else w / s0 for w in self.w)

    def detectable(self, alpha: float = ALPHA, power: float = POWER) -> tuple[float | None, ...]:
        """Minimal detectable bias of each reading: delta0 u / sqrt(r) (Baarda)."""
        delta = detectable_shift(alpha, power)
        return tuple(
            delta * u / math.sqrt(r) if r > 0 else None
            for u, r in zip(self.u, self.redundancy, strict=True)
        )

    def suspects(self, alpha: float = ALPHA) -> tuple[int, ...]:
        """Readings whose normalised residual is beyond ``alpha`` two-sided, the worst first."""
        critical = critical_w(alpha)
        sizes = {i: abs(w) for i, w in enumerate(self.w) if w is not None}
        return tuple(sorted((i for i, s in sizes.items() if s > critical), key=lambda i: -sizes[i]))


def adjust(
    jacobian: Sequence[Sequence[float]],
    u: Sequence[float],
    misclosures: Sequence[float],
    unknowns: Sequence[str] = (),
) -> Adjustment:
    """Adjust m readings: ``jacobian`` m x n, ``u`` and ``misclosures`` of length m.

    ``unknowns`` names the n columns for messages. Raises :class:`InputError` for figures that do
    not fit together and :class:`RankDefectError` where the readings fix no answer.
    """
    _check(jacobian, u, misclosures)
    m, n = len(jacobian), len(jacobian[0])
    names = list(unknowns) or [f"unknown {j + 1}" for j in range(n)]
    weighted = [[a / s for a in row] for row, s in zip(jacobian, u, strict=True)]
    factors = factor(weighted)
    if factors.rank < n:
        raise RankDefectError([names[j] for j in dependent_columns(factors)], m)
    right = [value / s for value, s in zip(misclosures, u, strict=True)]
    corrections = _refined(factors, weighted, right)
    reduced = [dot(row, corrections) - b for row, b in zip(weighted, right, strict=True)]
    free = _residual_projector(factors, m)
    return Adjustment(
        corrections=tuple(corrections),
        covariance=tuple(map(tuple, inverse_gram(factors))),
        residuals=tuple(v * s for v, s in zip(reduced, u, strict=True)),
        residual_covariance=tuple(
            tuple(free[i][j] * u[i] * u[j] for j in range(m)) for i in range(m)
        ),
        redundancy=tuple(free[i][i] if free[i][i] > _UNCONTROLLED else 0.0 for i in range(m)),
        u=tuple(u),
        chi2=dot(reduced, reduced),
    )


def critical_w(alpha: float = ALPHA) -> float:
    """Two-sided critical value of a normalised residual (3.29 for Baarda's 0.001)."""
    return -normal_quantile(alpha / 2)


def detectable_shift(alpha: float = ALPHA, power: float = POWER) -> float:
    """Baarda's delta0: the shift of a normalised residual that is caught with ``power``.

    The far tail, some 1e-13 at Baarda's constants, is left out as he does.
    """
    return critical_w(alpha) + normal_quantile(power)


def _refined(factors: Factors, rows: list[list[float]], right: list[float]) -> list[float]:
    """Solution with one step of refinement, which wins back what conditioning took."""
    first = solve(factors, right)
    left = [math.fsum([b, *(-a * x for a, x in zip(r, first, strict=True))])
            for r, b in zip(rows, right, strict=True)]  # fmt: skip
    return [x + dx for x, dx in zip(first, solve(factors, left), strict=True)]


def _residual_projector(factors: Factors, m: int) -> list[list[float]]:
    """Identity less the projection onto the model: what of each reading its residual shows."""
    basis = factors.basis
    return [
        [(1.0 if i == j else 0.0) - math.fsum(d[i] * d[j] for d in basis) for j in range(m)]
        for i in range(m)
    ]


def _check(
    jacobian: Sequence[Sequence[float]], u: Sequence[float], misclosures: Sequence[float]
) -> None:
    m = len(jacobian)
    if not m or len(u) != m or len(misclosures) != m:
        raise InputError(
            "readings", (m, len(u), len(misclosures)), "as many rows as uncertainties and values"
        )
    if not jacobian[0] or any(len(row) != len(jacobian[0]) for row in jacobian):
        raise InputError("Jacobian", "uneven rows", "rows of one length, 1 or more")
    for i, s in enumerate(u):
        if not 0 < s < math.inf:
            raise InputError(f"uncertainty of reading {i + 1}", s, "a finite number more than 0")
    for i, row in enumerate(jacobian):
        for value in (*row, misclosures[i]):
            if not math.isfinite(value):
                raise InputError(f"reading {i + 1}", value, "a finite number")
