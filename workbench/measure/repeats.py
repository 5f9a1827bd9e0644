"""One to many readings of the same thing: mean, scatter and how sure the mean is.

Sums are exact (``math.fsum``) and the deviations are taken from the mean, then corrected for the
mean's own rounding, so that digits survive readings with many leading digits in common.

How far readings scatter is told by a study, by these repeats, or by both as one. The figure of a
study is a pooled estimate of many readings under repeatability conditions (ISO 5725-2:1994, 7.4,
from memory). Where one is to be had, the scatter of a mean of n readings is better known by
s_p / sqrt(n) than by the few readings themselves (JCGM 100:2008, 4.2.4).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.distributions import coverage_factor, f_sf

_LARGEST = 1e100


@dataclass(frozen=True, slots=True)
class Repeats:
    """A summary of repeat readings, in the unit of the readings.

    ``sd`` is the sample standard deviation (n - 1) and ``u_mean`` is ``sd`` / sqrt(n), the
    standard uncertainty of the mean (JCGM 100:2008, 4.2); both are ``None`` for one reading, which
    shows no scatter. ``spread`` is largest minus smallest, ``None`` for one reading too.
    """

    values: tuple[float, ...]
    mean: float
    sd: float | None
    u_mean: float | None
    spread: float | None

    @property
    def n(self) -> int:
        """How many readings."""
        return len(self.values)

    @property
    def dof(self) -> int:
        """Degrees of freedom of ``sd``: one less than the number of readings."""
        return len(self.values) - 1


def summarise(values: Iterable[float]) -> Repeats:
    """Return the summary of one or more readings.

    Raises :class:`InputError` for no reading at all or one that is no number.
    """
    given = checked(values)
    mean = mean_of(given)
    if len(given) == 1:
        return Repeats(given, mean, None, None, None)
    sd = math.sqrt(sum_of_squares(given) / (len(given) - 1))
    return Repeats(given, mean, sd, sd / math.sqrt(len(given)), max(given) - min(given))


def checked(values: Iterable[float], field: str = "readings", least: int = 1) -> tuple[float, ...]:
    """Return ``values`` as floats, unless there are too few or one is no number."""
    given = tuple(float(value) for value in values)
    if len(given) < least:
        raise InputError(field, len(given), f"{least} or more readings")
    for value in given:
        if not abs(value) < _LARGEST:
            raise InputError(field, value, "a finite number")
    return given


def mean_of(values: Sequence[float]) -> float:
    """Return the mean of numbers to the last digit: equal numbers have exactly that mean."""
    near = math.fsum(values) / len(values)
    return near + math.fsum([*values, *[-near] * len(values)]) / len(values)


def sum_of_squares(values: Sequence[float]) -> float:
    """Return the sum of squared deviations from the mean, without what the mean's rounding adds.

    The corrected two-pass formula of Chan, Golub and LeVeque, 1983.
    """
    mean = mean_of(values)
    deviations = [value - mean for value in values]
    total = math.fsum(d * d for d in deviations)
    return max(0.0, total - math.fsum(deviations) ** 2 / len(values))


def pooled_sd(groups: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Return one standard deviation, and its dof, from several (sum of squares, dof)."""
    pairs = list(groups)
    dof = math.fsum(pair[1] for pair in pairs)
    if not dof > 0:
        raise InputError("degrees of freedom to pool", dof, "more than 0: repeats of 2 or more")
    for squares, _ in pairs:
        if not 0 <= squares < math.inf:
            raise InputError("sum of squares", squares, "0 or more")
    return math.sqrt(math.fsum(pair[0] for pair in pairs) / dof), dof


# -- scatter ---------------------------------------------------------------------------------------

LEVEL = 0.95


@dataclass(frozen=True, slots=True)
class Scatter:
    """Standard deviation of one reading and its degrees of freedom, infinite where it is known.

    Raises:
        InputError: a standard deviation below 0, no degree of freedom, or neither a number.
    """

    sd: float
    dof: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sd) and self.sd >= 0.0):
            raise InputError("standard deviation", self.sd, "a finite number, 0 or more")
        if not self.dof > 0.0:
            raise InputError("degrees of freedom", self.dof, "more than 0")

    @property
    def k(self) -> float:
        """Coverage factor of 95 % for these degrees of freedom (JCGM 100:2008, Table G.2)."""
        return coverage_factor(LEVEL, self.dof)

    @property
    def change(self) -> float:
        """The difference of two readings that chance exceeds in one case of twenty.

        It is the repeatability limit r = 1.96 sqrt(2) s_r (ISO 5725-6:1994, 4.1, from memory), with
        Student's t in place of 1.96: the two are the same where s_r is known.
        """
        return math.sqrt(2) * self.k * self.sd


Basis = Literal["study", "pooled", "repeats", "unlike"]
"""What a scatter rests on: a study alone, it pooled with these repeats, these repeats alone, or
these repeats alone because they scatter more than the study explains."""


def scatter_of(repeats: Repeats, measured: Scatter | None) -> tuple[Scatter, Basis] | None:
    """Return the scatter of one reading of these repeats and what it rests on; None: nothing tells.

    ``measured`` is a study's, its degrees of freedom finite. The repeats are pooled with it, each
    by its degrees of freedom, unless they scatter more than it explains (F test, 5 %): 4.2.4 of
    JCGM 100:2008 asks for readings under statistical control, and these are not, so that they speak
    for themselves. For two repeats that test is the repeatability limit. A study that shows no
    scatter raises an InputError: its display hides it, and it says nothing of a reading.
    """
    own = None if repeats.sd is None else Scatter(repeats.sd, repeats.dof)
    if measured is None:
        return None if own is None else (own, "repeats")
    if measured.sd == 0.0:
        raise InputError("repeat scatter of a repeatability test", measured.sd, "more than 0")
    if own is None:
        return measured, "study"
    if f_sf((own.sd / measured.sd) ** 2, own.dof, measured.dof) < 1 - LEVEL:
        return own, "unlike"
    return Scatter(*pooled_sd((s.sd**2 * s.dof, s.dof) for s in (measured, own))), "pooled"
