"""The book: everything a shop keeps, behind one door and without a word of SQL outside this room."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from concurrent.futures import Future
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Concatenate, ParamSpec, Self, TypeVar

from sqlite_utils import Database

from . import copies, facts, jobs, roster
from .desk import Desk, utc_now
from .pen import Pen
from .rows import (
    AnyFact,
    Baseline,
    Blade,
    Block,
    Caliper,
    Checklist,
    Job,
    JobHistory,
    Mark,
    Method,
    PassRow,
    QueueItem,
    Reading,
    RideNote,
    SignOff,
    Ski,
    Strike,
    Taken,
    Target,
    TargetKind,
    Tick,
    Turn,
    Unit,
    WingSetting,
)

T = TypeVar("T")
P = ParamSpec("P")


class Book:
    """One book, open. Every method blocks until it is done; :meth:`aio` is the way from a screen.

    A method that has returned has kept what it was given: written through to the disk. Every
    method raises ``RecordsError`` when the book cannot be read or written, ``InputError`` when a
    value cannot be kept, ``UnknownRowError`` for an id that is not in the book.
    """

    def __init__(
        self,
        path: Path | str,
        *,
        clock: Callable[[], datetime] = utc_now,
        bench: str = "",
        make_folder: bool = False,
    ) -> None:
        """Open the book at ``path``, or begin it; with ``make_folder`` its folder too.

        ``clock`` gives the time with its zone, ``bench`` names this bench (the machine's name when
        left out). Raises ``RecordsError`` where there is no book of ours to open, and leaves what
        is there untouched.
        """
        self._desk = Desk(Path(path), clock=clock, bench=bench, make_folder=make_folder)

    @property
    def path(self) -> Path:
        """Where the book lies."""
        return self._desk.path

    def close(self) -> None:
        """Finish what is under way, then close; a second time does nothing."""
        self._desk.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # The ways in -----------------------------------------------------------------------------

    async def aio(self, method: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Await ``method`` of this book; once asked for, a write is done even if this is cancelled."""
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[T] = loop.create_future()

        def settle(done: Future[T]) -> None:
            if answer.cancelled():
                return
            error = done.exception()
            if error is None:
                answer.set_result(done.result())
            else:
                answer.set_exception(error)

        def report(done: Future[T]) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(settle, done)

        self.submit(method, *args, **kwargs).add_done_callback(report)
        return await answer

    def submit(self, method: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Hand ``method`` of this book to the desk and go on; the desk keeps the order asked."""
        return self._desk.submit(lambda: method(*args, **kwargs))

    def batch(self, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        """Run ``work``, which calls this book's methods, as one transaction: all is kept or nothing."""
        return self._desk.write(lambda _pen: work(*args, **kwargs))

    def _read(
        self, fn: Callable[Concatenate[Database, P], T], *args: P.args, **kwargs: P.kwargs
    ) -> T:
        return self._desk.read(lambda db: fn(db, *args, **kwargs))

    def _write(self, fn: Callable[Concatenate[Pen, P], T], *args: P.args, **kwargs: P.kwargs) -> T:
        return self._desk.write(lambda pen: fn(pen, *args, **kwargs))

    def changed_since_last_look(self) -> bool:
        """Whether another bench has written since this was last asked; costs next to nothing."""
        return self._desk.changed_since_last_look()

    def backup(self, path: Path | str) -> Path:
        """Copy the book to ``path`` while it is in use; the copy is checked before it takes its name.

        An older copy of a book at ``path`` is replaced; anything else there is refused.
        """
        target = Path(path)
        self._desk.look(lambda db: copies.copy_book(db.conn, self.path, target))
        return target

    # Roster ----------------------------------------------------------------------------------

    def add_ski(self, ski: Ski, *, who: str = "") -> Ski:
        """Keep a new ski (``id=""``); returns it with its id."""
        return self._write(roster.add, ski, who=who)

    def correct_ski(self, ski: Ski, *, who: str = "") -> Ski:
        """Keep a corrected ski under its old id; what it said before stays in the book."""
        return self._write(roster.correct, ski, who=who)

    def skis(self) -> tuple[Ski, ...]:
        """All skis that are not struck out, oldest first."""
        return self._read(roster.every, Ski)

    def ski(self, ski_id: str) -> Ski:
        """The ski of this id, struck out or not."""
        return self._read(roster.one, Ski, ski_id)

    def add_blade(self, blade: Blade, *, who: str = "") -> Blade:
        """Keep a new blade (``id=""``); returns it with its id."""
        return self._write(roster.add, blade, who=who)

    def correct_blade(self, blade: Blade, *, who: str = "") -> Blade:
        """Keep a corrected blade under its old id."""
        return self._write(roster.correct, blade, who=who)

    def blades(self) -> tuple[Blade, ...]:
        """All blades that are not struck out, oldest first."""
        return self._read(roster.every, Blade)

    def blade(self, blade_id: str) -> Blade:
        """The blade of this id, struck out or not."""
        return self._read(roster.one, Blade, blade_id)

    def add_block(self, block: Block, *, who: str = "") -> Block:
        """Keep a new block (``id=""``); returns it with its id."""
        return self._write(roster.add, block, who=who)

    def correct_block(self, block: Block, *, who: str = "") -> Block:
        """Keep a corrected block under its old id."""
        return self._write(roster.correct, block, who=who)

    def blocks(self) -> tuple[Block, ...]:
        """All blocks that are not struck out, oldest first."""
        return self._read(roster.every, Block)

    def block(self, block_id: str) -> Block:
        """The block of this id, struck out or not."""
        return self._read(roster.one, Block, block_id)

    def add_method(self, method: Method, *, who: str = "") -> Method:
        """Keep a new reading method (``id=""``) of a blade; returns it with its id."""
        return self._write(roster.add, method, who=who)

    def correct_method(self, method: Method, *, who: str = "") -> Method:
        """Keep a corrected method under its old id."""
        return self._write(roster.correct, method, who=who)

    def methods_of(self, blade_id: str) -> tuple[Method, ...]:
        """The methods of a blade that are not struck out, oldest first."""
        return self._read(roster.methods_of, blade_id)

    def method(self, method_id: str) -> Method:
        """The method of this id, struck out or not."""
        return self._read(roster.one, Method, method_id)

    def add_caliper(self, caliper: Caliper, *, who: str = "") -> Caliper:
        """Keep a new caliper (``id=""``); returns it with its id."""
        return self._write(roster.add, caliper, who=who)

    def correct_caliper(self, caliper: Caliper, *, who: str = "") -> Caliper:
        """Keep a corrected caliper under its old id."""
        return self._write(roster.correct, caliper, who=who)

    def calipers(self) -> tuple[Caliper, ...]:
        """All calipers that are not struck out, oldest first."""
        return self._read(roster.every, Caliper)

    def caliper(self, caliper_id: str) -> Caliper:
        """The caliper of this id, struck out or not."""
        return self._read(roster.one, Caliper, caliper_id)

    def add_baseline(self, baseline: Baseline, *, who: str = "") -> Baseline:
        """Keep a new baseline (``id=""``); returns it with its id."""
        return self._write(roster.add, baseline, who=who)

    def correct_baseline(self, baseline: Baseline, *, who: str = "") -> Baseline:
        """Keep a corrected baseline under its old id."""
        return self._write(roster.correct, baseline, who=who)

    def baselines_of(self, ski_id: str) -> tuple[Baseline, ...]:
        """The baselines of a ski that are not struck out, oldest first."""
        return self._read(roster.baselines_of, ski_id)

    def baselines(self) -> tuple[Baseline, ...]:
        """All baselines that are not struck out, oldest first, those of no ski included."""
        return self._read(roster.every, Baseline)

    def set_setting(self, name: str, value: str, *, who: str = "") -> None:
        """Keep a setting; the latest of a name is the one in force."""
        self._write(roster.set_setting, name, value, who=who)

    def setting(self, name: str, default: str | None = None) -> str | None:
        """The setting in force under ``name``, or ``default``."""
        return self._read(roster.setting, name, default)

    def settings(self) -> dict[str, str]:
        """All settings in force."""
        return self._read(roster.settings)

    # The queue -------------------------------------------------------------------------------

    def add_job(
        self,
        ski_id: str,
        day: str,
        due: str = "",
        *,
        finest_turn: float | None = None,
        who: str = "",
    ) -> Job:
        """Put a ski at the end of a day's queue (``day`` as YYYY-MM-DD).

        ``finest_turn`` is that of the ski's block when left out.
        """
        return self._write(jobs.add_job, ski_id, day, due, finest_turn=finest_turn, who=who)

    def move_job(self, job_id: str, rank: float, *, who: str = "") -> Job:
        """Move a job within its day to where ``rank`` puts it."""
        return self._write(jobs.move_job, job_id, rank, who=who)

    def carry_job(self, job_id: str, day: str, *, who: str = "") -> Job:
        """Carry a job over to the end of another day's queue."""
        return self._write(jobs.carry_job, job_id, day, who=who)

    def job(self, job_id: str) -> Job:
        """The job of this id, on the day and rank it stands at now."""
        return self._read(jobs.job, job_id)

    def day_queue(self, day: str) -> tuple[QueueItem, ...]:
        """A day's queue by rank, signed-off jobs included, struck ones not."""
        return self._read(jobs.day_queue, day)

    def unfinished_before(self, day: str) -> tuple[QueueItem, ...]:
        """The jobs of earlier days that were never signed off, oldest day first."""
        return self._read(jobs.unfinished_before, day)

    # Facts of a job --------------------------------------------------------------------------

    def facts(self, job_id: str) -> tuple[AnyFact, ...]:
        """All facts of a job in order, struck ones included."""
        return self._read(facts.facts, job_id)

    def facts_for(self, job_ids: Iterable[str]) -> dict[str, tuple[AnyFact, ...]]:
        """The facts of many jobs at once: an entry for every id asked, empty where there are none."""
        return self._read(facts.facts_for, tuple(job_ids))

    def history_of_ski(self, ski_id: str) -> tuple[JobHistory, ...]:
        """Every job of a ski with its facts, oldest first."""
        return self._read(facts.history_of_ski, ski_id)

    def add_reading(self, job_id: str, who: str, taken: Taken) -> Reading:
        """Keep one reading."""
        return self._write(facts.add_reading, job_id, who, taken)

    def add_readings(self, job_id: str, who: str, taken: Iterable[Taken]) -> tuple[Reading, ...]:
        """Keep several readings, in order: all or none."""
        return self._write(facts.add_readings, job_id, who, tuple(taken))

    def correct_reading(self, reading_id: str, who: str, reason: str, taken: Taken) -> Reading:
        """Strike a reading out and keep the one that stands in its place, both or neither."""
        return self._write(facts.correct_reading, reading_id, who, reason, taken)

    def add_target(
        self,
        job_id: str,
        who: str,
        *,
        method_id: str,
        text: str,
        unit: Unit,
        kind: TargetKind,
        mm: float,
        tolerance_mm: float,
    ) -> Target:
        """Keep a target: ``mm`` is absolute; the latest of a method is the one in force."""
        return self._write(
            facts.add_fact,
            Target,
            job_id,
            who,
            method_id=method_id,
            text=text,
            unit=unit,
            kind=kind,
            mm=mm,
            tolerance_mm=tolerance_mm,
        )

    def add_pass(
        self, job_id: str, who: str, *, number: int, turns: Iterable[Turn], finest_turn: float
    ) -> PassRow:
        """Keep a pass with the turns of its studs."""
        return self._write(
            facts.add_pass, job_id, who, number=number, turns=tuple(turns), finest_turn=finest_turn
        )

    def add_mark(
        self, job_id: str, who: str, kind: str, *, number: int | None = None, text: str = ""
    ) -> Mark:
        """Keep a step done or a thing noted."""
        return self._write(facts.add_fact, Mark, job_id, who, kind=kind, number=number, text=text)

    def add_tick(
        self, job_id: str, who: str, checklist: Checklist, item: str, text: str = ""
    ) -> Tick:
        """Keep a tick of one item of a checklist."""
        return self._write(
            facts.add_fact, Tick, job_id, who, checklist=checklist, item=item, text=text
        )

    def add_wing(self, job_id: str, who: str, text: str, angle_deg: float) -> WingSetting:
        """Keep the wing's angle."""
        return self._write(
            facts.add_fact, WingSetting, job_id, who, text=text, angle_deg=angle_deg
        )

    def add_sign_off(self, job_id: str, who: str, text: str = "") -> SignOff:
        """Keep the sign-off; the job leaves the unfinished ones."""
        return self._write(facts.add_fact, SignOff, job_id, who, text=text)

    def add_ride_note(self, job_id: str, who: str, text: str) -> RideNote:
        """Keep what the rider said."""
        return self._write(facts.add_fact, RideNote, job_id, who, text=text)

    def strike(
        self, row_id: str, reason: str, who: str, replaced_by: str | None = None
    ) -> Strike:
        """Strike a row out, of whatever kind it is; it stays readable with the reason beside it.

        Raises ``StruckTwiceError`` where it was struck before, ``UnknownRowError`` where no row
        has that id.
        """
        return self._write(facts.strike, row_id, reason, who, replaced_by)
