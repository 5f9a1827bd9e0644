"""The promise under any order of events: hands, commands and files at two books, and one law.

*No ski is released unless it was measured and its clamp bolts checked after the last turn.* After
every step what each list, card and line says of a ski is held against ``promise_model``, which
knows only the rows of the book. A ski may be called released only where the model says so; and one
that is set honestly to its end must be, so that the law is not kept by releasing nothing.

    python -m tests.work.promise --steps 1000000 --seed 1

runs it in rounds of many histories, prints the seed of each round as it begins and, where the law
is broken, the shortest history that breaks it. ``--seed N --steps 1`` plays that round again.
"""

from __future__ import annotations

import argparse
import io
import json
import re
import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future
from contextlib import closing, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any, Self
from unittest import mock

from hypothesis import HealthCheck, Phase, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from tests.shop import NOON, Fin, advance
from tests.work.promise_model import Fact, Ski, read_book
from workbench import cli
from workbench.bench.hand.state import BenchState
from workbench.bench.panels.next_line import next_words
from workbench.commands.day.queue import _line as queue_line
from workbench.errors import BenchError, InputError
from workbench.places import shipped
from workbench.records.book import Book
from workbench.records.exchange.form import Form, forms
from workbench.records.store import rows
from workbench.records.store.specs import Table
from workbench.work.exchange import exchange
from workbench.work.files.table_files import read_table_file
from workbench.work.history.history import load_history
from workbench.work.history.striking import strike_row
from workbench.work.history.timeline import timeline_lines, timeline_of
from workbench.work.job.job_view import JobView, RosterLine
from workbench.work.job.shop import Shop
from workbench.work.job_text.job_text import job_lines
from workbench.work.order.round_records import SETTLED
from workbench.work.paper.cards import card_of
from workbench.work.paper.day_sheet import day_sheet
from workbench.work.paper.text_pages import card_text
from workbench.work.roster import check_lists, queue
from workbench.work.roster import settings as shop_settings
from workbench.work.roster.parts_typed import stock_shop
from workbench.work.roster.ski_sheet import change_parts, last_change, strike_change
from workbench.work.trust.job_reading import Line

SKIS = ("Heron 66", "Lark 64")
CHANGES = ("+.010", "", "")
MEMORY = Path("/dev/shm")


parser_of = cache(cli.build_parser)
"""Builds the parser of the command line once: it takes most of a command's time."""


# -- the world -------------------------------------------------------------------------------------


class Clock:
    """Goes on by a second at every look, and may be set."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


class Hand(Fin):
    """A caliper that shows what a ski came in with, then its targets, or near them if asked.

    The numbers are few, so that what the kernel found for them is found again.
    """

    near = False

    def text(self, line: Line, unit: str = "in") -> str:
        mm = line.target_mm if line.target_mm is not None else line.received_mm
        return super().text(line, unit) if mm is None else f"{(mm + 0.15 * self.near) / 25.4:.4f}"

    def follow(self, view: JobView) -> None:
        """Where the blade goes does not matter here."""


@cache
def blank_book() -> bytes:
    """Return a book with two skis in its queue, one of them with a wing."""
    data = read_table_file(shipped("fixtures") / "demo" / "shop.toml")
    few = {"unit": "in"} | {kind: data[kind][:1] for kind in ("blades", "methods")}
    few["blocks"] = data["blocks"][:2]
    with tempfile.TemporaryDirectory() as folder:
        with Book(Path(folder) / "blank.db", clock=Clock(), bench="A") as book:
            stock = stock_shop(book, few, "KV")
            (blade_id, blade), *_ = stock.blades.values()
            block_id, _ = stock.blocks.values()
            shop = Shop(book, NOON.date().isoformat(), "KV")
            for name in SKIS:
                ski = rows.Ski(
                    "", name, name.split()[0], name, "", "in", blade_id, block_id,
                    has_wing=name == SKIS[1], methods=stock.methods[blade.name][:3],
                )  # fmt: skip
                shop.queue(book.add_ski(ski, who="KV").id)
        return (Path(folder) / "blank.db").read_bytes()


@dataclass
class Bench:
    """One pair of hands at a book: the view in front of them may be older than the book."""

    shop: Shop
    clock: Clock
    hand: Hand | None = None
    held: JobView | None = None

    @property
    def book(self) -> Book:
        return self.shop.book


class World:
    """Two benches at one book, one at another, files between them, and commands at both."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.steps, self.refusal = folder, 0, ""
        self.day = NOON.date()
        self.paths = [folder / f"{name}.db" for name in "AB"]
        for path in self.paths:
            path.write_bytes(blank_book())
        self.benches = [
            self._bench(self.paths[0], "A", "KV"),
            self._bench(self.paths[0], "A", "ML"),
            self._bench(self.paths[1], "B", "PT"),
        ]
        self.looks = [sqlite3.connect(path, isolation_level=None) for path in self.paths]
        self.skis = {s.name: s.id for s in self.benches[0].book.skis()}
        self.files: list[Path] = []
        self.sent: dict[tuple[int, str | None, int], Path] = {}
        self.seen = [-1, -1]
        self.held: dict[tuple[int, str], tuple[str, int]] = {}
        self.forged = 0
        self.fins = {name: self._fin(name) for name in SKIS}

    def _bench(self, path: Path, name: str, who: str) -> Bench:
        clock = Clock()
        return Bench(Shop(Book(path, clock=clock, bench=name), self.day.isoformat(), who), clock)

    def _fin(self, name: str) -> Hand:
        shop = self.benches[0].shop
        return Hand(shop.view(self.line(shop, name).job_id), 0.652, -1.005, 0.05)

    def close(self) -> None:
        for look in self.looks:
            look.close()
        for bench in self.benches:
            bench.book.close()

    # What can be asked ------------------------------------------------------------------------

    @staticmethod
    def line(shop: Shop, name: str) -> RosterLine:
        """Return the line of a ski in a day's list: an open one before one signed off."""
        lines = [x for x in shop.roster() if x.ski_name == name]
        if not lines:
            raise InputError("ski", name, "a ski of the queue")
        return next((x for x in lines if x.stage != "signed off"), lines[-1])

    def look(self, at: Bench, name: str) -> JobView:
        """Take a ski in hand, as it is now."""
        at.held = at.shop.view(self.line(at.shop, name).job_id)
        return at.held

    def do(self, at: Bench, act: Callable[[], JobView | object]) -> bool:
        """Do something by the view in hand; where it is refused, the view is shown anew."""
        self.steps += 1
        try:
            new = act()
        except BenchError as why:
            self.refusal = str(why)
            if at.held is not None:
                at.held = at.shop.view(at.held.job.id)
            return False
        if isinstance(new, JobView):
            at.held = new
        return True

    def onward(self, at: Bench, near: bool = False) -> bool:
        """Do what a careful technician does next by the view in hand."""
        view, shop = at.held, at.shop
        assert view is not None
        fin = self.fins[view.ski.name]
        fin.near = near
        if view.stage == "sign-off":
            if view.rules.second_eyes and not view.progress.eyes:
                return self.do(at, lambda: shop.second_eyes(view, "EY"))
            return self.do(at, lambda: shop.sign_off(view, shop.who))
        turns = view.plan.turns if view.stage == "turning" and view.plan is not None else ()
        by_hand = view.rig.missing and self.steps % 2
        if view.stage == "turning" and not any(t.turns for t in turns) and not by_hand:
            return self.do(at, lambda: shop.accept(view))
        return self.do(at, lambda: advance(shop, view, fin, CHANGES))

    def command(self, book: int, *words: str, who: str = "KV") -> tuple[int, str]:
        """Run a command on a book; return its status and what it said."""
        self.steps += 1
        out = io.StringIO()
        with redirect_stdout(out), redirect_stderr(out), self._now(self.benches[2 * book].clock):
            status = cli.main(["--book", str(self.paths[book]), "--who", who, *words])
        assert status in (0, 2, 3) or "an error of its own" not in out.getvalue(), out.getvalue()
        return status, out.getvalue()

    @contextmanager
    def _now(self, clock: Clock) -> Iterator[None]:
        today = self.day

        class Today(date):
            @classmethod
            def today(cls) -> Self:
                return cls(today.year, today.month, today.day)

        with (
            mock.patch("workbench.work.job.open_book.date", Today),
            mock.patch("workbench.cli.build_parser", parser_of),
            mock.patch.dict(Book.__init__.__kwdefaults__, {"clock": clock}),
        ):
            yield

    # What may happen --------------------------------------------------------------------------

    def act(self, at: Bench, which: str) -> bool:
        """Do one thing by the view in hand, whether it is next or not."""
        view, shop = at.held, at.shop
        assert view is not None
        acts: dict[str, Callable[[], object]] = {
            "set aside": lambda: shop.set_aside(view, "cracked bolt"),
            "take up": lambda: shop.take_up(view),
            "back": lambda: shop.take_back(view)[0],
            "turned back": lambda: shop.take_back(view, "turned_back")[0],
            "as is": lambda: shop.accept(view),
            "note": lambda: shop.note(view, "note", "seen"),
            "reaim": lambda: shop.reopen_target(view),
            "sign off": lambda: shop.sign_off(view, shop.who),
            "step": lambda: shop.step_done(view),
            "eyes": lambda: shop.second_eyes(view, "EY"),
        }
        return self.do(at, acts[which])

    def strike(self, at: Bench, name: str, which: int) -> bool:
        """Strike any row of a ski's history out."""
        timeline = timeline_of(load_history(at.shop, self.skis[name]))
        entries = [e for e in timeline.entries if isinstance(e.row, rows.Fact) and not e.struck]
        if not entries:
            return False
        entry = entries[-1 - which % len(entries)]
        return self.do(at, lambda: strike_row(at.shop, entry, "not true"))

    def refit(self, at: Bench, name: str, undo: bool) -> bool:
        """Give a ski the other block or none, or strike the last such change out as never made."""
        ski_id, book = self.skis[name], at.book
        if undo:
            last = last_change(book.ski_versions(ski_id))
            return last is not None and self.do(
                at, lambda: strike_change(at.shop, ski_id, last.id, "never made")
            )
        worn = book.block(book.ski(ski_id).block_id)
        others = [b.name for b in book.blocks() if b.studs and b.id != worn.id]
        others += ["none"] if worn.studs else []
        fields = {"block": others[self.steps % len(others)], "reason": "another block"}
        return self.do(at, lambda: change_parts(at.shop, ski_id, fields))

    def by_command(self, book: int, name: str, verb: str) -> None:
        """Do the next thing to a ski by a command, or another thing than is next."""
        shop = next(b.shop for b in self.benches if b.book.path == self.paths[book])
        words = [verb, "--ski", name]
        if verb in ("tick", "read", "aim"):
            try:
                view = shop.view(self.line(shop, name).job_id)
            except InputError:
                return
            if verb == "tick":
                words.append(view.check_due.key if view.check_due is not None else "clamp")
            elif verb == "read":
                fin, due = self.fins[name], view.due or 0
                fin.near = False
                words += [str(due + 1), fin.text(view.lines[due]), "--yes"]
            else:
                words += ["1", "+.010", "--yes"]
        elif verb == "set-aside":
            words.append("cracked")
        elif verb == "set-wing":
            words.append("7.5")
        elif verb == "as-is":
            words = ["accept", "--ski", name, "--as-is"]
        elif verb == "carry all":
            words = ["carry", "all"]
        elif verb in ("queue-ski", "carry"):
            words = [verb, name]
        elif verb == "recheck":
            words = ["queue-ski", name, "--recheck"]
        self.command(book, *words, who="CL")

    def enqueue(self, at: Bench, name: str, recheck: bool) -> bool:
        """Put a ski in today's queue again."""
        add = queue.add_recheck if recheck else queue.queue_again
        return self.do(at, lambda: add(at.shop, self.skis[name]))

    def carry(self, at: Bench, name: str, by: int) -> bool:
        """Carry a ski to another day."""
        day = queue.day_after(at.shop.day, by)
        return self.do(at, lambda: queue.carry(at.shop, self.line(at.shop, name), day))

    def tomorrow(self) -> None:
        """Let a night pass."""
        self.steps += 1
        self.day += timedelta(days=1)
        for at in self.benches:
            at.shop.day = self.day.isoformat()
            at.clock.now += timedelta(days=1)

    def send(self, source: Bench, ski: str | None) -> Path:
        """Write a book, or one ski of it, to a file; the last one where nothing changed since."""
        book = self.paths.index(source.book.path)
        version = (book, ski, self._version(book))
        if version in self.sent:
            return self.sent[version]
        path = self.sent[version] = self.folder / f"{len(self.files)}.json"
        if ski is None:
            exchange.export_book(source.shop, str(path))
        else:
            exchange.export_ski_of_id(source.shop, self.skis[ski], str(path))
        self.files.append(path)
        return path

    def take_in(self, at: Bench, path: Path) -> bool:
        """Take a file in."""
        return self.do(at, lambda: exchange.take_in(at.shop, str(path)))

    def forge(self, source: Bench, at: Bench, name: str, kind: str, which: int) -> bool:
        """Take a file in to which rows were added that no bench wrote."""
        path = self.send(source, name)
        data = json.loads(path.read_bytes())
        Forger(data["rows"], self.skis[name], self).add(kind, which)
        forged = path.with_suffix(".forged")
        forged.write_text(json.dumps(data))
        return self.take_in(at, forged)

    def settle(self, at: Bench, what: str) -> bool:
        """Change what the shop has settled."""
        changes: dict[str, Callable[[], object]] = {
            "more final": lambda: check_lists.add_item(at.shop, "final", "Look once more"),
            "fewer final": lambda: check_lists.remove_item(at.shop, "final", "studs"),
            "more received": lambda: check_lists.add_item(at.shop, "received", "Clamp"),
            "two repeats": lambda: shop_settings.change(at.shop, {"repeats": "2"}),
            "one repeat": lambda: shop_settings.change(at.shop, {"repeats": "1"}),
            "eyes": lambda: shop_settings.change(at.shop, {"second_eyes": "on"}),
            "no eyes": lambda: shop_settings.change(at.shop, {"second_eyes": "off"}),
        }
        return self.do(at, changes[what])

    def finish(self, at: Bench, name: str) -> None:
        """Set a ski honestly from where it is to its end: then it is released, and all say so."""
        trail: list[str] = []
        job_id, at.held = "", None
        for _ in range(150):
            if at.held is None or at.held.stage == "signed off":
                roster = [x for x in at.shop.roster() if x.ski_name == name]
                open_jobs = [x.job_id for x in roster if x.stage != "signed off"]
                at.held = at.shop.view(open_jobs[0]) if open_jobs else None
            if at.held is not None:
                job_id = at.held.job.id
                trail.append(at.held.stage)
                if not self.onward(at):
                    trail.append(self.refusal)
                    if not self._elsewhere(at, name):
                        self._take_back(at)
                continue
            told = claims(at.shop, name, self.skis[name], only=job_id) if job_id else {}
            if told and all(told.values()):
                return
            trail.append("anew")
            if not self.enqueue(at, name, recheck=False) and not self._back(at, name):
                self._reopen(at, name)
        raise AssertionError(f"{name} is set honestly, and is not released: {trail[-6:]}")

    def _take_back(self, at: Bench) -> None:
        """Take the last entry back; in a round that cannot be finished, all down to its steps."""
        goes = True
        while goes and at.held is not None:
            was = at.held.progress
            goes = self.act(at, "back") or self.act(at, "turned back")
            goes = goes and was.mid_pass and at.held.progress.step == was.step

    def _elsewhere(self, at: Bench, name: str) -> bool:
        """Go to another job of the ski where a refusal says that it has to be gone on with."""
        assert at.held is not None
        state = at.held.progress.state
        if not state.elsewhere and not state.bars.startswith("set aside in the job of"):
            return False
        for history in at.book.history_of_ski(self.skis[name]):
            view = at.shop.view(history.job.id)
            if view.job.id == at.held.job.id or view.stage == "signed off" or view.job.struck:
                continue
            if view.stage == "set aside" or not view.progress.state.elsewhere:
                at.held = view
                return view.stage != "set aside" or self.act(at, "take up")
        return self.enqueue(at, name, recheck=False)

    def _back(self, at: Bench, name: str) -> bool:
        """Carry a job that waits on a later day back to today."""
        for history in at.book.history_of_ski(self.skis[name]):
            for line in at.shop.lines_of(history.job.day):
                if line.job_id == history.job.id and line.stage != "signed off":
                    return self.do(at, lambda line=line: queue.carry(at.shop, line, at.shop.day))
        return False

    def _reopen(self, at: Bench, name: str) -> None:
        """Strike out the sign-off of a ski's last job, as is said where it releases nothing."""
        timeline = timeline_of(load_history(at.shop, self.skis[name]))
        signed = [e for e in timeline.entries if e.kind == "sign-off" and not e.struck]
        self.do(at, lambda: strike_row(at.shop, signed[-1], "does not hold"))

    # The law ----------------------------------------------------------------------------------

    def _version(self, book: int) -> int:
        version: int = self.looks[book].execute("PRAGMA data_version").fetchone()[0]
        return version

    def check(self, whole: bool = False) -> None:
        """Hold what is said of every ski in a book that changed against the model.

        Every list, card and line is looked at where what the model says changed, and now and then;
        else the day's list alone.
        """
        for book, look in enumerate(self.looks):
            version = self._version(book)
            if version == self.seen[book] and not whole:
                continue
            self.seen[book] = version
            concluded, facts = read_book(look)
            benches = [b for b in self.benches if b.book.path == self.paths[book]]
            shop = benches[self.steps % len(benches)].shop
            released = {ski_id for ski_id, state in concluded.items() if state.released}
            roster: tuple[RosterLine, ...] = ()
            for name, ski_id in self.skis.items():
                its = [f for f in facts if f.ski == ski_id]
                if ski_id not in concluded or ski_id in released:
                    continue
                if not (whole or any(f.kind == "signed" for f in its)):
                    continue
                roster = roster or shop.roster()
                before = self.held.get((book, ski_id))
                now = self.held[book, ski_id] = (concluded[ski_id].why, self.steps // 100)
                if whole or now != before:
                    hold(name, concluded[ski_id], its, claims(shop, name, ski_id, whole))
                    hold_history(shop, ski_id, concluded[ski_id])
                    done = sum(x.ski_id in released for x in roster)
                    assert done_in_sums(shop) <= done, "sums count a ski that is not released"
                else:
                    hold(name, concluded[ski_id], its, queue_claims(roster, name))


Said = dict[str, str]
"""By place what claims that a ski is released, blank where nothing does."""


def hold(name: str, state: Ski, facts: list[Fact], said: Said) -> None:
    """Raise an AssertionError where a ski that is not released is said to be."""
    told = "\n".join(f"  {where}: {words}" for where, words in said.items() if words)
    if told:
        mine = "\n".join(f"  {f.id} {f.job[-4:]} {f.kind} {'struck' * f.struck}" for f in facts)
        raise AssertionError(f"{name} is said to be released, but {state.why}\n{told}\n{mine}")


def hold_history(shop: Shop, ski_id: str, state: Ski) -> None:
    """Raise an AssertionError where a history tells of a sign-off that never released a ski."""
    told = [line for line in history_lines(shop, ski_id) if is_claim(line)]
    assert len(told) <= len(state.proved), f"history: {told} of which {len(state.proved)} hold"


def is_claim(text: str) -> bool:
    """Whether a line says that a ski is released."""
    words = text.casefold()
    denied = ("not released", "not to be ridden", "do not ride")
    return ("released by" in words or "signed off" in words) and not any(x in words for x in denied)


def queue_claims(roster: Iterable[RosterLine], name: str) -> Said:
    """Return what the lines of a list say of a ski."""
    return {f"queue {x.job_id}": claim([x.stage_words]) for x in roster if x.ski_name == name}


def claims(shop: Shop, name: str, ski_id: str, whole: bool = False, only: str = "") -> Said:
    """Return what every list, card and line says of a ski.

    ``whole``: the card as printed; ``only``: of this job alone, and not the day sheet.
    """
    jobs = [h.job for h in shop.book.history_of_ski(ski_id) if h.job.struck is None]
    jobs = [job for job in jobs if only in ("", job.id)]
    days = {shop.day, *(job.day for job in jobs)}
    lines = {x.job_id: x for day in days for x in shop.lines_of(day) if x.ski_name == name}
    lines = {i: x for i, x in lines.items() if only in ("", i)}
    out = {f"queue {i}": claim([queue_line(x, shop.day)]) for i, x in lines.items()}
    roster = shop.roster()
    for job in jobs:
        view = shop.view(job.id)
        card = card_of(shop, view)
        text = card_text(card, drawing=False).splitlines() if whole else [card.status]
        out[f"card {job.id}"] = claim(text)
        out[f"next {job.id}"] = claim(job_lines(view, "in", 1, lines[job.id], ""))
        out[f"bench {job.id}"] = claim([next_words(BenchState(view=view, roster=roster))])
    for row in () if only else day_sheet(shop).rows:
        if row.ski == name:
            out[f"day sheet {row.order}"] = claim([row.stage])
    return out


def claim(lines: list[str]) -> str:
    """Return the first line that says that a ski is released, or nothing."""
    return next((line for line in lines if is_claim(line)), "")


def done_in_sums(shop: Shop) -> int:
    """Return how many skis of a day its sums call done: that of the queue, that of the sheet."""
    sheet = re.search(r"(\d+) signed off", day_sheet(shop).summary)
    assert sheet is not None
    return max(queue.summary_of(shop, shop.roster()).done, int(sheet[1]))


def history_lines(shop: Shop, ski_id: str) -> list[str]:
    """Return the lines of a ski's history that tell of sign-offs which stand."""
    timeline = timeline_of(load_history(shop, ski_id))
    entries = [e for e in timeline.entries if e.kind == "sign-off" and e.struck is None]
    return timeline_lines(entries, timeline, "in")


# -- rows that no bench wrote ----------------------------------------------------------------------


FORGERIES = (
    "sign-off", "clamp before", "received clamp", "no clamp", "clamp and sign-off", "loosened",
    "step", "pass", "aside", "struck", "struck job", "reading", "second job", "early sign-off",
)  # fmt: skip


class Forger:
    """Adds rows to a file of one ski; what it says is well formed and may be untrue."""

    def __init__(self, tables: dict[str, list[dict[str, Any]]], ski_id: str, world: World) -> None:
        self.tables, self.ski_id, self.world = tables, ski_id, world
        ids = [row["id"] for table in tables.values() for row in table]
        self.newest = max(ids)
        self.job = [j["id"] for j in tables["jobs"] if j["ski_id"] == ski_id][-1]

    def add(self, kind: str, which: int) -> None:
        """Add the rows of one kind of forgery."""
        final = {"checklist": "final", "item": "clamp", "text": "Clamp"}
        facts = [r for t in ("readings", "passes", "marks", "ticks", "sign_offs", "wings")
                 for r in self.tables[t]]  # fmt: skip
        facts.sort(key=lambda row: str(row["id"]))
        match kind:
            case "sign-off":
                self.row("sign_offs", text="")
            case "early sign-off":
                self.row("sign_offs", self.job, text="")
            case "clamp before":
                turned = [r["id"] for r in self.tables["passes"]] or [self.job]
                self.row("ticks", _before(turned[-1]), **final)
                self.row("sign_offs", text="")
            case "received clamp":
                self.row("ticks", **(final | {"checklist": "received"}))
                self.row("sign_offs", text="")
            case "no clamp":
                for item in ("studs", "block"):
                    self.row("ticks", **(final | {"item": item}))
                self.row("sign_offs", text="")
            case "clamp and sign-off":
                self.row("ticks", **final)
                self.row("sign_offs", text="")
            case "loosened" | "step":
                number = 1 if kind == "loosened" else 2 + which % 3
                self.row("marks", kind="step", number=number, text="")
            case "pass":
                self.row("passes", number=1 + which % 3, finest_turn=0.125, turns=[])
            case "aside":
                self.row("marks", kind="set_aside", number=None, text="cracked")
            case "struck" if facts:
                self.strike(facts[-1 - which % len(facts)]["id"])
            case "struck job":
                self.strike(self.job)
            case "reading" if self.tables["readings"]:
                old = self.tables["readings"][-1 - which % len(self.tables["readings"])]
                self.row("readings", **{k: v for k, v in old.items() if k not in _STAMPED})
            case "second job":
                day = self.world.day.isoformat()
                self.job = self.row(
                    "jobs", ski_id=self.ski_id, day=day, due="", rank=9.0, finest_turn=0.125
                )
                self.row("sign_offs", text="")

    def row(self, table: str, after: str = "", **columns: object) -> str:
        """Add a row whose id follows another's, or all of them."""
        row_id = _after(after or self.newest, self.world)
        self.newest = max(self.newest, row_id)
        at = NOON.isoformat(timespec="microseconds")
        at = "2031-05-06T12:00:00.000000+00:00" if "+00:00" not in at else at
        row = {"id": row_id, "at": at, "who": "XX", **columns}
        if table != "jobs" and table != "strikes":
            row["job_id"] = self.job
        self.tables[table].append(row)
        return row_id

    def strike(self, row_id: str) -> None:
        """Strike a row out."""
        table = next(t for t, its in self.tables.items() if any(r["id"] == row_id for r in its))
        self.row("strikes", row_table=table, row_id=row_id, reason="no", replaced_by=None)


_STAMPED = ("id", "at", "who", "job_id")


def _after(row_id: str, world: World) -> str:
    """Return an id that follows another closely, and differs from all others."""
    world.forged += 1
    return _id_at(_stamp(row_id) + 1, world.forged)


def _before(row_id: str) -> str:
    return _id_at(_stamp(row_id) - 2, 0)


def _stamp(row_id: str) -> int:
    return int(row_id[:8] + row_id[9:13], 16) << 12 | int(row_id[15:18], 16)


def _id_at(stamp: int, number: int) -> str:
    text = f"{stamp >> 12:012x}7{stamp & 0xFFF:03x}{0xBFFF_0000_0000_0000 + number:016x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


# -- the machine -----------------------------------------------------------------------------------


def _forms(db: object, known: dict[Table, Form] = {}) -> dict[Table, Form]:  # noqa: B006
    """Return the form of an exchange file, read off the tables once: all books here are alike."""
    known.update(known or forms(db))  # type: ignore[arg-type]
    return known


class AtOnce:
    """Does what a book's thread would do, at once: one hand acts at a time here."""

    def __init__(self, **_: object) -> None:
        self.is_open = True

    def submit(self, call: Callable[[], object]) -> Future[object]:
        if not self.is_open:
            raise RuntimeError("closed")
        done: Future[object] = Future()
        try:
            done.set_result(call())
        except BaseException as error:
            done.set_exception(error)
        return done

    def shutdown(self) -> None:
        self.is_open = False


@contextmanager
def world() -> Iterator[World]:
    """A world in memory where there is such a place."""
    folder = Path(tempfile.mkdtemp(dir=MEMORY if MEMORY.is_dir() else None))
    try:
        with (
            mock.patch("workbench.records.desk.ThreadPoolExecutor", AtOnce),
            mock.patch("workbench.records.exchange.rows_out.forms", _forms),
            mock.patch("workbench.records.exchange.rows_in.forms", _forms),
            closing(World(folder)) as made,
        ):
            yield made
    finally:
        shutil.rmtree(folder)


STEPS = 0
"""Steps of all histories that were played in this process."""

HANDS = st.sampled_from((0, 1, 0, 1, 2))
SKI = st.sampled_from((SKIS[0], SKIS[0], SKIS[1]))
SOME = st.integers(0, 30)
VERBS = (
    "done", "done", "tick", "tick", "read", "read", "seat", "aim", "accept", "as-is", "sign-off",
    "set-aside", "take-up", "take-back", "enough", "carry", "carry all", "queue-ski", "recheck",
    "set-wing",
)  # fmt: skip
ACTS = (
    "set aside", "take up", "back", "turned back", "as is", "note", "reaim", "sign off", "step",
    "eyes",
)  # fmt: skip
CHANGED = (
    "more final", "fewer final", "more received", "two repeats", "one repeat", "eyes", "no eyes",
)  # fmt: skip


class Promise(RuleBasedStateMachine):
    """Hands, commands and files in any order."""

    def __init__(self) -> None:
        super().__init__()
        self._opened = world()
        self.world = self._opened.__enter__()

    def teardown(self) -> None:
        global STEPS
        STEPS += self.world.steps
        self._opened.__exit__(None, None, None)

    def _at(self, hands: int) -> Bench:
        return self.world.benches[hands]

    @rule(hands=HANDS, name=SKI)
    def looks(self, hands: int, name: str) -> None:
        at = self._at(hands)
        self.world.do(at, lambda: self.world.look(at, name))

    @rule(hands=HANDS, name=SKI, count=st.integers(1, 30), near=st.booleans(), late=st.booleans())
    def goes_on(self, hands: int, name: str, count: int, near: bool, late: bool) -> None:
        """Work on, by the view that is in hand already or by a new one."""
        at = self._at(hands)
        if at.held is None or not late:
            self.looks(hands, name)
        for _ in range(count):
            if at.held is None or not self.world.onward(at, near) or at.held.stage == "signed off":
                break
            self.world.check()

    @rule(hands=HANDS, which=st.sampled_from(ACTS), times=st.integers(1, 4))
    def acts(self, hands: int, which: str, times: int) -> None:
        """Do something else by the view in hand, however old that is."""
        at = self._at(hands)
        for _ in range(times if at.held is not None else 0):
            self.world.act(at, which)

    @rule(hands=HANDS, name=SKI, which=SOME)
    def strikes(self, hands: int, name: str, which: int) -> None:
        self.world.strike(self._at(hands), name, which)

    @rule(hands=HANDS, name=SKI)
    def settles_studs(self, hands: int, name: str) -> None:
        """Keep that the studs were settled, whatever was kept of the job at another bench."""
        at = self._at(hands)
        self.world.do(
            at, lambda: at.book.add_mark(self.world.line(at.shop, name).job_id, "KV", SETTLED)
        )

    @rule(hands=HANDS, name=SKI, undo=st.booleans())
    def refits(self, hands: int, name: str, undo: bool) -> None:
        self.world.refit(self._at(hands), name, undo)

    @rule(book=st.integers(0, 1), name=SKI, verb=st.sampled_from(VERBS), times=st.integers(1, 4))
    def commands(self, book: int, name: str, verb: str, times: int) -> None:
        for _ in range(times):
            self.world.by_command(book, name, verb)

    @rule(hands=HANDS, name=SKI, recheck=st.booleans())
    def queues(self, hands: int, name: str, recheck: bool) -> None:
        self.world.enqueue(self._at(hands), name, recheck)

    @rule(hands=HANDS, name=SKI, by=st.integers(-1, 2))
    def carries(self, hands: int, name: str, by: int) -> None:
        self.world.carry(self._at(hands), name, by)

    @rule()
    def sleeps(self) -> None:
        self.world.tomorrow()

    @rule(hands=HANDS, hours=st.sampled_from((-30, -1, 1, 30)))
    def clock_jumps(self, hands: int, hours: int) -> None:
        self._at(hands).clock.now += timedelta(hours=hours)

    @rule(source=HANDS, to=HANDS, ski=st.none() | SKI)
    def exchanges(self, source: int, to: int, ski: str | None) -> None:
        self.world.take_in(self._at(to), self.world.send(self._at(source), ski))

    @precondition(lambda self: self.world.files)
    @rule(to=HANDS, which=SOME)
    def takes_in_an_old_file(self, to: int, which: int) -> None:
        files = self.world.files
        self.world.take_in(self._at(to), files[-1 - which % len(files)])

    @rule(source=HANDS, to=HANDS, name=SKI, kind=st.sampled_from(FORGERIES), which=SOME)
    def forges(self, source: int, to: int, name: str, kind: str, which: int) -> None:
        self.world.forge(self._at(source), self._at(to), name, kind, which)

    @rule(hands=HANDS, what=st.sampled_from(CHANGED))
    def settles(self, hands: int, what: str) -> None:
        self.world.settle(self._at(hands), what)

    @rule(hands=HANDS, name=SKI)
    def finishes(self, hands: int, name: str) -> None:
        self.world.finish(self._at(hands), name)

    @invariant()
    def law(self) -> None:
        self.world.check()


def play(
    steps: int,
    first: int | None = None,
    *,
    histories: int = 100,
    length: int = 50,
    shortest: bool = False,
) -> None:
    """Play at least so many steps; ``first`` seeds the first round, None is the same each time.

    With ``shortest`` the shortest history that breaks the law is sought, which takes minutes.
    """
    begun, number = STEPS, first
    while STEPS - begun < steps:
        if number is not None:
            print(f"seed {number}: {STEPS - begun} steps so far", flush=True)
        manners = settings(
            max_examples=histories,
            stateful_step_count=length,
            deadline=None,
            database=None,
            derandomize=number is None,
            print_blob=False,
            report_multiple_bugs=False,
            phases=[Phase.generate, *([Phase.shrink] if shortest else [])],
            suppress_health_check=list(HealthCheck),
        )
        machine = Promise if number is None else seed(number)(Promise)
        run_state_machine_as_test(machine, settings=manners)
        if number is None:
            break
        number += 1


def play_part(number: int) -> None:
    """Play one of the four parts of the suite's 10,000 steps: the same ones each time."""
    play(2_500, 1000 * number, histories=4)


def main() -> int:
    """Run as many steps as are asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--steps", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--shortest", action="store_true", help="seek the shortest such history")
    args = parser.parse_args()
    play(args.steps, args.seed, shortest=args.shortest)
    print(f"{STEPS} steps, and the promise was kept")
    return 0


if __name__ == "__main__":
    sys.exit(main())
