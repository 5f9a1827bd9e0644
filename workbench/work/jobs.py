"""A ski on the bench from received to signed off: what is known of it and what can be done next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field

from workbench.advice.checklists import CheckItem, final_items
from workbench.advice.torque import note_for
from workbench.errors import BenchError, OutOfReachError
from workbench.fin.fit import Reading
from workbench.fin.foresight import Expected
from workbench.fin.guidance import Plan, Rig, Target
from workbench.fin.methods import Method
from workbench.fin.pose import Pose
from workbench.frozen import dataclass
from workbench.measure.units import Unit
from workbench.records import rows
from workbench.work.doubts import (
    Contradiction,
    Suspect,
    doubt_of,
    doubt_words,
    expected_readings,
    moved_question,
    moved_words,
    suspects_in,
)
from workbench.work.extra_readings import Mark, beside, contradicted, marks_in_pass, without_marks
from workbench.work.gauges import Tools
from workbench.work.last_setting import LastSetting
from workbench.work.reading_lines import Line as Line
from workbench.work.rigs import usual_range_mm
from workbench.work.rules import AS_LAST_TIME, SHIPPED, Rules
from workbench.work.solved import plan_of, pose_of
from workbench.work.stages import Progress, Stage
from workbench.work.trust import Taken, reading_u_mm, readings_of
from workbench.work.words import clean, error_words

WING_AIM = "wing_aim"
"""The kind of mark that keeps the wing's angle wanted, in degrees."""

TAKEN_BACK = "taken back"
"""The reason with which the last entry is struck out when it is taken back."""


@dataclass(frozen=True, slots=True)
class JobView:
    """Everything the bench shows of one job, as values.

    ``why`` is the error for which there is no pose or no plan; None where nothing is in the way.
    """

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
    why: BenchError | None = field(compare=False)
    baseline: rows.Baseline | None
    expected: tuple[Expected, ...] = ()
    tools: Tools = field(default_factory=Tools)
    left: tuple[Expected, ...] = ()
    rules: Rules = SHIPPED
    marks: tuple[Mark, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()

    @property
    def stage(self) -> Stage:
        """The stage the job is at."""
        return self.progress.stage

    @property
    def trouble(self) -> str:
        """Why there is no pose or no plan, in the ski's own unit, or nothing."""
        return self.trouble_in(self.ski.unit)

    def trouble_in(self, unit: Unit) -> str:
        """Return why there is no pose or no plan, its lengths in ``unit``, or nothing."""
        return error_words(self.why, unit) if self.why is not None else ""

    @property
    def unreachable(self) -> OutOfReachError | None:
        """The error where the target is out of reach, else None."""
        return self.why if isinstance(self.why, OutOfReachError) else None

    @property
    def due(self) -> int | None:
        """The index of the reading that is due, or None."""
        if self.stage not in ("as received", "measuring"):
            return None
        for i, line in enumerate(self.lines):
            if len(line.latest) < self.rules.repeats:
                return i
        return None

    @property
    def may_go_on(self) -> bool:
        """Whether fewer repeats than the shop wants would do: there is one of each reading."""
        return self.due is not None and all(line.latest for line in self.lines)

    def doubt(self, line: Line, text: str, unit: Unit, mm: float, shown_in: Unit) -> str:
        """Return why a reading about to be kept cannot be right, or nothing.

        While measuring after a pass the last readings and the turns made say what to expect; as
        received it is the setting that the ski left with, where it left this bench before.
        """
        now_mm, u_read, expected = self._against(line, mm)
        if expected is None:
            return ""
        foreseen = self.left if self.stage == "as received" else self.expected
        others = {
            e.method.name: e.value_mm
            for e in foreseen
            if e.method.quantity == line.method.quantity
            and e is not expected
            and not e.method.is_coarse
        }
        if self.stage == "as received":
            return moved_question(expected, now_mm, u_read, (text, unit), others, shown_in)
        found = doubt_of(expected, now_mm, u_read, (text, unit), others)
        return doubt_words(found, expected, shown_in) if found is not None else ""

    def since_left(self, line: Line, mm: float, shown_in: Unit) -> str:
        """Return how a reading as received differs from the setting it left with, or nothing."""
        now_mm, u_read, expected = self._against(line, mm)
        if expected is None or self.stage != "as received":
            return ""
        return moved_words(expected, now_mm, u_read, shown_in)

    def _against(self, line: Line, mm: float) -> tuple[float, float, Expected | None]:
        """Return what a number read now is worth (mm), its u, and what was to be expected."""
        foreseen = self.left if self.stage == "as received" else self.expected
        expected = next((e for e in foreseen if e.method.name == line.method.name), None)
        now_mm, stated, figures = self.tools.about_to_take(line.method_id, mm)
        slope = expected.height_slope if expected is not None else 0.0
        u = reading_u_mm([now_mm], slope, figures) if stated is None else stated
        return now_mm, u, expected

    def suspects(self, unit: Unit) -> tuple[Suspect, ...]:
        """Return the readings of this pass to take again, for the others contradict them."""
        return suspects_in(self.contradictions, unit)

    def contradicts(self, line: Line) -> bool:
        """Whether the other readings of this pass contradict this one."""
        return any(c.reading.method.name == line.method.name for c in self.contradictions)

    @property
    def offers_last(self) -> bool:
        """Whether the job was queued to be set as last time, and nothing is aimed at yet."""
        asked = self.job.note.startswith(AS_LAST_TIME)
        return asked and self.stage == "target" and not self.progress.targets

    @property
    def is_final(self) -> bool:
        """Whether the checklist that is due is the final one; a re-check has no other."""
        waits = self.stage == "waiting" and self.job.kind == "recheck"
        return waits or self.stage == "final check"

    @property
    def begins_final(self) -> bool:
        """Whether a re-check's final check has just begun, by its first tick."""
        return self.job.kind == "recheck" and self.stage == "final check"

    @property
    def checklist(self) -> tuple[CheckItem, ...]:
        """The checklist that is due at this stage, else nothing."""
        if self.is_final:
            return final_items(self.ski.has_wing, self.rules.final_now)
        return self.rules.received_now if self.stage in ("waiting", "received check") else ()

    @property
    def check_due(self) -> CheckItem | None:
        """The item of the checklist that is to be ticked next."""
        return next((i for i in self.checklist if i.key not in self.progress.ticked), None)

    @property
    def check_name(self) -> str:
        """What the checklist that is due is called."""
        if self.job.kind == "recheck":
            return "Re-check after the ride"
        return "Final check" if self.is_final else "Received check"

    @property
    def eyes_words(self) -> str:
        """Whose second pair of eyes looked at the ski, where the shop asks for one."""
        if not self.rules.second_eyes:
            return ""
        return f"Second pair of eyes: {clean(self.progress.eyes) or 'wanted first'}."

    @property
    def torque_words(self) -> str:
        """How the fastener of the item that is due is brought up, else nothing."""
        item = self.check_due
        return note_for(item.key, self.rules.torque) if item is not None else ""

    @property
    def within_words(self) -> str:
        """How surely the readings are within their tolerances, the least sure of them first."""
        sure = all(line.nearness in (None, "sure") for line in self.lines)
        return "Surely within tolerance" if sure else "Within tolerance, not clear of uncertainty"

    @property
    def no_turn_why(self) -> str:
        """Why no turn is to be made though the readings are not accepted."""
        if any(line.accepted_mm < 0 for line in self.lines if line.u_mm):
            return "the guard band fills the tolerance"
        return "no turn this coarse comes closer"

    @property
    def no_turn_words(self) -> str:
        """Why no turn is to be made though the readings are not accepted, and what to do."""
        why = self.no_turn_why
        more = "more repeats, or" if why.startswith("the guard") else "f for a finer turn,"
        return f"{why}: {more} k keeps it as it is"

    @property
    def wing_wanted_deg(self) -> float | None:
        """The wing's angle wanted in this job: one aimed at, else the baseline's; None without."""
        aimed = [f for f in self.facts if isinstance(f, rows.Mark) and f.kind == WING_AIM]
        live = [f for f in aimed if f.struck is None]
        if live:
            return float(live[-1].text)
        return self.baseline.wing_deg if self.baseline is not None else None

    @property
    def stage_words(self) -> str:
        """The stage in words, with its pass."""
        if self.job.kind == "recheck" and self.stage == "waiting":
            return "re-check"
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
    tools: Tools | None = None,
    guard: bool = False,
    last: LastSetting | None = None,
    rules: Rules = SHIPPED,
    marks: Sequence[tuple[str, Method]] = (),
) -> JobView:
    """Put a job's view together; ``methods`` are (id, method, tolerance_mm) in the ski's order.

    ``others`` are all methods of the blade, to tell which one a wrong reading was taken by.
    ``tools`` are what the readings were taken with, ``last`` how the ski left before, which is
    looked at while it is read as received. With ``guard`` there is a guard band. ``marks`` are the
    blade's coarse marks (id, method): they bear the readings out, are never due and never aimed at.
    """
    tools = tools or Tools()
    taken = taken_in_pass(methods, progress, progress.pass_number, tools)
    worth = _worth(taken, rig)
    received = worth
    if progress.pass_number:
        received = _worth(taken_in_pass(methods, progress, 0, tools), rig)
    struck = _struck(facts, progress.pass_number)
    lines = tuple(
        _line(i, m, tol, progress, rig, (taken.get(m.name), worth.get(m.name)),
              received.get(m.name), struck.get(i, ()), guard)
        for i, m, tol in methods
    )  # fmt: skip
    known = [worth[line.method.name] for line in lines if line.method.name in worth]
    coarse = marks_in_pass(marks, progress)
    borne_out = [m.reading for m in coarse if m.reading is not None]
    pose, result, why = _solve(rig, lines, (known, borne_out), progress, finest_turn)
    expected = _expected(rig, methods, others, progress, facts, tools)
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
        why,
        baseline,
        expected,
        tools,
        last.expected(rig, others) if last is not None else (),
        rules,
        beside(coarse, rig, known, pose, expected),
        contradicted(rig, [*known, *borne_out], pose, others, ski.unit),
    )


def _expected(
    rig: Rig,
    methods: Sequence[tuple[str, Method, float]],
    others: tuple[Method, ...],
    progress: Progress,
    facts: Sequence[rows.AnyFact],
    tools: Tools,
) -> tuple[Expected, ...]:
    """Return what the turns just made should have brought each reading to, while measuring."""
    if progress.stage != "measuring":
        return ()
    made = [f for f in facts if isinstance(f, rows.PassRow) and f.struck is None][-1]
    by_stud = {t.stud: t.turns for t in made.turns}
    taken = taken_in_pass(methods, progress, progress.pass_number - 1, tools)
    before = _worth(taken, rig)
    turns = [by_stud.get(s.name, 0.0) for s in rig.studs]
    return expected_readings(rig, tuple(before.values()), turns, others)


def taken_in_pass(
    methods: Sequence[tuple[str, Method, float]], progress: Progress, number: int, tools: Tools
) -> dict[str, Taken]:
    """Return what was taken in a pass by method name: values at 20 degrees where stated."""
    return tools.taken_in([(i, m) for i, m, _ in methods], progress.values.get(number, {}))


def standard_u_mm(
    methods: Sequence[tuple[str, Method, float]], progress: Progress, rig: Rig, tools: Tools
) -> dict[str, float]:
    """Return the standard uncertainty (mm) of each reading of the pass under way, by method id."""
    worth = _worth(taken_in_pass(methods, progress, progress.pass_number, tools), rig)
    return {i: worth[m.name].u_mm for i, m, _ in methods if m.name in worth}


def _worth(taken: Mapping[str, Taken], rig: Rig) -> dict[str, Reading]:
    """Return the readings by method name, each with what it is worth."""
    return {r.method.name: r for r in readings_of(tuple(taken.values()), rig)}


def _struck(facts: Sequence[rows.AnyFact], number: int) -> dict[str, tuple[rows.Reading, ...]]:
    """Return the readings of a pass that were struck out, by method id; not those taken back."""
    out: dict[str, tuple[rows.Reading, ...]] = {}
    for f in facts:
        if not isinstance(f, rows.Reading) or f.struck is None or f.pass_number != number:
            continue
        if f.struck.reason != TAKEN_BACK:
            out[f.method_id] = (*out.get(f.method_id, ()), f)
    return out


def _line(
    method_id: str,
    method: Method,
    tolerance_mm: float,
    progress: Progress,
    rig: Rig,
    now: tuple[Taken | None, Reading | None],
    was: Reading | None,
    struck: tuple[rows.Reading, ...],
    guard: bool,
) -> Line:
    number, (taken, worth) = progress.pass_number, now
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
        taken,
        was.u_mm if was is not None else None,
        struck,
        guard,
    )


def _solve(
    rig: Rig,
    lines: Sequence[Line],
    known: tuple[Sequence[Reading], Sequence[Reading]],
    progress: Progress,
    finest_turn: float,
) -> tuple[Pose | None, Plan | None, BenchError | None]:
    """Return the pose, the plan where targets are accepted, and what stands in the way.

    ``known`` are the ski's own readings and those by coarse marks.
    """
    if len(known[0]) < len(lines) or len(known[0]) < 3:
        return None, None, None
    readings = (*known[0], *known[1])
    try:
        if progress.stage in ("as received", "studs") and not progress.targets:
            return pose_of(rig, readings), None, None
        targets = tuple(
            Target(line.method, line.target_mm, line.aimed_within_mm)
            for line in lines
            if line.target_mm is not None
        )
        result = plan_of(rig, readings, targets, finest_turn)
        return result.fit.pose, without_marks(result), None
    except BenchError as why:
        return _pose_alone(rig, readings), None, why.with_traceback(None)


def _pose_alone(rig: Rig, readings: tuple[Reading, ...]) -> Pose | None:
    try:
        return pose_of(rig, readings)
    except BenchError:
        return None
