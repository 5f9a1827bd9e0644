"""A demo book for each test, cheaply, and a fin of plain geometry that a caliper can be put to."""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, assert_never

import pytest

from workbench.fin.frame import Pose
from workbench.measure.display import length_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER_INCH
from workbench.records.backup import opening
from workbench.records.book import Book
from workbench.records.exchange.rows_out import lines_out
from workbench.records.store import rows
from workbench.records.store.specs import Table
from workbench.work.demo import build_demo
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.tasks import TASKS
from workbench.work.trust.job_reading import Line

NOON = datetime(2031, 5, 6, 12).astimezone()
"""Noon of an empty shop's day by the clock on the wall, whatever the zone of this machine."""

TODAY = date(2026, 11, 25)
DAY = TODAY.isoformat()


def rows_out(book: Book, ski_id: str | None = None) -> dict[Table, list[dict[str, Any]]]:
    """Return every row of a book that travels, or one ski's with what they refer to."""
    return book.read(
        lambda db: {
            table: [json.loads(line) for lot in lots for line in lot]
            for table, lots in lines_out(db, ski_id)
        }
    )


@cache
def demo_bytes() -> bytes:
    """The demo book, built once."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "demo.db"
        build_demo(path, today=TODAY).close()
        return path.read_bytes()


@cache
def _empty_bytes() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "empty.db"
        Book(path).close()
        return path.read_bytes()


BEGIN_FILE = opening._begin_file
"""Begins a book as an empty file."""


def begin_as_copy(path: Path) -> None:
    """Begin a book as a copy of an empty one: its steps, which take most of the time, are known."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "_begin_file", BEGIN_FILE)
        begun = _empty_bytes()
    BEGIN_FILE(path)
    if path.stat().st_size == 0:
        path.write_bytes(begun)


def demo_file(folder: Path) -> Path:
    """Write a fresh copy of the demo book into ``folder``."""
    path = folder / "demo.db"
    path.write_bytes(demo_bytes())
    return path


@contextmanager
def open_shop(path: Path, who: str = "KV") -> Iterator[Shop]:
    """Open a book for the demo's day."""
    with Book(path) as book:
        yield Shop(book, day=DAY, who=who)


class Clock:
    """Goes on by a second at every look; begins at noon and may be set."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


@contextmanager
def empty_shop(folder: Path, clock: Clock | None = None) -> Iterator[Shop]:
    """Open a book without anything in it, on the day of :data:`NOON`."""
    with Book(folder / "shop.db", clock=clock or Clock()) as book:
        yield Shop(book, NOON.date().isoformat(), "KV")


def ski(shop: Shop, name: str) -> JobView:
    """Return the view of the first job of the day whose ski has this name."""
    return shop.view(next(x.job_id for x in shop.roster() if x.ski_name == name))


def at_stage(shop: Shop, stage: str) -> JobView:
    """Return the view of the first job of the day at a stage."""
    return shop.view(next(x.job_id for x in shop.roster() if x.stage == stage))


class Fin:
    """A blade that really stands somewhere: gives readings and follows the studs."""

    def __init__(self, view: JobView, x_in: float, y_in: float, tilt_deg: float) -> None:
        self.rig = view.rig
        self.pose = Pose(x_in * MM_PER_INCH, y_in * MM_PER_INCH, math.radians(tilt_deg))

    def text(self, line: Line, unit: str = "in") -> str:
        """Return what a caliper set to ``unit`` shows for this reading."""
        return length_text(self.rig.observe(line.method, self.pose).value_mm, unit)

    def follow(self, view: JobView) -> None:
        """Let the blade move as the turns of the plan make it."""
        assert view.plan is not None
        self.pose = self.rig.seated(self.pose, [t.turns for t in view.plan.turns])


def heron(view: JobView) -> Fin:
    """Return the demo's first fin, where its ski came in."""
    return Fin(view, 0.652, -1.005, 0.05)


def read(shop: Shop, view: JobView, line: Line, text: str) -> JobView:
    """Keep one reading typed in the ski's unit."""
    unit = view.ski.unit
    return shop.take_reading(view, line, Typed(text, unit, parse_length(text, unit).mm))


def as_received(shop: Shop, *texts: str) -> JobView:
    """Return a job whose first reading was taken so, the others not at all."""
    view = ski(shop, "Heron 66")
    view = walk_to(shop, view, heron(view), "as received")
    for text in texts:
        view = read(shop, view, view.lines[0], text)
    return view


def take_back(shop: Shop, view: JobView) -> tuple[JobView, rows.AnyFact | None]:
    """Take the last entry back; a stud whose turn that was is turned back by hand."""
    turned = shop.turn_to_take_back(view) is not None
    return shop.take_back(view, "turned_back" if turned else None)


def advance(shop: Shop, view: JobView, fin: Fin, changes: tuple[str, ...]) -> JobView:
    """Do the next step of a job as a careful technician would."""
    task = TASKS[view.stage]
    match task.asks:
        case "ticks" | "nothing":
            return task.act(shop, view, "")
        case "reading":
            assert view.due is not None
            return task.act(shop, view, fin.text(view.lines[view.due], view.ski.unit))
        case "targets":
            for line, change in zip(view.lines, changes, strict=True):
                if change and line.target is None:
                    return shop.aim(view, line, change, view.ski.unit)
            return task.act(shop, view, "")
        case "turns":
            new = task.act(shop, view, "")
            if new.stage == "measuring":
                fin.follow(view)
            return new
        case "angle":
            return task.act(shop, view, "7.5")
        case "initials" | "next ski":
            return shop.sign_off(view, "KV")
        case _:
            assert_never(task.asks)


def walk_to(
    shop: Shop, view: JobView, fin: Fin, stage: str, changes: tuple[str, ...] = ("+.010", "", "")
) -> JobView:
    """Take a job on until it is at a stage."""
    for _ in range(80):
        if view.stage == stage:
            return view
        view = advance(shop, view, fin, changes)
    raise AssertionError(f"never reached {stage}, stands at {view.stage}")
