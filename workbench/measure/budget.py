"""How sure a measured value is: named contributions, combined as JCGM 100:2008 says.

Each contribution is a standard uncertainty with its degrees of freedom and a sensitivity; the
budget keeps them apart, so that the largest can be seen and improved. Every value is in the
same unit once its sensitivity is applied.
"""

from __future__ import annotations

import math
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.numerics.distributions import coverage_factor

Of = Literal["length", "°C", "1/°C"]
Kind = Literal["standard", "normal", "rectangular", "triangular", "U-shaped", "scatter"]


@dataclass(frozen=True, slots=True)
class Contribution:
    """One named source of uncertainty.

    ``u`` is a standard uncertainty (more than 0), ``dof`` its degrees of freedom (1 or more, or
    infinite), ``sensitivity`` the change of the result per unit of the source (JCGM 100, 5.1.3).
    ``divisor`` is what the figure that was known (a half width, an expanded uncertainty, the
    standard deviation of one reading) was divided by to give ``u``; ``of`` is what the source is
    measured in.
    """

    name: str
    u: float
    dof: float = math.inf
    sensitivity: float = 1.0
    kind: Kind = "standard"
    divisor: float = 1.0
    of: Of = "length"

    def __post_init__(self) -> None:
        """Refuse figures that no budget can use."""
        _check_positive(f"uncertainty of {self.name}", self.u)
        if not self.dof >= 1:
            raise InputError(f"degrees of freedom of {self.name}", self.dof, "1 or more")
        if not math.isfinite(self.sensitivity):
            raise InputError(f"sensitivity of {self.name}", self.sensitivity, "a finite number")

    @property
    def component(self) -> float:
        """Standard uncertainty of the result due to this source, with the sensitivity's sign."""
        return self.sensitivity * self.u

    @property
    def known(self) -> float:
        """The figure that ``u`` was made of: ``u`` times its divisor."""
        return self.u * self.divisor

    @property
    def distribution(self) -> str:
        """The distribution that the source is taken to have, as budgets name it."""
        return _DISTRIBUTIONS[self.kind]

    @property
    def evaluation(self) -> Literal["A", "B"]:
        """By statistics of readings (type A), or by other knowledge (JCGM 100, 0.7 and 4.3.1)."""
        return "A" if self.kind == "scatter" else "B"

    @classmethod
    def rectangular(
        cls,
        name: str,
        half_width: float,
        dof: float = math.inf,
        sensitivity: float = 1.0,
        of: Of = "length",
    ) -> Contribution:
        """Anywhere within plus or minus ``half_width`` alike: u = a / sqrt(3) (JCGM 100, 4.3.7)."""
        u = _check_positive(f"half-width of {name}", half_width) / math.sqrt(3)
        return cls(name, u, dof, sensitivity, "rectangular", math.sqrt(3), of)

    @classmethod
    def triangular(
        cls,
        name: str,
        half_width: float,
        dof: float = math.inf,
        sensitivity: float = 1.0,
        of: Of = "length",
    ) -> Contribution:
        """Within ``half_width``, the middle likelier: u = a / sqrt(6) (JCGM 100, 4.3.9)."""
        u = _check_positive(f"half-width of {name}", half_width) / math.sqrt(6)
        return cls(name, u, dof, sensitivity, "triangular", math.sqrt(6), of)

    @classmethod
    def u_shaped(
        cls,
        name: str,
        half_width: float,
        dof: float = math.inf,
        sensitivity: float = 1.0,
        of: Of = "length",
    ) -> Contribution:
        """A swing of ``half_width`` (arcsine): u = a / sqrt(2) (JCGM 100, H.1.3.4)."""
        u = _check_positive(f"half-width of {name}", half_width) / math.sqrt(2)
        return cls(name, u, dof, sensitivity, "U-shaped", math.sqrt(2), of)

    @classmethod
    def normal(
        cls, name: str, expanded: float, k: float, dof: float = math.inf, sensitivity: float = 1.0
    ) -> Contribution:
        """A stated expanded uncertainty with its coverage factor: u = U / k (JCGM 100, 4.3.3)."""
        u = _check_positive(f"uncertainty of {name}", expanded)
        _check_positive(f"coverage factor of {name}", k)
        return cls(name, u / k, dof, sensitivity, "normal", k)


_DISTRIBUTIONS: dict[Kind, str] = {
    "standard": "normal",
    "normal": "normal",
    "rectangular": "rectangular",
    "triangular": "triangular",
    "U-shaped": "U-shaped",
    "scatter": "normal",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the budget's table: the contribution, its part of the result and its share."""

    contribution: Contribution
    component: float
    share: float


@dataclass(frozen=True, slots=True)
class Budget:
    """Contributions combined into one standard uncertainty.

    ``correlations`` holds (index, index, r) for pairs that are not independent.
    """

    parts: tuple[Contribution, ...]
    correlations: tuple[tuple[int, int, float], ...] = ()

    def __post_init__(self) -> None:
        """Refuse an empty budget and correlations that cannot be."""
        if not self.parts:
            raise InputError("budget", "no contribution", "one or more contributions")
        for i, j, r in self.correlations:
            _check_correlation(i, j, r, len(self.parts))
        pairs = [frozenset((i, j)) for i, j, _ in self.correlations]
        if len(set(pairs)) != len(pairs):
            raise InputError("correlations", "a pair given twice", "each pair once")
        if self.correlations and not _is_possible(self._correlation_matrix()):
            raise InputError(
                "correlations",
                [r for _, _, r in self.correlations],
                "coefficients that can occur together (no negative variance)",
            )

    @property
    def u(self) -> float:
        """Combined standard uncertainty (JCGM 100, equations 11a and 16)."""
        return math.sqrt(max(0.0, math.fsum(self._variances())))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (Welch-Satterthwaite, JCGM 100, G.2b).

        The formula wants independent parts: parts that are correlated count as one, with the
        fewest degrees of freedom among them.
        """
        variances = self._variances()
        total = math.fsum(variances)
        terms = []
        for group in self._groups():
            dof = min(self.parts[i].dof for i in group)
            if math.isfinite(dof) and total > 0:
                terms.append((math.fsum(variances[i] for i in group) / total) ** 2 / dof)
        below = math.fsum(terms)
        return 1 / below if below > 0 else math.inf

    def coverage(self, level: float = 0.95) -> float:
        """Coverage factor of ``level``: Student's t, degrees of freedom cut to whole (G.4.1)."""
        dof = self.dof
        # 1e-9 keeps a whole number that rounding left a hair short.
        return coverage_factor(level, dof if math.isinf(dof) else max(1, math.floor(dof + 1e-9)))

    def expanded(self, level: float = 0.95) -> float:
        """Expanded uncertainty at ``level``: the coverage factor times ``u``."""
        return self.coverage(level) * self.u

    @property
    def shares(self) -> tuple[float, ...]:
        """Each part's share of the combined variance; together 1."""
        variances = self._variances()
        total = math.fsum(variances)
        return tuple(v / total if total > 0 else 0.0 for v in variances)

    @property
    def rows(self) -> tuple[Row, ...]:
        """The table: every part with its component and share, in the order given."""
        return tuple(
            Row(part, abs(part.component), share)
            for part, share in zip(self.parts, self.shares, strict=True)
        )

    @property
    def largest(self) -> Contribution:
        """The part to improve first."""
        return max(zip(self.shares, self.parts, strict=True), key=lambda pair: pair[0])[1]

    def _variances(self) -> list[float]:
        """Each part's variance, with its half of every cross term."""
        components = [part.component for part in self.parts]
        variances = [c * c for c in components]
        for i, j, r in self.correlations:
            cross = r * components[i] * components[j]
            variances[i] += cross
            variances[j] += cross
        return variances

    def _groups(self) -> list[set[int]]:
        """Indices of the parts, those that are correlated together."""
        groups = [{i} for i in range(len(self.parts))]
        for i, j, r in self.correlations:
            if r == 0:
                continue
            joined = next(g for g in groups if i in g) | next(g for g in groups if j in g)
            groups = [g for g in groups if not g & joined] + [joined]
        return groups

    def _correlation_matrix(self) -> list[list[float]]:
        n = len(self.parts)
        matrix = [[1.0 if i == j else 0.0 for j in range(n)] for i in range(n)]
        for i, j, r in self.correlations:
            matrix[i][j] = matrix[j][i] = r
        return matrix


def _check_positive(field: str, value: float) -> float:
    if not 0 < value < math.inf:
        raise InputError(field, value, "a finite number more than 0")
    return value


def _check_correlation(i: int, j: int, r: float, n: int) -> None:
    if not (0 <= i < n and 0 <= j < n and i != j):
        raise InputError("correlation", (i, j), f"two different parts, each 0 to {n - 1}")
    if not -1 <= r <= 1:
        raise InputError("correlation coefficient", r, "-1 to 1")


def _is_possible(matrix: list[list[float]]) -> bool:
    """Whether a correlation matrix has no negative eigenvalue (a pivoted Cholesky runs through)."""
    left = [row[:] for row in matrix]
    open_rows = list(range(len(left)))
    while open_rows:
        k = max(open_rows, key=lambda i: left[i][i])
        open_rows.remove(k)
        pivot = left[k][k]
        if pivot <= 1e-12:
            # Nothing is left of the pivots: what remains must vanish with them.
            rest = [*open_rows, k]
            return all(abs(left[i][j]) <= 1e-6 for i in rest for j in rest)
        for i in open_rows:
            for j in open_rows:
                left[i][j] -= left[i][k] * left[k][j] / pivot
    return True
