"""Whether a difference or a tolerance is clear of its uncertainty, in words for a glance."""

from __future__ import annotations

import math
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass

ChangeState = Literal["clear", "unclear"]
AcceptanceState = Literal["within", "outside", "unclear"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """A change against its expanded uncertainty.

    ``ratio`` is the size of the change in expanded uncertainties: at 1 or less it is "unclear".
    """

    state: ChangeState
    ratio: float
    words: str


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A value against its limits.

    ``state`` is what to do about it under the rule asked for, ``clear`` whether the uncertainty
    leaves no doubt of it, ``margin`` the distance to the nearer limit (negative outside).
    """

    state: AcceptanceState
    clear: bool
    margin: float
    words: str


def verdict(change_mm: float, expanded_mm: float) -> Verdict:
    """Whether a change (or a difference of two settings) is clear of its own uncertainty.

    ``expanded_mm`` is the expanded uncertainty of the change itself, more than 0.
    """
    _check_expanded(expanded_mm)
    if not math.isfinite(change_mm):
        raise InputError("change", change_mm, "a finite number")
    ratio = abs(change_mm) / expanded_mm
    if ratio > 1:
        return Verdict("clear", ratio, "real change")
    if change_mm == 0:
        return Verdict("unclear", ratio, "no change seen")
    return Verdict("unclear", ratio, "below what we can measure")


def acceptance(
    value: float, lower: float, upper: float, expanded: float, guard_band: bool = False
) -> Acceptance:
    """Whether ``value`` is within ``lower`` to ``upper``, given its expanded uncertainty.

    Without a guard band the value alone decides (simple acceptance, JCGM 106:2012, 8.2); with one
    each limit is drawn in by ``expanded``, and what lies in the band is "unclear" (8.3, and
    ISO 14253-1). Raises :class:`InputError` for limits out of order or no uncertainty.
    """
    _check_expanded(expanded)
    if not lower <= upper:
        raise InputError("tolerance limits", (lower, upper), "lower first, then upper")
    if not math.isfinite(value):
        raise InputError("value", value, "a finite number")
    margin = min(value - lower, upper - value)
    clear = abs(margin) >= expanded
    inside = margin >= 0
    if guard_band and not clear:
        return Acceptance("unclear", False, margin, _unclear_words(lower, upper, expanded))
    state: AcceptanceState = "within" if inside else "outside"
    place = f"{state} tolerance" if inside else "out of tolerance"
    return Acceptance(state, clear, margin, place if clear else f"on the limit, {place}")


def _unclear_words(lower: float, upper: float, expanded: float) -> str:
    if upper - lower < 2 * expanded:
        return "cannot be told: the uncertainty fills the tolerance"
    return "on the limit: measure again or turn nearer"


def _check_expanded(expanded: float) -> None:
    if not 0 < expanded < math.inf:
        raise InputError("expanded uncertainty", expanded, "a finite number more than 0")
