"""Readings beyond those that fix the pose: coarse marks, and what more than three readings tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from workbench.errors import BenchError
from workbench.fin.frame import Pose
from workbench.fin.plan.expectation import Expected, expected_after
from workbench.fin.plan.plan import Plan
from workbench.fin.plan.remarks import ODD_TILT_RAD
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.repeats import mean_of
from workbench.measure.slips import CRITICAL
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.stages import Progress
from workbench.work.trust.plausibility import Contradiction, contradictions


@dataclass(frozen=True, slots=True)
class CoarseMark:
    """A coarse mark of the blade and what was read by it in the round under way (mm).

    ``latest`` are its repeats, in order; the mean of them counts, with the mark's own u.
    ``expected_mm`` is what the ski's own readings of this round would give for it, or until they
    are there the last ones and the turns since; ``u_mm`` how far that is known. Both are None where
    nothing tells.
    """

    method_id: str
    method: Method
    latest: tuple[rows.Reading, ...] = ()
    expected_mm: float | None = None
    u_mm: float | None = None

    @property
    def reading(self) -> Reading | None:
        """What the mark says; None where it was not read in this round."""
        if not self.latest or self.method.stated_u_mm is None:
            return None
        value = mean_of([r.mm for r in self.latest])
        return Reading(self.method, value, self.method.stated_u_mm)

    @property
    def off_mm(self) -> float | None:
        """Read less expected; None without both."""
        if self.reading is None or self.expected_mm is None:
            return None
        return self.reading.value_mm - self.expected_mm

    def is_near(self, mm: float) -> bool | None:
        """Whether a number is about what this mark should read; None where nothing is expected."""
        if self.expected_mm is None or self.u_mm is None:
            return None
        u = math.hypot(self.u_mm, self.method.stated_u_mm or 0.0)
        return abs(mm - self.expected_mm) <= CRITICAL * u

    @property
    def agrees(self) -> bool | None:
        """Whether the mark bears the others out; None where there is nothing to compare."""
        return None if self.reading is None else self.is_near(self.reading.value_mm)


def marks_in_pass(
    methods: Sequence[tuple[str, Method]], progress: Progress
) -> tuple[CoarseMark, ...]:
    """Return the coarse ones among a blade's methods (id, method), as read in this round."""
    taken = progress.values.get(progress.pass_number, {})
    return tuple(CoarseMark(i, m, tuple(taken.get(i, ()))) for i, m in methods if m.is_coarse)


def expected_marks(
    marks: Sequence[CoarseMark],
    rig: Rig,
    fine: Sequence[Reading],
    pose: Pose | None,
    foreseen: Sequence[Expected],
) -> tuple[CoarseMark, ...]:
    """Return the marks with what the fine readings would give for them, near a known ``pose``.

    Without a pose it is what was ``foreseen`` for them.
    """
    if pose is None or not marks:
        by_name = {e.method.name: e for e in foreseen}
        return tuple(_with(m, by_name.get(m.method.name)) for m in marks)
    start = pose if abs(pose.tilt_rad) <= ODD_TILT_RAD else None
    try:
        fit = fit_pose(rig.blade, rig.base, fine, start)
        found = expected_after(rig, fit, [0.0] * 3, [m.method for m in marks])
    except BenchError:  # said in full where the plan is made
        return tuple(marks)
    return tuple(_with(m, e) for m, e in zip(marks, found, strict=True))


def _with(mark: CoarseMark, expected: Expected | None) -> CoarseMark:
    if expected is None:
        return mark
    return replace(mark, expected_mm=expected.value_mm, u_mm=expected.u_mm)


def without_marks(plan: Plan) -> Plan:
    """Return a plan that promises nothing of coarse marks: they only bear the others out."""
    steps = tuple(
        replace(s, expect=tuple((m, mm) for m, mm in s.expect if not m.is_coarse))
        for s in plan.steps
    )
    predictions = tuple(p for p in plan.predictions if not p.method.is_coarse)
    return replace(plan, steps=steps, predictions=predictions)


def contradicted(
    rig: Rig, readings: Sequence[Reading], pose: Pose | None, others: Sequence[Method], unit: Unit
) -> tuple[Contradiction, ...]:
    """Return which of more than three readings the others contradict; nothing without a pose."""
    if pose is None or len(readings) < 4:
        return ()
    try:
        fit = fit_pose(rig.blade, rig.base, readings, pose)
        return contradictions(rig, fit, others, unit)
    except BenchError:  # said in full where the plan is made
        return ()
