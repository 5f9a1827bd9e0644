"""An order with the history of its block and blade: the next act, and what the rounds taught.

A history is a file of JSON lines, one for each round, oldest first; README.md shows one. Each line
is read strictly, wholly used or refused; what is wrong is told by its line and key.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from workbench.errors import InputError
from workbench.fin.frame import Pose
from workbench.fin.learn.decide import DECLARED, Act, decide, plan_of_act
from workbench.fin.learn.replay import (
    InJob,
    Learnt,
    Round,
    ThreadQuestion,
    begin,
    follow,
    read_again,
    taught,
)
from workbench.fin.learn.seating import Hypothesis
from workbench.fin.learn.sight import Takes
from workbench.fin.learn.state import ORDINARY
from workbench.fin.plan.plan import Plan
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import fit_pose
from workbench.frozen import dataclass
from workbench.measure.display import Dial, dial_text, fine_text, turns_text
from workbench.measure.lengths import parse_turn
from workbench.measure.units import MM_PER, Unit
from workbench.work.files.table_files import (
    MISSING,
    Table,
    as_number,
    check_sane,
    no_constant,
    no_doubles,
    read_text,
)
from workbench.work.order.order_answers import order_plan, turns_report, turns_table
from workbench.work.order.order_file import Order, read_takes
from workbench.work.text.words import clean

_LARGEST_BYTES = 50_000_000
MOST_TURNS = 40.0
"""More turns than any stud makes in one round."""

_LEAST_READINGS = 3
"""Fewer fix no pose."""


def read_rounds(path: str | Path, order: Order) -> tuple[Round, ...]:
    """Return the rounds in a history file of the order's block and blade, in their order.

    Raises:
        InputError: anything wrong in it, by its line and key.
    """
    rounds: list[Round] = []
    begun: set[str] = set()
    last: tuple[datetime, str] | None = None
    pose: Pose | None = None
    for number, line in enumerate(_text(path).split("\n"), 1):
        if not line.strip():
            continue
        table = Table(_parsed(line, f"history line {number}"), f"history line {number}", order.unit)
        each = _round(table, order)
        if not each.before and each.job not in begun:
            accepted = "the takes before the first round of a job"
            raise InputError(table.where("before"), MISSING, accepted)
        last = _in_time(table, last)
        table.done()
        for key, taken in (("before", each.before), ("after", each.after)):
            if taken:
                pose = _pose(taken, order, pose, table.where(key))
        begun.add(each.job)
        rounds.append(each)
    return tuple(rounds)


def _text(path: str | Path) -> str:
    try:
        return read_text(path, _LARGEST_BYTES)
    except InputError as why:
        raise InputError("--history", why.value, why.accepted) from None


def _parsed(line: str, where: str) -> object:
    try:
        data = json.loads(line, parse_constant=no_constant, object_pairs_hook=no_doubles)
        check_sane({"": data})
    except json.JSONDecodeError as why:
        raise InputError(where, f"column {why.colno}: {why.msg}", "a JSON object") from None
    except InputError as why:
        raise InputError(f"{where}: {why.field}", why.value, why.accepted) from None
    except (RecursionError, ValueError):
        raise InputError(where, "not readable", "a JSON object with numbers of sane size") from None
    return data


def _round(table: Table, order: Order) -> Round:
    unit = table.text("unit", f"'{order.unit}', the order's unit")
    if unit != order.unit:
        raise InputError(table.where("unit"), unit, f"'{order.unit}', the order's unit")
    blade = table.text("blade", default=order.rig.blade.name)
    if blade != order.rig.blade.name:
        accepted = f"'{order.rig.blade.name}', the order's blade, or no such key"
        raise InputError(table.where("blade"), blade, accepted)
    job = table.name("job")
    turns = _turns(table.table("turns", "a table of turns by stud"), order)
    before = _takes(table, "before", order) if table.has("before") else ()
    after = _takes(table, "after", order)
    return Round(job, turns, after, before, table.truth("settled"))


def _turns(table: Table, order: Order) -> tuple[float, float, float]:
    names = [stud.name for stud in order.rig.studs]
    accepted = f"one of the studs: {', '.join(map(repr, names))}"
    out = dict.fromkeys(names, 0.0)
    for name in table.names():
        if name not in out:
            raise InputError(table.where(name), name, accepted)
        where, say = table.where(name), f"turns from -{MOST_TURNS:g} to {MOST_TURNS:g}, in positive"
        value = table.raw(name, say)
        turns = parse_turn(value, where) if isinstance(value, str) else as_number(value, where, say)
        if abs(turns) > MOST_TURNS:
            raise InputError(where, value, say)
        out[name] = turns
    one, two, three = out.values()
    return (one, two, three)


def _takes(line: Table, key: str, order: Order) -> tuple[Takes, ...]:
    table = line.table(key, "the takes by method")
    known = {m.name: m for m in order.methods}
    out = []
    for name in table.names():
        if name not in known:
            accepted = f"one of the order's methods: {', '.join(map(repr, known))}"
            raise InputError(table.where(name), name, accepted)
        out.append(Takes(known[name], read_takes(table, name)))
    fine = [t.method.name for t in out if not t.method.is_coarse]
    if len(out) < _LEAST_READINGS:
        accepted = f"{_LEAST_READINGS} readings or more, which fix where the blade is"
        raise InputError(table.path, ", ".join(fine) or MISSING, accepted)
    return tuple(out)


def _pose(taken: Sequence[Takes], order: Order, near: Pose | None, where: str) -> Pose:
    """Return where these takes put the blade; readings that no pose gives are refused."""
    readings = [Reading(t.method, *t.summary(ORDINARY)) for t in taken]
    try:
        return fit_pose(order.rig.blade, order.rig.base, readings, near).pose
    except NoPoseError as why:
        shown = ", ".join(f"{r.method.name} {r.value_mm / MM_PER[order.unit]:g}" for r in readings)
        accepted = f"readings that this blade can give together ({why.reason})"
        raise InputError(where, shown, accepted) from None


def _in_time(table: Table, last: tuple[datetime, str] | None) -> tuple[datetime, str] | None:
    """Return a line's time, which may not lie before the last one given."""
    if not table.has("at"):
        return last
    accepted = "a date and time such as 2026-05-04T09:30:00+00:00"
    text = table.text("at", accepted)
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(table.where("at"), text, accepted) from None
    if at.tzinfo is None:
        at = at.replace(tzinfo=UTC)
    if last is not None and at < last[0]:
        raise InputError(table.where("at"), text, f"no time before the line above's, {last[1]}")
    return at, text


# -- what they taught, and the next act ------------------------------------------------------------

LEAST_SHOWN = 0.01
"""Hypotheses less likely than this are left out of the text."""

TOLD = 2.0
"""Standard uncertainties by which a lead must differ to be told from its thread."""


@dataclass(frozen=True, slots=True)
class Advice:
    """The next act of a job, the plan of its turns, and the job it was decided from."""

    order: Order
    job: InJob
    act: Act
    plan: Plan


def job_now(
    learnt: Learnt, own: Sequence[Round], taken: Sequence[Takes], settled: bool = False
) -> InJob:
    """Return a job as its ``own`` rounds so far and the readings ``taken`` since leave it.

    ``settled``: its studs were settled before the first reading.

    Raises:
        NoPoseError: the readings fix no pose.
    """
    job: InJob | None = None
    if own:
        learnt, job = follow(learnt, own)
    job = read_again(job, taken) if job is not None else begin(learnt, taken, settled)
    return begin(job.learnt, taken) if job.seating is None else job


def advice_of(order: Order, rounds: Sequence[Round]) -> Advice:
    """Return the next act of an order, given the kept rounds of its block and blade.

    Rounds of the order's own job are its rounds so far; all others only teach.

    Raises:
        InputError: a job's first round without the takes before it.
        NoPoseError: the order's readings fix no pose.
        OutOfReachError: the blade or a stud cannot get there.
    """
    plain = order_plan(order)
    now = tuple(Takes(t.method, t.values_mm, t.u_mm) for t in order.taken)
    used = {t.method.name for t in now}
    used |= {t.method.name for r in rounds for t in (*r.before, *r.after)}
    methods = tuple(m for m in order.methods if m.name in used)
    own = [r for r in rounds if order.job and r.job == order.job]
    others = tuple(r for r in rounds if not (order.job and r.job == order.job))
    job = job_now(taught(order.rig, methods, others), own, now, order.settled)
    act = decide(job, order.targets, order.finest_turn)
    return Advice(order, job, act, plan_of_act(plain, job, act))


def advice_report(advice: Advice) -> dict[str, Any]:
    """Return an order's turns with the next act, what was learnt and how the seating looks."""
    order, job, act = advice.order, advice.job, advice.act
    learnt = job.learnt
    names = [stud.name for stud in order.rig.studs]
    studs = []
    for j, name in enumerate(names):
        ratio, u_ratio = learnt.lead_ratio(j)
        backlash, u_backlash = learnt.backlash(j)
        studs.append(
            {
                "name": name,
                "lead_ratio": ratio,
                "u_lead_ratio": u_ratio,
                "backlash": backlash,
                "u_backlash": u_backlash,
                "rounds": learnt.counts[j],
            }
        )
    question = learnt.question
    return turns_report(order, advice.plan) | {
        "act": {
            "do": act.do,
            "stud": None if act.stud is None else names[act.stud],
            "methods": [job.taken[i].method.name for i in act.methods],
            "turns": dict(zip(names, act.turns, strict=True)),
            "p_within": act.p_now,
            "p_within_after": act.p_after,
        },
        "learned": {
            "studs": studs,
            "rounds": learnt.rounds,
            "thread_question": None if question is None else _question(question, names),
        },
        "seating": [_case(each, p, names, job) for each, p in _hypotheses(job)],
    }


def _question(question: ThreadQuestion, names: Sequence[str]) -> dict[str, Any]:
    return {
        "stud": names[question.stud],
        "lead_ratio": question.ratio,
        "u_lead_ratio": question.u_ratio,
        "threads": list(question.threads),
        "hand": question.hand,
    }


def _hypotheses(job: InJob) -> list[tuple[Hypothesis, float]]:
    assert job.seating is not None
    return job.seating.hypotheses()


def _case(each: Hypothesis, p: float, names: Sequence[str], job: InJob) -> dict[str, Any]:
    kind, subject = each.kind, each.subject
    stud = names[subject] if kind in ("gap", "wrong_turn") else None
    method = job.taken[subject].method.name if kind == "misread" else None
    return {"hypothesis": kind, "stud": stud, "method": method, "probability": p}


def advice_table(advice: Advice) -> str:
    """Return an order's turns with the next act, what was learnt and the seating, as text."""
    order, learnt = advice.order, advice.job.learnt
    act = act_sentence(advice.job, advice.act, order.finest_turn, order.unit)
    lines = [act, "", turns_table(order, advice.plan), "", "Learned so far"]
    lines += [f"    {line}" for line in stud_lines(learnt)]
    asked = question_words(learnt)
    lines += [f" ?  {asked}"] if asked else []
    lines += ["", "This seating"]
    lines += [
        f"    {_words(each, advice)}: {percent(p)}"
        for each, p in _hypotheses(advice.job)
        if p >= LEAST_SHOWN
    ]
    return "\n".join(lines)


def act_sentence(job: InJob, act: Act, finest_turn: float, unit: Unit, dial: Dial = "turns") -> str:
    """Return the next act in one sentence, with how sure it is."""
    names = [clean(stud.said) for stud in job.learnt.rig.studs]
    if act.do == "leave":
        if act.p_now >= DECLARED:
            return f"On target ({percent(act.p_now)}): leave it."
        chance = f"{percent(act.p_now)} to be on target"
        if finest_turn:
            return (
                f"No turn this coarse comes closer ({chance}): leave it, or work in a finer turn."
            )
        return f"No turn comes closer ({chance}): leave it, or aim anew."
    if act.do == "push_home":
        assert act.stud is not None
        return (
            f"Push the blade home at the {names[act.stud]} stud and measure again: "
            f"it seems not to be home ({_gap_text(job, act.stud, unit)})."
        )
    if act.do == "measure_again":
        methods = ", ".join(clean(job.taken[i].method.name) for i in act.methods)
        if misread_in(job):
            return f"Measure again: {methods}; it does not fit the rest."
        if not job.turned_yet:
            return f"Measure again before the first turn: {methods}."
        return f"Measure again: {methods}."
    made = [
        (name, f"{dial_text(n, dial) or turns_text(n)} {'in' if n > 0 else 'out'}")
        for name, n in zip(names, act.turns, strict=True)
        if n
    ]
    turns = ", ".join(f"{name} {turn}" for name, turn in made)
    if len(made) == 1:
        turns = f"the {made[0][0]} stud {made[0][1]}"
    words = f"Turn {turns}: {percent(act.p_after)} to be on target after it."
    stud = unseated_in(job)
    if stud is not None:
        words += f" Push it well home: it seems not to be at the {names[stud]} stud."
    return words


def misread_in(job: InJob) -> tuple[int, ...]:
    """Return the places of readings that are likelier misread than not."""
    seating = job.seating
    if seating is None:
        return ()
    return tuple(i for i in range(len(job.taken)) if seating.probability("misread", i) > 0.5)


def unseated_in(job: InJob) -> int | None:
    """Return the stud at which the blade is likelier not home than home."""
    assert job.seating is not None
    return next((j for j in range(3) if job.seating.probability("gap", j) > 0.5), None)


def _gap_text(job: InJob, stud: int, unit: Unit) -> str:
    seating = job.seating
    assert seating is not None
    gap_mm = seating.sight.travels_mm[stud] - seating.predicted_mm[stud]
    return f"about {fine_text(abs(gap_mm), unit)} {unit}"


def stud_lines(learnt: Learnt) -> list[str]:
    """Return what was learnt of each stud, a line for each."""
    lines = []
    for j, stud in enumerate(learnt.rig.studs):
        ratio, u = learnt.lead_ratio(j)
        backlash, u_backlash = learnt.backlash(j)
        count = learnt.counts[j]
        off = 100.0 * (ratio - 1.0)
        if abs(ratio - 1.0) < TOLD * u:
            words = "not yet told from its thread"
        else:
            more = "more" if off > 0 else "less"
            words = f"moves {abs(off):.1f} % {more} per turn than its thread says, ±{100 * u:.1f} %"
        rounds = "1 round" if count == 1 else f"{count} rounds"
        lines.append(
            f"{clean(stud.said)}: {words}; backlash {backlash:.3f} ±{u_backlash:.3f} turn; "
            f"from {rounds}"
        )
    return lines


def question_words(learnt: Learnt) -> str:
    """Return the question to ask about a stud's thread or hand, or nothing."""
    question = learnt.question
    if question is None:
        return ""
    stud = learnt.rig.studs[question.stud]
    moves = f"The {clean(stud.said)} stud moves {question.ratio:.2f} times what its thread says"
    if not question.threads:
        return f"{moves}, as no thread in the tables does. Are its rounds those of this block?"
    fits = " or ".join(question.threads)
    return f"{moves}. Is it another thread ({fits}), {question.hand} hand?"


def _words(each: Hypothesis, advice: Advice) -> str:
    names = [clean(stud.said) for stud in advice.order.rig.studs]
    kind, subject = each.kind, each.subject
    match kind:
        case "all_well":
            return "all well"
        case "gap":
            return f"not home at the {names[subject]} stud"
        case "misread":
            return f"{clean(advice.job.taken[subject].method.name)} misread"
        case "wrong_turn":
            return f"the {names[subject]} stud turned otherwise than told"
        case "none_of_these":
            return "none of these"


def percent(p: float) -> str:
    """Return a probability in words; only what is certain is 100 %, or none."""
    if 0.0 < p < 0.005:
        return "under 1 %"
    return f"{min(99, round(100 * p))} %" if p < 1.0 else "100 %"
