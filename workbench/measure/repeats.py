"""One to many readings of the same thing: mean, scatter and how sure the mean is.

Sums are exact (``math.fsum``) and the deviations are taken from the mean, then corrected for the
mean's own rounding, so that digits survive readings with many leading digits in common.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from workbench.errors import InputError
from workbench.frozen import dataclass

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
    """Summary of one or more readings.

    Raises :class:`InputError` for no reading at all or one that is no number.
    """
    given = checked(values)
    mean = mean_of(given)
    if len(given) == 1:
        return Repeats(given, mean, None, None, None)
    sd = math.sqrt(sum_of_squares(given) / (len(given) - 1))
    return Repeats(given, mean, sd, sd / math.sqrt(len(given)), max(given) - min(given))


def checked(values: Iterable[float], field: str = "readings", least: int = 1) -> tuple[float, ...]:
    """``values`` as floats, refused unless there are ``least`` of them and all are numbers."""
    given = tuple(float(value) for value in values)
    if len(given) < least:
        raise InputError(field, len(given), f"{least} or more readings")
    for value in given:
        if not abs(value) < _LARGEST:
            raise InputError(field, value, "a finite number")
    return given


def mean_of(values: Sequence[float]) -> float:
    """Mean of one or more numbers, to the last digit: equal numbers have exactly that mean."""
    near = math.fsum(values) / len(values)
    return near + math.fsum([*values, *[-near] * len(values)]) / len(values)


def sum_of_squares(values: Sequence[float]) -> float:
    """Sum of squared deviations from the mean, without what the mean's rounding adds.

    The corrected two-pass formula of Chan, Golub and LeVeque, 1983.
    """
    mean = mean_of(values)
    deviations = [value - mean for value in values]
    total = math.fsum(d * d for d in deviations)
    return max(0.0, total - math.fsum(deviations) ** 2 / len(values))


def pooled_sd(groups: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """One standard deviation from several (sum of squares, degrees of freedom), and its dof."""
    pairs = list(groups)
    dof = math.fsum(pair[1] for pair in pairs)
    if not dof > 0:
        raise InputError("degrees of freedom to pool", dof, "more than 0: repeats of 2 or more")
    for squares, _ in pairs:
        if not 0 <= squares < math.inf:
            raise InputError("sum of squares", squares, "0 or more")
    return math.sqrt(math.fsum(pair[0] for pair in pairs) / dof), dof
