"""The pages of a book about the day's queue and what happened to each job."""

from __future__ import annotations

from collections.abc import Iterable

from workbench.records.desk.door import Door
from workbench.records.store.rows import (
    AnyFact,
    Checklist,
    Job,
    JobHistory,
    JobKind,
    Mark,
    PassRow,
    QueueItem,
    Reading,
    Seen,
    SignOff,
    Ski,
    Strike,
    Taken,
    Tick,
    Turn,
    WingHold,
    WingSetting,
)
from workbench.records.tables import facts, jobs, ski_facts
from workbench.records.tables.facts import F
from workbench.records.tables.ski_facts import SkiFacts


class JobPages(Door):
    """The queue, the facts of its jobs, strikes and history."""

    def add_job(
        self,
        ski_id: str,
        day: str,
        due: str = "",
        *,
        finest_turn: float | None = None,
        who: str = "",
        kind: JobKind = "setting",
        note: str = "",
    ) -> Job:
        """Put a ski at the end of a day's queue (``day`` as YYYY-MM-DD).

        ``finest_turn`` is that of the ski's block when left out.
        """
        return self._write(
            jobs.add_job,
            ski_id,
            day,
            due,
            finest_turn=finest_turn,
            who=who,
            kind=kind,
            note=note,
        )

    def move_job(self, job_id: str, rank: float, *, who: str = "") -> Job:
        """Move a job within its day to where ``rank`` puts it."""
        return self._write(jobs.move_job, job_id, rank, who=who)

    def carry_job(self, job_id: str, day: str, *, who: str = "") -> Job:
        """Carry a job over to the end of another day's queue."""
        return self._write(jobs.carry_job, job_id, day, who=who)

    def job(self, job_id: str) -> Job:
        """The job of this id, on the day and rank it is at now."""
        return self._read(jobs.job, job_id)

    def day_queue(self, day: str) -> tuple[QueueItem, ...]:
        """A day's queue by rank, signed-off jobs included, struck ones not."""
        return self._read(jobs.day_queue, day)

    def unfinished_before(self, day: str) -> tuple[QueueItem, ...]:
        """The jobs of earlier days that were never signed off, oldest day first."""
        return self._read(jobs.unfinished_before, day)

    def facts(self, job_id: str) -> tuple[AnyFact, ...]:
        """All facts of a job in order, struck ones included."""
        return self._read(facts.facts, job_id)

    def facts_for(self, job_ids: Iterable[str]) -> dict[str, tuple[AnyFact, ...]]:
        """The facts of many jobs at once, with an entry for every id asked."""
        return self._read(facts.facts_for, tuple(job_ids))

    def ski_facts(
        self,
        ski_ids: Iterable[str],
        asked: Iterable[str] = (),
        *,
        whole: bool = False,
        keep: bool = True,
        fresh: bool = False,
    ) -> dict[str, SkiFacts]:
        """What still matters of these skis, by ski, with the jobs ``asked`` for among it.

        ``whole``: every job there ever was; without ``keep`` none of it stays in memory; ``fresh``:
        all of it was brought by the batch that is open. A fixed number of queries.
        """
        how = {"whole": whole, "keep": keep, "fresh": fresh}
        return self._read(ski_facts.ski_facts, tuple(ski_ids), tuple(asked), **how)

    def history_of_ski(self, ski_id: str) -> tuple[JobHistory, ...]:
        """Every job of a ski with its facts, oldest first."""
        return self._read(facts.history_of_ski, ski_id)

    def turned_jobs(self, block_id: str) -> tuple[str, ...]:
        """The ids of the jobs in which a stud of a block was turned, oldest first."""
        return self._read(facts.turned_jobs, block_id)

    def mark_of_jobs(self, job_ids: Iterable[str]) -> tuple[object, ...]:
        """A mark of what is kept in jobs: another one after any fact or strike was added."""
        return self._read(facts.mark_of_jobs, tuple(job_ids))

    def jobs_with_facts(self, job_ids: Iterable[str]) -> tuple[JobHistory, ...]:
        """Jobs with their facts, struck ones included, in the order they were added."""
        return self._read(facts.jobs_with_facts, tuple(job_ids))

    def last_read_jobs(self, ski_id: str) -> tuple[tuple[str, str], ...]:
        """The ids of a ski's jobs that were read, each with its newest reading's: newest first."""
        return self._read(facts.last_read_jobs, ski_id)

    def seen(self, ski: Ski, settings: Iterable[str] = ()) -> Seen:
        """What there is of a ski now, to tell later whether something was added since.

        ``settings`` are the names of those that bear on how the ski is shown.
        """
        return self._read(facts.seen, ski, tuple(settings))

    def add_reading(self, job_id: str, who: str, taken: Taken) -> Reading:
        """Keep one reading."""
        return self._write(facts.add_reading, job_id, who, taken)

    def add_readings(self, job_id: str, who: str, taken: Iterable[Taken]) -> tuple[Reading, ...]:
        """Keep several readings, in order: all or none."""
        return self._write(facts.add_readings, job_id, who, tuple(taken))

    def correct_reading(self, reading_id: str, who: str, reason: str, taken: Taken) -> Reading:
        """Strike a reading out and keep the one that replaces it, both or neither."""
        return self._write(facts.correct_reading, reading_id, who, reason, taken)

    def add_fact(self, job_id: str, who: str, fact: F) -> F:
        """Keep a fact that has a method of its own nowhere below; with its id, time and job.

        Of targets the latest of a method is in force; a ``Temperature`` may be named by readings
        taken from then on.
        """
        return self._write(facts.add_fact, job_id, who, fact)

    def add_pass(
        self, job_id: str, who: str, *, number: int, turns: Iterable[Turn], finest_turn: float
    ) -> PassRow:
        """Keep a round with the turns of its studs."""
        return self._write(
            facts.add_pass, job_id, who, number=number, turns=tuple(turns), finest_turn=finest_turn
        )

    def add_mark(
        self, job_id: str, who: str, kind: str, *, number: int | None = None, text: str = ""
    ) -> Mark:
        """Keep a step done or a thing noted."""
        return self.add_fact(job_id, who, Mark(kind=kind, number=number, text=text))

    def add_tick(
        self, job_id: str, who: str, checklist: Checklist, item: str, text: str = ""
    ) -> Tick:
        """Keep a tick of one item of a checklist."""
        return self.add_fact(job_id, who, Tick(checklist=checklist, item=item, text=text))

    def add_wing(
        self,
        job_id: str,
        who: str,
        text: str,
        angle_deg: float,
        *,
        hold: WingHold = "",
        gauge: str = "",
    ) -> WingSetting:
        """Keep the wing's angle, where the straightedge lay and which gauge was used."""
        setting = WingSetting(text=text, angle_deg=angle_deg, hold=hold, gauge=gauge)
        return self.add_fact(job_id, who, setting)

    def add_sign_off(self, job_id: str, who: str, text: str = "") -> SignOff:
        """Keep the sign-off; the job leaves the unfinished ones."""
        return self.add_fact(job_id, who, SignOff(text=text))

    def strike(self, row_id: str, reason: str, who: str, replaced_by: str | None = None) -> Strike:
        """Strike a row out, of whatever kind it is; it stays readable with the reason beside it.

        Raises ``StruckTwiceError`` where it was struck before, ``UnknownRowError`` where no row
        has that id.
        """
        return self._write(facts.strike, row_id, reason, who, replaced_by)
