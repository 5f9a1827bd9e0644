"""The demo's loaner ski: set to and fro all season in a block whose leads are not quite as told.

Its jobs are what the demo's bench has learnt its first block from. They are kept fact by fact, for
a walk through every stage would make the demo's start slow.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from datetime import date, timedelta

from workbench.advice.checklists import FINAL, RECEIVED, WING
from workbench.fin.frame import Pose
from workbench.fin.parts.studs import seat
from workbench.fin.plan.goals import DEFAULT_TOLERANCE_MM
from workbench.measure.display import length_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER_INCH
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, method_of, rig_of
from workbench.work.order.round_records import SETTLED

NAME, SERIAL, RIDER = "Egret 66", "EG66-001", "the boathouse"
FIRST_BACK, EVERY_DAYS, JOBS = 150, 6, 24

LEAD_RATIOS = (1.02, 1.02, 0.98)
"""What a turn of each stud really moves over what its thread says: invented."""

BACKLASH = 0.02
"""Turns that each stud takes up when it is reversed."""

ROUNDS = ((2.0, 1.75, -1.875), (-0.25, 0.25, 0.125))
"""The turns of a job by stud; those of every other job are the other way."""

SCATTER_MM, TURN_SCATTER = 0.008, 1 / 60
HOME = Pose(0.655 * MM_PER_INCH, -1.0 * MM_PER_INCH, 0.0005)


class Loaner:
    """The ski with its fin, whose studs have play: its jobs are written one by one."""

    def __init__(
        self, book: Book, blade_id: str, block_id: str, methods: Sequence[str], who: str
    ) -> None:
        self.book, self.who = book, who
        self.random = random.Random(661)
        self.ski = book.add_ski(
            rows.Ski(
                "", NAME, NAME.split()[0], SERIAL, RIDER, "in", blade_id, block_id,
                methods=tuple(methods),
            ),
            who=who,
        )  # fmt: skip
        blade = blade_of(book.blade(blade_id))
        self.rig = rig_of(self.ski, blade, book.block(block_id).studs)
        wanted = {m.id: m for m in book.methods_of(blade_id)}
        self.methods = [method_of(wanted[i], blade) for i in methods]
        self.at_mm = [t.mm for t in self.rig.travels(HOME)]
        self.pose = HOME

    def job(self, day: date, turns: Sequence[Sequence[float]]) -> None:
        """Write a whole job of a day with these rounds (turns by stud; positive is in)."""
        book, who = self.book, self.who
        job = book.add_job(self.ski.id, day.isoformat(), who=who).id
        for item in RECEIVED:
            book.add_fact(job, who, rows.Tick(checklist="received", item=item.key, text=item.words))
        book.add_mark(job, who, SETTLED)
        self._read(job, 0)
        book.add_mark(job, who, "seated")
        ways = ["in"] * 3
        ends = [self._turn(each, ways) for each in turns]
        for method_id, mm in zip(self.ski.methods, self._true(ends[-1]), strict=True):
            text = length_text(mm, "in")
            book.add_fact(
                job,
                who,
                rows.Target(
                    method_id=method_id,
                    text=text,
                    unit="in",
                    kind="value",
                    mm=parse_length(text, "in").mm,
                    tolerance_mm=DEFAULT_TOLERANCE_MM,
                ),
            )
        book.add_mark(job, who, "aimed")
        for number, (each, pose) in enumerate(zip(turns, ends, strict=True), 1):
            made = [
                rows.Turn(s.name, n, n) for s, n in zip(self.rig.studs, each, strict=True)
            ]  # fmt: skip
            book.add_fact(
                job, who, rows.PassRow(number=number, turns=tuple(made), finest_turn=0.125)
            )
            self.pose = pose
            self._read(job, number)
        book.add_mark(job, who, "accepted", text="within")
        for item in FINAL:
            if item.key != WING:
                book.add_fact(
                    job, who, rows.Tick(checklist="final", item=item.key, text=item.words)
                )
        book.add_fact(job, who, rows.SignOff())

    def _turn(self, turns: Sequence[float], ways: list[str]) -> Pose:
        """Turn the studs; return where the blade is then, seated."""
        for j, (stud, n) in enumerate(zip(self.rig.studs, turns, strict=True)):
            way = "in" if n > 0.0 else "out"
            lost = BACKLASH if way != ways[j] else 0.0
            ways[j] = way
            real = n + self.random.gauss(0.0, TURN_SCATTER) - (lost if n > 0.0 else -lost)
            self.at_mm[j] += LEAD_RATIOS[j] * stud.lead_mm * real
        return seat(self.rig.studs, self.rig.blade, self.at_mm, HOME)

    def _true(self, pose: Pose) -> list[float]:
        return [self.rig.observe(method, pose).value_mm for method in self.methods]

    def _read(self, job: str, number: int) -> None:
        for method_id, mm in zip(self.ski.methods, self._true(self.pose), strict=True):
            text = length_text(mm + self.random.gauss(0.0, SCATTER_MM), "in")
            read = rows.Reading(
                method_id=method_id,
                pass_number=number,
                text=text,
                unit="in",
                mm=parse_length(text, "in").mm,
                how="demo",
            )
            self.book.add_fact(job, self.who, read)


def play_loaner(loaner: Loaner, today: date, at: Callable[[date], None]) -> None:
    """Write the season of the loaner ski; ``at`` sets the book's clock to the morning of a day."""
    for n in range(JOBS):
        day = today - timedelta(days=FIRST_BACK - n * EVERY_DAYS)
        at(day)
        sign = 1.0 if n % 2 == 0 else -1.0
        loaner.job(day, [[sign * turn for turn in each] for each in ROUNDS])
