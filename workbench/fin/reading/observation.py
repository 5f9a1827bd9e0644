"""What a reading method sees at a pose."""

from __future__ import annotations

from workbench.fin.frame.linear import Row
from workbench.fin.frame.pose import Point, Pose
from workbench.fin.parts.blade import Blade
from workbench.frozen import dataclass

Edge = tuple[Point, Point]


@dataclass(frozen=True, slots=True)
class Observation:
    """What a method reads at a pose.

    ``value_mm``; ``gradient``: the derivatives by x (mm/mm), y (mm/mm) and tilt (mm/rad);
    ``contacts_mm``: the touched points, or the scribe looked at, in the ski frame;
    ``height_slope``: how much the reading changes per mm of contact height; ``edges_mm``: for each
    contact the two ends of the edge that it can slide along, None where a corner is touched.
    """

    value_mm: float
    gradient: Row
    contacts_mm: tuple[Point, ...]
    height_slope: float = 0.0
    edges_mm: tuple[Edge | None, ...] = ()

    def by_movement(self, blade: Blade, pose: Pose) -> Row:
        """Return how the reading follows 1 mm of movement at the blade (mm/mm).

        Forward, outward, and turned about the outline's centroid so far that its farthest point
        moves 1 mm: where the blade's frame has its origin does not matter.
        """
        gx, gy, gt = self.gradient
        x, y = pose.place(blade.centre_mm)
        about_centre = gt + gx * (y - pose.y_mm) - gy * (x - pose.x_mm)
        return (gx, gy, about_centre / blade.arm_mm)


Touch = tuple[Point, Row, float, Edge | None]
"""A contact: the point, how its x moves with the pose and with the height, and its edge."""
