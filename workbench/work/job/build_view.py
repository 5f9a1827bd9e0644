"""How a job's view is put together from what was kept of it: readings, pose, plan and doubts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from workbench.errors import BenchError
from workbench.fin.frame.pose import Pose
from workbench.fin.parts.studs import named
from workbench.fin.plan.expectation import Expected
from workbench.fin.plan.guidance import Plan, Rig, Target
from workbench.fin.plan.turns_made import Explanation
from workbench.fin.pose.fit import Reading
from workbench.fin.reading.observe import Method
from workbench.records.store import rows
from workbench.work.job.extra_readings import (
    beside,
    contradicted,
    marks_in_pass,
    without_marks,
)
from workbench.work.job.job_view import JobView
from workbench.work.job.last_setting import LastSetting
from workbench.work.job.ski_state import TAKEN_BACK
from workbench.work.job.stages import Progress
from workbench.work.order.rigs import usual_range_mm
from workbench.work.order.shop_policy import SHIPPED, Rules
from workbench.work.order.solved_jobs import (
    expected_of,
    finer_of,
    fit_of,
    made_of,
    plan_of,
)
from workbench.work.trust.caliper_figures import Tools
from workbench.work.trust.job_reading import Line
from workbench.work.trust.reading_budget import Taken, readings_of
from workbench.work.trust.temperature_correction import value_mm


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
    corrected: tuple[str, ...] = (),
    other_way: frozenset[str] = frozenset(),
    seen: rows.Seen = rows.NOTHING_SEEN,
    has_last: bool = False,
    ranges: Mapping[str, tuple[float, float]] | None = None,
    stand_in: tuple[str, ...] = (),
    wing_hold: str = "",
) -> JobView:
    """Put a job's view together; ``methods`` are (id, method, tolerance_mm) in the ski's order.

    ``others`` are all methods of the blade, to tell which one a wrong reading was taken by.
    ``tools`` are what the readings were taken with, ``last`` how the ski left before, which is
    looked at while it is read as received. With ``guard`` there is a guard band. ``marks`` are the
    blade's coarse marks (id, method): they bear the readings out, are never due and never aimed at.
    ``corrected`` says which parts are shown as they were, ``other_way`` which studs turned the
    other way than the last round says, for their hand was written down wrong then. ``seen`` is what
    there was of the ski meanwhile. ``has_last``: whether the ski was signed off here before.
    ``ranges``: the range (mm) read so on this blade so far, by method id, where nothing else tells
    what to expect. ``stand_in`` names the parts that are invented.
    """
    tools = tools or Tools()
    taken = taken_in_pass(methods, progress, progress.pass_number, tools)
    by_name = _known(taken, rig)
    received = by_name
    if progress.pass_number:
        received = _known(taken_in_pass(methods, progress, 0, tools), rig)
    struck = _struck(facts, progress.pass_number)
    left = last.expected(rig, others) if last is not None else ()
    left_mm = {e.method.name: e.value_mm for e in left} if job.kind == "recheck" else {}
    lines = tuple(
        _line(i, m, tol, progress, rig, (taken.get(m.name), by_name.get(m.name)),
              received.get(m.name), struck.get(i, ()), guard, (ranges or {}).get(i),
              left_mm.get(m.name))
        for i, m, tol in methods
    )  # fmt: skip
    known = [by_name[line.method.name] for line in lines if line.method.name in by_name]
    coarse = marks_in_pass(marks, progress)
    borne_out = [m.reading for m in coarse if m.reading is not None]
    pose, result, why, finer = _solve(rig, lines, (known, borne_out), progress, finest_turn)
    expected = _expected(rig, methods, others, progress, facts, tools, other_way)
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
        left,
        rules,
        beside(coarse, rig, known, pose, expected),
        contradicted(rig, [*known, *borne_out], pose, others, ski.unit),
        corrected,
        seen,
        _made(rig, methods, progress, facts, tools, other_way, known),
        has_last,
        stand_in,
        finer,
        wing_hold,
    )


def _expected(
    rig: Rig,
    methods: Sequence[tuple[str, Method, float]],
    others: tuple[Method, ...],
    progress: Progress,
    facts: Sequence[rows.AnyFact],
    tools: Tools,
    other_way: frozenset[str],
) -> tuple[Expected, ...]:
    """Return what the turns just made should have brought each reading to, while measuring."""
    if progress.stage != "measuring" or progress.state.stale:
        return ()
    before, turns = _last_pass(rig, methods, progress, facts, tools, other_way)
    return expected_of(rig, before, turns, others)


def _made(
    rig: Rig,
    methods: Sequence[tuple[str, Method, float]],
    progress: Progress,
    facts: Sequence[rows.AnyFact],
    tools: Tools,
    other_way: frozenset[str],
    known: Sequence[Reading],
) -> tuple[Explanation, ...]:
    """Return which turns the readings bear out, from the last of a round until studs are turned."""
    if progress.stage != "turning" or not progress.pass_number or progress.step:
        return ()
    before, turns = _last_pass(rig, methods, progress, facts, tools, other_way)
    return made_of(rig, before, turns, tuple(known))


def _last_pass(
    rig: Rig,
    methods: Sequence[tuple[str, Method, float]],
    progress: Progress,
    facts: Sequence[rows.AnyFact],
    tools: Tools,
    other_way: frozenset[str],
) -> tuple[tuple[Reading, ...], tuple[float, ...]]:
    """Return the readings before the last round, and its turns by stud (positive is in)."""
    made = [f for f in facts if isinstance(f, rows.PassRow) and f.struck is None][-1]
    by_stud = {t.stud: -t.turns if t.stud in other_way else t.turns for t in made.turns}
    taken = taken_in_pass(methods, progress, progress.pass_number - 1, tools)
    before = tuple(_known(taken, rig).values())
    turns = tuple(by_stud.get(named(s.name, tuple(by_stud)) or "", 0.0) for s in rig.studs)
    return before, turns


def taken_in_pass(
    methods: Sequence[tuple[str, Method, float]], progress: Progress, number: int, tools: Tools
) -> dict[str, Taken]:
    """Return what was taken in a round by method name: values at 20 degrees where stated."""
    return tools.taken_in([(i, m) for i, m, _ in methods], progress.values.get(number, {}))


def standard_u_mm(
    methods: Sequence[tuple[str, Method, float]], progress: Progress, rig: Rig, tools: Tools
) -> dict[str, float]:
    """Return the standard uncertainty (mm) of each reading of the round under way, by method id."""
    known = _known(taken_in_pass(methods, progress, progress.pass_number, tools), rig)
    return {i: known[m.name].u_mm for i, m, _ in methods if m.name in known}


def _known(taken: Mapping[str, Taken], rig: Rig) -> dict[str, Reading]:
    """Return the readings by method name, each with its uncertainty."""
    return {r.method.name: r for r in readings_of(tuple(taken.values()), rig)}


def _struck(facts: Sequence[rows.AnyFact], number: int) -> dict[str, tuple[rows.Reading, ...]]:
    """Return the readings of a round that were struck out, by method id; not those taken back."""
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
    seen_mm: tuple[float, float] | None,
    left_mm: float | None,
) -> Line:
    number, (taken, known) = progress.pass_number, now
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
        known.value_mm if known is not None else None,
        known.u_mm if known is not None else None,
        aim,
        target.tolerance_mm if target is not None else tolerance_mm,
        target,
        taken,
        was.u_mm if was is not None else None,
        struck,
        guard,
        seen_mm,
        _locked_mm(progress, method_id),
        left_mm,
    )


def _locked_mm(progress: Progress, method_id: str) -> float | None:
    """Return what was read once the clamp bolts were tight (mm, at 20 degrees where stated)."""
    locked = progress.locked.get(method_id)
    if locked is None:
        return None
    return value_mm(locked.mm, progress.temperatures.get(locked.temperature_id or ""))


def _solve(
    rig: Rig,
    lines: Sequence[Line],
    known: tuple[Sequence[Reading], Sequence[Reading]],
    progress: Progress,
    finest_turn: float,
) -> tuple[Pose | None, Plan | None, BenchError | None, float | None]:
    """Return the pose, the plan where targets are accepted, what is in the way, and which finer
    turn would do where this one does not.

    ``known`` are the ski's own readings and those by coarse marks.
    """
    if len(known[0]) < len(lines) or len(known[0]) < 3:
        return None, None, None, None
    readings = (*known[0], *known[1])
    if progress.state.elsewhere:  # the blade is being moved by another job's turns
        return _pose_alone(rig, readings), None, None, None
    try:
        if progress.stage in ("as received", "studs") and not progress.targets:
            return fit_of(rig, readings).pose, None, None, None
        targets = tuple(
            Target(line.method, line.target_mm, line.aimed_within_mm, limit_mm=line.tolerance_mm)
            for line in lines
            if line.target_mm is not None
        )
        result = plan_of(rig, readings, targets, finest_turn)
        finer = None if result.kept else finer_of(rig, readings, targets, finest_turn)
        return result.fit.pose, without_marks(result), None, finer
    except BenchError as why:
        return _pose_alone(rig, readings), None, why.with_traceback(None), None


def _pose_alone(rig: Rig, readings: tuple[Reading, ...]) -> Pose | None:
    try:
        return fit_of(rig, readings).pose
    except BenchError:
        return None
