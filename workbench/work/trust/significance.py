"""Meaningful or not, in words at a glance: changes, differences and tolerances."""

from __future__ import annotations

import math
from typing import Literal

from workbench.errors import InputError
from workbench.fin.plan.guidance import COVERAGE
from workbench.fin.plan.plan import is_within
from workbench.frozen import dataclass
from workbench.measure.display import FINE, change_between, change_text, fine_text
from workbench.measure.units import Unit

GUARD = "guard_band"
"""The setting of the guard band: "on" or "off"; off where nothing was set."""

CLEAR = "real change"
TOO_SMALL = "below what we can measure"

Nearness = Literal["sure", "unsure", "out"]

NEARNESS_SIGNS: dict[Nearness, tuple[str, str]] = {
    "sure": ("=", "within"),
    "unsure": ("≈", "unsure"),
    "out": ("!", "out"),
}
"""Sign and short word for each state of a reading against its tolerance."""

WITHIN: dict[Nearness, str] = {
    "sure": "on target",
    "unsure": "on target, within caliper doubt",
    "out": "out",
}
"""The same states in words."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One value less another (mm), its expanded uncertainty (k = 2) and if it is a real change.

    ``ends_mm`` are the value that it begins at and the one it leads to, where both are shown.
    """

    mm: float
    expanded_mm: float
    clear: bool
    ends_mm: tuple[float, float] | None = None

    @property
    def glance(self) -> str:
        """Whether it means anything, in as few words as will do."""
        return CLEAR if self.clear else TOO_SMALL

    @property
    def short(self) -> str:
        """The same for a narrow panel."""
        return CLEAR if self.clear else "not measurable"

    def figures(self, unit: Unit) -> str:
        """Return the difference with its expanded uncertainty."""
        if self.ends_mm is None:
            off = change_text(self.mm, unit, FINE[unit])
        else:
            off = change_between(*self.ends_mm, unit)
        return f"{off} {unit} (U {fine_text(self.expanded_mm, unit)})"

    def words(self, unit: Unit) -> str:
        """Return figures and glance in one sentence without its full stop."""
        return f"{self.figures(unit)}, {self.glance}"


def change_of(
    change_mm: float, u_mm: float, ends_mm: tuple[float, float] | None = None
) -> Difference:
    """Return a change wanted of a reading, against the expanded uncertainty of that reading.

    ``u_mm`` is the reading's standard uncertainty, more than 0; the target itself is exact. Raises
    InputError for one that is not.
    """
    expanded_mm = _expanded_mm(u_mm)
    return Difference(change_mm, expanded_mm, abs(change_mm) > expanded_mm, ends_mm)


def _expanded_mm(u_mm: float) -> float:
    if not 0.0 < u_mm < math.inf:
        raise InputError("standard uncertainty", u_mm, "a finite number more than 0")
    return COVERAGE * u_mm


def difference_of(a_mm: float, u_a_mm: float, b_mm: float, u_b_mm: float) -> Difference:
    """Return a less b, each with its standard uncertainty (mm, more than 0), taken as independent.

    What both share, such as one caliper's error, would make the difference better known than this.
    Raises InputError for an uncertainty that is not more than 0.
    """
    return change_of(a_mm - b_mm, math.hypot(u_a_mm, u_b_mm), (b_mm, a_mm))


def nearness(off_mm: float, tolerance_mm: float, u_mm: float) -> Nearness:
    """Return how a reading meets its tolerance: on target, on it within caliper doubt, or out.

    It is sure where it lies inside by its expanded uncertainty or more (JCGM 106:2012, 8.3.2).
    """
    if not is_within(off_mm, tolerance_mm):
        return "out"
    return "sure" if tolerance_mm - abs(off_mm) >= _expanded_mm(u_mm) else "unsure"


def accepted_mm(tolerance_mm: float, guarded_u_mm: float | None) -> float:
    """Return how far off a reading may be and be accepted (mm); less than 0: no reading can be.

    With a guard band, whose reading has the standard uncertainty ``guarded_u_mm``, the tolerance is
    drawn in by its expanded uncertainty (JCGM 106:2012, 8.3.2.2); None is no guard band (8.2).
    """
    if guarded_u_mm is None:
        return tolerance_mm
    return tolerance_mm - COVERAGE * guarded_u_mm
