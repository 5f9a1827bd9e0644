"""The pose from readings: exact for three, adjusted by weighted least squares for more.

A pose is only given when the readings are met (three) or least misfitted (more); everything else
ends in an error that says which reading and what range would do.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from operator import mul

from workbench.errors import InputError, MissingPartError
from workbench.fin.frame import Pose, Row, gram_of_three, pseudo_inverse
from workbench.fin.parts.base import Base
from workbench.fin.parts.blade import Blade
from workbench.fin.pose.diagnosis import (
    check_independent,
    check_rank,
    check_tail,
    check_tilt,
    why_no_pose,
)
from workbench.fin.pose.equations import AtPose, Equations, NoPoseError, Reading
from workbench.fin.pose.search import distinct, every_pose, first_pose, on_the_ski
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import Observation
from workbench.frozen import dataclass


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
    covariance: tuple[Row, ...]
    others: tuple[Pose, ...] = ()
    by_movement: tuple[Row, ...] = ()

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
