"""The next act of a job by what its block and blade have taught, beside the plain turns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from workbench.errors import BenchError
from workbench.fin.learn.decide import DECLARED, Act, decide, plan_of_act
from workbench.fin.learn.replay import InJob
from workbench.fin.plan.plan import Plan, Target
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.display import Dial, turn_text
from workbench.measure.units import Unit
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.learn.kept_rounds import open_in, rounds_of_ski
from workbench.work.learn.teaching import kernel_round, learnt_from, takes_of, teaching_of
from workbench.work.order.learned_turns import (
    act_sentence,
    job_now,
    misread_in,
    percent,
    question_words,
)
from workbench.work.order.solved_jobs import FINER
from workbench.work.text.words import clean

MUCH = 0.1
"""A finer turn is named where it makes it so much likelier to be on target."""


@dataclass(frozen=True, slots=True)
class NextAct:
    """The next act of a job and the job as the kernel follows it, with the plan of its turns.

    ``finer``: where its turns are too coarse to reach the target, a finer turn that is likelier
    to, and how likely.
    """

    job: InJob
    act: Act
    plan: Plan
    finer: tuple[float, float] | None = None

    @property
    def thread_asked(self) -> str:
        """A question about a thread or hand that does not fit what its turns moved, or nothing."""
        asked = question_words(self.job.learnt)
        return f"{asked} If so, correct the block; nothing is changed until then." if asked else ""

    def words(self, finest_turn: float, unit: Unit, dial: Dial = "turns") -> str:
        """Return the act in one sentence, with how sure it is."""
        misread = misread_in(self.job)
        if misread and self.act.do == "turn":
            names = " and ".join(clean(self.job.taken[i].method.name) for i in misread)
            return f"Measure {names} again: it does not fit the rest."
        words = act_sentence(self.job, self.act, finest_turn, unit, dial)
        if self.finer is None:
            return words
        turn, p = self.finer
        return f"{words} In turns of {turn_text(turn)}: {percent(p)}."


@dataclass(frozen=True, slots=True)
class OfJob:
    """Whose next act it is: the job, its ski and rig, the ski's methods by id, and the block.

    ``until`` is the id of the record that began an open round: what came later does not change it.
    """

    job_id: str
    ski: rows.Ski
    rig: Rig
    methods: Mapping[str, Method]
    block: rows.Block
    until: str = ""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a job is aimed at, the finest turn made, and the turns that plain geometry gives."""

    plain: Plan
    targets: Sequence[Target]
    finest_turn: float


def next_act(book: Book, of: OfJob, wanted: Wanted) -> NextAct | None:
    """Return the next act of a job.

    None where nothing is to be said beyond the plain turns: the rounds cannot be followed, or the
    turns would take a stud beyond where it reaches.
    """
    jobs, sheets = book.history_of_ski(of.ski.id), book.ski_versions(of.ski.id)
    now = open_in(jobs, sheets, of.job_id)
    taken = takes_of(now.takes, of.methods)
    if len(taken) < 3:
        return None
    versions = book.block_versions(of.block.id)
    teaching = teaching_of(book, of.ski, of.job_id, of.until)
    used = {m.name: m for m in teaching.methods} | {t.method.name: t.method for t in taken}
    try:
        learnt = learnt_from(of.rig, tuple(used.values()), teaching)
        own = [
            kernel_round(r, of.block, versions, of.methods)
            for r in rounds_of_ski(jobs, sheets)
            if r.chain == now.chain and r.job_id == of.job_id
        ]
        job = job_now(learnt, own, taken, now.settled)
        act = decide(job, wanted.targets, wanted.finest_turn, may_ask=False)
        plan = plan_of_act(wanted.plain, job, act)
    except BenchError:
        return None
    if not _is_in_reach(of.rig, plan):
        return None
    return NextAct(job, act, plan, _finer(job, act, wanted))


def _finer(job: InJob, act: Act, wanted: Wanted) -> tuple[float, float] | None:
    """Return the coarsest finer turn that is much likelier to be enough, where this one is not."""
    if act.p_after >= DECLARED or act.do == "push_home":
        return None
    for turn in FINER:
        if turn < wanted.finest_turn:
            other = decide(job, wanted.targets, turn, may_ask=False)
            if other.p_after >= act.p_after + MUCH:
                return turn, other.p_after
    return None


def _is_in_reach(rig: Rig, plan: Plan) -> bool:
    """Whether every stud that turns ends where its thread still reaches."""
    for turn, at in zip(plan.turns, rig.travels(plan.after), strict=True):
        limits, end_mm = turn.stud.limits_mm, turn.stud.end_mm(at.mm)
        if turn.turns and limits is not None and not limits[0] <= end_mm <= limits[1]:
            return False
    return True
