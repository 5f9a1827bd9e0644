"""What to do next at the bench, and how sure it is to be on target before and after it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from workbench.fin.frame import Pose
from workbench.fin.learn.edges import Edges
from workbench.fin.learn.replay import InJob
from workbench.fin.learn.seating import Case, Seating, mean_of
from workbench.fin.learn.state import OFFSETS, effect_of
from workbench.fin.learn.ways import Ways, all_within, likely_cases, within
from workbench.fin.plan.plan import Goal, Plan, Step, StudTurn, Target, goals_of
from workbench.fin.studs import seat
from workbench.frozen import dataclass
from workbench.measure.lengths import check_finest
from workbench.measure.linalg import multiply

Do = Literal["turn", "leave", "push_home", "measure_again"]

DECLARED = 0.5
"""On target is said from this probability on, and with it."""

SURE, DOUBTFUL = 0.95, (0.15, 0.9)
"""A reading less sure than this is taken again while the whole lies between these."""

FIRST_TAKES = 3
"""Takes of each reading before the first turn of a job, and the most that are asked for later."""

GAIN = 0.05
"""What pushing the blade home must gain in probability."""


@dataclass(frozen=True, slots=True)
class Act:
    """The next act. ``turns`` are by stud, in the rig's order (positive is in).

    ``needed_mm`` are the moves of the studs that would put the readings right on their targets, and
    ``exact`` the turns that make them, backlash included.
    ``stud`` is the one at which the blade seems not to be home; ``methods`` are the places of the
    readings to take again. ``p_now`` is the probability that all targets are within tolerance as
    the blade is now, ``p_after`` that they are after the turns.
    """

    do: Do
    turns: tuple[float, ...]
    needed_mm: tuple[float, ...]
    exact: tuple[float, ...]
    p_now: float
    p_after: float
    stud: int | None = None
    methods: tuple[int, ...] = ()


def decide(
    job: InJob, targets: Sequence[Target], finest_turn: float, *, may_ask: bool = True
) -> Act:
    """Return the next act of a job after its last seating, which has a pose.

    ``may_ask`` tells that readings may be asked for again.

    Raises:
        InputError: a target without a reading, two for one method, or an odd ``finest_turn``.
        OutOfReachError: the blade cannot get there.
    """
    check_finest(finest_turn, "finest_turn", least=0.0)
    known, edges, seating = job.learnt.known, job.learnt.edges, job.seating
    assert seating is not None
    assert edges is not None
    goals = _goals(edges, seating, targets)
    now = _Now(seating, goals)
    p_now = now.together()
    ways = Ways(job.learnt.rig, edges, seating, goals, finest_turn, known)
    turns = ways.best()
    needed, exact = ways.exact()
    again = _again(job, seating, now, p_now) if may_ask else ()
    if again:
        after = ways.expected(turns) if any(turns) else p_now
        return Act("measure_again", turns, needed, exact, p_now, after, None, again)
    if p_now >= DECLARED:
        return Act("leave", (0.0,) * 3, needed, exact, p_now, p_now)
    p_after = ways.expected(turns)
    if any(turns):
        return Act("turn", turns, needed, exact, p_now, p_after)
    # No turns are made: what is left to gain is a seating that is home.
    if p_after > p_now + GAIN:
        stud = max(range(3), key=lambda j: seating.probability("gap", j))
        return Act("push_home", turns, needed, exact, p_now, p_after, stud)
    return Act("leave", turns, needed, exact, p_now, p_now)


def _goals(edges: Edges, seating: Seating, targets: Sequence[Target]) -> list[Goal]:
    """Return a goal for each reading; what is held is held where it was read."""
    sight = seating.sight
    out = []
    for i, goal in enumerate(goals_of(sight.fit, targets)):
        if goal.role == "held":
            reading, seen = sight.readings[i], sight.fit.observations[i]
            here = reading.value_mm
            if len(sight.readings) > 3:
                moved = edges.moved(mean_of(seating.states)[OFFSETS:])
                offset = moved.offset(reading.method, seen, sight.fit.pose)
                here = seen.value_mm + offset.mm
            held = Target(reading.method, here, goal.target.tolerance_mm)
            goal = Goal(held, "held", goal.follows_reading, goal.u_mm)
        out.append(goal)
    return out


def _again(job: InJob, seating: Seating, now: _Now, p_now: float) -> tuple[int, ...]:
    """Return the places of the readings to take again."""
    taken, known = job.taken, job.learnt.known
    if not known.take_mm:
        return ()
    few = [
        i for i, t in enumerate(taken) if len(t.values_mm) < FIRST_TAKES and not t.method.is_coarse
    ]
    if not job.turned_yet and few and p_now < DOUBTFUL[1]:
        return tuple(few)
    misread = [i for i in range(len(taken)) if seating.probability("misread", i) > 0.5]
    if misread and any(i in few for i in misread):
        return tuple(i for i in misread if i in few)
    split = [i for i in few if taken[i].is_apart(known)]
    if split:
        return tuple(split)
    if DOUBTFUL[0] < p_now < DOUBTFUL[1]:
        each = now.each()
        return tuple(i for i in few if (p := each[i]) is not None and p < SURE)
    return ()


class _Now:
    """The true readings of this seating, each hypothesis by itself."""

    def __init__(self, seating: Seating, goals: Sequence[Goal]) -> None:
        self._seating = seating
        self._goals = goals
        self._aimed = [i for i, g in enumerate(goals) if g.role == "target"]
        likely = likely_cases(seating)
        whole = math.fsum(case.probability for case in likely)
        self._cases = [
            (case.probability / whole, *_true_readings(seating, case)) for case in likely
        ]

    def together(self) -> float:
        """Return the probability that all targets are within tolerance."""
        return sum(
            p
            * all_within(
                [mean[i] - self._goals[i].target.value_mm for i in self._aimed],
                [[cov[i][j] for j in self._aimed] for i in self._aimed],
                [self._goals[i].target.tolerance_mm for i in self._aimed],
            )
            for p, mean, cov in self._cases
        )

    def each(self) -> tuple[float | None, ...]:
        """Return the probability of each target alone; None for a reading without one."""
        return tuple(
            sum(
                p * within(mean[i] - g.target.value_mm, cov[i][i], g.target.tolerance_mm)
                for p, mean, cov in self._cases
            )
            if i in self._aimed
            else None
            for i, g in enumerate(self._goals)
        )


def _true_readings(seating: Seating, case: Case) -> tuple[list[float], list[list[float]]]:
    """Return mean and covariance (mm) of the readings without the caliper's error."""
    sight = seating.sight
    variances = list(sight.variances_mm2)
    if case.added_mm2:
        variances[case.hypothesis.subject] += case.added_mm2
    n = len(variances)
    inverse_s, pull = case.solved()
    # The caliper's errors are unknowns like the state: what was not expected tells of them by their
    # covariance with the travels read, and so much is taken off each reading.
    back = [[variances[i] * sight.by_reading[j][i] for j in range(3)] for i in range(n)]
    mean = [
        r.value_mm - sum(b * p for b, p in zip(row, pull, strict=True))
        for r, row in zip(sight.readings, back, strict=True)
    ]
    through = multiply(back, inverse_s)
    cov = [
        [
            (variances[i] if i == j else 0.0)
            - sum(a * b for a, b in zip(through[i], back[j], strict=True))
            for j in range(n)
        ]
        for i in range(n)
    ]
    return mean, cov


# -- an act in the form of every plan --------------------------------------------------------------


def plan_of_act(plain: Plan, job: InJob, act: Act) -> Plan:
    """Return ``plain``, the geometric answer, with the turns and the predictions of ``act``.

    What was read and what is aimed at stay as they are; the readings to expect are those that the
    studs' learnt leads, backlash and edges lead to.
    """
    learnt = job.learnt
    state, edges, rig, known = learnt.state, learnt.edges, learnt.rig, learnt.known
    assert state is not None
    assert edges is not None
    turns = [
        StudTurn(t.stud, needed, exact, n, t.u_turns)
        for t, needed, exact, n in zip(
            plain.turns, act.needed_mm, act.exact, act.turns, strict=True
        )
    ]

    def expected(made: Sequence[float]) -> tuple[Pose, list[float]]:
        moved = effect_of(state, rig, made, known).moved_mm
        at = [t + m for t, m in zip(state.travels_mm, moved, strict=True)]
        pose = seat(rig.studs, rig.blade, at, plain.fit.pose)
        out = []
        for p in plain.predictions:
            seen = rig.observe(p.method, pose)
            offset = edges.moved(state.offsets_mm).offset(p.method, seen, pose)
            out.append(seen.value_mm + offset.mm)
        return pose, out

    after, readings = expected(act.turns)
    if not any(act.turns) and act.do != "push_home":
        readings = [p.now_mm for p in plain.predictions]
    predictions = tuple(
        replace(p, after_mm=mm)
        for p, mm in zip(plain.predictions, readings, strict=True)
    )  # fmt: skip
    steps: list[Step] = [Step("loosen")] if act.do in ("turn", "push_home") else []
    if act.do == "turn":
        made = [0.0] * 3
        for j in sorted((j for j in range(3) if act.turns[j]), key=lambda j: act.turns[j] > 0):
            made[j] = act.turns[j]
            _, at_step = expected(made)
            methods = [p.method for p in plain.predictions]
            steps.append(Step("turn", turns[j], tuple(zip(methods, at_step, strict=True))))
    if act.do in ("turn", "push_home"):
        steps += [Step("seat"), Step("snug")]
    steps.append(Step("leave") if act.do == "leave" else Step("measure"))
    remarks = tuple(r for r in plain.remarks if r.code not in ("still_off", "coarse", "within"))
    return replace(
        plain, after=after, turns=tuple(turns), predictions=predictions, steps=tuple(steps),
        remarks=remarks,
    )  # fmt: skip
