"""The demo shop: an invented roster with a day's queue at every stage, two past days and a season.

The readings are what the kernel says the calipers would show at each ski's pose, with a seeded
scatter of a careful hand, rounded to the caliper's step; they are kept as ``demo``.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from copy import copy
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, assert_never

from workbench.advice.checklists import FINAL, RECEIVED, WING
from workbench.errors import InputError
from workbench.fin.frame import Pose
from workbench.fin.plan.plan import DEFAULT_TOLERANCE_MM
from workbench.fin.studs import seat
from workbench.measure.display import length_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import MM_PER, MM_PER_INCH, Unit, check_unit
from workbench.places import shipped
from workbench.records.book import Book, whole
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, method_of, rig_of
from workbench.work.files.table_files import Table, read_table_file
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.tasks import TASKS
from workbench.work.job_text.view_words import trouble_words
from workbench.work.order.round_records import SETTLED
from workbench.work.roster.calipers import (
    add_caliper,
    block_size,
    check_block,
    check_zero,
    take_in_hand,
)
from workbench.work.roster.parts_typed import Stock, stock_shop
from workbench.work.study.studies import keep_reading, plan_study, view_of
from workbench.work.trust.job_reading import Line

SCATTER_MM = 0.008
"""Standard deviation of the demo's readings."""

STUDIED = "depth, hole 2 back edge"
"""The reading that the demo's repeatability study is of."""

_DEPTHS_MM = {"Heron 66": 62.82, "Heron 67": 62.55, "Lark 64": 62.31}
_HANDS_MM = {"KV": 0.0, "JT": 0.006, "AB": -0.008}
"""What each pair of hands reads on top of the ski."""

_STUDY_SCATTER_MM = 0.012

OPENED_DAYS = 160
"""How many days ago the demo shop began its book."""


def build_demo(path: Path, today: date | None = None) -> Book:
    """Write the demo shop to a new book at ``path`` and return it, open."""
    today = today or datetime.now(UTC).date()
    data = read_table_file(shipped("fixtures") / "demo" / "shop.toml")
    clock = _Clock(_morning(today - timedelta(days=OPENED_DAYS), 7))
    book = Book(path, clock=clock)
    try:
        _fill(book, data, today, clock)
    finally:
        book.close()
    return Book(path)


def _morning(day: date, hour: int) -> datetime:
    return datetime(day.year, day.month, day.day, hour, tzinfo=UTC)


class _Clock:
    """A clock that history is written by: a few seconds on at each look."""

    def __init__(self, start: datetime) -> None:
        self.now = start

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=7)
        return self.now


@whole
def _fill(book: Book, data: Mapping[str, Any], today: date, clock: _Clock) -> None:
    who = str(data.get("who", ""))
    stock = stock_shop(book, data, who)
    book.set_setting("who", who, who=who)
    book.set_setting("shop", "The boathouse (demo)", who=who)
    unit = check_unit(data.get("unit"))
    held = _add_calipers(Shop(book, today.isoformat(), who), data)
    _check_calipers(Shop(book, today.isoformat(), who), data)
    skis = [_Player(book, Table(raw, f"skis[{i}]", unit), stock, who, i)
            for i, raw in enumerate(data["skis"])]  # fmt: skip
    for ski in skis:
        ski.caliper_id = held.get(ski.ski.unit)
    first = skis[0].ski
    loaner = Loaner(book, first.blade_id, first.block_id, first.methods, who)
    play_loaner(loaner, today, lambda day: setattr(clock, "now", _morning(day, 7)))
    _play_season(data.get("season", ()), skis, today, clock)
    for back in (8, 3):
        day = today - timedelta(days=back)
        clock.now = _morning(day, 8)
        _check_calipers(Shop(book, day.isoformat(), who), data)
        for ski in skis[::2] if back == 8 else skis[1::2]:
            ski.play(day, "signed off")
    add_demo_study(Shop(book, (today - timedelta(days=3)).isoformat(), who), STUDIED)
    clock.now = _morning(today, 6)
    for ski in skis:
        ski.play(today, ski.stage)
    # Noon here is today by the clock on the wall in nearly every zone.
    clock.now = _morning(today, 12)
    _check_calipers(Shop(book, today.isoformat(), who), data)


def _add_calipers(shop: Shop, data: Mapping[str, Any]) -> dict[Unit, str]:
    """Keep the calipers of a shop file, the first of them in hand; return an id for each unit."""
    out: dict[Unit, str] = {}
    for raw in data.get("calipers", ()):
        fields = {key: str(raw[key]) for key in ("name", "unit", "resolution") if key in raw}
        caliper_id = add_caliper(shop, fields)
        out.setdefault(check_unit(raw.get("unit")), caliper_id)
    if out:
        take_in_hand(shop, next(iter(out.values())))
    return out


def _check_calipers(shop: Shop, data: Mapping[str, Any]) -> None:
    """Keep a zero and a gauge-block check of each of them, as the shop file says they read."""
    by_name = {row.name: row for row in shop.book.calipers()}
    for raw in data.get("calipers", ()):
        row = by_name[str(raw["name"])]
        check_zero(shop, row, str(raw["zero"]))
        block = block_size(str(raw["block"]), row.unit)
        check_block(shop, row, block, str(raw["block_reads"]))


def add_demo_study(shop: Shop, what: str) -> None:
    """Keep a finished study of the reading method ``what``, the same at every run."""
    chance = random.Random(66)
    fields = {
        "name": "a slow hour", "what": what, "unit": "in", "near": "2.5",
        "parts": "; ".join(_DEPTHS_MM), "people": " ".join(_HANDS_MM), "trials": "3",
    }  # fmt: skip
    view = view_of(shop, plan_study(shop, fields, chance.shuffle))
    while view.due is not None:
        true = _DEPTHS_MM[view.due.part] + _HANDS_MM[view.due.person]
        text = length_text(true + chance.gauss(0.0, _STUDY_SCATTER_MM), "in")
        view = keep_reading(shop, view, text, parse_length(text, "in").mm)


def _play_season(
    jobs: Sequence[Mapping[str, Any]], skis: Sequence[_Player], today: date, clock: _Clock
) -> None:
    """Play past jobs, each as (days ago, wing, changes wanted), with the ride note after each.

    The skis' own players are left as they were, for the days that follow.
    """
    seasoned = {ski.ski.name: copy(ski) for ski in skis}
    for number, job in enumerate(jobs):
        player, day = seasoned[job["ski"]], today - timedelta(days=int(job["back"]))
        player.random = random.Random(1000 + number)
        player.want = [float(v) * MM_PER["in"] for v in job["want"]]
        player.wing, player.slip = str(job["wing"]), dict(job.get("slip", {}))
        player.past = True
        clock.now = _morning(day, 8)
        view = player.play(day, "signed off")
        clock.now = _morning(day, 17)
        ride = dict(job["ride"])
        complaints = tuple(ride.pop("complaints", ()))
        note = rows.RideNote(rider=view.ski.rider, complaints=complaints, **ride)
        player.book.add_fact(view.job.id, player.who, note)


class _Player:
    """Brings one ski to a stage as a technician would, with the kernel standing in for the fin."""

    def __init__(self, book: Book, table: Table, stock: Stock, who: str, seed: int) -> None:
        self.book, self.who = book, who
        self.random = random.Random(seed)
        self.wing, self.slip, self.past = "7.5", dict[str, str](), False
        self.caliper_id: str | None = None
        unit: Unit = check_unit(table.text("unit", default=table.unit))
        blade_id, blade = stock.blades[table.text("blade")]
        base = table.table("base") if table.has("base") else None
        x, y, tilt = (float(v) for v in table.raw("pose", "x, y, tilt"))  # type: ignore[attr-defined]
        self.pose = Pose(x * MM_PER["in"], y * MM_PER["in"], math.radians(tilt))
        self.want = [float(v) * MM_PER["in"] for v in table.raw("want", "three changes")]  # type: ignore[attr-defined]
        self.stage, self.due = table.text("stage"), table.text("due", default="")
        self.reason = table.text("reason", default="set aside in the demo")
        methods = stock.methods[blade.name]
        self.ski = book.add_ski(
            rows.Ski(
                "", table.name(), table.name().split()[0], table.text("serial"),
                table.text("rider"),
                unit, blade_id, stock.blocks[table.text("block")],
                base.length("radius") if base else None, base.length("apex") if base else None,
                bool(table.raw("wing", "true or false")) if table.has("wing") else False,
                methods[:3],
            ),
            who=who,
        )  # fmt: skip

    def play(self, day: date, until: str) -> JobView:
        """Do the job on ``day`` up to the stage ``until``; return its view there."""
        shop = Shop(self.book, day.isoformat(), self.who)
        job = self.book.add_job(self.ski.id, shop.day, self.due, who=self.who)
        view = shop.view(job.id)
        wanted = "as received" if until == "set aside" else until
        for _ in range(60):
            if view.stage == wanted:
                break
            view = self._next(shop, view)
        else:
            raise InputError("demo stage", until, "a stage that the walk reaches")
        if until == "set aside":
            shop.set_aside(view, self.reason)
        if until == "signed off" and not self.past and not self.book.baselines_of(self.ski.id):
            self._keep_baseline(view)
        return view

    def _next(self, shop: Shop, view: JobView) -> JobView:
        task = TASKS[view.stage]
        match task.asks:
            case "ticks":
                return self._tick(shop, view)
            case "reading":
                return self._read(shop, view)
            case "targets":
                return self._aim(shop, view)
            case "turns":
                return self._turn(shop, view)
            case "angle":
                return task.act(shop, view, self.wing)
            case "initials":
                return task.act(shop, view, self.who)
            case "nothing":
                return task.act(shop, view, "")
            case "next ski":
                raise InputError("demo stage", view.stage, "a stage that the walk goes on from")
            case _:
                assert_never(task.asks)

    def _aim(self, shop: Shop, view: JobView) -> JobView:
        for line, change in zip(view.lines, self.want, strict=True):
            if change and line.target is None:
                sign = "+" if change > 0 else "-"
                text = sign + length_text(abs(change), view.ski.unit)
                return shop.aim(view, line, text, view.ski.unit)
        return shop.accept_target(view)

    def _tick(self, shop: Shop, view: JobView) -> JobView:
        """Tick the next item; of the season's jobs the whole list, which keeps the same."""
        items = [i for i in view.checklist if i.key not in view.progress.ticked]
        if not self.past:
            return shop.tick(view, items[0].key)
        listed: rows.Checklist = "final" if view.stage == "final check" else "received"
        for item in items:
            self.book.add_fact(
                view.job.id, self.who, rows.Tick(checklist=listed, item=item.key, text=item.words)
            )
        return shop.view(view.job.id)

    def _turn(self, shop: Shop, view: JobView) -> JobView:
        assert view.plan is not None, trouble_words(view)
        if not any(t.turns for t in view.plan.turns):
            return shop.accept(view)
        before = view.progress.pass_number
        turns = [t.turns for t in view.plan.turns]
        if self.past:  # the acts up to the last one, without looking up in between
            for number in range(1, len(view.plan.steps) - 1):
                self.book.add_mark(view.job.id, self.who, "step", number=number)
            view = shop.view(view.job.id)
        view = shop.step_done(view)
        if view.progress.pass_number > before:
            self.pose = view.rig.seated(self.pose, turns)
        return view

    def _read(self, shop: Shop, view: JobView) -> JobView:
        assert view.due is not None
        line = view.lines[view.due]
        if self.slip.get("method") == line.method.name:
            return self._slip(shop, view, line)
        true = view.rig.observe(line.method, self.pose).value_mm
        text = length_text(true + self.random.gauss(0.0, SCATTER_MM), view.ski.unit)
        return self._take(shop, view, line, text)

    def _take(self, shop: Shop, view: JobView, line: Line, text: str) -> JobView:
        unit = view.ski.unit
        typed = Typed(text, unit, parse_length(text, unit).mm, "demo", self.caliper_id)
        return shop.take_reading(view, line, typed)

    def _slip(self, shop: Shop, view: JobView, line: Line) -> JobView:
        """Take a wrong reading and strike it out, with its reason."""
        slip, self.slip = self.slip, {}
        view = self._take(shop, view, line, slip["text"])
        index = [x.method_id for x in view.lines].index(line.method_id)
        return shop.strike_reading(view, view.lines[index], slip["reason"])

    def _keep_baseline(self, view: JobView) -> None:
        entries = tuple(
            rows.BaselineEntry(
                line.method.name, length_text(line.received_mm, view.ski.unit), view.ski.unit,
                line.received_mm, line.tolerance_mm,
            )
            for line in view.lines
            if line.received_mm is not None
        )  # fmt: skip
        self.book.add_baseline(
            rows.Baseline("", self.ski.id, "as first received", entries, "read at this bench"),
            who=self.who,
        )


# -- the loaner ski --------------------------------------------------------------------------------


NAME, SERIAL, RIDER = "Egret 66", "EG66-001", "the boathouse"
FIRST_BACK, EVERY_DAYS, JOBS = 150, 6, 24

LEAD_RATIOS = (1.02, 1.02, 0.98)
"""What a turn of each stud really moves over what its thread says: invented."""

BACKLASH = 0.02
"""Turns that each stud takes up when it is reversed."""

ROUNDS = ((2.0, 1.75, -1.875), (-0.25, 0.25, 0.125))
"""The turns of a job by stud; those of every other job are the other way."""

TURN_SCATTER = 1 / 60
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
            target = rows.Target(
                method_id=method_id, text=text, unit="in", mm=parse_length(text, "in").mm,
                kind="value", tolerance_mm=DEFAULT_TOLERANCE_MM,
            )  # fmt: skip
            book.add_fact(job, who, target)
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
                method_id=method_id, pass_number=number, text=text, unit="in",
                mm=parse_length(text, "in").mm, how="demo",
            )  # fmt: skip
            self.book.add_fact(job, self.who, read)


def play_loaner(loaner: Loaner, today: date, at: Callable[[date], None]) -> None:
    """Write the season of the loaner ski; ``at`` sets the book's clock to the morning of a day."""
    for n in range(JOBS):
        day = today - timedelta(days=FIRST_BACK - n * EVERY_DAYS)
        at(day)
        sign = 1.0 if n % 2 == 0 else -1.0
        loaner.job(day, [[sign * turn for turn in each] for each in ROUNDS])
