"""Why readings fix no pose, and what would do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from workbench.fin.frame import Pose, Row, determinant, normal_matrix, symmetric_eigen
from workbench.fin.parts.blade import Blade
from workbench.fin.pose.descent import STEEPEST_RAD
from workbench.fin.pose.equations import MET_MM, Equations, NoPoseError, Reading
from workbench.fin.pose.search import TILTS_RAD, every_pose
from workbench.fin.pose.starts import first_of, middle_x, reach_at, seen_along, starts
from workbench.fin.reading.method import Station
from workbench.fin.reading.observe import observe
from workbench.fin.reading.quantities import TRAITS

WEAK_RATIO = 1e-5
"""Least ratio of the design's smallest to largest singular value: below it, dependent readings."""

_QUICK = 1e-8
"""A bound of the eigenvalues' ratio well above the weak one, and above what rounding blurs."""

JUMP = 2.0
"""A reading changes little more over a step of tilt than the blade's length turned through it; more
than this many times that is a jump from one part of the outline to another."""

_DEPENDENT = "these readings depend on each other: nothing fixes "
_PLACE_OPEN = _DEPENDENT + "the blade's place fore and aft; add a tail distance"
_HEIGHT_OPEN = _DEPENDENT + "how far the blade sticks out of the base; add a depth"
_TILT_OPEN = _DEPENDENT + "the blade's tilt; add a length, or a depth at another station"

_NONE_TOGETHER = "no pose of this blade gives these readings together; take them again"
_NO_TAIL = " (without a tail distance only the base's curve fixes the place fore and aft)"


def check_tail(equations: Equations) -> None:
    """Raise a NoPoseError where a flat base and no tail distance leave the blade free along it."""
    if equations.base.radius_mm is None and not _place_told(equations):
        raise NoPoseError(_PLACE_OPEN)


def _place_told(equations: Equations) -> bool:
    """Return whether a reading from the ski's tail end tells the place fore and aft."""
    return any(TRAITS[r.method.quantity].tells_place for r in equations.readings)


def check_rank(equations: Equations, rows: Sequence[Row]) -> None:
    """Raise a NoPoseError where readings that follow the blade's movements so leave one open.

    ``rows`` (n x 3) are those of ``Observation.by_movement``. Rows above unit length are brought
    down to it; a reading that hardly follows the blade stays so.
    """
    scaled: list[Row] = []
    trace = 0.0
    for gx, gy, gt in rows:
        size = math.hypot(gx, gy, gt)
        if size > 1.0:
            gx, gy, gt, size = gx / size, gy / size, gt / size, 1.0
        scaled.append((gx, gy, gt))
        trace += size * size
    # The two larger eigenvalues of the normal matrix multiply to at most (trace/2)^2, so that the
    # least one is at least four determinants over trace^2: usually enough to know without finding
    # it. With three readings its determinant is the square of the derivatives' own.
    if len(scaled) == 3 and 4.0 * determinant(scaled) ** 2 > _QUICK * trace**3:
        return
    normal = normal_matrix(scaled, [1.0] * len(scaled))
    if 4.0 * determinant(normal) > _QUICK * trace**3:
        return
    pairs = symmetric_eigen(normal)
    least, open_direction = pairs[0]
    if least > (WEAK_RATIO**2) * pairs[-1][0]:
        return
    _, out, turn = open_direction
    if abs(out) < 0.1 and abs(turn) < 0.1:
        raise NoPoseError(_PLACE_OPEN)
    raise NoPoseError(_TILT_OPEN if first_of(equations.readings, "depth") else _HEIGHT_OPEN)


def check_independent(equations: Equations) -> None:
    """Tell dependent readings apart from contradicting ones, at any pose that shows them all."""
    for tilt in (0.0, 0.01, -0.01):
        for start in starts(equations, tilt):
            sight = equations.sight(start)
            if sight is not None:
                blade, pose = equations.blade, sight.pose
                check_rank(equations, [o.by_movement(blade, pose) for o in sight.observations])
                return


def check_tilt(equations: Equations) -> None:
    """Raise a NoPoseError where readings fix a pose that is tilted beyond what is looked for.

    It is looked for with the blade's frame turned, as far again to either side.
    """
    if not equations.exact or any(r.method.is_coarse for r in equations.readings):
        return
    for turn in (2.0 * STEEPEST_RAD, -2.0 * STEEPEST_RAD):
        found = every_pose(_turned(equations, turn))
        if found:
            tilt, most = (math.degrees(t) for t in (found[0].tilt_rad + turn, STEEPEST_RAD))
            raise NoPoseError(
                f"together these put the blade at a tilt of {tilt:.1f}°, beyond the {most:.0f}° "
                "that a fin is looked for within; take them again"
            )


def _turned(equations: Equations, turn_rad: float) -> Equations:
    """Return the same readings with the blade's frame turned back by ``turn_rad``."""
    turn = Pose(0.0, 0.0, turn_rad).place
    blade = equations.blade
    (a, b), (c, d) = blade.top_edge_mm, blade.back_edge_mm
    turned = Blade(
        blade.name, tuple(map(turn, blade.outline_mm)), (turn(a), turn(b)), (turn(c), turn(d))
    )
    readings = []
    for r in equations.readings:
        station = r.method.station
        if station is not None:
            station = Station(turn(station.at_mm))
        readings.append(replace(r, method=replace(r.method, station=station)))
    return Equations(turned, equations.base, readings)


def why_no_pose(equations: Equations) -> NoPoseError:
    """Name the reading that is furthest outside what the blade allows, and its range."""
    for index, reading in enumerate(equations.readings):
        reach = range_alone(equations, reading)
        if reach is None:
            return NoPoseError(
                "the caliper would meet no part of this blade", reading.method, reading.value_mm
            )
        if not reach[0] - MET_MM <= reading.value_mm <= reach[1] + MET_MM:
            beside = range_beside_others(equations, index)
            return NoPoseError(
                "this is outside the blade's reach",
                reading.method,
                reading.value_mm,
                reach if beside is None else beside,
            )
    return _why_not_together(equations)


def _why_not_together(equations: Equations) -> NoPoseError:
    """Name the reading that the least change would make agree with the two others."""
    best: tuple[float, Reading, tuple[float, float]] | None = None
    for i, reading in enumerate(equations.readings):
        reach = range_beside_others(equations, i)
        if reach is None:
            continue
        off = max(reach[0] - reading.value_mm, reading.value_mm - reach[1])
        if off > 0.0 and (best is None or off < best[0]):
            best = (off, reading, reach)
    if best is None:
        return NoPoseError(_NONE_TOGETHER + ("" if _place_told(equations) else _NO_TAIL))
    return NoPoseError(
        "no pose gives these readings together; take them again, first of all",
        best[1].method,
        best[1].value_mm,
        best[2],
    )


def range_alone(equations: Equations, reading: Reading) -> tuple[float, float] | None:
    """Return what a reading could say at all over the blade's tilts and heights."""
    x = middle_x(equations)
    values = []
    for tilt in TILTS_RAD[::3]:
        lo, hi = reach_at(equations, tilt)
        for i in range(41):
            pose = Pose(x, -(lo + (hi - lo) * i / 40.0), tilt)
            seen = observe(reading.method, equations.blade, equations.base, pose)
            if seen is not None:
                values.append(seen.value_mm)
    if not values:
        return None
    if reading.method.is_coarse:
        return (-math.inf, math.inf)
    ends = TRAITS[reading.method.quantity].ends
    if len(ends) == 1:  # from the ski's tail end: wherever the block is
        return (-math.inf, math.inf)
    return (min(values) if ends else 0.0, max(values))


def range_beside_others(
    equations: Equations, index: int, near_mm: float | None = None
) -> tuple[float, float] | None:
    """Return what one of three readings could say with the other two as they are.

    Of several ranges, between which the others cannot be met or the jaws jump from one part of the
    outline to another, the nearest to ``near_mm``, or to the reading where that is left out.
    """
    others = tuple(r for i, r in enumerate(equations.readings) if i != index)
    if len(others) != 2:
        return None
    reading = equations.readings[index]
    pair = Equations(equations.blade, equations.base, others)
    jump_mm = JUMP * equations.scale_mm * (TILTS_RAD[1] - TILTS_RAD[0])
    ranges: list[tuple[float, float]] = []
    last: float | None = None
    for tilt in TILTS_RAD:
        seen = seen_along(pair, reading.method, tilt, 1e-7)
        value = None if seen is None else seen[1]
        if value is not None:
            if last is None or abs(value - last) > jump_mm:
                ranges.append((value, value))
            lo, hi = ranges[-1]
            ranges[-1] = (min(lo, value), max(hi, value))
        last = value
    wide = [r for r in ranges if r[0] < r[1]] or ranges
    near = reading.value_mm if near_mm is None else near_mm
    return min(wide, key=lambda r: max(r[0] - near, near - r[1]), default=None)
