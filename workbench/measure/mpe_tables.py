"""Maximum permissible errors of calipers, as published.

DIN 862 (table of 1988; restated by DIN 862:2015-03 beside ISO 13385-1), outside measurement. The
spans 20/30/40 um are rebuilt from a table with merged cells.
"""

from __future__ import annotations

from typing import Literal

from workbench.errors import InputError

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


def with_depth_part(mpe_mm: float) -> float:
    """Permissible error in mm of a depth rod or step, from that of an outside measurement."""
    return mpe_mm + DEPTH_AND_INSIDE_MM


def din862_mpe_mm(length_mm: float, scale: CaliperScale = "digital") -> float:
    """Permissible error in mm of an outside measurement of ``length_mm`` (0 to 1000).

    Lengths between the table's rows take the next longer row.
    """
    if scale not in DIN_862_MM:
        raise InputError("caliper scale", scale, "one of: " + ", ".join(DIN_862_MM))
    size = abs(length_mm)
    for upper, mpe in DIN_862_MM[scale]:
        if size <= upper:
            return mpe
    raise InputError("measuring length", length_mm, "0 to 1000 mm, the reach of DIN 862's table")
