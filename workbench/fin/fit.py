"""The pose from readings: exact for three, adjusted by weighted least squares for more.

Readings are smooth functions of the pose between the corners of the outline and have kinks there.
The solver therefore takes Newton (three readings) or Gauss-Newton (more) steps with the exact
derivatives, damped until the misfit falls (Levenberg-Marquardt), and where a kink blocks the way it
tries the derivatives from the kink's other side. A solution is only called one when the readings
are met; everything else ends in an error that says which reading and what range would do.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from workbench.errors import InputError, PoseError
from workbench.fin.base import Base
from workbench.fin.blade import Blade
from workbench.fin.linear import Row, inverse, multiply, normal_matrix, solve, symmetric_eigen
from workbench.fin.methods import Method, Observation, observe
from workbench.fin.pose import Pose

STEEPEST_RAD = math.radians(15.0)
"""Beyond this tilt a fin is not set but fallen over; poses are looked for within it."""

MET_MM = 1e-9
"""Three readings count as met when each is within this of its value: far below any caliper."""

WEAK_RATIO = 1e-5
"""Least ratio of the design's smallest to largest singular value: below it, dependent readings."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A number taken with a method: its value and its standard uncertainty, both in mm."""

    method: Method
    value_mm: float
    u_mm: float

    def __post_init__(self) -> None:
        if not math.isfinite(self.value_mm):
            raise InputError(f"reading {self.method.name!r}", self.value_mm, "a finite length")
        if not (math.isfinite(self.u_mm) and self.u_mm > 0.0):
            raise InputError(f"reading {self.method.name!r} u", self.u_mm, "more than 0")


class NoPoseError(PoseError):
    """No pose, or no single one, gives these readings.

    ``method`` is the reading to look at first (None: not one alone), ``value_mm`` what it said and
    ``range_mm`` what it could say with the others as they are. ``reason`` is one sentence without
    figures.
    """

    def __init__(
        self,
        reason: str,
        method: Method | None = None,
        value_mm: float | None = None,
        range_mm: tuple[float, float] | None = None,
    ) -> None:
        self.reason, self.method = reason, method
        self.value_mm, self.range_mm = value_mm, range_mm
        text = reason
        if method is not None and value_mm is not None:
            text += f": {method.name!r} says {value_mm:.3f} mm"
            if range_mm is not None:
                text += f", which could be {range_mm[0]:.3f} to {range_mm[1]:.3f} mm"
        super().__init__(text)


@dataclass(frozen=True, slots=True)
class Fit:
    """A pose found from readings.

    ``gain`` (3 x n) is how the pose follows each reading, ``covariance`` (3 x 3; mm, mm, rad) what
    their uncertainties leave of it, ``residuals_mm`` (n) adjusted minus read, ``others`` further
    poses that meet the same readings.
    """

    pose: Pose
    readings: tuple[Reading, ...]
    observations: tuple[Observation, ...]
    gain: tuple[tuple[float, ...], ...]
    covariance: tuple[Row, ...]
    others: tuple[Pose, ...] = field(default=())

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
) -> Fit:
    """Return the pose that gives these readings: exactly for three, least squares for more.

    ``start`` is a pose to begin from, such as the last known one. With ``every`` the whole range of
    tilts is searched for further poses that meet three readings equally; the one of least tilt is
    the pose and the rest are ``others``.

    Raises:
        NoPoseError: too few readings, dependent ones, or ones that no pose gives.
    """
    _check_kinds(readings)
    system = _System(blade, base, tuple(readings))
    begin = [start] if start is not None else []
    pose = None
    for candidate in (*begin, *system.starts((0.0,))):
        pose = system.descend(candidate)
        if pose is not None:
            break
    if pose is None or every:
        found = [pose] if pose is not None else []
        found += system.search(stop_at_first=not every)
        found = _distinct(found)
        if not found:
            _check_independent(system)
            raise _why_no_pose(system)
        found.sort(key=lambda p: _rank(system, p, start))
        pose, others = found[0], tuple(found[1:]) if len(readings) == 3 else ()
    else:
        others = ()
    return _fit_at(system, pose, others)


def _rank(system: _System, pose: Pose, start: Pose | None) -> tuple[float, float]:
    """Order solutions: best met first; among equals nearest to the known pose, or least tilted."""
    cost = system.cost(pose) if len(system.readings) > 3 else 0.0
    if start is None:
        return cost, abs(pose.tilt_rad)
    turned = system.scale_mm * abs(pose.tilt_rad - start.tilt_rad)
    return cost, math.hypot(pose.x_mm - start.x_mm, pose.y_mm - start.y_mm, turned)


def _check_kinds(readings: Sequence[Reading]) -> None:
    if len(readings) < 3:
        raise NoPoseError(f"{len(readings)} readings fix no pose: three independent ones are needed")
    names = [r.method.name for r in readings]
    for name in names:
        if names.count(name) > 1:
            raise InputError("readings", name, "each method once, its repeats together")


def _fit_at(system: _System, pose: Pose, others: tuple[Pose, ...]) -> Fit:
    """Return the fit at a found pose with its covariance and gain."""
    observations = system.observations(pose)
    assert observations is not None
    _check_rank([o.gradient for o in observations], system)
    weights = [1.0 / r.u_mm**2 for r in system.readings]
    rows = [o.gradient for o in observations]
    covariance = inverse(normal_matrix(rows, weights))
    if covariance is None:
        raise NoPoseError("these readings depend on each other and fix no pose")
    weighted = [[w * row[i] for row, w in zip(rows, weights, strict=True)] for i in range(3)]
    gain = multiply(covariance, weighted)
    if len(rows) == 3 and (exact := inverse(rows)) is not None:
        gain = exact
    return Fit(
        pose,
        system.readings,
        observations,
        tuple(tuple(row) for row in gain),
        tuple((row[0], row[1], row[2]) for row in covariance),
        others,
    )


def _distinct(poses: Sequence[Pose]) -> list[Pose]:
    out: list[Pose] = []
    for pose in poses:
        if all(
            abs(pose.x_mm - p.x_mm) + abs(pose.y_mm - p.y_mm) + 100 * abs(pose.tilt_rad - p.tilt_rad)
            > 1e-5
            for p in out
        ):
            out.append(pose)
    return out


class _System:
    """The readings of one job as equations in the pose."""

    def __init__(self, blade: Blade, base: Base, readings: tuple[Reading, ...]) -> None:
        self.blade, self.base, self.readings = blade, base, readings
        self.scale_mm = max(blade.length_mm, 1.0)
        us, vs = zip(*blade.outline_mm, strict=True)
        self.middle = ((min(us) + max(us)) / 2.0, (min(vs) + max(vs)) / 2.0)

    def observations(self, pose: Pose) -> tuple[Observation, ...] | None:
        out = []
        for reading in self.readings:
            seen = observe(reading.method, self.blade, self.base, pose)
            if seen is None:
                return None
            out.append(seen)
        return tuple(out)

    def misfits(self, pose: Pose) -> tuple[list[float], list[Row]] | None:
        """Return the weighted misfits and their derivatives (tilt scaled to mm)."""
        seen = self.observations(pose)
        if seen is None:
            return None
        misfits, rows = [], []
        for o, r in zip(seen, self.readings, strict=True):
            gx, gy, gt = o.gradient
            if not (math.isfinite(gx) and math.isfinite(gy) and math.isfinite(gt)):
                return None
            w = 1.0 / r.u_mm
            misfits.append((o.value_mm - r.value_mm) * w)
            rows.append((gx * w, gy * w, gt * w / self.scale_mm))
        return misfits, rows

    def cost(self, pose: Pose) -> float:
        seen = self.misfits(pose)
        return math.inf if seen is None else sum(m * m for m in seen[0])

    def met(self, pose: Pose) -> bool:
        """Whether each of three readings is met."""
        seen = self.observations(pose)
        return seen is not None and all(
            abs(o.value_mm - r.value_mm) <= MET_MM
            for o, r in zip(seen, self.readings, strict=True)
        )

    def descend(self, start: Pose) -> Pose | None:
        """Go down from ``start``; return the solution, or None where it leads to none."""
        pose, cost = start, self.cost(start)
        if not math.isfinite(cost):
            return None
        exact = len(self.readings) == 3
        damping = 0.0
        for _ in range(60):
            seen = self.misfits(pose)
            assert seen is not None
            step = self._step(*seen, damping)
            if step is None:
                damping = max(damping * 10.0, 1e-6)
                if damping > 1e12:
                    return None
                continue
            size = max(map(abs, step))
            new = pose.moved(step[0], step[1], step[2] / self.scale_mm)
            new_cost = self.cost(new)
            if new_cost < cost and abs(new.tilt_rad) <= 1.5 * STEEPEST_RAD:
                pose, cost = new, new_cost
                damping = 0.0 if damping < 1e-4 else damping / 30.0
                if size > 1e-12:
                    continue
            if size < 1e-10 or (cost < 1e-18 and size < 1e-7):
                break
            if damping < 1e6:
                damping = max(damping * 30.0, 1e-4)
                continue
            around = self._around_kink(pose, cost)
            if around is None:
                break
            pose, cost = around
            damping = 0.0
        if abs(pose.tilt_rad) > STEEPEST_RAD:
            return None
        if exact:
            pose = self._polish(pose)
            return pose if self.met(pose) else None
        return self._settle(pose, cost)

    def _step(
        self, misfits: list[float], rows: list[Row], damping: float
    ) -> tuple[float, float, float] | None:
        if len(rows) == 3 and damping == 0.0:
            out = solve(rows, [-m for m in misfits])
        else:
            n = normal_matrix(rows, [1.0] * len(rows))
            lift = damping * max(n[0][0], n[1][1], n[2][2])
            for i in range(3):
                n[i][i] += lift
            right = [-sum(m * row[i] for m, row in zip(misfits, rows, strict=True)) for i in range(3)]
            out = solve(n, right)
        if out is None:
            return None
        longest = max(map(abs, out))
        limit = 0.06 * self.scale_mm
        shrink = limit / longest if longest > limit else 1.0
        return (out[0] * shrink, out[1] * shrink, out[2] * shrink)

    def _around_kink(self, pose: Pose, cost: float) -> tuple[Pose, float] | None:
        """Step with the derivatives from near-by places, where a kink turned the own ones wrong."""
        here = self.misfits(pose)
        assert here is not None
        for reach in (1e-6, 1e-3, 0.1, 1.0):
            for dx, dy, dt in _DIRECTIONS:
                near = pose.moved(dx * reach, dy * reach, dt * reach / self.scale_mm)
                seen = self.misfits(near)
                if seen is None:
                    continue
                for damping in (0.0, 1e-2):
                    step = self._step(here[0], seen[1], damping)
                    if step is None:
                        continue
                    for part in (1.0, 0.25, 0.02):
                        new = pose.moved(
                            part * step[0], part * step[1], part * step[2] / self.scale_mm
                        )
                        new_cost = self.cost(new)
                        if new_cost < cost * (1.0 - 1e-6):
                            return new, new_cost
        return None

    def _polish(self, pose: Pose) -> Pose:
        """Take up to three plain Newton steps while they help, to the last digits."""
        cost = self.cost(pose)
        for _ in range(3):
            seen = self.misfits(pose)
            step = None if seen is None else self._step(*seen, 0.0)
            if step is None:
                break
            new = pose.moved(step[0], step[1], step[2] / self.scale_mm)
            new_cost = self.cost(new)
            if not new_cost < cost:
                break
            pose, cost = new, new_cost
        return pose

    def _settle(self, pose: Pose, cost: float) -> Pose:
        """Close in on a least-squares minimum that lies on a kink, by a shrinking pattern search."""
        reach = 0.01
        for _ in range(400):
            if reach < 1e-10:
                break
            for dx, dy, dt in _DIRECTIONS:
                new = pose.moved(dx * reach, dy * reach, dt * reach / self.scale_mm)
                new_cost = self.cost(new)
                if new_cost < cost * (1.0 - 1e-13):
                    pose, cost = new, new_cost
                    break
            else:
                reach /= 4.0
        return pose

    def starts(self, tilts: Sequence[float]) -> Iterator[Pose]:
        """Give poses to begin from: for each tilt, those that meet a depth and a tail distance."""
        for tilt in tilts:
            for y in self._start_ys(tilt):
                x = self._start_x(tilt, y)
                if x is not None:
                    yield Pose(x, y, tilt)

    def _start_ys(self, tilt: float) -> list[float]:
        flat = Base()
        for reading in self.readings:
            if reading.method.quantity == "depth":
                seen = observe(reading.method, self.blade, flat, Pose(0.0, 0.0, tilt))
                if seen is not None:
                    return [reading.value_mm - seen.value_mm]
        c, s = math.cos(tilt), math.sin(tilt)
        heights = [s * u + c * v for u, v in self.blade.outline_mm]
        lo, hi = min(heights), max(heights)
        return [-(lo + (hi - lo) * (i + 0.5) / 12.0) for i in range(12)]

    def _start_x(self, tilt: float, y: float) -> float | None:
        flat = Base()
        usable = False
        for reading in self.readings:
            if reading.method.quantity == "tail":
                seen = observe(reading.method, self.blade, flat, Pose(0.0, y, tilt))
                if seen is not None:
                    x = reading.value_mm - seen.value_mm
                    if self.base.radius_mm is None:
                        return x
                    return self._lifted_x(reading, x, y, tilt)
                usable = True
        if usable and self.base.radius_mm is None:
            return None
        apex = self.base.apex_mm if self.base.radius_mm is not None else 0.0
        return apex - self.middle[0]

    def _lifted_x(self, reading: Reading, x: float, y: float, tilt: float) -> float:
        """Better a start's x once over the curved base itself."""
        seen = observe(reading.method, self.blade, self.base, Pose(x, y, tilt))
        return x if seen is None else x + reading.value_mm - seen.value_mm

    def search(self, stop_at_first: bool) -> list[Pose]:
        """Look for solutions over the whole range of tilts, those of least tilt first."""
        found: list[Pose] = []
        for start in self._promising() or self._everywhere():
            pose = self.descend(start)
            if pose is not None:
                found = _distinct([*found, pose])
                if stop_at_first and len(self.readings) == 3:
                    break
        return found

    def _everywhere(self) -> Iterator[Pose]:
        degrees = sorted((d * 0.75 for d in range(-19, 20)), key=abs)
        return self.starts([math.radians(d) for d in degrees])

    def _promising(self) -> list[Pose]:
        """Return starts beside each tilt at which the third of three readings is met or nearly.

        With a depth and a tail distance met, the third reading's misfit is a function of the tilt
        alone: solutions lie where it changes sign or comes close to zero without doing so.
        """
        kinds = [r.method.quantity for r in self.readings]
        if len(kinds) != 3 or "depth" not in kinds or "tail" not in kinds:
            return []
        met = (kinds.index("depth"), kinds.index("tail"))
        third = self.readings[3 - met[0] - met[1]]
        pair = (self.readings[met[0]], self.readings[met[1]])
        line: list[tuple[float, Pose]] = []
        for d in range(-30, 31):
            pose = _meet_two(self, pair, math.radians(d * 0.5))
            seen = None if pose is None else observe(third.method, self.blade, self.base, pose)
            if pose is not None and seen is not None:
                line.append((seen.value_mm - third.value_mm, pose))
        out: list[Pose] = []
        for i, (off, pose) in enumerate(line):
            before = line[i - 1][0] if i else math.inf
            after, beyond = line[i + 1] if i + 1 < len(line) else (math.inf, pose)
            if i + 1 < len(line) and (off < 0.0) != (after < 0.0):
                out += [_between(pose, beyond, off / (off - after)), pose, beyond]
            elif abs(off) <= abs(before) and abs(off) <= abs(after):
                out.append(pose)
        return sorted(out, key=lambda p: abs(p.tilt_rad))


def _between(a: Pose, b: Pose, share: float) -> Pose:
    return Pose(
        a.x_mm + share * (b.x_mm - a.x_mm),
        a.y_mm + share * (b.y_mm - a.y_mm),
        a.tilt_rad + share * (b.tilt_rad - a.tilt_rad),
    )


_DIRECTIONS: tuple[Row, ...] = (
    (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0), (0.0, -1.0, 0.0),
    (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 0.7, 0.7), (0.0, -0.7, -0.7),
    (0.0, 0.7, -0.7), (0.0, -0.7, 0.7),
)  # fmt: skip


def _check_rank(rows: Sequence[Row], system: _System) -> None:
    """Raise a NoPoseError where the readings' design leaves a direction of the pose open."""
    scaled: list[Row] = []
    for gx, gy, gt in rows:
        row = (gx, gy, gt / system.scale_mm)
        size = math.hypot(*row)
        scaled.append((row[0] / size, row[1] / size, row[2] / size))
    pairs = symmetric_eigen(normal_matrix(scaled, [1.0] * len(scaled)))
    least, open_direction = pairs[0]
    if least > (WEAK_RATIO**2) * pairs[-1][0]:
        return
    worst = max(range(3), key=lambda i: abs(open_direction[i]))
    raise NoPoseError(_OPEN[worst])


_OPEN = (
    "these readings depend on each other: nothing fixes the blade's place fore and aft; "
    "add a tail distance",
    "these readings depend on each other: nothing fixes how far the blade stands out of the base; "
    "add a depth",
    "these readings depend on each other: nothing fixes the blade's tilt; "
    "add a length, or a depth at another station",
)


def _check_independent(system: _System) -> None:
    """Tell dependent readings apart from contradicting ones, at any pose that shows them all."""
    for start in system.starts((0.0, 0.01, -0.01)):
        seen = system.observations(start)
        if seen is not None:
            _check_rank([o.gradient for o in seen], system)
            return


def _why_no_pose(system: _System) -> NoPoseError:
    """Name the reading that stands furthest outside what the blade allows, and its range."""
    alone = [_range_alone(system, r) for r in system.readings]
    for reading, reach in zip(system.readings, alone, strict=True):
        if reach is None:
            return NoPoseError(
                "the caliper would meet no part of this blade", reading.method, reading.value_mm
            )
        if not reach[0] - MET_MM <= reading.value_mm <= reach[1] + MET_MM:
            return NoPoseError(
                "this is outside the blade's reach", reading.method, reading.value_mm, reach
            )
    best: tuple[float, Reading, tuple[float, float]] | None = None
    for i, reading in enumerate(system.readings):
        reach = range_beside_others(system, i)
        if reach is None:
            continue
        lo, hi = reach
        off = max(lo - reading.value_mm, reading.value_mm - hi)
        if off > 0.0 and (best is None or off < best[0]):
            best = (off, reading, reach)
    if best is None:
        return NoPoseError(_NONE_TOGETHER + _no_tail_hint(system))
    return NoPoseError(
        "no pose gives these readings together; take them again, first of all",
        best[1].method,
        best[1].value_mm,
        best[2],
    )


_NONE_TOGETHER = "no pose of this blade gives these readings together; take them again"


def _no_tail_hint(system: _System) -> str:
    if any(r.method.quantity == "tail" for r in system.readings):
        return ""
    return " (without a tail distance only the base's curve fixes the place fore and aft)"


def _range_alone(system: _System, reading: Reading) -> tuple[float, float] | None:
    """Return what a reading could say at all over the blade's tilts and heights."""
    method, blade = reading.method, system.blade
    values = []
    for d in range(-15, 16, 3):
        tilt = math.radians(d)
        c, s = math.cos(tilt), math.sin(tilt)
        heights = [s * u + c * v for u, v in blade.outline_mm]
        lo, hi = min(heights), max(heights)
        for i in range(41):
            pose = Pose(0.0, -(lo + (hi - lo) * i / 40.0), tilt)
            seen = observe(method, blade, Base(), pose)
            if seen is not None:
                values.append(seen.value_mm)
    if not values:
        return None
    if method.quantity == "tail":
        return (-math.inf, math.inf)
    if method.quantity == "depth":
        return (0.0, max(values))
    return (min(values), max(values))


def range_beside_others(system: _System, index: int) -> tuple[float, float] | None:
    """Return what one of three readings could say with the other two as they are."""
    others = tuple(r for i, r in enumerate(system.readings) if i != index)
    if len(others) != 2:
        return None
    values = []
    for d in range(-30, 31):
        tilt = math.radians(d * 0.5)
        pose = _meet_two(system, others, tilt)
        if pose is None:
            continue
        seen = observe(system.readings[index].method, system.blade, system.base, pose)
        if seen is not None:
            values.append(seen.value_mm)
    return (min(values), max(values)) if values else None


def _meet_two(system: _System, others: tuple[Reading, ...], tilt: float) -> Pose | None:
    """Return a pose of this tilt that meets two readings, or None."""
    pair = _System(system.blade, system.base, others)
    for pose in pair.starts((tilt,)):
        for _ in range(25):
            seen = pair.observations(pose)
            if seen is None:
                break
            off = [o.value_mm - r.value_mm for o, r in zip(seen, others, strict=True)]
            if max(map(abs, off)) < 1e-7:
                return pose
            rows = [[o.gradient[0], o.gradient[1]] for o in seen]
            step = solve(rows, [-o for o in off])
            if step is None:
                # One open direction (no tail distance on a flat base): the other can still be met.
                slope = rows[0][1] or rows[1][1]
                if not slope or abs(off[0] - off[1]) > 1e-7:
                    break
                step = [0.0, -off[0] / slope]
            pose = pose.moved(step[0], step[1], 0.0)
    return None
