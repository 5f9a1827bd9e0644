"""The book: everything a shop keeps, with no SQL outside this room.

What a method does and raises is said at the function that it calls (``tables``).
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import wraps
from pathlib import Path
from types import TracebackType
from typing import Concatenate, ParamSpec, Protocol, Self, TypeVar, cast

from workbench.records.desk import Desk, utc_now
from workbench.records.store import rows
from workbench.records.store.database import Database
from workbench.records.store.specs import Table
from workbench.records.store.writer import Pen
from workbench.records.tables import days, jobs, roster
from workbench.records.tables import facts as kept_facts
from workbench.records.tables import ski_facts as kept_skis
from workbench.records.tables.facts import Entry, F
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


def _versions(kind: type[Part]) -> Callable[[Book, str], tuple[rows.PartVersion, ...]]:
    """A method: a thing as first written down and each time it was corrected, oldest first."""
    return lambda book, thing_id: book.read(roster.versions, kind, thing_id)


def _entries(kind: type[Entry]) -> Callable[[Book], tuple[Entry, ...]]:
    """A method: all entries of a kind, oldest first, struck ones included."""
    return lambda book: book.read(kept_facts.entries_of, kind)


def _entries_by(kind: type[Entry], column: str) -> Callable[[Book, str], tuple[Entry, ...]]:
    """A method: the entries of a kind whose ``column`` is as asked, in the same order."""
    return lambda book, value: book.read(kept_facts.entries_of, kind, **{column: value})


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
    """One book, open. Every method blocks until it is done.

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
    def book(self) -> Book:
        """Itself, so that an act whose first argument is a book can be :func:`whole`."""
        return self

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

    add_ski = _keeps(rows.Ski, roster.add_thing)
    correct_ski = _keeps(rows.Ski, roster.correct)
    skis = _standing(rows.Ski)
    ski = _one(rows.Ski)
    ski_versions = _reads(roster.ski_versions)
    known_skis = _reads(roster.known_skis)

    add_blade = _keeps(rows.Blade, roster.add_thing)
    correct_blade = _keeps(rows.Blade, roster.correct)
    blades = _standing(rows.Blade)
    blade = _one(rows.Blade)
    blade_versions = _versions(rows.Blade)

    add_block = _keeps(rows.Block, roster.add_thing)
    correct_block = _keeps(rows.Block, roster.correct)
    blocks = _standing(rows.Block)
    block = _one(rows.Block)
    block_versions = _versions(rows.Block)

    add_method = _keeps(rows.Method, roster.add_thing)
    correct_method = _keeps(rows.Method, roster.correct)
    method = _one(rows.Method)
    methods_of = _reads(roster.methods_of)

    add_caliper = _keeps(rows.Caliper, roster.add_thing)
    correct_caliper = _keeps(rows.Caliper, roster.correct)
    calipers = _standing(rows.Caliper)
    caliper = _one(rows.Caliper)

    def checks_of(self, caliper_id: str) -> tuple[rows.CaliperCheck, ...]:
        """The checks of a caliper, oldest first, struck ones included."""
        self.caliper(caliper_id)
        return self.read(kept_facts.entries_of, rows.CaliperCheck, caliper_id=caliper_id)

    add_baseline = _keeps(rows.Baseline, roster.add_thing)
    correct_baseline = _keeps(rows.Baseline, roster.correct)
    baselines = _standing(rows.Baseline)
    baseline = _one(rows.Baseline)
    baseline_versions = _versions(rows.Baseline)
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
    correct_reading = _writes(kept_facts.correct_reading)
    strike = _writes(kept_facts.strike)

    def add_fact(self, job_id: str, who: str, fact: F) -> F:
        """Keep what happened to a job; return it with its id, time and job."""
        return self.write(kept_facts.add_fact, job_id, who, fact)

    def add_mark(
        self, job_id: str, who: str, kind: str, *, number: int | None = None, text: str = ""
    ) -> rows.Mark:
        """Keep a step done or a thing noted."""
        return self.add_fact(job_id, who, rows.Mark(kind=kind, number=number, text=text))

    # What belongs to no job ------------------------------------------------------------------

    def add_entry(self, who: str, entry: Entry) -> Entry:
        """Keep a pair, a curve, a study, a reading of one or a check of a caliper; with its id."""
        return self.write(kept_facts.add_entry, entry, who)

    pairs = _entries(rows.Pair)
    pairs_of = _entries_by(rows.Pair, "ski_id")
    curves_of = _entries_by(rows.Curve, "ski_id")
    studies = _entries(rows.Study)
    study_readings = _entries_by(rows.StudyReading, "study_id")

    def study(self, study_id: str) -> rows.Study:
        """The study of this id, struck out or not."""
        return self.read(kept_facts.entry, rows.Study, study_id)

    studies_read = _reads(kept_facts.studies_read)

    # Sharing ---------------------------------------------------------------------------------

    def own_bench(self) -> str:
        """This book's own bench id (16 hex digits); a copy of the book has another."""
        return self._desk.bench()

    def is_shared_by_hub(self) -> bool:
        """Whether a hub is joined; costs next to nothing."""
        return self.read(lambda db: db.execute(_BY_HUB).fetchone() is not None)
