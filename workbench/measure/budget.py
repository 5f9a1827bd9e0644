"""How sure a measured value is: named contributions, combined as JCGM 100:2008 says.

Each contribution is a standard uncertainty with its degrees of freedom and a sensitivity; the
budget keeps them apart, so that the largest can be seen and improved. Every value is in the
same unit once its sensitivity is applied.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.calipers import din862_mpe_mm
from workbench.measure.distributions import coverage_factor
from workbench.measure.repeats import Scatter, scatter_of, summarise

Of = Literal["length", "°C", "1/°C"]
Kind = Literal["standard", "rectangular", "scatter"]


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
        return "rectangular" if self.kind == "rectangular" else "normal"

    @property
    def evaluation(self) -> Literal["A", "B"]:
        """By statistics of readings (type A), or by other knowledge (JCGM 100, 0.7 and 4.3.1)."""
        return "A" if self.kind == "scatter" else "B"

    @classmethod
    def rectangular(
        cls, name: str, half_width: float, sensitivity: float = 1.0, of: Of = "length"
    ) -> Contribution:
        """Return what lies anywhere within a half width: u = a / sqrt(3) (JCGM 100, 4.3.7)."""
        u = _check_positive(f"half-width of {name}", half_width) / math.sqrt(3)
        return cls(name, u, math.inf, sensitivity, "rectangular", math.sqrt(3), of)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the budget's table: the contribution, its part of the result and its share."""

    contribution: Contribution
    component: float
    share: float


@dataclass(frozen=True, slots=True)
class Budget:
    """Contributions, independent of one another, combined into one standard uncertainty."""

    parts: tuple[Contribution, ...]

    def __post_init__(self) -> None:
        if not self.parts:
            raise InputError("budget", "no contribution", "one or more contributions")

    @property
    def u(self) -> float:
        """Combined standard uncertainty (JCGM 100, equation 11a)."""
        return math.sqrt(math.fsum(self._variances()))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (Welch-Satterthwaite, JCGM 100, G.2b)."""
        variances = self._variances()
        total = math.fsum(variances)
        below = math.fsum(
            (variance / total) ** 2 / part.dof
            for variance, part in zip(variances, self.parts, strict=True)
            if math.isfinite(part.dof) and total > 0
        )
        return 1 / below if below > 0 else math.inf

    def coverage(self, level: float = 0.95) -> float:
        """Return the coverage factor: Student's t, degrees of freedom cut to whole (G.4.1)."""
        dof = self.dof
        # 1e-9 keeps a whole number that rounding left a hair short.
        return coverage_factor(level, dof if math.isinf(dof) else max(1, math.floor(dof + 1e-9)))

    def expanded(self, level: float = 0.95) -> float:
        """Return the expanded uncertainty at ``level``: the coverage factor times ``u``."""
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
        return [part.component * part.component for part in self.parts]


def _check_positive(field: str, value: float) -> float:
    if not 0 < value < math.inf:
        raise InputError(field, value, "a finite number more than 0")
    return value


# -- the default budget of one caliper reading -----------------------------------------------------

RESOLUTION_MM = 0.0127
"""The last digit's step of a digital inch caliper, 0.0005 in (common practice, no source)."""

REPEATABILITY_MM = 0.01
"""Standard deviation of a single careful reading: our default (common practice, no source)."""

ASSUMED = Scatter(REPEATABILITY_MM, math.inf)
"""The scatter of a single reading where nothing was measured."""

SCATTER = "repeat scatter"
"""The name of the scatter's part in a budget."""

TEMPERATURE_HALF_WIDTH_C = 5.0
"""How far a workshop is from 20 degC when nobody looked (common practice, no source)."""

EXPANSION_DIFFERENCE_PER_C = 11.6e-6
"""Aluminium less steel, 23.1 - 11.5 ppm/degC: a blade against a caliper (D. A. Swyt, J. Res.
NIST 99 (1994) 31)."""


@dataclass(frozen=True, slots=True)
class CaliperFigures:
    """What a budget takes from a caliper, in mm; each figure is the half width of a rectangle.

    ``resolution_mm`` is the step of the display, of which half counts either way; ``mpe_mm`` the
    permissible error (None: DIN 862, digital, for the length read); ``zero_mm`` how well zero and
    gauge block were seen to agree (None: half a step).
    """

    resolution_mm: float = RESOLUTION_MM
    mpe_mm: float | None = None
    zero_mm: float | None = None


def reading_budget_mm(
    values_mm: Sequence[float],
    caliper: CaliperFigures | None = None,
    *,
    scatter: Scatter | None = None,
    contact_height_u_mm: float = 0.0,
    slope: float = 0.0,
    warmth: Sequence[Contribution] | None = None,
) -> Budget:
    """Return the budget of the mean of one or more readings ``values_mm`` of one length.

    ``scatter`` is the shop's own of one reading, as a study measured it: see ``scatter_of``.
    Without it repeats show their own, and a single reading takes ``ASSUMED``.
    ``contact_height_u_mm`` is the standard uncertainty of the height at which the jaw meets the
    edge, ``slope`` the change of the reading per mm of that height; 0 for either leaves that part
    out. ``warmth`` are the parts that the temperature leaves; None takes the workshop's usual half
    width. Together the defaults make about 0.0005 to 0.001 in.
    Raises :class:`InputError` for a figure that cannot be.
    """
    repeats = summarise(values_mm)
    caliper = caliper or CaliperFigures()
    mpe = din862_mpe_mm(repeats.mean) if caliper.mpe_mm is None else caliper.mpe_mm
    half_step = caliper.resolution_mm / 2
    zero = half_step if caliper.zero_mm is None else caliper.zero_mm
    parts = [
        Contribution.rectangular("resolution", half_step),
        Contribution.rectangular("caliper error", mpe),
        Contribution.rectangular("zero and gauge block", zero),
    ]
    found = scatter_of(repeats, scatter)
    if found is None:
        parts.append(Contribution(SCATTER, ASSUMED.sd, ASSUMED.dof))
    elif found[0].sd > 0 or repeats.n == 1:
        # Equal repeats scatter by less than a step, which the resolution already covers.
        one = found[0]
        root = math.sqrt(repeats.n)
        parts.append(Contribution(SCATTER, one.sd / root, one.dof, kind="scatter", divisor=root))
    if not 0 <= contact_height_u_mm < math.inf:
        accepted = "a finite number, 0 or more"
        raise InputError("uncertainty of contact height", contact_height_u_mm, accepted)
    if contact_height_u_mm > 0 and slope != 0:
        parts.append(Contribution("contact height", contact_height_u_mm, sensitivity=slope))
    per_c = repeats.mean * EXPANSION_DIFFERENCE_PER_C
    if warmth is not None:
        parts += warmth
    elif per_c != 0:
        parts.append(Contribution.rectangular("temperature", TEMPERATURE_HALF_WIDTH_C, per_c, "°C"))
    return Budget(tuple(parts))
