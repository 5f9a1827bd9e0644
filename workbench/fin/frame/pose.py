"""Where the blade is: a rigid placement in the plane."""

from __future__ import annotations

import math

from workbench.frozen import dataclass

Point = tuple[float, float]


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

    def then(self, other: Pose) -> Pose:
        """Return the pose that places a point by this pose first and by ``other`` after it."""
        x, y = other.place((self.x_mm, self.y_mm))
        return Pose(x, y, self.tilt_rad + other.tilt_rad)

    def inverse(self) -> Pose:
        """Return the pose that undoes this one."""
        x, y = self.locate((0.0, 0.0))
        return Pose(x, y, -self.tilt_rad)

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
