"""A ski on the bench from received to signed off: what is known of it and what can be done next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from workbench.advice.checklists import RECEIVED, CheckItem, final_items
from workbench.errors import BenchError
from workbench.fin.fit import Reading, fit_pose
from workbench.fin.foresight import Expected
from workbench.fin.guidance import Plan, Rig, Target, plan
from workbench.fin.methods import Method
from workbench.fin.pose import Pose
from workbench.measure.units import Unit
from workbench.records import rows
from workbench.work.doubts import doubt_of, doubt_words, expected_readings
from workbench.work.rigs import usual_range_mm
from workbench.work.stages import Progress, Stage
from workbench.work.trust import Taken, reading_u_mm, readings_of
from workbench.work.words import error_words


@dataclass(frozen=True, slots=True)
class Line:
    """One reading of the job as the bench shows it (mm); ``latest``: this pass's repeats."""

    method_id: str
    method: Method
    usual_mm: tuple[float, float]
    received_mm: float | None
    latest: tuple[rows.Reading, ...]
    now_mm: float | None
    u_mm: float | None
    target_mm: float | None
    tolerance_mm: float
    target: rows.Target | None

    @property
    def off_mm(self) -> float | None:
        """Now minus target, or None where one of them is missing."""
        if self.now_mm is None or self.target_mm is None:
            return None
        return self.now_mm - self.target_mm


@dataclass(frozen=True, slots=True)
class JobView:
    """Everything the bench shows of one job, as values."""

    job: rows.Job
    ski: rows.Ski
    blade_name: str
    block_name: str
    rig: Rig
    lines: tuple[Line, ...]
    progress: Progress
    facts: tuple[rows.AnyFact, ...]
    finest_turn: float
    pose: Pose | None
    plan: Plan | None
    trouble: str
    baseline: rows.Baseline | None
    expected: tuple[Expected, ...] = ()

    @property
    def stage(self) -> Stage:
        """The stage the job is at."""
        return self.progress.stage

    @property
    def due(self) -> int | None:
        """The index of the reading that is due, or None."""
        if self.stage not in ("as received", "measuring"):
            return None
        for i, line in enumerate(self.lines):
            if not line.latest:
                return i
        return None

    def doubt(self, line: Line, text: str, unit: Unit, mm: float, shown_in: Unit) -> str:
        """Return why a reading about to be kept cannot be right, or nothing.

        Only asked while measuring after a pass: the last readings and the turns made say what to
        expect.
        """
        expected = next((e for e in self.expected if e.method.name == line.method.name), None)
        if expected is None:
            return ""
        others = {
            e.method.name: e.value_mm
            for e in self.expected
            if e.method.quantity == line.method.quantity and e is not expected
        }
        u_read = reading_u_mm([mm], expected.height_slope)
        found = doubt_of(expected, mm, u_read, (text, unit), others)
        return doubt_words(found, expected, shown_in) if found is not None else ""

    @property
    def checklist(self) -> tuple[CheckItem, ...]:
        """The checklist that is due at this stage, else nothing."""
        if self.stage in ("waiting", "received check"):
            return RECEIVED
        if self.stage == "final check":
            return final_items(self.ski.has_wing)
        return ()

    @property
    def stage_words(self) -> str:
        """The stage in words, with its pass."""
        if self.stage in ("turning", "measuring"):
            number = self.progress.pass_number + (self.stage == "turning")
            return f"{self.stage}, pass {number}"
        return self.stage if self.stage != "within" else "within tolerance"


def build_view(
    job: rows.Job,
    ski: rows.Ski,
    names: tuple[str, str],
    rig: Rig,
    methods: Sequence[tuple[str, Method, float]],
    progress: Progress,
    facts: tuple[rows.AnyFact, ...],
    finest_turn: float,
    baseline: rows.Baseline | None,
    others: tuple[Method, ...] = (),
) -> JobView:
    """Put a job's view together; ``methods`` are (id, method, tolerance_mm) in the ski's order.

    ``others`` are all methods of the blade, to tell which one a wrong reading was taken by.
    """
    worth = _readings(methods, progress, rig, progress.pass_number)
    lines = tuple(_line(i, m, tol, progress, rig, worth.get(m.name)) for i, m, tol in methods)
    known = [worth[line.method.name] for line in lines if line.method.name in worth]
    pose, result, trouble = _solve(rig, lines, known, progress, finest_turn, ski.unit)
    return JobView(
        job,
        ski,
        names[0],
        names[1],
        rig,
        lines,
        progress,
        facts,
        finest_turn,
        pose,
        result,
        trouble,
        baseline,
        _expected(rig, methods, others, progress, facts),
    )


def _expected(
    rig: Rig,
    methods: Sequence[tuple[str, Method, float]],
    others: tuple[Method, ...],
    progress: Progress,
    facts: Sequence[rows.AnyFact],
) -> tuple[Expected, ...]:
    """Return what the turns just made should have brought each reading to, while measuring."""
    if progress.stage != "measuring":
        return ()
    made = [f for f in facts if isinstance(f, rows.PassRow) and f.struck is None][-1]
    by_stud = {t.stud: t.turns for t in made.turns}
    before = _readings(methods, progress, rig, progress.pass_number - 1)
    turns = [by_stud.get(s.name, 0.0) for s in rig.studs]
    return expected_readings(rig, tuple(before.values()), turns, others)


def _readings(
    methods: Sequence[tuple[str, Method, float]], progress: Progress, rig: Rig, number: int
) -> dict[str, Reading]:
    """Return the readings of a pass by method name, each with what it is worth."""
    latest = progress.values.get(number, {})
    taken = [
        Taken(method, tuple(r.mm for r in latest[method_id]))
        for method_id, method, _ in methods
        if latest.get(method_id)
    ]
    return {r.method.name: r for r in readings_of(taken, rig)}


def _line(
    method_id: str,
    method: Method,
    tolerance_mm: float,
    progress: Progress,
    rig: Rig,
    worth: Reading | None,
) -> Line:
    number = progress.pass_number
    latest = progress.values.get(number, {}).get(method_id, ())
    received = progress.mean_mm(0, method_id)
    target = progress.targets.get(method_id)
    aim = target.mm if target is not None else received if progress.targets else None
    return Line(
        method_id,
        method,
        usual_range_mm(method, rig.blade),
        received,
        latest,
        worth.value_mm if worth is not None else None,
        worth.u_mm if worth is not None else None,
        aim,
        target.tolerance_mm if target is not None else tolerance_mm,
        target,
    )


def _solve(
    rig: Rig,
    lines: Sequence[Line],
    readings: Sequence[Reading],
    progress: Progress,
    finest_turn: float,
    unit: Unit,
) -> tuple[Pose | None, Plan | None, str]:
    """Return the pose, the plan where targets are accepted, and what stands in the way."""
    if len(readings) < len(lines) or len(readings) < 3:
        return None, None, ""
    try:
        if progress.stage in ("as received", "studs") and not progress.targets:
            return fit_pose(rig.blade, rig.base, readings, every=True).pose, None, ""
        targets = [
            Target(line.method, line.target_mm, line.tolerance_mm)
            for line in lines
            if line.target_mm is not None
        ]
        result = plan(rig, readings, targets, finest_turn)
        return result.fit.pose, result, ""
    except BenchError as why:
        return _pose_alone(rig, readings), None, error_words(why, unit)


def _pose_alone(rig: Rig, readings: Sequence[Reading]) -> Pose | None:
    try:
        return fit_pose(rig.blade, rig.base, readings, every=True).pose
    except BenchError:
        return None
