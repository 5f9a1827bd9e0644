"""A ski's numbers over time, one series for each method and one for the wing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from typing import Literal

from workbench.fin.plan.guidance import COVERAGE
from workbench.records.store import rows
from workbench.work.history.history import LONGEST_MM, History, Setting, readings_in

PointMark = Literal["received", "left", "in hand", "reading", "struck"]


@dataclass(frozen=True, slots=True)
class Point:
    """One number of a series: when (seconds since 1970), its value and expanded uncertainty.

    ``value`` and ``expanded`` (k = 2; 0 where it is not known) are mm, degrees for the wing.
    ``rating`` is the ride's, 1 to 5.
    """

    when: float
    value: float
    expanded: float
    mark: PointMark
    job_id: str
    rating: int | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """A target with its tolerance, from its job until the next one; ``end`` None is open."""

    start: float
    end: float | None
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Series:
    """The numbers of one method, or of the wing (``angle``), oldest first."""

    title: str
    angle: bool
    points: tuple[Point, ...]
    bands: tuple[Band, ...] = ()

    @property
    def live(self) -> tuple[Point, ...]:
        """The points that were not struck out."""
        return tuple(p for p in self.points if p.mark != "struck")


def seconds(at: str) -> float:
    """Return a moment of the book (ISO UTC) in seconds since 1970."""
    return datetime.fromisoformat(at).timestamp()


def series_of(
    history: History, settings: Sequence[Setting], job_id: str = ""
) -> tuple[Series, ...]:
    """Return a series for each method that was ever read, in the ski's order, then the wing's.

    Points are the settings the ski was received and left with, and every struck-out reading. With
    ``job_id`` they are those of one job, with every reading of it.
    """
    jobs: Sequence[rows.JobHistory] = history.jobs
    if job_id:
        jobs, settings = [history.job(job_id)], [s for s in settings if s.job_id == job_id]
        found = _read_in(history, job_id)
    else:
        found = {i: _points(settings, i) for i in history.methods}
    struck = _struck(jobs)
    out = []
    for method_id in history.methods:
        points = found.get(method_id, []) + struck.get(method_id, [])
        if points:
            points.sort(key=attrgetter("when"))
            bands = _bands(settings, method_id)
            out.append(Series(history.method_name(method_id), False, tuple(points), bands))
    wing = _wing(jobs, settings)
    return (*out, *([wing] if wing.points else []))


def _read_in(history: History, job_id: str) -> dict[str, list[Point]]:
    """Return the readings of a job by method."""
    out: dict[str, list[Point]] = {}
    for reading, mm, u_mm in readings_in(history, job_id):
        point = Point(seconds(reading.at), mm, COVERAGE * u_mm, "reading", job_id)
        out.setdefault(reading.method_id, []).append(point)
    return out


def span_of(series: Iterable[Series]) -> tuple[float, float]:
    """Return the time from the first to the last point of all series, in seconds since 1970."""
    whens = [p.when for s in series for p in s.points]
    return (min(whens), max(whens)) if whens else (0.0, 0.0)


def _points(settings: Sequence[Setting], method_id: str) -> list[Point]:
    out = []
    for s in settings:
        value = s.value(method_id)
        if value is not None:
            when, expanded = seconds(value.readings[-1].at), COVERAGE * value.u_mm
            out.append(Point(when, value.mm, expanded, s.moment, s.job_id, s.rating))
    return out


def _struck(jobs: Iterable[rows.JobHistory]) -> dict[str, list[Point]]:
    """Return the struck-out readings by method, as they were read."""
    out: dict[str, list[Point]] = {}
    for job in jobs:
        for fact in job.facts:
            if (
                type(fact) is rows.Reading
                and fact.struck is not None
                and abs(fact.mm) <= LONGEST_MM
            ):
                point = Point(seconds(fact.at), fact.mm, 0.0, "struck", fact.job_id)
                out.setdefault(fact.method_id, []).append(point)
    return out


def _bands(settings: Sequence[Setting], method_id: str) -> tuple[Band, ...]:
    """Return the targets, each from the job it was set in until the next job."""
    starts: dict[str, float] = {}
    targets: dict[str, rows.Target] = {}
    for s in settings:
        value = s.value(method_id)
        starts.setdefault(s.job_id, seconds(s.at))
        if value is not None and value.target is not None and abs(value.target.mm) <= LONGEST_MM:
            targets[s.job_id] = value.target
    jobs = list(starts)
    out = []
    for job_id, target in targets.items():
        after = jobs.index(job_id) + 1
        end = starts[jobs[after]] if after < len(jobs) else None
        low, high = target.mm - target.tolerance_mm, target.mm + target.tolerance_mm
        out.append(Band(starts[job_id], end, low, high))
    return tuple(out)


def _wing(jobs: Iterable[rows.JobHistory], settings: Sequence[Setting]) -> Series:
    by_job = {s.job_id: s for s in settings}
    points: list[Point] = []
    for job in jobs:
        kept = [fact for fact in job.facts if type(fact) is rows.WingSetting]
        counts = [fact for fact in kept if fact.struck is None]
        for fact in kept:
            mark: PointMark = "left"
            rating = None
            if fact.struck is not None:
                mark = "struck"
            elif fact is counts[-1]:
                setting = by_job.get(job.job.id)
                mark = "left" if setting is not None and setting.moment == "left" else "in hand"
                rating = setting.rating if setting is not None else None
            elif fact is counts[0]:
                mark = "reading"
            points.append(Point(seconds(fact.at), fact.angle_deg, 0.0, mark, fact.job_id, rating))
    return Series("wing", True, tuple(sorted(points, key=attrgetter("when"))))
