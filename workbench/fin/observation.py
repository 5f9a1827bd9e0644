"""What a reading method sees at a pose."""

from __future__ import annotations

from workbench.fin.linear import Row
from workbench.fin.pose import Point
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


Touch = tuple[Point, Row, float, Edge | None]
"""A contact: the point, how its x moves with the pose and with the height, and its edge."""
