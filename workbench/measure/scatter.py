"""How far readings of the same thing scatter: by a study, by these repeats, or by both as one.

The figure of a study is a pooled estimate of many readings under repeatability conditions (ISO
5725-2:1994, 7.4, from memory). Where one is to be had, the scatter of a mean of n readings is
better known by s_p / sqrt(n) than by the few readings themselves (JCGM 100:2008, 4.2.4).
"""

from __future__ import annotations

import math
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.numerics.distributions import coverage_factor, f_sf
from workbench.measure.repeats import Repeats, pooled_sd

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
