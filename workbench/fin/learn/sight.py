"""What the readings of one seating say of the studs' travels."""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.fin.frame import Pose
from workbench.fin.learn.edges import MovedEdges, Offset, Weights
from workbench.fin.learn.state import Imperfections
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit, fit_near, fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import Observation, observe_all
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.linalg import Three, inverse_of_three, multiply, pseudo_inverse

APART = 5.0
"""Takes of one seating that differ by more standard deviations than this do not belong together."""

TILT_MM = 100.0
"""A tilt is weighed by what it moves at this distance."""

LEAST_U_MM = 1e-6
"""A weight for readings that are told to be exact."""


@dataclass(frozen=True, slots=True)
class Takes:
    """The takes (mm) of one method at one seating; ``u_mm`` is that of their mean where given."""

    method: Method
    values_mm: tuple[float, ...]
    u_mm: float | None = None

    def summary(self, known: Imperfections) -> tuple[float, float]:
        """Return the mean of the takes that agree and its standard uncertainty, both in mm.

        A take far from the median of three or more is left out. Of two far apart neither is known
        to be the right one.
        """
        one = self.method.stated_u_mm or known.take_mm
        values = self.values_mm
        if len(values) == 1:
            return values[0], self.u_mm or one
        if len(values) > 2 and one > 0.0:
            ordered = sorted(values)
            middle = ordered[len(ordered) // 2]
            near = [v for v in values if abs(v - middle) <= APART * one]
            values = tuple(near) if len(near) >= 2 else values
        mean = math.fsum(values) / len(values)
        spread = max(values) - min(values)
        if spread > math.sqrt(2.0) * APART * one:
            return mean, max(spread / 2.0, self.u_mm or 0.0)
        return mean, self.u_mm or one / math.sqrt(len(values))

    def is_apart(self, known: Imperfections) -> bool:
        """Whether there are just two takes, so far apart that a third has to tell the right one."""
        mean, u = self.summary(known)
        off = max(self.values_mm) - mean
        return len(self.values_mm) == 2 and u >= 0.999 * off > 0.0 and u > 3.0 * known.take_mm


@dataclass(frozen=True, slots=True)
class Sight:
    """The readings of one seating, turned into travels.

    ``travels_mm`` (3) are those of the pose that fits the readings brought to the outline as told
    by ``offsets_mm``; ``by_reading`` (3 x n) how they follow each reading, ``variances_mm2`` (n)
    the readings' own and ``by_offsets`` (3) how a travel is read for the edges' offsets.
    """

    fit: Fit
    readings: tuple[Reading, ...]
    travels_mm: tuple[float, ...]
    by_reading: list[list[float]]
    variances_mm2: tuple[float, ...]
    by_offsets: tuple[Weights, ...]
    offsets_mm: tuple[float, ...]

    def variance(self, travel: int) -> float:
        """Return what the readings' own variances leave of a travel (mm^2)."""
        gains = self.by_reading[travel]
        return sum([g * g * v for g, v in zip(gains, self.variances_mm2, strict=True)])


def look(
    rig: Rig,
    edges: MovedEdges,
    taken: Sequence[Takes],
    known: Imperfections,
    start: Pose | None,
    is_predicted: bool = False,
) -> Sight:
    """Return what the takes of one seating say; ``edges`` run as learnt, ``start`` is near by.

    Where it is the one predicted, the edges are looked at there: at the pose that was read, its
    own error would seem to tell how steep they are.

    Raises:
        NoPoseError: the readings fix no pose.
    """
    methods = [t.method for t in taken]
    sums = [t.summary(known) for t in taken]
    readings = tuple(
        Reading(m, mean, u or LEAST_U_MM) for m, (mean, u) in zip(methods, sums, strict=True)
    )
    known_off = [0.0] * len(methods)
    near: list[Offset | None] = [None] * len(methods)
    seen: list[Observation | None] = []
    if start is not None and edges.parts:
        seen = observe_all(methods, rig.blade, rig.base, start)
        near = [
            None if s is None else edges.offset(m, s, start)
            for m, s in zip(methods, seen, strict=True)
        ]
        known_off = [0.0 if off is None else off.mm for off in near]
    told = [
        Reading(r.method, r.value_mm - off, r.u_mm) if off else r
        for r, off in zip(readings, known_off, strict=True)
    ]
    if start is None or told == list(readings):
        fit = fit_pose(rig.blade, rig.base, told, start, start is None, seen)
    else:
        found = fit_near(rig.blade, rig.base, told, start, seen)
        if found is None:  # what was learnt of the edges fits no reading: by the outline as told
            return look(rig, edges.as_told(), taken, known, start, is_predicted)
        fit = found
    offs = [edges.offset(m, s, fit.pose) for m, s in zip(methods, fit.observations, strict=True)]
    at = rig.travels(fit.pose)
    gain = multiply([t.gradient for t in at], _gain(fit, [o.by_pose for o in offs]))
    one, two, three = gain
    x, y, z = (t.mm for t in at)
    by_offset: dict[int, tuple[float, float, float]] = {}
    for off, known_mm, at_start, g, h, k in zip(
        offs, known_off, near, one, two, three, strict=True
    ):
        more = off.mm - known_mm
        x, y, z = x - g * more, y - h * more, z - k * more
        for place, w in ((is_predicted and at_start) or off).weights:
            a, b, c = by_offset.get(place, (0.0, 0.0, 0.0))
            by_offset[place] = (a + g * w, b + h * w, c + k * w)
    return Sight(
        fit,
        readings,
        (x, y, z),
        gain,
        tuple([u * u for _, u in sums]),
        tuple([[(place, by[j]) for place, by in by_offset.items()] for j in range(3)]),
        edges.offsets_mm,
    )


def _gain(fit: Fit, more: Sequence[Three]) -> Sequence[Sequence[float]]:
    """Return (3 x n) how the pose follows readings whose derivatives by the pose are larger so."""
    if not any(map(any, more)):
        return fit.gain
    if len(more) == 3:
        # Three readings are met whatever their uncertainties.
        (a, b, c), (d, e, f), (g, h, i) = (s.gradient for s in fit.observations)
        (p, q, r), (s, t, u), (x, y, z) = more
        back = inverse_of_three(
            (
                (a + p, b + q, (c + r) / TILT_MM),
                (d + s, e + t, (f + u) / TILT_MM),
                (g + x, h + y, (i + z) / TILT_MM),
            )
        )
        if back is not None:
            return [back[0], back[1], [each / TILT_MM for each in back[2]]]
    rows = [
        [(g + m) / r.u_mm for g, m in zip(seen.gradient, extra, strict=True)]
        for seen, extra, r in zip(fit.observations, more, fit.readings, strict=True)
    ]
    rooted = pseudo_inverse([[x, y, t / TILT_MM] for x, y, t in rows])
    if rooted is None:
        return fit.gain
    rooted[2] = [g / TILT_MM for g in rooted[2]]
    return [[g / r.u_mm for g, r in zip(row, fit.readings, strict=True)] for row in rooted]
