"""The readings of one job as equations in the pose, and the error of readings that fix none."""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.errors import InputError, PoseError, shown
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import Observation, observe_all
from workbench.frozen import dataclass
from workbench.measure.linalg import Three


@dataclass(frozen=True, slots=True)
class Reading:
    """A number taken with a method: its value and its standard uncertainty, both in mm."""

    method: Method
    value_mm: float
    u_mm: float

    def __post_init__(self) -> None:
        if not math.isfinite(self.value_mm):
            raise InputError(f"reading {shown(self.method.name)}", self.value_mm, "a finite length")
        if not (math.isfinite(self.u_mm) and self.u_mm > 0.0):
            raise InputError(f"reading {shown(self.method.name)} u", self.u_mm, "more than 0")


class NoPoseError(PoseError):
    """No pose, or no single one, gives these readings.

    ``method`` is the reading to look at first (None: not one alone), ``value_mm`` what it said and
    ``range_mm`` what it could say with the others as they are, or at all where the others leave it
    nothing. ``reason`` is one sentence without figures.
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
            text += f": {shown(method.name)} says {value_mm:.3f} mm"
            if range_mm is not None:
                text += f", which could be {range_mm[0]:.3f} to {range_mm[1]:.3f} mm"
        super().__init__(text)


MET_MM = 1e-9
"""Three readings count as met when each is within this of its value: far below any caliper."""


@dataclass(frozen=True, slots=True)
class AtPose:
    """The readings as they would be at a pose.

    ``misfits`` are seen minus read over the standard uncertainty, ``rows`` their derivatives with
    the tilt in mm at the blade's length, ``cost`` the sum of the misfits' squares.
    """

    pose: Pose
    observations: tuple[Observation, ...]
    misfits: tuple[float, ...]
    rows: tuple[Three, ...]
    cost: float


class Equations:
    """What a blade over a base reads, against the readings taken.

    ``seen`` is what their methods read at ``seen_at``, where that is known already.
    """

    def __init__(
        self,
        blade: Blade,
        base: Base,
        readings: Sequence[Reading],
        seen_at: Pose | None = None,
        seen: Sequence[Observation | None] = (),
    ) -> None:
        self.blade, self.base, self.readings = blade, base, tuple(readings)
        self._seen_at, self._seen = seen_at, seen
        self.scale_mm = max(blade.length_mm, 1.0)
        self._methods = tuple(r.method for r in self.readings)

    @property
    def exact(self) -> bool:
        """Whether the readings are just as many as the pose has parameters."""
        return len(self.readings) == 3

    def sight(self, pose: Pose) -> AtPose | None:
        """Return the readings seen at ``pose``; None where one would meet no part of the blade."""
        observations, misfits, rows = [], [], []
        cost = 0.0
        every = self._seen
        if not every or pose is not self._seen_at:
            every = observe_all(self._methods, self.blade, self.base, pose)
        for reading, seen in zip(self.readings, every, strict=True):
            if seen is None:
                return None
            gx, gy, gt = seen.gradient
            if not math.isfinite(gx + gy + gt):
                return None
            w = 1.0 / reading.u_mm
            misfit = (seen.value_mm - reading.value_mm) * w
            observations.append(seen)
            misfits.append(misfit)
            rows.append((gx * w, gy * w, gt * w / self.scale_mm))
            cost += misfit * misfit
        return AtPose(pose, tuple(observations), tuple(misfits), tuple(rows), cost)

    def met(self, sight: AtPose) -> bool:
        """Whether each reading is met."""
        return all(
            abs(o.value_mm - r.value_mm) <= MET_MM
            for o, r in zip(sight.observations, self.readings, strict=True)
        )

    def stepped(self, pose: Pose, step: Three, share: float = 1.0) -> Pose:
        """Return ``pose`` moved by a share of a step whose tilt is in mm at the blade's length."""
        return pose.moved(share * step[0], share * step[1], share * step[2] / self.scale_mm)
