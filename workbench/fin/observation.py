"""What a reading method sees at a pose."""

from __future__ import annotations

from workbench.fin.linear import Row
from workbench.fin.pose import Point
from workbench.frozen import dataclass


@dataclass(frozen=True, slots=True)
class Observation:
    """What a method reads at a pose.

    ``value_mm``; ``gradient``: the derivatives by x (mm/mm), y (mm/mm) and tilt (mm/rad);
    ``contacts_mm``: the touched points, or the scribe looked at, in the ski frame;
    ``height_slope``: how much the reading changes per mm of contact height.
    """

    value_mm: float
    gradient: Row
    contacts_mm: tuple[Point, ...]
    height_slope: float = 0.0


@dataclass(frozen=True, slots=True)
class Touch:
    """A candidate contact: the point, how its coordinate moves with the pose, and its slope."""

    at: Point
    gradient: Row
    height_slope: float = 0.0
