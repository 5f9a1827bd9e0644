"""The plan of the turns that a bench that learns decided on, in the form of every plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from workbench.fin.frame import Pose
from workbench.fin.learn.decide import Act
from workbench.fin.learn.replay import InJob
from workbench.fin.learn.state import effect_of
from workbench.fin.parts.studs import seat
from workbench.fin.plan.plan import Plan, Step, StudTurn


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
