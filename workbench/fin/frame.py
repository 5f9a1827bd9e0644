"""Where things are: points and poses in the plane, and the ski's base."""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.errors import InputError
from workbench.frozen import dataclass

Point = tuple[float, float]


def direction(a: Point, b: Point) -> Point:
    """Return the unit direction from a to b; (0, 0) where they are one point."""
    length = math.dist(a, b) or 1.0
    return (b[0] - a[0]) / length, (b[1] - a[1]) / length


@dataclass(frozen=True, slots=True)
class Pose:
    """Places a blade point (u, v) at (x, y) + Rot(tilt)(u, v); tilt is counter-clockwise."""

    x_mm: float
    y_mm: float
    tilt_rad: float

    def place(self, point: Point) -> Point:
        """Return the ski-frame position (mm) of a blade-frame point (mm)."""
        c, s = math.cos(self.tilt_rad), math.sin(self.tilt_rad)
        u, v = point
        return (self.x_mm + c * u - s * v, self.y_mm + s * u + c * v)

    def locate(self, point: Point) -> Point:
        """Return the blade-frame coordinates (mm) of a ski-frame point (mm)."""
        c, s = math.cos(self.tilt_rad), math.sin(self.tilt_rad)
        dx, dy = point[0] - self.x_mm, point[1] - self.y_mm
        return (c * dx + s * dy, -s * dx + c * dy)

    def moved(self, dx_mm: float, dy_mm: float, dtilt_rad: float) -> Pose:
        """Return the pose with its three parameters changed by these amounts."""
        return Pose(self.x_mm + dx_mm, self.y_mm + dy_mm, self.tilt_rad + dtilt_rad)

    def toward(self, other: Pose, share: float) -> Pose:
        """Return the pose that share of the way from this one to ``other``, each value alone."""
        return self.moved(
            share * (other.x_mm - self.x_mm),
            share * (other.y_mm - self.y_mm),
            share * (other.tilt_rad - self.tilt_rad),
        )


# -- the base --------------------------------------------------------------------------------------

SMALLEST_RADIUS_MM = 300.0
"""A base bent tighter than this is no ski; an inch figure read as mm is likelier."""


@dataclass(frozen=True, slots=True)
class Base:
    """The running surface: y = 0 where ``radius_mm`` is None, else an arc of that radius.

    The arc is y_b(x) = sqrt(R^2 - (x - a)^2) - R with its apex at x = a = ``apex_mm``.
    """

    radius_mm: float | None = None
    apex_mm: float = 0.0

    def __post_init__(self) -> None:
        if not math.isfinite(self.apex_mm):
            raise InputError("base apex", self.apex_mm, "a finite length")
        if self.radius_mm is None:
            return
        if not math.isfinite(self.radius_mm) or self.radius_mm < SMALLEST_RADIUS_MM:
            raise InputError(
                "base radius",
                self.radius_mm,
                f"a radius of at least {SMALLEST_RADIUS_MM:g} mm, or none for a flat base",
            )

    def y(self, x_mm: float) -> float:
        """Return the base's y (mm) at x (mm); minus infinity beyond the arc's ends."""
        if self.radius_mm is None:
            return 0.0
        d, r = x_mm - self.apex_mm, self.radius_mm
        if abs(d) > r:
            return -math.inf
        # -d^2/(R + sqrt(..)) is sqrt(..) - R without the cancellation that a large R brings.
        return -d * d / (r + math.sqrt(r * r - d * d))

    def slope(self, x_mm: float) -> float:
        """Return dy_b/dx at x (mm)."""
        if self.radius_mm is None:
            return 0.0
        d, r = x_mm - self.apex_mm, self.radius_mm
        under = r * r - d * d
        return -d / math.sqrt(under) if under > 0.0 else math.copysign(math.inf, -d)

    def height(self, x_mm: float, y_mm: float) -> float:
        """Return the height (mm) of a ski-frame point above the base."""
        return y_mm - self.y(x_mm)

    def heights(self, points: Sequence[tuple[float, float]]) -> list[float]:
        """Return the heights (mm) of ski-frame points above the base."""
        r = self.radius_mm
        if r is None:
            return [y for _, y in points]
        out = []
        for x, y in points:
            d = x - self.apex_mm
            out.append(y + d * d / (r + math.sqrt(r * r - d * d)) if -r <= d <= r else math.inf)
        return out
