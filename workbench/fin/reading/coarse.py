"""Coarse marks: a scribe on the ski, read by eye against a scale or the lines on the blade."""

from __future__ import annotations

import math

from workbench.errors import InputError
from workbench.fin.frame.pose import Point, Pose
from workbench.fin.parts.blade import check_point
from workbench.fin.reading.observation import Observation
from workbench.frozen import dataclass

COARSE_U_MM = 0.5
"""Standard uncertainty of one reading by a coarse mark, where its method states none: half a line
of a millimetre scale, taken by eye (common practice, no source)."""

LONGEST_SCALE_MM = 300.0
"""No scale on a blade is longer."""


@dataclass(frozen=True, slots=True)
class Scribe:
    """A point (x, y) of the ski, read on a scale that is fixed to the blade.

    The scale's zero lies at ``zero_mm`` in the blade frame: at that u on a forward scale (a tail
    distance), at that v among outward lines (a depth). As a rule the reading grows as the number it
    means does: the scale's figures grow toward its rear end, the lines' toward the top edge.
    ``is_reversed`` is a scale whose figures grow the other way.
    """

    at_mm: Point
    zero_mm: float = 0.0
    is_reversed: bool = False

    def check(self, where: str) -> None:
        """Raise an InputError unless the point and the zero are of a sane size."""
        check_point(f"{where} at", self.at_mm)
        if not (math.isfinite(self.zero_mm) and abs(self.zero_mm) <= 1000.0):
            raise InputError(f"{where} zero", self.zero_mm, "a finite length of at most 1000 mm")


def read_forward(scribe: Scribe, pose: Pose) -> Observation:
    """Return what the scribe reads on a forward scale: zero less its u, in closed form."""
    u, v = pose.locate(scribe.at_mm)
    c, s = math.cos(pose.tilt_rad), math.sin(pose.tilt_rad)
    return _read(scribe, scribe.zero_mm - u, (c, s, -v))


def read_outward(scribe: Scribe, pose: Pose) -> Observation:
    """Return what the scribe reads among outward lines: zero less its v, in closed form."""
    u, v = pose.locate(scribe.at_mm)
    c, s = math.cos(pose.tilt_rad), math.sin(pose.tilt_rad)
    return _read(scribe, scribe.zero_mm - v, (-s, c, u))


def _read(scribe: Scribe, value_mm: float, gradient: tuple[float, float, float]) -> Observation:
    if scribe.is_reversed:
        value_mm, gradient = -value_mm, (-gradient[0], -gradient[1], -gradient[2])
    return Observation(value_mm, gradient, (scribe.at_mm,))
