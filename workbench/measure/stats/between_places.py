"""Repeatability and reproducibility between places that measured the same thing (ASTM E691)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from workbench.errors import InputError
from workbench.measure.repeats import (
    checked,
    mean_of,
    pooled_repeats,
    sum_of_squares,
)

LIMIT = 2.8
"""Limits over standard deviations: 1.96 sqrt(2), as the standard rounds it."""


@dataclass(frozen=True, slots=True)
class Precision:
    """``s_x`` scatter of the places' means, ``s_r`` within, ``s_R`` within and between."""

    mean: float
    s_x: float
    s_r: float
    s_R: float

    @property
    def repeatability_limit(self) -> float:
        """r: two readings in one place differ by more in one case out of twenty."""
        return LIMIT * self.s_r

    @property
    def reproducibility_limit(self) -> float:
        """R: the same for two readings in two places."""
        return LIMIT * self.s_R


def between_places(groups: Sequence[Sequence[float]]) -> Precision:
    """Precision from two places or more with equally many readings, 2 or more each."""
    cells = [checked(group, "readings of a place", 2) for group in groups]
    if len(cells) < 2 or len({len(cell) for cell in cells}) != 1:
        raise InputError("places", [len(c) for c in cells], "2 or more, with equally many readings")
    n = len(cells[0])
    means = [mean_of(cell) for cell in cells]
    s_x = math.sqrt(sum_of_squares(means) / (len(means) - 1))
    s_r, _ = pooled_repeats(cells)
    # The standard sets s_R to s_r where the formula gives less.
    s_big = max(s_r, math.sqrt(s_x**2 + s_r**2 * (n - 1) / n))
    return Precision(mean_of(means), s_x, s_r, s_big)
