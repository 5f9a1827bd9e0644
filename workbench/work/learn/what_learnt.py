"""What a block and blade have taught: in words, forgotten, brought back; and the next act by it.

A ski's kept rounds as JSON lines, in the form that ``turns --history`` reads.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from workbench.errors import BenchError, InputError
from workbench.fin.learn.decide import DECLARED, Act, decide, plan_of_act
from workbench.fin.learn.replay import InJob, Learnt, Move
from workbench.fin.plan.plan import Plan, Target
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import said
from workbench.frozen import dataclass
from workbench.measure.display import Dial, turn_text
from workbench.measure.units import MM_PER, Unit
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, method_of, rig_of
from workbench.work.learn.kept_rounds import (
    LEAST_READINGS,
    KeptRound,
    Takes,
    open_in,
    rounds_of_ski,
)
from workbench.work.learn.teaching import (
    FORGOTTEN,
    Teaching,
    forgotten,
    hand_then,
    kernel_round,
    learnt_from,
    sheet_at,
    takes_of,
    teaching_of,
)
from workbench.work.order.learned_turns import (
    act_sentence,
    job_now,
    misread_in,
    percent,
    question_words,
    stud_lines,
)
from workbench.work.order.rigs import FINER
from workbench.work.text.words import clean
from workbench.work.trust.shop_policy import LEARNING

LAST_JOBS = 20
"""Rounds per ski are told of so many jobs, the last and those before."""

ALL = "all"


@dataclass(frozen=True, slots=True)
class LearntStud:
    """What was learnt of one stud, in words, and what its turns moved, oldest first."""

    name: str
    said: str
    words: str
    ratio: float
    backlash: float
    moves: tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class LearntPage:
    """What a block and blade have taught: words for the whole, and each stud.

    ``asked`` is a question about a thread or a hand, or nothing.
    """

    title: str
    studs: tuple[LearntStud, ...]
    asked: str
    history: tuple[str, ...]
    forgotten: tuple[str, ...]


def learnt_of(book: Book, ski: rows.Ski) -> tuple[Learnt, Teaching]:
    """Return what a ski's block and blade have taught, and what it was learnt from."""
    blade = blade_of(book.blade(ski.blade_id))
    rig = rig_of(ski, blade, book.block(ski.block_id).studs)
    teaching = teaching_of(book, ski)
    own = [method_of(m, blade) for m in book.methods_of(ski.blade_id) if m.id in ski.methods]
    methods = {m.name: m for m in (*teaching.methods, *own)}
    return learnt_from(rig, tuple(methods.values()), teaching), teaching


def learnt_page(book: Book, ski: rows.Ski) -> LearntPage:
    """Return what this bench has learnt of a ski's block and blade."""
    learnt, teaching = learnt_of(book, ski)
    block, blade = book.block(ski.block_id), book.blade(ski.blade_id)
    jobs = Counter[str]()
    first: dict[str, str] = {}
    for chain in teaching.chains:
        jobs[chain.job_id] += len(chain.rounds)
        first[chain.job_id] = min(chain.id, first.get(chain.job_id, chain.id))
    counts = {first[job]: count for job, count in jobs.items()}
    studs = tuple(
        LearntStud(
            stud.name, clean(stud.said), words, learnt.lead_ratio(j)[0], learnt.backlash(j)[0],
            tuple(m for m in learnt.moves if m.stud == j),
        )
        for j, (stud, words) in enumerate(zip(learnt.rig.studs, stud_lines(learnt), strict=True))
    )  # fmt: skip
    return LearntPage(
        f"{clean(block.name)} with {clean(blade.name)}: "
        f"{sum(jobs.values())} rounds of {len(jobs)} jobs",
        studs,
        _asked(learnt),
        tuple(_history(book, counts, teaching.left_out)),
        tuple(_forgotten_words(book, block.id)),
    )


def _asked(learnt: Learnt) -> str:
    """Return the question about a thread or hand that does not fit what its turns moved."""
    asked = question_words(learnt)
    return f"{asked} If so, correct the block; nothing is changed until then." if asked else ""


def _history(book: Book, counts: Mapping[str, int], left_out: int) -> Iterator[str]:
    """Yield what learning has changed: the rounds per ski before it and of the last jobs.

    ``counts`` are the rounds of each job by the id of its first.
    """
    told = book.settings_kept((LEARNING.name,)).get(LEARNING.name, ())
    since = told[-1][0] if told and LEARNING.of(told[-1][1]) else ""
    before = [n for i, n in sorted(counts.items()) if not since or i < since]
    after = [n for i, n in sorted(counts.items()) if since and i >= since][-LAST_JOBS:]
    if before and after:
        yield (
            f"Rounds per ski: {_mean(before)} before learning was on ({len(before)} jobs), "
            f"{_mean(after)} over the last {len(after)} with it"
        )
    elif len(before) > LAST_JOBS:
        first, last = before[:-LAST_JOBS], before[-LAST_JOBS:]
        yield f"Rounds per ski: {_mean(first)} before, {_mean(last)} over the last {len(last)}"
    elif before or after:
        yield f"Rounds per ski: {_mean(before or after)}"
    if left_out:
        yield f"{left_out} older jobs are not gone through any longer"


def _mean(counts: Sequence[int]) -> str:
    return f"{sum(counts) / len(counts):.1f}"


def _forgotten_words(book: Book, block_id: str) -> Iterator[str]:
    for each in forgotten(book, block_id):
        back = ""
        if each.back:
            only = "" if each.stud or "" in each.back else f": {_studs(each.back)}"
            back = f", brought back{only}"
        what = _studs((each.stud,))
        yield f"Forgotten of {what}: {clean(each.reason)} [{clean(each.who)}]{back}"


def _studs(names: Sequence[str]) -> str:
    if "" in names:
        return "all studs"
    return " and ".join(f"the {clean(said(name))} stud" for name in names)


def taught_lines(book: Book, ski: rows.Ski) -> list[str]:
    """Return what this bench has learnt of a ski's block and blade, one fact a line."""
    page = learnt_page(book, ski)
    asked = [f"Asked: {page.asked}"] if page.asked else []
    studs = [f"Stud {stud.words}" for stud in page.studs]
    return [page.title, *studs, *asked, *page.history, *page.forgotten]


def move_words(stud: LearntStud) -> list[str]:
    """Return the evidence of one stud, a line for each turn: what was asked for, what moved."""
    return [
        f"Stud {stud.said}: turned {m.turns:+.3f}, moved {m.moved:+.3f} ±{m.u_turns:.3f} turns "
        "of its thread"
        for m in stud.moves
    ]


def forget(book: Book, ski: rows.Ski, stud: str, reason: str, who: str) -> str:
    """Keep that what was learnt of a stud up to now is to be forgotten; return its name.

    Raises:
        InputError: no such stud, or no reason.
    """
    name = _stud(book, ski, stud)
    if not reason.strip():
        raise InputError("reason", reason, "a few words on why it is to be forgotten")
    _keep(book, ski, {"do": "forget", "stud": name, "reason": reason.strip(), "who": who}, who)
    return name


def bring_back(book: Book, ski: rows.Ski, stud: str, who: str) -> str:
    """Keep that what was forgotten of a stud, by itself or with all, counts again.

    Returns its name, "" for all of them.

    Raises:
        InputError: no such stud, or nothing of it was forgotten.
    """
    name = _stud(book, ski, stud)
    if not any(f.is_of(name) for f in forgotten(book, ski.block_id)):
        raise InputError("bring back", stud, "a stud of which something was forgotten")
    _keep(book, ski, {"do": "bring back", "stud": name, "reason": "", "who": who}, who)
    return name


def _stud(book: Book, ski: rows.Ski, text: str) -> str:
    """Return the name of the stud meant; nothing is all of them."""
    wanted = " ".join(text.split()).casefold()
    if wanted == ALL:
        return ""
    studs = book.block(ski.block_id).studs
    for stud in studs:
        if wanted in (stud.name.casefold(), said(stud.name, stud.touches).casefold()):
            return stud.name
    accepted = ", ".join([*(said(s.name, s.touches) for s in studs), ALL])
    raise InputError("stud", text, f"one of: {accepted}")


def _keep(book: Book, ski: rows.Ski, what: dict[str, str], who: str) -> None:
    text = json.dumps(what, ensure_ascii=False)
    book.set_setting(f"{FORGOTTEN} {ski.block_id}", text, who=who)


# -- the rounds ------------------------------------------------------------------------------------

DECIMALS = 9
"""Of a take in its unit: far below any caliper's step, and what was typed reads as it was typed."""


def round_lines(book: Book, ski: rows.Ski, unit: Unit) -> list[str]:
    """Return a ski's rounds with its blade and block of now, a JSON line each, oldest first."""
    return book.at_once(_lines, book, ski, unit)


def _lines(book: Book, ski: rows.Ski, unit: Unit) -> list[str]:
    block, versions = book.block(ski.block_id), book.block_versions(ski.block_id)
    names = {m.id: m.name for m in book.methods_of(ski.blade_id) if m.scribe is None}
    sheets = book.ski_versions(ski.id)
    rounds = (
        hand_then(r, block, versions)
        for r in rounds_of_ski(book.history_of_ski(ski.id), sheets)
        if sheet_at(sheets, r.id).block_id == block.id
    )
    return _lines_of(rounds, names, unit, book.blade(ski.blade_id).name)


def _lines_of(
    rounds: Iterable[KeptRound], names: Mapping[str, str], unit: Unit, blade: str
) -> list[str]:
    """Return rounds as JSON lines, one for each: what ``turns --history`` reads.

    ``names`` are the methods' names by id; takes by any other method are left out.
    """
    out: list[str] = []
    newest, gone = "", set[str]()
    for each in rounds:
        before, after = _named(each.before, names, unit), _named(each.after, names, unit)
        if each.chain in gone or len(after) < LEAST_READINGS:
            gone.add(each.chain)  # of another blade, which the ski has no longer
            continue
        line: dict[str, object] = {"job": each.chain, "unit": unit, "blade": blade}
        if each.at >= newest:  # a clock set back tells no order, the lines do
            line["at"] = newest = each.at
        if each.before:
            line["before"] = before
        line |= {"turns": dict(each.turns), "after": after}
        if each.settled:
            line["settled"] = True
        out.append(json.dumps(line, ensure_ascii=False))
    return out


def _named(takes: Takes, names: Mapping[str, str], unit: Unit) -> dict[str, list[float]]:
    return {
        names[i]: [round(mm / MM_PER[unit], DECIMALS) for mm in values]
        for i, values in takes.items()
        if i in names
    }


# -- the next act of a job, beside the plain turns ------------------------------------------------

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
        return _asked(self.job.learnt)

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


def next_act(
    book: Book, of: OfJob, plain: Plan, targets: Sequence[Target], finest_turn: float
) -> NextAct | None:
    """Return the next act of a job aimed at ``targets``, beside the turns that geometry gives.

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
        act = decide(job, targets, finest_turn, may_ask=False)
        plan = plan_of_act(plain, job, act)
    except BenchError:
        return None
    if not _is_in_reach(of.rig, plan):
        return None
    return NextAct(job, act, plan, _finer(job, act, targets, finest_turn))


def _finer(
    job: InJob, act: Act, targets: Sequence[Target], finest_turn: float
) -> tuple[float, float] | None:
    """Return the coarsest finer turn that is much likelier to be enough, where this one is not."""
    if act.p_after >= DECLARED or act.do == "push_home":
        return None
    for turn in FINER:
        if turn < finest_turn:
            other = decide(job, targets, turn, may_ask=False)
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
