"""Write a big book for measuring: a decade of a busy shop.

    python -m tests.bench.make_book PATH [--skis 10000] [--readings 1000000] [--queue 500]

Every job of the past was read as received and after each of its rounds, three repeats of each
number, with its ticks, targets, rounds, wing and sign-off; a few readings are struck out, and some
skis have ride notes. One ski has a history of 5,000 readings. Today's queue stands at all stages.
The numbers are invented; the same seed gives the same numbers.
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from time import perf_counter

from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.store.rows import (
    JobTerms,
    Mark,
    Reading,
    RideNote,
    SignOff,
    Ski,
    Target,
    Tick,
    Turn,
    WingSetting,
)
from workbench.records.store.writer import Pen
from workbench.records.tables import facts, jobs, roster
from workbench.work.demo import build_demo

DAY_SKIS = 60
REPEATS = 3
PASSES = 2
LONG_HISTORY = 5_000
FIRST_YEAR = 2016
PEOPLE = ("KV", "RB", "IT", "MO")
NAMES = ("Heron", "Tern", "Plover", "Grebe", "Curlew", "Avocet", "Dunlin", "Wigeon")
RIDERS = ("Ines Tavary", "Olle Brandt", "Mirko Sand", "Ada Quill", "Teo Marsh", "Liv Aune")
CHECKS = (("edges", "received"), ("cracks", "received"), ("hardware", "received"))


class Clock:
    """A clock that history is written by."""

    def __init__(self, start: datetime) -> None:
        self.now = start

    def __call__(self) -> datetime:
        """A few seconds on at each look."""
        self.now += timedelta(seconds=4)
        return self.now


class Writer:
    """Writes jobs that were done and jobs that wait."""

    def __init__(self, pen: Pen, model: Ski, seed: int) -> None:
        self.pen = pen
        self.model = model
        self.random = random.Random(seed)
        self.readings = 0
        self.usual = (62.3, 19.1, 177.8)

    def ski(self, number: int) -> Ski:
        """Add one ski."""
        name = f"{NAMES[number % len(NAMES)]} {64 + number % 7}"
        made = Ski(
            "", f"{name} no {number}", name.split()[0], f"S{number:06d}",
            RIDERS[number % len(RIDERS)], "in", self.model.blade_id, self.model.block_id,
            self.model.base_radius_mm, self.model.base_apex_mm, number % 3 == 0,
            self.model.methods, "", size=str(64 + number % 7),
        )  # fmt: skip
        return roster.add_thing(self.pen, made, who="KV")

    def job(self, ski: Ski, day: date, until: str = "signed off", passes: int = PASSES) -> str:
        """Write one job, up to a stage."""
        who = self.random.choice(PEOPLE)
        pen = self.pen
        job = jobs.add_job(pen, ski.id, day.isoformat(), who=who, how=JobTerms(finest_turn=0.125))
        if until == "waiting":
            return job.id
        for item, listed in CHECKS:
            facts.add_fact(pen, job.id, who, Tick(checklist=listed, item=item, text=item))
        start = [v + self.random.gauss(0.0, 0.3) for v in self.usual]
        self._read(ski, job.id, who, start, 0)
        if until == "as received":
            return job.id
        facts.add_fact(pen, job.id, who, Mark(kind="seated", number=None, text=""))
        aim = start[0] + 0.254
        facts.add_fact(
            pen,
            job.id,
            who,
            Target(
                method_id=ski.methods[0],
                text="+.010",
                unit="in",
                kind="change",
                mm=aim,
                tolerance_mm=0.0508,
            ),
        )
        facts.add_fact(pen, job.id, who, Mark(kind="aimed", number=None, text=""))
        if until == "turning":
            return job.id
        for number in range(1, passes + 1):
            turns = tuple(Turn(name, 0.37, 0.375) for name in ("front", "rear", "tail"))
            facts.add_fact(
                pen, job.id, who, rows.PassRow(number=number, turns=turns, finest_turn=0.125)
            )
            self._read(ski, job.id, who, [aim, start[1], start[2]], number)
        self._finish(ski, job.id, who)
        return job.id

    def _read(self, ski: Ski, job_id: str, who: str, values: list[float], number: int) -> None:
        for method_id, value in zip(ski.methods, values, strict=True):
            for _ in range(REPEATS):
                mm = value + self.random.gauss(0.0, 0.008)
                text = f"{mm / 25.4:.4f}"
                taken = rows.Reading(
                    method_id=method_id,
                    pass_number=number,
                    text=text,
                    unit="in",
                    mm=float(text) * 25.4,
                )
                kept: Reading = facts.add_fact(self.pen, job_id, who, taken)
                self.readings += 1
                if self.random.random() < 0.002:
                    facts.strike(self.pen, kept.id, "caliper slipped", who, None)

    def _finish(self, ski: Ski, job_id: str, who: str) -> None:
        pen = self.pen
        facts.add_fact(pen, job_id, who, Mark(kind="accepted", number=None, text="within"))
        if ski.has_wing:
            angle = self.random.choice((7.0, 7.5, 8.0, 8.5))
            facts.add_fact(pen, job_id, who, WingSetting(text=f"{angle:g}", angle_deg=angle))
        for item in ("studs", "block", *(("wing",) if ski.has_wing else ()), "clamp"):
            facts.add_fact(pen, job_id, who, Tick(checklist="final", item=item, text=item))
        facts.add_fact(pen, job_id, who, SignOff(text=""))
        if self.random.random() < 0.3:
            rating = self.random.randint(1, 5)
            facts.add_fact(
                pen, job_id, who, RideNote(text="as the rider said", rating=rating, rider=ski.rider)
            )


def season(jobs_wanted: int, today: date) -> Iterator[date]:
    """Days from the first year until yesterday, as many jobs to each as the shop's day takes."""
    days = max((today - date(FIRST_YEAR, 4, 1)).days, 1)
    for i in range(jobs_wanted):
        yield date(FIRST_YEAR, 4, 1) + timedelta(days=i * days // jobs_wanted)


def make_book(
    path: Path, skis: int, readings: int, queue: int, today: date | None = None, seed: int = 1
) -> int:
    """Write the book to a new file and return how many readings it holds."""
    today = today or datetime.now(UTC).date()
    build_demo(path, today=date(FIRST_YEAR, 3, 20)).close()
    clock = Clock(datetime(FIRST_YEAR, 4, 1, 6, tzinfo=UTC))
    with Book(path, clock=clock, bench="maker") as book:
        model = book.skis()[0]
        for item in book.unfinished_before(today.isoformat()):
            book.strike(item.job.id, "from the demo", "KV")
        return book._desk.write(
            lambda pen: _fill(Writer(pen, model, seed), clock, skis, readings, queue, today)
        )


def _fill(writer: Writer, clock: Clock, skis: int, readings: int, queue: int, today: date) -> int:
    owned = [writer.ski(number) for number in range(skis)]
    each = 3 * REPEATS * (1 + PASSES)
    long_jobs = min(LONG_HISTORY, readings // 4) // each
    wanted = max(readings // each - long_jobs, 0)
    for i, day in enumerate(season(wanted, today)):
        clock.now = max(clock.now, datetime(day.year, day.month, day.day, 7, tzinfo=UTC))
        writer.job(owned[(i * 7919) % skis], day)
        if long_jobs and i * long_jobs // wanted != (i + 1) * long_jobs // wanted:
            writer.job(owned[0], day)
    clock.now = max(clock.now, datetime(today.year, today.month, today.day, 5, tzinfo=UTC))
    stages = ("waiting", "as received", "turning", "signed off")
    for i in range(queue):
        writer.job(owned[(i * 13 + 1) % skis], today, stages[i % len(stages)])
    return writer.readings


def main() -> int:
    """Write the book that the command line asks for."""
    parser = argparse.ArgumentParser(description="Write a big book for measuring.")
    parser.add_argument("path", type=Path)
    parser.add_argument("--skis", type=int, default=10_000)
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--queue", type=int, default=500)
    args = parser.parse_args()
    if args.path.exists():
        print(f"{args.path}: is there already; name a new file", file=sys.stderr)
        return 2
    start = perf_counter()
    kept = make_book(args.path, args.skis, args.readings, args.queue)
    size = args.path.stat().st_size / 1e6
    print(f"{kept} readings of {args.skis} skis, {size:.0f} MB, {perf_counter() - start:.0f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
