"""The pose from readings: exact for three, adjusted by weighted least squares for more.

A pose is only given when the readings are met (three) or least misfitted (more); everything else
ends in an error that says which reading and what range would do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from operator import mul

from workbench.errors import InputError, MissingPartError
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.pose.descent import STEEPEST_RAD
from workbench.fin.pose.equations import MET_MM, AtPose, Equations, NoPoseError, Reading
from workbench.fin.pose.search import TILTS_RAD, distinct, every_pose, first_pose, on_the_ski
from workbench.fin.pose.starts import first_of, middle_x, reach_at, seen_along, starts
from workbench.fin.reading.method import TRAITS, Method, Station
from workbench.fin.reading.observe import Observation, observe
from workbench.frozen import dataclass
from workbench.measure.linalg import (
    Three,
    determinant,
    gram_of_three,
    normal_matrix,
    pseudo_inverse,
    symmetric_eigen,
)


@dataclass(frozen=True, slots=True)
class Fit:
    """A pose found from readings.

    ``gain`` (3 x n) is how the pose follows each reading, ``covariance`` (3 x 3; mm, mm, rad) what
    their uncertainties leave of it, ``residuals_mm`` (n) adjusted minus read, ``others`` further
    poses that meet the same readings. ``by_movement`` (n x 3) is how each reading follows the
    blade's movements: see ``Observation.by_movement``.
    """

    pose: Pose
    readings: tuple[Reading, ...]
    observations: tuple[Observation, ...]
    gain: tuple[tuple[float, ...], ...]
    covariance: tuple[Three, ...]
    others: tuple[Pose, ...] = ()
    by_movement: tuple[Three, ...] = ()

    @property
    def methods(self) -> tuple[Method, ...]:
        """The methods of the readings, in their order."""
        return tuple(r.method for r in self.readings)

    @property
    def residuals_mm(self) -> tuple[float, ...]:
        """Adjusted minus read, per reading, in mm."""
        return tuple(
            o.value_mm - r.value_mm for o, r in zip(self.observations, self.readings, strict=True)
        )


def fit_pose(
    blade: Blade,
    base: Base,
    readings: Sequence[Reading],
    start: Pose | None = None,
    every: bool = False,
    seen: Sequence[Observation | None] = (),
) -> Fit:
    """Return the pose that gives these readings: exactly for three, least squares for more.

    ``start`` is a pose to begin from, such as the last known one. With ``every`` the whole range of
    tilts is searched for further poses that meet three readings equally; the one nearest to
    ``start``, or of least tilt, is the pose and the rest are ``others``. ``seen`` is what the
    readings' methods read at ``start``, where that is known already.

    Raises:
        MissingPartError: the blade's outline is not known yet.
        InputError: a method has more than one reading.
        NoPoseError: too few readings, dependent ones, or ones that no pose gives.
    """
    if not blade.is_traced:
        raise MissingPartError("blade")
    _check_kinds(readings)
    equations = Equations(blade, base, readings, start, seen)
    check_tail(equations)
    first = first_pose(equations, start)
    if first is not None:
        only = _fit_at(equations, first, ())
        if not every:
            return only
    found = distinct([*([] if first is None else [first.pose]), *every_pose(equations)])
    if not found:
        try:
            check_independent(equations)
        except NoPoseError:
            check_tilt(equations)
            raise
        raise why_no_pose(equations)
    found = on_the_ski(equations, found) or found
    found.sort(key=lambda p: _order(equations, p, start))
    best = equations.sight(found[0])
    assert best is not None, "a pose was found where a reading cannot be taken"
    return _fit_at(equations, best, tuple(found[1:]) if equations.exact else ())


def fit_near(
    blade: Blade,
    base: Base,
    readings: Sequence[Reading],
    start: Pose,
    seen: Sequence[Observation | None] = (),
) -> Fit | None:
    """Return the pose that gives these readings, looked for from ``start`` and from level poses.

    None where there is none: as :func:`fit_pose`, without the search for why not, which is long.

    Raises:
        InputError: a method has more than one reading.
        NoPoseError: too few readings, or dependent ones.
    """
    _check_kinds(readings)
    equations = Equations(blade, base, readings, start, seen)
    check_tail(equations)
    first = first_pose(equations, start)
    return None if first is None else _fit_at(equations, first, ())


def _check_kinds(readings: Sequence[Reading]) -> None:
    if len(readings) < 3:
        raise NoPoseError(
            f"{len(readings)} readings fix no pose: three independent ones are needed"
        )
    names = [r.method.name for r in readings]
    for name in names:
        if names.count(name) > 1:
            raise InputError("readings", name, "each method once, its repeats together")


def _order(equations: Equations, pose: Pose, start: Pose | None) -> tuple[float, float]:
    """Order solutions: least misfit first; among equals nearest to the start, or least tilted."""
    cost = 0.0
    if not equations.exact:
        sight = equations.sight(pose)
        cost = math.inf if sight is None else sight.cost
    if start is None:
        return cost, abs(pose.tilt_rad)
    turned = equations.scale_mm * abs(pose.tilt_rad - start.tilt_rad)
    return cost, math.hypot(pose.x_mm - start.x_mm, pose.y_mm - start.y_mm, turned)


def _fit_at(equations: Equations, sight: AtPose, others: tuple[Pose, ...]) -> Fit:
    """Return the fit at a found pose with its gain and covariance (JCGM 102:2011, 6.2)."""
    movements = tuple([o.by_movement(equations.blade, sight.pose) for o in sight.observations])
    check_rank(equations, movements)
    rooted = pseudo_inverse(sight.rows)
    if rooted is None:
        raise NoPoseError("these readings depend on each other and fix no pose")
    unscaled = 1.0 / equations.scale_mm
    rooted[2] = [g * unscaled for g in rooted[2]]
    weights = [1.0 / r.u_mm for r in equations.readings]
    gain = tuple([tuple(map(mul, row, weights)) for row in rooted])
    return Fit(
        sight.pose, equations.readings, sight.observations, gain, gram_of_three(rooted), others,
        movements,
    )  # fmt: skip


# -- why readings fix no pose ----------------------------------------------------------------------

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


def check_rank(equations: Equations, rows: Sequence[Three]) -> None:
    """Raise a NoPoseError where readings that follow the blade's movements so leave one open.

    ``rows`` (n x 3) are those of ``Observation.by_movement``. Rows above unit length are brought
    down to it; a reading that hardly follows the blade stays so.
    """
    scaled: list[Three] = []
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
