"""Calipers, their permissible errors, and whether their zero and gauge-block checks still hold.

Permissible errors are those of DIN 862 (table of 1988; restated by DIN 862:2015-03 beside ISO
13385-1), outside measurement. The spans 20/30/40 um are rebuilt from a table with merged cells.

Days are plain day numbers (``date.toordinal()``): what day it is comes from outside.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Literal, assert_never

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.display import FINE, change_text, fine_text
from workbench.measure.units import Unit

CaliperScale = Literal["digital", "vernier or dial 0.02 mm", "scale 0.1/0.05 mm"]

DEPTH_AND_INSIDE_MM = 0.020
"""What DIN 862, and ISO 13385-1 after it, adds for depth (rod and step) and inside measurement."""

_FINE = ((100.0, 0.020), (600.0, 0.030), (1000.0, 0.040))
_COARSE = (
    (300.0, 0.050),
    (400.0, 0.060),
    (500.0, 0.070),
    (600.0, 0.080),
    (700.0, 0.090),
    (800.0, 0.100),
    (900.0, 0.110),
    (1000.0, 0.120),
)
DIN_862_MM: dict[CaliperScale, tuple[tuple[float, float], ...]] = {
    "digital": _FINE,
    "vernier or dial 0.02 mm": _FINE,
    "scale 0.1/0.05 mm": _COARSE,
}
"""By scale: (measuring length up to, permissible error), both in mm."""

LONGEST_MM = 1000.0
"""The longest measuring length in DIN 862's table."""


def din862_mpe_mm(length_mm: float, scale: CaliperScale = "digital") -> float:
    """Return the permissible error in mm of an outside measurement of ``length_mm`` (0 to 1000).

    Lengths between the table's rows take the next longer row.
    """
    if scale not in DIN_862_MM:
        raise InputError("caliper scale", scale, "one of: " + ", ".join(DIN_862_MM))
    size = abs(length_mm)
    for upper, mpe in DIN_862_MM[scale]:
        if size <= upper:
            return mpe
    raise InputError("measuring length", length_mm, "0 to 1000 mm, the reach of DIN 862's table")


# -- calipers and their checks ------------------------------------------------------------------

CheckKind = Literal["zero", "block"]
State = Literal["good", "overdue", "failed"]

ZERO_DAYS = 1
"""Zero is checked every day (common practice, no source)."""

BLOCK_DAYS = 30
"""A gauge block is measured every month (common practice, no source)."""

RESOLUTIONS_MM = (0.001, 1.0)
"""The steps that the last digit of a bench caliper may have."""

LARGEST_MPE_MM = 1.0
HIGHEST_JAW_MM = 60.0

ZERO_REACH_MM = 2.0
"""A zero further off is a slip of the hand, or not a closed jaw."""

BLOCKS_MM = (0.5, 300.0)
"""The gauge blocks that a bench caliper is checked with (common practice, no source)."""

BLOCK_REACH = 0.05
"""A reading further from its block, as a part of it, is a slip of the hand."""


def block_window_mm(nominal_mm: float) -> tuple[float, float]:
    """Return between which values a reading of a gauge block can be one of it."""
    reach = max(nominal_mm * BLOCK_REACH, 0.5)
    return nominal_mm - reach, nominal_mm + reach


@dataclass(frozen=True, slots=True)
class Caliper:
    """A caliper as the register knows it; lengths in mm whatever its display shows.

    ``unit`` is what its display shows, ``resolution_mm`` the step of its last digit, ``mpe_mm``
    its permissible error (left out: DIN 862 for ``scale`` and length).
    """

    name: str
    unit: Unit = "in"
    resolution_mm: float = 0.0127
    mpe_mm: float | None = None
    scale: CaliperScale = "digital"

    def __post_init__(self) -> None:
        for field, value in (
            ("resolution", self.resolution_mm),
            ("permissible error", self.mpe_mm),
        ):
            if value is not None and not 0.0 < value < math.inf:
                raise InputError(f"caliper {field}", value, "more than 0 mm")
        din862_mpe_mm(0, self.scale)

    def mpe_at(self, length_mm: float) -> float:
        """Return the permissible error in mm when measuring ``length_mm``."""
        return din862_mpe_mm(length_mm, self.scale) if self.mpe_mm is None else self.mpe_mm


@dataclass(frozen=True, slots=True)
class Check:
    """One check: what the caliper should have read and what it read, on day ``day``."""

    nominal_mm: float
    reading_mm: float
    day: int

    def __post_init__(self) -> None:
        if not 0.0 <= self.nominal_mm < math.inf:
            raise InputError("nominal of the check", self.nominal_mm, "0 mm or more")
        if not math.isfinite(self.reading_mm):
            raise InputError("reading of the check", self.reading_mm, "a finite number")

    @property
    def kind(self) -> CheckKind:
        """Jaws closed, or on a gauge block."""
        return "zero" if self.nominal_mm == 0 else "block"

    @property
    def error_mm(self) -> float:
        """Reading minus nominal."""
        return self.reading_mm - self.nominal_mm


@dataclass(frozen=True, slots=True)
class CheckResult:
    """A check judged: whether it passed, the error allowed, and words for a glance."""

    check: Check
    allowed_mm: float
    passed: bool
    words: str


@dataclass(frozen=True, slots=True)
class Standing:
    """Whether a caliper may be trusted today; ``words`` names every reason, or says it is good."""

    state: State
    words: str


def judge(caliper: Caliper, check: Check) -> CheckResult:
    """Judge one check: zero to one step of the display, a block to the permissible error."""
    match check.kind:
        case "zero":
            allowed, what = caliper.resolution_mm, "zero"
        case "block":
            allowed, what = caliper.mpe_at(check.nominal_mm), "gauge block"
        case _:
            assert_never(check.kind)
    # A hair more, because steps are not exact in binary.
    passed = abs(check.error_mm) <= allowed * (1 + 1e-6)
    limit = f"{fine_text(allowed, caliper.unit)} {caliper.unit}"
    shown = f"{_off(check.error_mm, caliper.unit)}, {limit} allowed"
    advice = "" if passed else ": " + _REMEDY[check.kind]
    return CheckResult(check, allowed, passed, f"{what} {shown}{advice}")


def standing(
    caliper: Caliper,
    checks: Iterable[Check],
    today: int,
    zero_days: int = ZERO_DAYS,
    block_days: int = BLOCK_DAYS,
) -> Standing:
    """Return whether the last check of each kind passed and is not too old.

    A zero check holds for ``zero_days`` days, that of its own day being the first; likewise a
    block. 0 asks for no check of that kind. A failed check outranks an old one.
    """
    given = list(checks)
    failed: list[str] = []
    late: list[str] = []
    for kind, days in (("zero", zero_days), ("block", block_days)):
        if days <= 0:
            continue
        # Of two checks on one day the later in the list counts.
        last = max(
            ((c.day, i) for i, c in enumerate(given) if c.kind == kind and c.day <= today),
            default=None,
        )
        if last is None:
            late.append(f"{_NAME[kind]} never checked")
            continue
        result = judge(caliper, given[last[1]])
        if not result.passed:
            failed.append(result.words)
        elif today - last[0] >= days:
            days_ago = today - last[0]
            when = "yesterday" if days_ago == 1 else f"{days_ago} days ago"
            late.append(f"{_NAME[kind]} last checked {when}")
    if failed:
        return Standing("failed", "; ".join(failed + late))
    return Standing("overdue", "; ".join(late)) if late else Standing("good", "checks in date")


_NAME = {"zero": "zero", "block": "gauge block"}
_REMEDY: dict[CheckKind, str] = {
    "zero": "wipe the jaws, close them and set zero again",
    "block": "wipe jaws and block and measure again, or take another caliper",
}


def _off(error_mm: float, unit: Unit) -> str:
    text = change_text(error_mm, unit, FINE[unit])
    return f"off by {text} {unit}" if text.strip("0.") else "right"
