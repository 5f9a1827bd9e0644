"""The kept rounds of a block and blade, gone through again: the one way that anything is learnt."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from statistics import median

from workbench.errors import BenchError, InputError, OutOfReachError
from workbench.fin.frame import Pose
from workbench.fin.learn.edges import FARTHEST_OFF_MM, Edges, edges_of
from workbench.fin.learn.seating import Seating, Weighed, mean_of, seated, together
from workbench.fin.learn.sight import Takes, look
from workbench.fin.learn.state import (
    BACKLASH,
    LEADS,
    OFFSETS,
    ORDINARY,
    TRAVELS,
    Imperfections,
    State,
    new_job,
    prior,
    reversal,
    turned,
    with_studs_of,
    without_stud,
)
from workbench.fin.pose.equations import NoPoseError
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import observe_all
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Hand, known_leads, seat
from workbench.frozen import dataclass

# -- whether a stud's thread or hand is the one that was told --------------------------------------

LEAST_TURN = 0.25
"""Moves of fewer turns than this tell too little."""

ROUNDS, OFF, SURE = 5, 0.08, 5.0
"""Asked after so many rounds, when so far off its lead, by so many standard deviations."""

OFF_AT_ONCE, SURE_AT_ONCE = 0.5, 10.0
"""Asked at once when as far off as this."""

COMMON = 0.015
"""What all moves of a stud share of the lead's own error and the survey's does not average out."""

NEAR = 0.03
"""A thread fits whose lead is this near, beside three standard deviations."""


@dataclass(frozen=True, slots=True)
class Move:
    """What one turn of a stud moved by the readings before and after it, in turns of its lead.

    ``turns`` were asked for, ``real`` of them are left once the backlash that they probably took up
    is off. ``u_turns``, the standard uncertainty of ``moved``, leaves out what all moves of the
    stud have in common.
    """

    stud: int
    turns: float
    real: float
    moved: float
    u_turns: float

    @property
    def ratio(self) -> float:
        """What it moved over what its lead says."""
        return self.moved / self.real

    @property
    def u(self) -> float:
        """The standard uncertainty of the ratio."""
        return self.u_turns / abs(self.real)


@dataclass(frozen=True, slots=True)
class ThreadQuestion:
    """A stud whose thread or hand does not fit its moves, and what would fit."""

    stud: int
    ratio: float
    u_ratio: float
    threads: tuple[str, ...]
    hand: Hand


def thread_question(rig: Rig, moves: Sequence[Move]) -> ThreadQuestion | None:
    """Return the question to ask about a stud, of the stud that is surest to be wrong; or None."""
    asked: list[tuple[float, ThreadQuestion]] = []
    for j, stud in enumerate(rig.studs):
        own = [m for m in moves if m.stud == j and abs(m.turns) > LEAST_TURN]
        if not own:
            continue
        weights = [1.0 / m.u**2 for m in own]
        whole = math.fsum(weights)
        mean = math.fsum(w * m.ratio for w, m in zip(weights, own, strict=True)) / whole
        u = math.hypot(1.0 / math.sqrt(whole), COMMON)
        middle = median(m.ratio for m in own)
        sure = abs(mean - 1.0) / u
        # Not the mean alone: a few seatings that are not home pull it, the median hardly.
        least_off = min(abs(mean - 1.0), abs(middle - 1.0))
        often = len(own) >= ROUNDS and least_off > max(OFF, SURE * u)
        at_once = abs(mean - 1.0) > OFF_AT_ONCE and sure > SURE_AT_ONCE
        # A mean and a median that tell opposite ways come from single wrong rounds.
        if not (often or at_once) or (middle - 1.0) * (mean - 1.0) <= 0.0:
            continue
        hand: Hand = stud.hand
        if middle < 0.0:
            hand = "left" if stud.hand == "right" else "right"
        lead = abs(middle) * stud.lead_mm
        reach = (NEAR + 3.0 * u) * stud.lead_mm
        fits = [(abs(mm - lead), name) for name, mm in known_leads() if abs(mm - lead) <= reach]
        names = tuple(name for _, name in sorted(fits))
        asked.append((sure, ThreadQuestion(j, mean, u, names, hand)))
    return max(asked, key=lambda a: a[0])[1] if asked else None


# -- rounds ----------------------------------------------------------------------------------------

FARTHEST_LEAD = 0.5
"""A stud that seems to move this share more or less than its lead has another thread, or its rounds
contradict one another: that is asked about, and its turns go by the thread that was told."""


@dataclass(frozen=True, slots=True)
class Round:
    """One round as it was kept: the turns by stud (positive is in), the takes before and after.

    ``before`` may be empty where it is the ``after`` of the job's last round. A round without any
    turn is one in which the blade was pushed home. ``settled``: before the job's first reading each
    stud was turned out and in again.
    """

    job: str
    turns: tuple[float, float, float]
    after: tuple[Takes, ...]
    before: tuple[Takes, ...] = ()
    settled: bool = False

    def __post_init__(self) -> None:
        if len(self.turns) != 3 or not all(math.isfinite(n) for n in self.turns):
            raise InputError("turns", self.turns, "a finite number of turns for each of the studs")


@dataclass(frozen=True, slots=True)
class Learnt:
    """What the rounds of a block and blade have taught.

    ``edges`` is None until a first reading was taken; ``states`` are what the likely hypotheses
    leave, none before it, and ``pose`` is where the blade was last.
    ``counts`` are the rounds in which each stud was turned, ``kept_moves`` what each turn moved: in
    parts of which each is longer than the next, so that a round adds to a short one.
    """

    rig: Rig
    known: Imperfections
    methods: tuple[Method, ...]
    edges: Edges | None = None
    states: tuple[Weighed, ...] = ()
    pose: Pose | None = None
    rounds: int = 0
    counts: tuple[int, int, int] = (0, 0, 0)
    kept_moves: tuple[tuple[Move, ...], ...] = ()

    @property
    def moves(self) -> tuple[Move, ...]:
        """What each turn moved, oldest first."""
        return tuple([move for part in self.kept_moves for move in part])

    @property
    def state(self) -> State | None:
        """What is known, all likely hypotheses together."""
        return together(self.states) if self.states else None

    def lead_ratio(self, stud: int) -> tuple[float, float]:
        """Return what a turn moves over what the thread says, and its standard uncertainty."""
        state = self.state
        if state is None:
            return 1.0, self.known.lead
        return 1.0 + state.mean[LEADS + stud], _sd(state, LEADS + stud)

    def backlash(self, stud: int) -> tuple[float, float]:
        """Return a stud's backlash in turns and its standard uncertainty."""
        state = self.state
        if state is None:
            return self.known.backlash, self.known.u_backlash
        return state.mean[BACKLASH + stud], _sd(state, BACKLASH + stud)

    @property
    def question(self) -> ThreadQuestion | None:
        """The question to ask about a thread or a hand, if there is one."""
        return thread_question(self.rig, self.moves)


def _sd(state: State, place: int) -> float:
    return math.sqrt(max(0.0, state.variance(place)))


@dataclass(frozen=True, slots=True)
class InJob:
    """A job under way: what is learnt up to its last seating, that seating and its takes.

    ``again`` tells that the blade was pushed home on purpose before it, ``moved`` that it is not
    the job's first seating and ``turned_yet`` whether a stud was turned in the job. ``seating`` is
    None where the readings fix no pose, and ``reason`` says why.
    """

    learnt: Learnt
    before: tuple[Weighed, ...]
    taken: tuple[Takes, ...]
    turns: tuple[float, ...]
    seating: Seating | None
    again: bool = False
    moved: bool = False
    turned_yet: bool = False
    reason: str = ""


def nothing_learnt(rig: Rig, methods: Sequence[Method], known: Imperfections = ORDINARY) -> Learnt:
    """Return what is known of a bench without a round."""
    return Learnt(rig, known, tuple(methods))


def forget_stud(learnt: Learnt, stud: int) -> Learnt:
    """Return what is left when a stud or its thread was replaced: nothing of that stud."""
    state = learnt.state
    counts = [0 if j == stud else c for j, c in enumerate(learnt.counts)]
    moves = tuple(m for m in learnt.moves if m.stud != stud)
    left = () if state is None else ((1.0, without_stud(state, stud, learnt.known)),)
    return replace(
        learnt, states=left, kept_moves=(moves,), counts=(counts[0], counts[1], counts[2])
    )  # fmt: skip


def change_blade(learnt: Learnt, rig: Rig) -> Learnt:
    """Return what is left when another blade was put in the block: leads and backlash alone."""
    return replace(learnt, rig=rig, edges=None, pose=None)


def begin(learnt: Learnt, taken: Sequence[Takes], settled: bool = False) -> InJob:
    """Return a job at its first readings.

    Raises:
        NoPoseError: the readings fix no pose.
    """
    rig, known = learnt.rig, learnt.known
    edges, state = learnt.edges, learnt.state
    for j in range(3):
        if state is not None and abs(state.mean[LEADS + j]) > FARTHEST_LEAD:
            state = without_stud(state, j, known)
    if edges is None or state is None or any(abs(mm) > FARTHEST_OFF_MM for mm in state.offsets_mm):
        # Nothing is known of the edges, or only what rounds that contradict each other tell.
        nowhere = look(rig, Edges((), ()).moved(()), taken, known, None)
        pose = nowhere.fit.pose
        seen = observe_all(learnt.methods, rig.blade, rig.base, pose)
        edges = edges_of(rig.blade, learnt.methods, seen, pose)
        state = with_studs_of(prior(edges.widths, known), state)
        learnt = replace(learnt, edges=edges)
    sight = look(rig, edges.moved(state.offsets_mm), taken, known, learnt.pose)
    start = ((1.0, new_job(state, sight.travels_mm, settled, known)),)
    seating = seated(start, rig, sight, (0.0,) * 3, known)
    learnt = replace(learnt, states=seating.states, pose=sight.fit.pose)
    return InJob(learnt, start, tuple(taken), (0.0,) * 3, seating)


def go_on(job: InJob, turns: Sequence[float], taken: Sequence[Takes]) -> InJob:
    """Return the job after a round: these turns, a new seating and its takes."""
    old = job.learnt
    before = tuple([(p, turned(state, old.rig, turns, old.known)) for p, state in _states(job)])
    is_turned = any(turns)
    new = _seat(
        InJob(
            old, before, tuple(taken), tuple(turns), None, not is_turned, True,
            job.turned_yet or is_turned,
        )
    )  # fmt: skip
    a, b, c = (k + (n != 0.0) for k, n in zip(old.counts, turns, strict=True))
    learnt = Learnt(
        old.rig, old.known, old.methods, old.edges, new.learnt.states, new.learnt.pose,
        old.rounds + 1, (a, b, c), _added(old.kept_moves, _moves(job, new, turns)),
    )  # fmt: skip
    return _with(new, learnt, new.seating, new.reason)


def _states(job: InJob) -> tuple[Weighed, ...]:
    """Return the states that a job's last seating leaves."""
    return job.before if job.seating is None else job.seating.states


def take_more(job: InJob, taken: Sequence[Takes]) -> InJob:
    """Return the job with all the takes of its present seating, earlier ones included."""
    return _seat(replace(job, taken=tuple(taken)))


def _seat(job: InJob) -> InJob:
    """Return the job with what the takes of its seating tell; nothing where they fix no pose."""
    learnt = job.learnt
    rig, known, edges = learnt.rig, learnt.known, learnt.edges
    assert edges is not None
    expected = mean_of(job.before)
    assert learnt.pose is not None
    # Before the first reading of a job the studs may be anywhere: nothing is predicted then.
    is_predicted = job.moved
    try:
        start = learnt.pose
        if is_predicted:
            start = seat(rig.studs, rig.blade, expected[TRAVELS:LEADS], learnt.pose)
        moved = edges.moved(expected[OFFSETS:])
        sight = look(rig, moved, job.taken, known, start, is_predicted)
    except (NoPoseError, OutOfReachError) as why:
        return _with(job, _left(learnt, job.before, learnt.pose), None, str(why))
    seating = seated(job.before, rig, sight, job.turns, known, job.again)
    return _with(job, _left(learnt, seating.states, sight.fit.pose), seating)


# A replay makes these for every round: dataclasses.replace takes several times as long.


def _left(learnt: Learnt, states: tuple[Weighed, ...], pose: Pose) -> Learnt:
    """Return what is learnt with what a seating leaves."""
    return Learnt(
        learnt.rig, learnt.known, learnt.methods, learnt.edges, states, pose, learnt.rounds,
        learnt.counts, learnt.kept_moves,
    )  # fmt: skip


def _with(job: InJob, learnt: Learnt, seating: Seating | None, reason: str = "") -> InJob:
    """Return the job with what a seating leaves."""
    return InJob(
        learnt, job.before, job.taken, job.turns, seating, job.again, job.moved, job.turned_yet,
        reason,
    )  # fmt: skip


def _added(
    parts: tuple[tuple[Move, ...], ...], moves: tuple[Move, ...]
) -> tuple[tuple[Move, ...], ...]:
    """Return the parts with some more moves, those as short as the new ones joined."""
    while parts and len(parts[-1]) <= len(moves):
        moves = parts[-1] + moves
        parts = parts[:-1]
    return (*parts, moves) if moves else parts


def _moves(old: InJob, new: InJob, turns: Sequence[float]) -> tuple[Move, ...]:
    """Return what each stud's turn moved by the two seatings' readings."""
    if old.seating is None or new.seating is None:
        return ()
    known = new.learnt.known
    one, two = old.seating.sight, new.seating.sight
    studs = new.learnt.rig.studs
    most = max([abs(n) * stud.lead_mm for n, stud in zip(turns, studs, strict=True)])
    # What two seatings do not share: how each was pushed home, and a gap at one stud of the three.
    gap = known.gap_p / 3.0 * (known.gap_mm**2 + known.u_gap_mm**2)
    common = 2.0 * (known.seat_mm**2 + gap) + (known.move_share * most) ** 2
    directions = old.seating.states[0][1].directions
    out = []
    for j, (stud, n) in enumerate(zip(studs, turns, strict=True)):
        if not n:
            continue
        p = reversal(directions[j], n)
        real = max(abs(n) - p * known.backlash, 0.0)
        variance = common + one.variance(j) + two.variance(j)
        in_turns = variance / stud.lead_mm**2 + known.turn**2
        in_turns += p * known.u_backlash**2 + p * (1.0 - p) * known.backlash**2
        moved = (two.travels_mm[j] - one.travels_mm[j]) / stud.lead_mm
        out.append(Move(j, n, math.copysign(real, n), moved, math.sqrt(in_turns)))
    return tuple(out)


def same_seating(one: Sequence[Takes], two: Sequence[Takes]) -> tuple[Takes, ...] | None:
    """Return all takes of two lists of one seating, or None where they are of two seatings.

    They are of one where, by each method that both have, all takes of one are among the other's.
    """
    first = {t.method.name: t for t in one}
    out: dict[str, Takes] = dict(first)
    for t in two:
        other = first.get(t.method.name)
        if other is None:
            out[t.method.name] = t
            continue
        a, b = Counter(other.values_mm), Counter(t.values_mm)
        if not (a <= b or b <= a):
            return None
        out[t.method.name] = t if a <= b else other
    return tuple(out.values())


@lru_cache(maxsize=16)
def taught(
    rig: Rig,
    methods: tuple[Method, ...],
    rounds: tuple[Round, ...],
    known: Imperfections = ORDINARY,
) -> Learnt:
    """Return what these rounds, oldest first, teach; kept by its arguments, the facts alone."""
    return follow(nothing_learnt(rig, methods, known), rounds)[0]


def follow(learnt: Learnt, rounds: Sequence[Round]) -> tuple[Learnt, InJob | None]:
    """Return what is learnt after some more rounds, and the last job as it is after them.

    A job whose first readings fix no pose teaches nothing until it has some that do.

    Raises:
        InputError: a job's first round without the takes before it.
    """
    job: InJob | None = None
    name = ""
    last: dict[str, tuple[Takes, ...]] = {}
    for each in rounds:
        if job is None or each.job != name:
            taken = each.before or last.get(each.job, ())
            if not taken:
                raise InputError("before", "(missing)", "the takes before a job's first round")
            name = each.job
            job = _begun(learnt, taken, each.settled)
        elif each.before:
            job = read_again(job, each.before)
        if job is not None:
            job = go_on(job, each.turns, each.after)
            learnt = job.learnt
        last[each.job] = each.after
    return learnt, job


def _begun(learnt: Learnt, taken: Sequence[Takes], settled: bool) -> InJob | None:
    try:
        return begin(learnt, taken, settled)
    except BenchError:
        return None


def read_again(job: InJob, taken: Sequence[Takes]) -> InJob:
    """Return the job with takes made before a round: more of the last seating, or a new one."""
    pooled = same_seating(job.taken, taken)
    if pooled is None:
        still = replace(job, before=_states(job), turns=(0.0,) * 3, again=False, moved=True)
        return _seat(replace(still, taken=tuple(taken)))
    return job if pooled == job.taken else take_more(job, pooled)
