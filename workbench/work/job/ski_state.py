"""What the facts of a ski say together: whether it is released, its bolts loose, a round open.

It is concluded from the facts of all its jobs in the order of their ids, struck ones aside, whoever
wrote them. A sign-off releases a ski only where it follows from what came before it, and only until
the ski is worked on again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from operator import itemgetter
from typing import Literal, assert_never

from workbench.advice.checklists import CLAMP
from workbench.frozen import dataclass
from workbench.records.store import rows
from workbench.records.tables.ski_facts import SkiFacts, SkiJob, SkiSheet
from workbench.work.order.round_records import SETTLED, answered_in, struck_turn
from workbench.work.trust.shop_policy import Rules

JobStanding = Literal["open", "released", "set again", "not released"]
"""How a job ends: not yet, in force, replaced by a later job that is released, or not in force."""

_Changed = Literal["turned", "refitted", "loosened", "wing", "aside", "read", "damaged"]

_CHANGED: Mapping[_Changed, str] = {
    "turned": "a stud was turned since",
    "refitted": "its blade or block was changed since",
    "loosened": "the clamp bolts were loosened since",
    "wing": "the wing was set since",
    "aside": "set aside since",
    "read": "it was read or aimed at anew since",
    "damaged": "a record of it is damaged in the book",
}
"""What was done to a ski after its sign-off, the worst first."""

UNMEASURED = "a stud was turned and not measured since"
REFITTED = "its blade or block was changed and it was not measured since"

_MOVED: tuple[_Changed, ...] = ("turned", "loosened", "wing")

_REST = frozenset({"seated", "aimed", "reaim", "accepted", "enough"})
"""Marks that go on from the readings: from the first turn of a round on they mean nothing."""


@dataclass(frozen=True, slots=True)
class JobState:
    """What a ski's facts say of one of its jobs.

    ``signed`` is its own sign-off, ``release`` the one in force, ``why`` says why none is.
    ``pass_number`` is that of its last round, ``step`` counts the acts done of its open round.
    ``stray`` are ids of what was kept in the middle of a round by somebody who did not know of it:
    it counts for nothing. Readings up to ``stale`` say no longer where the blade is. ``ticks`` are
    those of the final check that count. ``bars`` says why a sign-off now would release nothing,
    ``elsewhere`` why another job has to be finished first. ``loose`` and ``turned`` (and not
    measured since) are the ski's, and so is ``refitted``: its blade or block was changed, and it
    was not measured since; ``refit`` is that change's id where it was made during this job.
    ``has_left``: its sign-off followed, and the fin was not moved in this job since.
    """

    standing: JobStanding = "open"
    why: str = ""
    release: rows.SignOff | None = None
    signed: rows.SignOff | None = None
    pass_number: int = 0
    step: int = 0
    stray: frozenset[str] = frozenset()
    stale: str = ""
    ticks: tuple[rows.Tick, ...] = ()
    bars: str = ""
    elsewhere: str = ""
    loose: bool = False
    turned: bool = False
    has_left: bool = False
    refitted: bool = False
    refit: str = ""

    @property
    def is_contradicted(self) -> bool:
        """Whether it was signed off against what was kept of the ski, before or of the same job."""
        return self.standing == "not released" and not self.has_left


@dataclass(frozen=True, slots=True)
class SkiState:
    """A ski as a whole: the sign-off that releases it now, or why it is not released.

    ``why`` is empty where nothing was signed off. ``round_day`` is the day of the open job that
    holds a round, else empty; ``open_days`` are those of the jobs that can be gone on with;
    ``turned``: a stud was turned and the fin not measured since; ``refitted``: its blade or block
    was changed, which moves it as well.
    """

    release: rows.SignOff | None
    why: str
    loose: bool
    turned: bool
    measured: bool
    round_day: str
    open_days: tuple[str, ...]
    jobs: Mapping[str, JobState]
    refitted: bool = False

    @property
    def key(self) -> tuple[object, ...]:
        """What two states of a ski are told apart by."""
        return self.release and self.release.id, self.why, self.loose, self.turned, self.round_day

    @property
    def danger(self) -> str:
        """What makes the ski dangerous to ride, in a few words; or nothing."""
        said_twice = self.refitted and self.why.startswith(_CHANGED["refitted"])
        parts = [self.why] if self.why and not said_twice else []
        parts += [REFITTED] if self.refitted else [UNMEASURED] if self.turned else []
        parts += ["clamp bolts loose"] if self.loose else []
        return ", ".join(parts)


class _Job:
    """What is known of a job as its facts are gone through."""

    def __init__(self, kept: SkiJob) -> None:
        self.kept = kept
        self.made = self.passes = self.step = 0
        self.read: set[str] = set()
        self.ticks: list[rows.Tick] = []
        self.clamp = self.touched = self.wing = self.stale = self.why = ""
        self.aside: rows.Mark | None = None
        self.stray: set[str] = set()
        self.signed: rows.SignOff | None = None
        self.changed: dict[_Changed, str] = {}
        self.damaged = [f.id for f in kept.facts if f.struck is not None and f.struck.is_damage]

    @property
    def is_free(self) -> bool:
        """Whether it can be gone on with."""
        return self.kept.open and not self.kept.struck

    def touch(self, row_id: str) -> None:
        """The final check has to be gone through anew from here."""
        self.touched = row_id
        self.ticks.clear()


def conclude(ski: SkiFacts, rules: Rules) -> SkiState:
    """Return what the facts of a ski say, by the shop's lists as they were when each was kept."""
    walk = _Walk(ski, rules)
    answered = answered_in(fact for job in ski.jobs for fact in job.facts)
    # A struck record of a stud that was turned counts until somebody says that it is not any more.
    facts = [
        (f.id, f, job)
        for job in walk.jobs
        for f in job.kept.facts
        if f.struck is None or (struck_turn(f, job.kept.facts) and f.id not in answered)
    ]
    changed = list(ski.refitted)
    for row_id, fact, job in sorted(facts, key=itemgetter(0)):
        while changed and changed[0] < row_id:
            walk.refit(changed.pop(0))
        walk.take(fact, job)
    for row_id in changed:
        walk.refit(row_id)
    return walk.end()


def final_passed(ticks: Sequence[rows.Tick], *lists: frozenset[str]) -> bool:
    """Whether ticks of a final check are all that any of these lists asks, the clamp bolts last."""
    items: set[str] = set()
    for tick in ticks:
        items.add(tick.item)
        if tick.item == CLAMP and any(items >= wanted for wanted in lists):
            return True
    return False


_NO_SHEET = SkiSheet("", (), False)


class _Walk:
    """Goes through a ski's facts in their order."""

    def __init__(self, ski: SkiFacts, rules: Rules) -> None:
        self.sheets, self.rules = ski.sheets, rules
        self.jobs = [_Job(job) for job in ski.jobs]
        self.turn = self.loosening = self.refitted = ""
        self.unclamped = False
        self.loosened_by: _Job | None = None
        self.measured_by: _Job | None = None
        self.holding: list[_Job] = []

    def sheet(self, row_id: str) -> SkiSheet:
        """The ski's sheet that was in force when a row was kept."""
        known = [sheet for sheet in self.sheets if sheet.since < row_id] or self.sheets[:1]
        return known[-1] if known else _NO_SHEET

    @property
    def round_job(self) -> _Job | None:
        """The job that holds an open round and can be gone on with."""
        turning = next((job for job in self.jobs if job.step > 1 and job.is_free), None)
        if turning is not None:
            return turning
        return self.loosened_by if self.loosened_by and self.loosened_by.is_free else None

    # -- one fact after the other ------------------------------------------------------------------

    def take(self, fact: rows.AnyFact, job: _Job) -> None:
        """Take the next fact in."""
        if job.kept.struck and not isinstance(fact, rows.PassRow | rows.Mark):
            return  # what was done by hand was done all the same
        if fact.struck is not None:
            if job.step <= 1:
                self._turned(fact.id, job)
                job.stale = fact.id
            return
        match fact:
            case rows.Reading():
                self._read(fact, job)
            case rows.PassRow():
                job.made += 1
                job.passes = max(job.made, job.passes, fact.number)
                self._turned(fact.id, job)
                job.step, self.loosened_by = 0, None
            case rows.Mark():
                self._mark(fact, job)
            case rows.Tick():
                self._tick(fact, job)
            case rows.WingSetting() | rows.Target() if job.step > 1:
                job.stray.add(fact.id)
            case rows.WingSetting():
                job.wing = fact.id
                self._change("wing", job)
                for each in self.jobs:
                    each.touch(fact.id)
            case rows.Target():
                job.step = 0
                self._again(fact.id, job)
            case rows.SignOff():
                self._sign(fact, job)
            case rows.LockedReading() | rows.RideNote() | rows.Temperature():
                pass  # a look at what is tight, or nothing done: the final check before it counts
            case _:
                assert_never(fact)

    def refit(self, row_id: str) -> None:
        """The ski got another blade or block: its bolts were loose, and nothing read holds."""
        self.turn = self.refitted = row_id
        self.measured_by = self.loosened_by = None
        self.unclamped = True
        for job in self.jobs:
            job.touch(row_id)
            job.read.clear()
            job.step, job.stale = 0, row_id
            if job.signed is not None:
                job.changed.setdefault("refitted", "")
        self.holding.clear()

    def _read(self, fact: rows.Reading, job: _Job) -> None:
        methods = self.sheet(fact.id).methods
        if fact.method_id not in methods:
            return
        if job.step > 1:
            job.stray.add(fact.id)
            return
        job.step = 0
        if self.loosened_by is job:  # it is read with the blade clamped
            self.loosened_by = None
        self.unclamped = False
        self._again(fact.id, job)
        if fact.pass_number != job.passes:
            return
        job.read.add(fact.method_id)
        if job.read.issuperset(methods):
            self.measured_by = job
            for other in self.jobs:
                if other is not job and other.step > 1:
                    other.step, other.stale = 0, fact.id

    def _mark(self, fact: rows.Mark, job: _Job) -> None:
        if fact.kind == "step":
            job.step = job.step + 1 if fact.number is None else max(job.step, fact.number)
            self.loosened_by, self.loosening = job, fact.id
            if job.step > 1:
                self._turned(fact.id, job)
            else:
                self._change("loosened", job)
                for each in self.jobs:
                    each.touch(fact.id)
        elif fact.kind == SETTLED:  # the bolts are loose until it is read with the blade clamped
            self.loosened_by, self.loosening = job, fact.id
            self._turned(fact.id, job)
            job.stale = fact.id
        elif fact.kind == "set_aside":
            job.aside = fact
            for each in [each for each in self.jobs if each.signed is not None]:
                self._changed("aside", each, job, f": {fact.text}")
        elif fact.kind == "taken_up":
            job.aside = None
        elif fact.kind in _REST and job.step > 1:
            job.stray.add(fact.id)
        elif fact.kind == "accepted":
            self._again(fact.id, job)

    def _turned(self, row_id: str, job: _Job) -> None:
        """A stud was turned: no reading says any longer where the blade is, in no job."""
        self.turn, self.measured_by = row_id, None
        self._change("turned", job)
        for each in self.jobs:
            each.touch(row_id)
            each.read.clear()
            if each is not job:
                each.step, each.stale = 0, row_id

    def _tick(self, fact: rows.Tick, job: _Job) -> None:
        if fact.checklist != "final":
            return
        if job.step > 1 or self.round_job not in (None, job):
            job.stray.add(fact.id)
            return
        job.ticks.append(fact)
        if fact.item == CLAMP:
            job.clamp, self.loosened_by, self.unclamped = fact.id, None, False

    def _again(self, row_id: str, job: _Job) -> None:
        """A job is read, aimed at or accepted anew: its sign-off was of something else."""
        if job in self.holding:
            self._changed("read", job, job)
        job.touch(row_id)

    def _change(self, what: _Changed, by: _Job) -> None:
        for job in self.jobs:
            if job.signed is not None:
                self._changed(what, job, by)

    def _changed(self, what: _Changed, job: _Job, by: _Job, more: str = "") -> None:
        job.changed.setdefault(what, more if by is job else f", in the job of {by.kept.day}{more}")
        if job in self.holding:
            self.holding.remove(job)

    def _sign(self, fact: rows.SignOff, job: _Job) -> None:
        job.signed, job.why, job.changed = fact, self._barred(job, fact), {}
        if job in self.holding:
            self.holding.remove(job)
        if not job.why:
            self.holding.append(job)

    # -- whether a sign-off follows ----------------------------------------------------------------

    def _barred(self, job: _Job, signed: rows.SignOff | None) -> str:
        """Return why a sign-off of this job, here or now, does not follow; or nothing."""
        if signed is None and job.damaged:
            return "a record of it is damaged in the book: strike it out, then enter it anew"
        at = signed.id if signed is not None else "~"
        gone = _Gone(job.kept.facts, signed) if signed is not None else None
        sheet = self.sheet(at)
        if gone is not None and gone.has_pass:
            return "its round was struck out since"
        open_round = self.round_job
        if open_round not in (None, job):
            return f"a round was open in the job of {open_round.kept.day}"
        if job.step > 1:
            return "a stud was turned and the round not finished"
        recheck = job.kept.kind == "recheck"
        read = bool(sheet.methods) and job.read.issuperset(sheet.methods)
        if not (self.measured_by is not None if recheck else read):
            if gone is not None and (said := gone.reading(job, sheet)):
                return said
            turned = recheck or self.turn > job.kept.id
            return f"not measured{self._after_move if turned and self.turn else ''}"
        if said := self._unchecked(job, sheet, at, gone):
            return said
        if sheet.has_wing and job.kept.kind == "setting" and not job.wing:
            return "the wing was struck out since" if gone and gone.has_wing else "wing not set"
        return self._set_aside(job)

    def _set_aside(self, job: _Job) -> str:
        """Return why the ski is set aside, in this job or in another one that is not finished."""
        for other in (job, *self.jobs):
            if other.aside is not None and not other.kept.struck:
                if other is job:
                    return f"set aside: {other.aside.text}"
                if other.signed is None:
                    return f"set aside in the job of {other.kept.day}: {other.aside.text}"
        return ""

    def _unchecked(self, job: _Job, sheet: SkiSheet, at: str, gone: _Gone | None) -> str:
        """Return what is missing of the final check as it was asked then, or nothing."""
        clamp = next((tick for tick in job.ticks if tick.item == CLAMP), None)
        now = self.rules.final_at(at, sheet.has_wing)
        if clamp is not None:
            then = self.rules.final_at(clamp.id, sheet.has_wing)
            if final_passed(job.ticks, then, now):
                return ""
        struck = gone.items(job.touched) if gone is not None else {}
        if clamp is None:
            if CLAMP in struck:
                return f"its clamp-bolt check was struck out{struck[CLAMP]}"
            return f"clamp bolts not checked{self._after(job)}"
        if struck:
            return f"its final check was struck out{next(iter(struck.values()))}"
        return "final check not complete"

    def _after(self, job: _Job) -> str:
        """Return after what the clamp bolts were not checked."""
        if self.turn > max(job.clamp, job.kept.id):
            return self._after_move
        if not job.clamp:
            return " after they were loosened" if self.loosened_by else ""
        if job.clamp < self.loosening:
            return " after they were loosened"
        return " after the wing was set" if job.clamp < job.wing else " after the last reading"

    @property
    def _after_move(self) -> str:
        """After what the fin was moved last."""
        return " after its parts were changed" if self._is_refitted else " after the last turn"

    @property
    def _is_refitted(self) -> bool:
        return bool(self.refitted) and self.refitted == self.turn

    # -- the end -----------------------------------------------------------------------------------

    def end(self) -> SkiState:
        """Return what is concluded."""
        for held in [h for h in self.holding if self._is_damaged(h)]:
            self._changed("damaged", held, held)
        now = self.holding[-1].signed if self.holding else None
        turned = bool(self.turn) and self.measured_by is None
        refitted = turned and self._is_refitted
        loose = self.loosened_by is not None or self.unclamped
        jobs = {job.kept.id: self._state(job, now, loose, turned) for job in self.jobs}
        round_job = self.round_job
        newest = max((j for j in self.jobs if j.signed), key=_signed_id, default=None)
        return SkiState(
            now,
            jobs[newest.kept.id].why if newest is not None and now is None else "",
            loose,
            turned,
            self.measured_by is not None,
            round_job.kept.day if round_job is not None else "",
            tuple(j.kept.day for j in self.jobs if j.is_free and not self._elsewhere(j, turned)),
            jobs,
            refitted,
        )

    def _is_damaged(self, held: _Job) -> bool:
        """Whether a sign-off may rest on a record, or have one after it, that is damaged.

        What it said before nobody knows: until it is struck out nothing is released by it.
        """
        signed = _signed_id(held)
        return any(
            job is held or job is self.measured_by or row_id > signed
            for job in self.jobs
            for row_id in job.damaged
        )

    def _state(self, job: _Job, now: rows.SignOff | None, loose: bool, turned: bool) -> JobState:
        standing, why, release = self._standing(job, now)
        signed = job.signed is not None
        return JobState(
            standing,
            why,
            release,
            job.signed,
            job.passes,
            job.step,
            frozenset(job.stray),
            "" if signed or job.stale < job.kept.id else job.stale,
            tuple(job.ticks),
            "" if signed else self._barred(job, None),
            "" if signed else self._elsewhere(job, turned),
            loose,
            turned,
            signed and not job.why and all(job.changed.get(what) != "" for what in _MOVED),
            turned and self._is_refitted,
            "" if signed or self.refitted < job.kept.id else self.refitted,
        )

    def _standing(
        self, job: _Job, now: rows.SignOff | None
    ) -> tuple[JobStanding, str, rows.SignOff | None]:
        if job.signed is None:
            return "open", "", None
        if job in self.holding:
            return "released", "", job.signed
        if (
            now is not None
            and not job.changed.keys() - {"aside"}
            and job is self.measured_by
            and now.id > job.signed.id
        ):
            return "released", "", now  # a re-check brought what was missing
        why = job.why or next(
            f"{words}{job.changed[what]}" for what, words in _CHANGED.items() if what in job.changed
        )
        if now is not None and not job.why and "read" not in job.changed:
            return "set again", why, None
        return "not released", why, None

    def _elsewhere(self, job: _Job, turned: bool) -> str:
        open_round = self.round_job
        if open_round not in (None, job):
            return f"a round is open in the job of {open_round.kept.day}"
        if job.kept.kind == "recheck" and turned:
            return REFITTED if self._is_refitted else UNMEASURED
        return ""


def _signed_id(job: _Job) -> str:
    return job.signed.id if job.signed is not None else ""


class _Gone:
    """What a sign-off rested on and was struck out."""

    def __init__(self, facts: Sequence[rows.AnyFact], signed: rows.SignOff) -> None:
        self.signed = signed
        self.struck = [f for f in facts if f.struck is not None and f.id < signed.id]

    @property
    def has_pass(self) -> bool:
        """Whether a round was struck out after it; one struck out before was done anew."""
        return any(isinstance(f, rows.PassRow) and self._since(f) for f in self.struck)

    @property
    def has_wing(self) -> bool:
        """Whether a wing setting was."""
        return any(isinstance(f, rows.WingSetting) for f in self.struck)

    def reading(self, job: _Job, sheet: SkiSheet) -> str:
        """Return that a reading of the last round was, or nothing."""
        lacking = set(sheet.methods) - job.read
        read = (f for f in self.struck if isinstance(f, rows.Reading) and f.method_id in lacking)
        last = next((f for f in read if f.pass_number == job.passes), None)
        return f"its reading was struck out{self._said(last)}" if last is not None else ""

    def items(self, touched: str) -> dict[str, str]:
        """Return the items of the final check that were, each with since when."""
        ticks = (f for f in self.struck if isinstance(f, rows.Tick) and f.id > touched)
        return {f.item: self._said(f) for f in ticks if f.checklist == "final"}

    def _since(self, fact: rows.AnyFact) -> bool:
        return fact.struck is not None and fact.struck.at > self.signed.at

    def _said(self, fact: rows.AnyFact) -> str:
        return " since" if self._since(fact) else ""
