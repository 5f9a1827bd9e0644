"""Plates with known geometry, and a plain rig, for tests that need figures and not chance."""

from __future__ import annotations

from collections.abc import Sequence

from workbench.fin.blade import Blade, Hole
from workbench.fin.frame import Base, Point, Pose
from workbench.fin.plan.guidance import plan_from
from workbench.fin.plan.plan import Plan, Target
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method, Station
from workbench.fin.reading.observe import observe
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud

IN = 25.4
CURVED = Base(150 * IN, 3.5 * IN)
BASES = (Base(), CURVED)


def inches(*points: Point) -> tuple[Point, ...]:
    """Return points given in inches in mm."""
    return tuple((u * IN, v * IN) for u, v in points)


def practice_plate() -> Blade:
    """Return an invented blade of usual size."""
    outline = inches(
        (0, 0), (7.3, 0), (7.3, 0.75), (7.05, 1.0), (5.2, 2.35), (1.6, 3.48), (0.25, 2.5),
        (0.1, 1.0), (0, 0.9),
    )  # fmt: skip
    hole = Hole("2", (1.6 * IN, 3.0 * IN), 0.3 * IN)
    return Blade("Practice plate", outline, outline[:2], (outline[0], outline[-1]), (hole,))


def rectangle(length_mm: float = 180.0, height_mm: float = 80.0) -> Blade:
    """Return a rectangular plate, its origin at the rear top corner."""
    outline = ((0.0, 0.0), (length_mm, 0.0), (length_mm, height_mm), (0.0, height_mm))
    return Blade("rectangle", outline, (outline[0], outline[1]), (outline[0], outline[3]))


def trapezoid() -> Blade:
    """Return a plate 180 mm long at its top edge and 100 mm at its bottom, 80 mm high."""
    outline = ((0.0, 0.0), (180.0, 0.0), (130.0, 80.0), (30.0, 80.0))
    return Blade("trapezoid", outline, (outline[0], outline[1]), ((0.0, 0.0), (15.0, 40.0)))


DEPTH = Method(
    "depth, hole 2 back edge", "depth", Station((1.45 * IN, 3.0 * IN), hole="2", edge="back")
)
DEEPEST = Method("depth, deepest", "depth")
TAIL = Method("tail, upper line", "tail", band_mm=(0.0, 0.3 * IN))
LENGTH = Method("length, tips", "length", band_mm=(0.01 * IN, 0.01 * IN))
LEVEL = Pose(0.65 * IN, -1.0 * IN, 0.004)
"""A usual pose of the practice plate."""


def stud(name: str, touches: str, at: Point, axis: Point, **more: object) -> Stud:
    """Return a stud with a lead of 1/32 in unless told otherwise."""
    options = {"lead_mm": IN / 32, "tip_radius_mm": 0.05 * IN, **more}
    return Stud(name, touches, at, axis, **options)  # type: ignore[arg-type]


def practice_rig(base: Base | None = None, blade: Blade | None = None, **more: object) -> Rig:
    """Return the practice plate in an invented block; ``more`` goes to all three studs."""
    return Rig(
        blade or practice_plate(),
        base or Base(),
        (
            stud("front", "top", (6.9 * IN, -1.6 * IN), (0.0, 1.0), **more),
            stud("rear", "top", (1.2 * IN, -1.6 * IN), (0.0, 1.0), **more),
            stud("tail", "back", (0.1 * IN, -0.5 * IN), (1.0, 0.0), **more),
        ),
    )


def readings_at(
    pose: Pose, methods: tuple[Method, ...], blade: Blade, base: Base, u_mm: float = 0.0127
) -> list[Reading]:
    """Return what these methods read at ``pose``, as readings."""
    out = []
    for method in methods:
        seen = observe(method, blade, base, pose)
        assert seen is not None, method.name
        out.append(Reading(method, seen.value_mm, u_mm))
    return out


def plan(
    rig: Rig,
    readings: Sequence[Reading],
    targets: Sequence[Target],
    finest_turn: float,
    start: Pose | None = None,
) -> Plan:
    """Return the turns that bring readings to targets."""
    fit = fit_pose(rig.blade, rig.base, readings, start, every=True)
    return plan_from(rig, fit, targets, finest_turn)
