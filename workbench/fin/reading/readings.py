"""A reading as the pose is sought from, and the error of readings that fix no pose."""

from __future__ import annotations

import math

from workbench.errors import InputError, PoseError, shown
from workbench.fin.reading.observe import Method
from workbench.frozen import dataclass


@dataclass(frozen=True, slots=True)
class Reading:
    """A number taken with a method: its value and its standard uncertainty, both in mm."""

    method: Method
    value_mm: float
    u_mm: float

    def __post_init__(self) -> None:
        if not math.isfinite(self.value_mm):
            raise InputError(f"reading {shown(self.method.name)}", self.value_mm, "a finite length")
        if not (math.isfinite(self.u_mm) and self.u_mm > 0.0):
            raise InputError(f"reading {shown(self.method.name)} u", self.u_mm, "more than 0")


class NoPoseError(PoseError):
    """No pose, or no single one, gives these readings.

    ``method`` is the reading to look at first (None: not one alone), ``value_mm`` what it said and
    ``range_mm`` what it could say with the others as they are, or at all where the others leave it
    nothing. ``reason`` is one sentence without figures.
    """

    def __init__(
        self,
        reason: str,
        method: Method | None = None,
        value_mm: float | None = None,
        range_mm: tuple[float, float] | None = None,
    ) -> None:
        self.reason, self.method = reason, method
        self.value_mm, self.range_mm = value_mm, range_mm
        text = reason
        if method is not None and value_mm is not None:
            text += f": {shown(method.name)} says {value_mm:.3f} mm"
            if range_mm is not None:
                text += f", which could be {range_mm[0]:.3f} to {range_mm[1]:.3f} mm"
        super().__init__(text)
