"""The rounds that the book keeps of a ski, oldest first: takes, turns, takes.

A round is kept between two sets of readings. What was struck out leaves no trace, unless a stud was
turned all the same: then nothing is known of the way there, and the rounds after it begin anew.
So they do where the ski got another blade or block.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from workbench.frozen import dataclass
from workbench.records.store import rows
from workbench.records.tables.ski_facts import SkiSheet, changes_of_parts
from workbench.work.order.round_records import SETTLED, answered_in, struck_turn, turn_in
from workbench.work.trust.reading_tools import known_temperatures, value_mm

NOT_TURNED = "not_turned"

LEAST_READINGS = 3
"""Fewer fix no pose."""

Takes = Mapping[str, tuple[float, ...]]
"""Takes (mm, at 20 degrees where stated) by method id."""


@dataclass(frozen=True, slots=True)
class KeptRound:
    """One round of a job; ``id`` and ``at`` are those of the record that keeps its turns.

    ``chain`` names the readings that follow on one another: the job, or the part of it since the
    way of the blade was lost. ``turns`` are by stud, positive is in; a round without any is a push
    home. ``before`` is empty where it is the ``after`` of the chain's last round.
    """

    id: str
    at: str
    job_id: str
    chain: str
    turns: Mapping[str, float]
    before: Takes
    after: Takes
    settled: bool = False


@dataclass(frozen=True, slots=True)
class Open:
    """What a job's facts end with: the readings after its last round, or of no round yet."""

    chain: str
    takes: Takes
    settled: bool


class _Job:
    """A job as its facts are gone through."""

    def __init__(self, past: rows.JobHistory) -> None:
        self.id = past.job.id
        self.facts = past.facts
        live = [f for f in past.facts if f.struck is None]
        self.temperatures = known_temperatures(live)
        self.number = self.made = self.part = 0
        self.is_turning = self.settled = self.is_followed = False
        self.takes: dict[str, tuple[float, ...]] = {}
        self.round: rows.PassRow | None = None
        self.before: Takes = {}
        self.out: list[KeptRound] = []

    @property
    def chain(self) -> str:
        return f"{self.id}/{self.part + 1}" if self.part else self.id

    def read(self, fact: rows.Reading) -> None:
        if self.is_turning or fact.pass_number != self.number:
            return
        mm = value_mm(fact.mm, self.temperatures.get(fact.temperature_id or ""))
        self.takes[fact.method_id] = (*self.takes.get(fact.method_id, ()), mm)

    def made_round(self, fact: rows.PassRow) -> None:
        self.close()
        self.made += 1
        self.number = max(self.made, self.number, fact.number)
        self.is_turning = False
        unknown = not fact.turns  # turned by hand, with no turns written down
        if unknown or (not self.is_followed and len(self.takes) < LEAST_READINGS):
            self.lose()
            return
        self.before = {} if self.is_followed else dict(self.takes)
        self.round, self.takes = fact, {}

    def close(self) -> None:
        """Keep the round that is open, where it was measured."""
        made, self.round = self.round, None
        if made is None:
            return
        if len(self.takes) < LEAST_READINGS:
            self.lose()
            return
        turns = {t.stud: t.turns for t in made.turns}
        settled = self.settled and bool(self.before)
        self.out.append(
            KeptRound(
                made.id, made.at, self.id, self.chain, turns, self.before, dict(self.takes), settled
            )
        )
        self.is_followed = True

    def lose(self) -> None:
        """Nothing tells any longer how the blade got to where it is read next."""
        self.close()
        if self.is_followed or self.takes:
            self.part += 1
        self.is_followed = self.settled = False
        self.takes = {}


def rounds_of_ski(
    jobs: Sequence[rows.JobHistory], versions: Sequence[rows.SkiVersion]
) -> tuple[KeptRound, ...]:
    """Return all rounds of a ski that were measured, in the order of their ids.

    Those of a job that was struck out teach nothing, though its studs were turned.
    """
    kept = _walked(jobs, versions)
    struck = {past.job.id for past in jobs if past.job.struck is not None}
    out: list[KeptRound] = []
    for job in kept.values():
        if job.id in struck:
            continue
        if job.round is not None and len(job.takes) >= LEAST_READINGS:
            job.close()
        out += job.out
    return tuple(sorted(out, key=lambda r: r.id))


def open_in(
    jobs: Sequence[rows.JobHistory], versions: Sequence[rows.SkiVersion], job_id: str
) -> Open:
    """Return what the facts of one of a ski's jobs end with."""
    job = _walked(jobs, versions)[job_id]
    return Open(job.chain, dict(job.takes), job.settled and not job.is_followed)


def _walked(
    jobs: Sequence[rows.JobHistory], versions: Sequence[rows.SkiVersion]
) -> dict[str, _Job]:
    kept = {past.job.id: _Job(past) for past in jobs}
    answered = answered_in(f for past in jobs for f in past.facts)
    facts = sorted((f for past in jobs for f in past.facts), key=lambda f: f.id)
    changes = list(changes_of_parts([SkiSheet.of(v) for v in versions]))
    for fact in facts:
        while changes and changes[0] < fact.id:
            del changes[0]
            for each in kept.values():
                each.lose()
        _take(fact, kept[fact.job_id], kept.values(), answered)
    return kept


def _take(fact: rows.AnyFact, job: _Job, jobs: Iterable[_Job], answered: Mapping[str, str]) -> None:
    others = [each for each in jobs if each is not job]
    if fact.struck is not None:
        # Turned back by hand it is somewhere near, but not by turns that anybody counted.
        if struck_turn(fact, job.facts) and answered.get(fact.id) != NOT_TURNED:
            for each in (job, *others):
                each.lose()
        return
    match fact:
        case rows.Reading():
            job.read(fact)
        case rows.PassRow():
            for each in others:
                each.lose()
            job.made_round(fact)
        case rows.Mark(kind="step") if turn_in(fact, ()):
            job.is_turning = True
            for each in others:
                each.lose()
        case rows.Mark(kind=kind) if kind == SETTLED:
            job.settled = not job.is_followed and job.round is None and not job.takes
        case _:
            pass
