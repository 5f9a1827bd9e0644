"""The next act of a job by what its block and blade have taught, beside the plain turns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from workbench.errors import BenchError
from workbench.fin.learn.as_plan import plan_of_act
from workbench.fin.learn.decide import DECLARED, Act, decide
from workbench.fin.learn.replay import InJob, begin, follow, read_again
from workbench.fin.plan.plan import Plan, Target
from workbench.fin.reading.observe import Method
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.display import Dial, turn_text
from workbench.measure.units import Unit
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.learn.kept_rounds import open_in, rounds_of_ski
from workbench.work.learn.teaching import (
    kernel_round,
    learnt_from,
    takes_of,
    teaching_of,
)
from workbench.work.order.learned_turns import (
    act_sentence,
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


def next_act(
    book: Book,
    ski: rows.Ski,
    job_id: str,
    rig: Rig,
    methods: Mapping[str, Method],
    block: rows.Block,
    plain: Plan,
    targets: Sequence[Target],
    finest_turn: float,
    until: str = "",
) -> NextAct | None:
    """Return the next act of a job whose readings and targets give the turns of ``plain``.

    ``methods`` are the ski's by id, ``until`` is the id of the record that began an open round:
    what came later does not change it. None where nothing is to be said beyond the plain turns:
    the rounds cannot be followed, or the turns would take a stud beyond where it reaches.
    """
    jobs, sheets = book.history_of_ski(ski.id), book.ski_versions(ski.id)
    now = open_in(jobs, sheets, job_id)
    taken = takes_of(now.takes, methods)
    if len(taken) < 3:
        return None
    versions = book.block_versions(block.id)
    teaching = teaching_of(book, ski, job_id, until)
    used = {m.name: m for m in teaching.methods} | {t.method.name: t.method for t in taken}
    try:
        learnt = learnt_from(rig, tuple(used.values()), teaching)
        own = [
            kernel_round(r, block, versions, methods)
            for r in rounds_of_ski(jobs, sheets)
            if r.chain == now.chain and r.job_id == job_id
        ]
        job: InJob | None = None
        if own:
            learnt, job = follow(learnt, own)
        job = read_again(job, taken) if job is not None else begin(learnt, taken, now.settled)
        if job.seating is None:
            job = begin(job.learnt, taken)
        assert job.seating is not None
        assert job.learnt.edges is not None
        act = decide(
            rig, job.learnt.edges, job.seating, job.taken, targets, finest_turn,
            job.learnt.known, is_first=not job.turned_yet, may_ask=False,
        )  # fmt: skip
        plan = plan_of_act(plain, job, act)
    except BenchError:
        return None
    if not _is_in_reach(rig, plan):
        return None
    return NextAct(job, act, plan, _finer(job, act, targets, finest_turn))


def _finer(
    job: InJob, act: Act, targets: Sequence[Target], finest_turn: float
) -> tuple[float, float] | None:
    """Return the coarsest finer turn that is much likelier to be enough, where this one is not."""
    seating, edges = job.seating, job.learnt.edges
    if act.p_after >= DECLARED or act.do == "push_home" or seating is None or edges is None:
        return None
    for turn in FINER:
        if turn < finest_turn:
            other = decide(
                job.learnt.rig, edges, seating, job.taken, targets, turn, job.learnt.known,
                is_first=not job.turned_yet, may_ask=False,
            )  # fmt: skip
            if other.p_after >= act.p_after + MUCH:
                return turn, other.p_after
    return None


def _is_in_reach(rig: Rig, plan: Plan) -> bool:
    """Whether every stud that turns ends where its thread still reaches."""
    for turn, at in zip(plan.turns, rig.travels(plan.after), strict=True):
        limits = turn.stud.limits_mm
        if turn.turns and limits is not None and not limits[0] <= at.mm <= limits[1]:
            return False
    return True
