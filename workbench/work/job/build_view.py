"""How a job's view is put together from what was kept of it: readings, pose, plan and doubts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

from workbench.errors import BenchError, MissingPartError
from workbench.fin.frame import Pose
from workbench.fin.plan.guidance import ODD_TILT_RAD
from workbench.fin.plan.plan import Plan, Target
from workbench.fin.plan.uncertainty import Expected, expected_after
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import named
from workbench.frozen import dataclass
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.job_view import CoarseMark, JobView
from workbench.work.job.stages import Progress
from workbench.work.order.rigs import (
    expected_of,
    finer_of,
    fit_of,
    made_of,
    plan_of,
    usual_range_mm,
)
from workbench.work.order.round_records import TAKEN_BACK, live
from workbench.work.trust.job_reading import Line, readings_now
from workbench.work.trust.plausibility import Contradiction, contradictions
from workbench.work.trust.reading_budget import Taken, readings_of
from workbench.work.trust.reading_tools import Tools, value_mm

if TYPE_CHECKING:
    from workbench.work.learn.what_learnt import NextAct

Learn: TypeAlias = "Callable[[Plan, Sequence[Target], float], NextAct | None]"
"""What gives the next act by what was learnt, from the plain turns, the targets and the finest."""

NamedMethod: TypeAlias = tuple[str, Method, float]
"""A method of a ski: its id, the method and its tolerance (mm)."""


@dataclass(frozen=True, slots=True)
class Sources:
    """What a view is worked out from, beside the facts that it shows.

    ``methods`` are the ski's, in its order; ``others`` all of its blade, to tell which one a wrong
    reading was taken by; ``marks`` the blade's coarse marks (id, method), which bear the readings
    out, are never due and never aimed at. ``other_way`` are the studs that turned the other way
    than the last round says, for their hand was written down wrong then. ``left``: what each would
    read as the ski left before, which is looked at while it is read as received. ``ranges``: the
    range (mm) read so on this blade so far, by method id, where nothing else tells what to expect.
    ``guard``: whether the shop keeps a guard band.
    """

    methods: Sequence[NamedMethod]
    others: tuple[Method, ...]
    marks: Sequence[tuple[str, Method]]
    other_way: frozenset[str]
    left: tuple[Expected, ...]
    ranges: Mapping[str, tuple[float, float]]
    guard: bool


def worked_out(view: JobView, of: Sources, learn: Learn | None = None) -> JobView:
    """Return a view of what was kept with all that follows from it: readings, pose, turns, doubts.

    ``learn`` is given where turns go by what was learnt.
    """
    rig, at = view.rig, view.progress
    lines = _lines(view, of)
    known = readings_now(lines)
    in_round = at.values.get(at.pass_number, {})
    coarse = [CoarseMark(i, m, tuple(in_round.get(i, ()))) for i, m in of.marks if m.is_coarse]
    borne_out = [m.reading for m in coarse if m.reading is not None]
    pose, plan, why, finer, learnt = _solve(view, lines, (known, borne_out), learn)
    measuring = view.stage == "measuring" and not at.state.stale
    turned = view.stage == "turning" and at.pass_number and not at.step
    last = _last_pass(view, of) if measuring or turned else None
    # What the turns just made should have brought each reading to, while measuring; then until
    # studs are turned again, which turns the readings bear out.
    expected = expected_of(rig, *last, of.others) if last and measuring else ()
    return replace(
        view,
        lines=lines,
        pose=pose,
        plan=plan,
        why=why,
        expected=expected,
        left=of.left,
        marks=_expected_marks(coarse, rig, known, pose, expected),
        contradictions=_contradicted(rig, [*known, *borne_out], pose, of.others, view.ski.unit),
        made=made_of(rig, *last, tuple(known)) if last and turned else (),
        finer=finer,
        learnt=learnt,
    )


def _last_pass(view: JobView, of: Sources) -> tuple[tuple[Reading, ...], tuple[float, ...]] | None:
    """Return the readings before the last round, and its turns by stud (positive is in).

    None where it was turned by hand: its turns are not known.
    """
    made = live(view.facts, rows.PassRow)[-1]
    if not made.turns:
        return None
    by_stud = {t.stud: -t.turns if t.stud in of.other_way else t.turns for t in made.turns}
    number = view.progress.pass_number - 1
    before = tuple(_known(_taken(view, of, number), view.rig).values())
    turns = tuple(by_stud.get(named(s.name, tuple(by_stud)) or "", 0.0) for s in view.rig.studs)
    return before, turns


def _taken(view: JobView, of: Sources, number: int) -> dict[str, Taken]:
    return _taken_in(of.methods, view.progress, number, view.tools)


def _taken_in(
    methods: Sequence[NamedMethod], progress: Progress, number: int, tools: Tools
) -> dict[str, Taken]:
    """Return what was taken in a round by method name: values at 20 degrees where stated."""
    return tools.taken_in([(i, m) for i, m, _ in methods], progress.values.get(number, {}))


def standard_u_mm(
    methods: Sequence[NamedMethod], progress: Progress, rig: Rig, tools: Tools
) -> dict[str, float]:
    """Return the standard uncertainty (mm) of each reading of the round under way, by method id."""
    known = _known(_taken_in(methods, progress, progress.pass_number, tools), rig)
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


def _lines(view: JobView, of: Sources) -> tuple[Line, ...]:
    at, rig = view.progress, view.rig
    number = at.pass_number
    taken = _taken(view, of, number)
    now = _known(taken, rig)
    received = _known(_taken(view, of, 0), rig) if number else now
    struck = _struck(view.facts, number)
    left_mm = {e.method.name: e.value_mm for e in of.left} if view.job.kind == "recheck" else {}
    out = []
    for method_id, method, tolerance_mm in of.methods:
        known, was = now.get(method.name), received.get(method.name)
        received_mm, target = at.mean_mm(0, method_id), at.targets.get(method_id)
        kept_mm = received_mm if at.targets else None
        out.append(
            Line(
                method_id=method_id,
                method=method,
                usual_mm=usual_range_mm(method, rig.blade),
                received_mm=received_mm,
                latest=at.values.get(number, {}).get(method_id, ()),
                now_mm=known.value_mm if known is not None else None,
                u_mm=known.u_mm if known is not None else None,
                target_mm=target.mm if target is not None else kept_mm,
                tolerance_mm=target.tolerance_mm if target is not None else tolerance_mm,
                target=target,
                taken=taken.get(method.name),
                received_u_mm=was.u_mm if was is not None else None,
                struck=struck.get(method_id, ()),
                guard=of.guard,
                seen_mm=of.ranges.get(method_id),
                locked_mm=_locked_mm(at, method_id),
                left_mm=left_mm.get(method.name),
            )
        )
    return tuple(out)


def _locked_mm(progress: Progress, method_id: str) -> float | None:
    """Return what was read once the clamp bolts were tight (mm, at 20 degrees where stated)."""
    locked = progress.locked.get(method_id)
    if locked is None:
        return None
    return value_mm(locked.mm, progress.temperatures.get(locked.temperature_id or ""))


def _solve(
    view: JobView,
    lines: Sequence[Line],
    known: tuple[Sequence[Reading], Sequence[Reading]],
    learn: Learn | None,
) -> tuple[Pose | None, Plan | None, BenchError | None, float | None, NextAct | None]:
    """Return the pose, the plan where targets are accepted, what is in the way, which finer
    turn would do where this one does not, and the next act by what was learnt.

    ``known`` are the ski's own readings and those by coarse marks.
    """
    rig, progress, finest_turn = view.rig, view.progress, view.finest_turn
    readings = (*known[0], *known[1])
    if rig.missing:
        why = MissingPartError(*rig.missing) if progress.stage in _BEFORE_WITHIN else None
        return _pose_alone(rig, readings), None, why, None, None
    if len(known[0]) < len(lines) or len(known[0]) < 3:
        return None, None, None, None, None
    if progress.state.elsewhere:  # the blade is being moved by another job's turns
        return _pose_alone(rig, readings), None, None, None, None
    try:
        if progress.stage in ("as received", "studs") and not progress.targets:
            return fit_of(rig, readings).pose, None, None, None, None
        targets = tuple(
            Target(line.method, line.target_mm, line.aimed_within_mm, limit_mm=line.tolerance_mm)
            for line in lines
            if line.target_mm is not None
        )
        result = plan_of(rig, readings, targets, finest_turn)
        finer = None if result.kept else finer_of(rig, readings, targets, finest_turn)
        plain = _without_marks(result)
        learnt = learn(plain, targets, finest_turn) if learn is not None and targets else None
        shown = plain if learnt is None else learnt.plan
        return result.fit.pose, shown, None, finer, learnt
    except BenchError as why:
        return _pose_alone(rig, readings), None, why.with_traceback(None), None, None


_BEFORE_WITHIN = (
    "waiting", "received check", "as received", "studs", "target", "turning", "measuring",
)  # fmt: skip
"""The stages at which turns may still come."""


def _pose_alone(rig: Rig, readings: tuple[Reading, ...]) -> Pose | None:
    try:
        return fit_of(rig, readings).pose
    except BenchError:
        return None


# -- coarse marks, and what more than three readings tell -----------------------------------------


def _expected_marks(
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


def _without_marks(plan: Plan) -> Plan:
    """Return a plan that promises nothing of coarse marks: they only bear the others out."""
    steps = tuple(
        replace(s, expect=tuple((m, mm) for m, mm in s.expect if not m.is_coarse))
        for s in plan.steps
    )
    predictions = tuple(p for p in plan.predictions if not p.method.is_coarse)
    return replace(plan, steps=steps, predictions=predictions)


def _contradicted(
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
