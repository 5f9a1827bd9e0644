"""The book: everything a shop keeps, with no SQL outside this room.

What a method does and raises is said at the function that it calls (``tables``).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future
from datetime import datetime
from functools import wraps
from pathlib import Path
from types import TracebackType
from typing import Concatenate, ParamSpec, Protocol, Self, TypeVar, cast

from workbench.records.desk import Desk, utc_now
from workbench.records.store.database import Database
from workbench.records.store.rows import (
    Baseline,
    Blade,
    Block,
    Caliper,
    CaliperCheck,
    Checklist,
    Curve,
    Mark,
    Method,
    Pair,
    PartVersion,
    SignOff,
    Ski,
    Study,
    StudyReading,
    Tick,
    WingHold,
    WingSetting,
)
from workbench.records.store.specs import Table
from workbench.records.store.writer import Pen
from workbench.records.tables import days, entries, jobs, roster
from workbench.records.tables import facts as kept_facts
from workbench.records.tables import ski_facts as kept_skis
from workbench.records.tables.entries import Entry
from workbench.records.tables.facts import F
from workbench.records.tables.roster import Part, Thing

_T = TypeVar("_T")
P = ParamSpec("P")
K = TypeVar("K", bound=Thing)

_BY_HUB = f"SELECT 1 FROM {Table.SHARES} WHERE kind = 'hub' AND joined"


def _reads(look: Callable[Concatenate[Database, P], _T]) -> Callable[Concatenate[Book, P], _T]:
    """A method of the book that returns what ``look`` reads, all of it from one state of it."""

    @wraps(look)
    def method(book: Book, /, *args: P.args, **kwargs: P.kwargs) -> _T:
        return book.read(look, *args, **kwargs)

    return method


def _writes(write: Callable[Concatenate[Pen, P], _T]) -> Callable[Concatenate[Book, P], _T]:
    """A method of the book that lets ``write`` write, as one transaction."""

    @wraps(write)
    def method(book: Book, /, *args: P.args, **kwargs: P.kwargs) -> _T:
        return book.write(write, *args, **kwargs)

    return method


def _keeps(
    _kind: type[K], write: Callable[Concatenate[Pen, K, P], K]
) -> Callable[Concatenate[Book, K, P], K]:
    """A method that keeps a thing of this kind by ``write`` and returns it as it is kept."""
    return _writes(write)


def _standing(kind: type[K]) -> Callable[[Book], tuple[K, ...]]:
    """A method: all things of a kind that are not struck out, oldest first."""
    return lambda book: book.read(roster.every, kind)


def _one(kind: type[K]) -> Callable[[Book, str], K]:
    """A method: the thing of this id as it is now, struck out or not."""
    return lambda book, thing_id: book.read(roster.one, kind, thing_id)


def _versions(kind: type[Part]) -> Callable[[Book, str], tuple[PartVersion, ...]]:
    """A method: a thing as first written down and each time it was corrected, oldest first."""
    return lambda book, thing_id: book.read(roster.versions, kind, thing_id)


def _entries(kind: type[Entry]) -> Callable[[Book], tuple[Entry, ...]]:
    """A method: all entries of a kind, oldest first, struck ones included."""
    return lambda book: book.read(entries.entries_of, kind)


def _entries_by(kind: type[Entry], column: str) -> Callable[[Book, str], tuple[Entry, ...]]:
    """A method: the entries of a kind whose ``column`` is as asked, in the same order."""
    return lambda book, value: book.read(entries.entries_of, kind, **{column: value})


class HasBook(Protocol):
    """Whatever works on an open book."""

    @property
    def book(self) -> Book:
        """The book."""


S = TypeVar("S", bound=HasBook)


def whole(act: Callable[Concatenate[S, P], _T]) -> Callable[Concatenate[S, P], _T]:
    """Make ``act``, whose first argument has a book, one transaction: all is kept or nothing."""

    @wraps(act)
    def done(at: S, /, *args: P.args, **kwargs: P.kwargs) -> _T:
        return at.book.batch(act, at, *args, **kwargs)

    return done


class UndoneError(Exception):
    """Ends a batch that was only tried, or whose rows cannot all be kept, with its ``answer``."""

    def __init__(self, answer: object) -> None:
        self.answer = answer


class Book:
    """One book, open. Every method blocks until it is done; ``aio`` is the way from a screen.

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
        beside: Book | None = None,
    ) -> None:
        """Open the book at ``path``, or begin it; with ``make_folder`` its folder too.

        ``clock`` gives the time with its zone. ``bench`` names this bench in the ids that it gives;
        left out, they carry the book's own random bench id. With ``beside``, a book that is open
        here, this is another connection to it, to be closed before that one. Raises
        ``RecordsError`` where there is no book of ours to open, and leaves what is there untouched.
        """
        other: Desk | None = None if beside is None else beside._desk
        self._desk: Desk = Desk(
            Path(path), clock=clock, bench=bench, make_folder=make_folder, beside=other
        )

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

    async def aio(self, method: Callable[P, _T], *args: P.args, **kwargs: P.kwargs) -> _T:
        """Await ``method`` of this book, on a screen's loop.

        Once asked for, a write is done even if whoever awaits it is cancelled.
        """
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[_T] = loop.create_future()

        def settle(done: Future[_T]) -> None:
            if answer.cancelled():
                return
            error = done.exception()
            if error is None:
                answer.set_result(done.result())
            else:
                answer.set_exception(error)

        def report(done: Future[_T]) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(settle, done)

        self.submit(method, *args, **kwargs).add_done_callback(report)
        return await answer

    def submit(self, method: Callable[P, _T], *args: P.args, **kwargs: P.kwargs) -> Future[_T]:
        """Hand ``method`` of this book to the desk and go on; the desk keeps the order asked."""
        return self._desk.submit(lambda: method(*args, **kwargs))

    def batch(self, work: Callable[P, _T], *args: P.args, **kwargs: P.kwargs) -> _T:
        """Run ``work``, which calls this book's methods, as one transaction: all kept or nothing.

        It runs on the desk's thread; nobody else's write comes between. Where it raises
        ``UndoneError`` nothing is kept, and what that brings is the answer.
        """
        try:
            return self._desk.write(lambda _pen: work(*args, **kwargs))
        except UndoneError as done:
            return cast(_T, done.answer)

    def at_once(self, work: Callable[P, _T], *args: P.args, **kwargs: P.kwargs) -> _T:
        """Run ``work``, which only reads by this book's methods, on one state of the book.

        It runs on the desk's thread, which saves every method the way there and back.
        """
        return self._desk.read(lambda _db: work(*args, **kwargs))

    def run(self, work: Callable[P, _T], *args: P.args, **kwargs: P.kwargs) -> _T:
        """Run ``work``, which calls this book's methods one after another, on the desk's thread.

        Each of them is whole by itself; they only save the way there and back.
        """
        return self._desk.run(lambda: work(*args, **kwargs))

    def read(
        self, fn: Callable[Concatenate[Database, P], _T], *args: P.args, **kwargs: P.kwargs
    ) -> _T:
        """What ``fn`` reads, all of it from one state of the book.

        It is a function of this room that is not loaded with the book: of exchange or sharing.
        """
        return self._desk.read(lambda db: fn(db, *args, **kwargs))

    def write(self, fn: Callable[Concatenate[Pen, P], _T], *args: P.args, **kwargs: P.kwargs) -> _T:
        """Let such a function write, as one transaction."""
        return self._desk.write(lambda pen: fn(pen, *args, **kwargs))

    def changed_since_last_look(self) -> bool:
        """Whether another bench has written since this was last asked; costs next to nothing."""
        return self._desk.changed_since_last_look()

    def newest_entry(self) -> datetime | None:
        """The time of what was entered last, as its id tells it; None in an empty book."""
        return self._desk.newest()

    # What the shop owns ----------------------------------------------------------------------

    add_ski = _keeps(Ski, roster.add_thing)
    correct_ski = _keeps(Ski, roster.correct)
    skis = _standing(Ski)
    ski = _one(Ski)
    ski_versions = _reads(roster.ski_versions)
    known_skis = _reads(roster.known_skis)

    add_blade = _keeps(Blade, roster.add_thing)
    correct_blade = _keeps(Blade, roster.correct)
    blades = _standing(Blade)
    blade = _one(Blade)
    blade_versions = _versions(Blade)

    add_block = _keeps(Block, roster.add_thing)
    correct_block = _keeps(Block, roster.correct)
    blocks = _standing(Block)
    block = _one(Block)
    block_versions = _versions(Block)

    add_method = _keeps(Method, roster.add_thing)
    correct_method = _keeps(Method, roster.correct)
    method = _one(Method)
    methods_of = _reads(roster.methods_of)

    add_caliper = _keeps(Caliper, roster.add_thing)
    correct_caliper = _keeps(Caliper, roster.correct)
    calipers = _standing(Caliper)
    caliper = _one(Caliper)

    def checks_of(self, caliper_id: str) -> tuple[CaliperCheck, ...]:
        """The checks of a caliper, oldest first, struck ones included."""
        self.caliper(caliper_id)
        return self.read(entries.entries_of, CaliperCheck, caliper_id=caliper_id)

    add_baseline = _keeps(Baseline, roster.add_thing)
    correct_baseline = _keeps(Baseline, roster.correct)
    baselines = _standing(Baseline)
    baseline = _one(Baseline)
    baseline_versions = _versions(Baseline)
    baselines_of = _reads(roster.baselines_of)
    every_baseline = _reads(roster.every_baseline)

    set_setting = _writes(roster.set_setting)
    setting = _reads(roster.setting)
    settings = _reads(roster.settings)
    settings_kept = _reads(roster.settings_kept)

    # The day's queue -------------------------------------------------------------------------

    add_job = _writes(jobs.add_job)
    move_job = _writes(jobs.move_job)
    carry_job = _writes(jobs.carry_job)
    job = _reads(jobs.job)
    day_queue = _reads(jobs.day_queue)
    unfinished_before = _reads(jobs.unfinished_before)
    day_list = _reads(days.day_list)
    day_around = _reads(days.day_around)
    job_times = _reads(days.job_times)
    ridden_since = _reads(days.ridden_since)
    last_setting = _reads(days.last_setting)
    seen_range_mm = _reads(days.seen_range_mm)

    # What happened to each job ---------------------------------------------------------------

    facts = _reads(kept_facts.facts)
    facts_for = _reads(kept_facts.facts_for)
    ski_facts = _reads(kept_skis.ski_facts)
    history_of_ski = _reads(kept_facts.history_of_ski)
    turned_jobs = _reads(kept_facts.turned_jobs)
    mark_of_jobs = _reads(kept_facts.mark_of_jobs)
    jobs_with_facts = _reads(kept_facts.jobs_with_facts)
    last_read_jobs = _reads(kept_facts.last_read_jobs)
    seen = _reads(kept_facts.seen)
    add_reading = _writes(kept_facts.add_reading)
    add_readings = _writes(kept_facts.add_readings)
    correct_reading = _writes(kept_facts.correct_reading)
    add_pass = _writes(kept_facts.add_pass)
    strike = _writes(kept_facts.strike)

    def add_fact(self, job_id: str, who: str, fact: F) -> F:
        """Keep a fact that has a method of its own nowhere below; with its id, time and job.

        Of targets the latest of a method is in force; a ``Temperature`` may be named by readings
        taken from then on.
        """
        return self.write(kept_facts.add_fact, job_id, who, fact)

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

    # What belongs to no job ------------------------------------------------------------------

    def add_entry(self, who: str, entry: Entry) -> Entry:
        """Keep a pair, a curve, a study, a reading of one or a check of a caliper; with its id."""
        return self.write(entries.add_entry, entry, who)

    pairs = _entries(Pair)
    pairs_of = _entries_by(Pair, "ski_id")
    curves_of = _entries_by(Curve, "ski_id")
    studies = _entries(Study)
    study_readings = _entries_by(StudyReading, "study_id")

    def study(self, study_id: str) -> Study:
        """The study of this id, struck out or not."""
        return self.read(entries.entry, Study, study_id)

    studies_read = _reads(entries.studies_read)

    # Sharing ---------------------------------------------------------------------------------

    def own_bench(self) -> str:
        """This book's own bench id (16 hex digits); a copy of the book has another."""
        return self._desk.bench()

    def is_shared_by_hub(self) -> bool:
        """Whether a hub is joined; costs next to nothing."""
        return self.read(lambda db: db.execute(_BY_HUB).fetchone() is not None)
