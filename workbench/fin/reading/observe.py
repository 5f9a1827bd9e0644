"""Reading methods: what a caliper or an eye would read on a blade at a pose, and how that changes.

A reading is a function of the pose. Each value comes with its exact derivatives, found from which
corner or edge the jaw touches or from the scribe that is read (``contacts``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import assert_never

from workbench.fin.frame import Point, Pose, Row
from workbench.fin.parts.base import Base
from workbench.fin.parts.blade import Blade
from workbench.fin.reading.contacts import (
    Observation,
    band_ends,
    bend_of,
    deepest,
    depth_at,
    read_forward,
    read_outward,
)
from workbench.fin.reading.method import Method, Scribe
from workbench.fin.reading.quantities import TRAITS


def observe(method: Method, blade: Blade, base: Base, pose: Pose) -> Observation | None:
    """Return what ``method`` reads at ``pose``; None where it meets no part of the blade."""
    return observe_all((method,), blade, base, pose)[0]


def observe_all(
    methods: Sequence[Method], blade: Blade, base: Base, pose: Pose
) -> list[Observation | None]:
    """Return what each method reads at ``pose``, the blade placed there once for all of them."""
    c, s = math.cos(pose.tilt_rad), math.sin(pose.tilt_rad)
    x0, y0 = pose.x_mm, pose.y_mm
    points = [(x0 + c * u - s * v, y0 + s * u + c * v) for u, v in blade.outline_mm]
    over: tuple[list[float], float] | None = None
    out: list[Observation | None] = []
    for method in methods:
        if method.scribe is not None:
            out.append(_coarse(method, method.scribe, pose))
            continue
        match TRAITS[method.quantity].taken_at:
            case "station":
                station = None
                if method.station is not None:
                    u, v = method.station.at_mm
                    station = (x0 + c * u - s * v, y0 + s * u + c * v)
                out.append(_depth(method, station, points, base, pose))
            case "band":
                if over is None:
                    over = base.heights(points), bend_of(base, x0, blade.reach_mm)
                out.append(_along(method, points, over, base, pose))
            case _ as unknown:
                assert_never(unknown)
    return out


def _coarse(method: Method, scribe: Scribe, pose: Pose) -> Observation:
    scale = TRAITS[method.quantity].scale
    assert scale is not None, "a quantity without a scale has no scribe: see Method"
    return read_forward(scribe, pose) if scale.way == "forward" else read_outward(scribe, pose)


def _depth(
    method: Method, station: Point | None, points: list[Point], base: Base, pose: Pose
) -> Observation | None:
    if station is None:
        return deepest(points, base, pose)
    return depth_at(station, method.jaw_width_mm, points, base, pose)


def _along(
    method: Method, points: list[Point], over: tuple[list[float], float], base: Base, pose: Pose
) -> Observation | None:
    """Return what is read along the ski; ``over``: the points' heights and how edges bend."""
    assert method.band_mm is not None
    wanted = TRAITS[method.quantity].ends
    ends = band_ends(points, over, base, pose, method.band_mm, rear_only="front" not in wanted)
    if not ends:
        return None
    at, gradient, slope, edge = ends[0 if "rear" in wanted else 1]
    if len(wanted) == 1:
        return Observation(at[0], gradient, (at,), slope, (edge,))
    to, moves, rise, other = ends[1]
    return Observation(
        to[0] - at[0], _minus(moves, gradient), (at, to), rise - slope, (edge, other)
    )


def _minus(a: Row, b: Row) -> Row:
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])
