"""Killed at any moment: what the screen called kept is in the book, and the bench comes back.

Short in the everyday run; ``pytest --long tests/bench/test_kill.py`` kills a bench 200 times and
the plain writer 500 times.
"""

from __future__ import annotations

import os
import random
import re
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from tests.bench.terminal import Terminal
from tests.records.conftest import furnish
from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.records.backup.backups import backups_of, copy_of_day, restore
from workbench.records.book import Book
from workbench.records.desk import utc_now
from workbench.records.store import rows
from workbench.work.exchange.exchange import export_book

BURST = 60
A_BOOK = 20
"""So many benches are killed on one book before a fresh one is taken."""

CODES = re.compile(rb"\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[\[()][0-9;?<>=]*[ -/]*[@-~]|\x1b[@-_]")
KEPT = re.compile(r"kept: depth[^→\n]{1,60} (2\.\d+) (?:→ 2\.\d+ )?in,\W*repeat (\d+)")
AS_RECEIVED = 3
"""The ski in hand has so many readings, the depth first, before its repeats begin."""


@pytest.fixture
def long(request: pytest.FixtureRequest) -> bool:
    return bool(request.config.getoption("--long"))


def bench_on(book: Path) -> Terminal:
    """The real bench in a terminal."""
    return Terminal([sys.executable, "-m", "workbench", "--book", str(book), "--who", "KV"])


def plain(out: bytes) -> str:
    """What a terminal got, without its control sequences."""
    return CODES.sub(b"", out).decode("utf-8", "replace")


def book_with_studs_seated(folder: Path) -> tuple[Path, str]:
    """A book whose ski in hand takes any number of repeats of its first reading."""
    book = demo_file(folder)
    with open_shop(book) as shop:
        view = ski(shop, "Heron 66")
        view = walk_to(shop, view, heron(view), "studs")
        shop.remember("job", view.job.id)
        return book, view.job.id


def readings(book: Path, job: str) -> list[str]:
    """Every reading of a job in the book, in the order taken."""
    with Book(book) as opened:
        return [f.text for f in opened.facts(job) if isinstance(f, rows.Reading)]


def sound(book: Path) -> None:
    """The database's own whole check passes."""
    with closing(sqlite3.connect(book)) as conn:
        assert conn.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert conn.execute("PRAGMA foreign_key_check").fetchall() == []


def stands_where_it_was(terminal: Terminal) -> None:
    """The ski in hand and its stage are those of before."""
    terminal.until(b"Heron 66")
    terminal.until(b"Bring all three studs up")


def burst_until_killed(terminal: Terminal, sent: list[str], alive_s: float) -> dict[int, str]:
    """Type readings as a cable does; kill the bench so long after it first called one kept.

    Returns what the screen called kept: the text by the number of the repeat.
    """
    terminal.out = b""
    left = iter(sent)
    end: float | None = None
    latest = time.monotonic() + 60.0
    while end is None or time.monotonic() < end:
        if text := next(left, ""):
            os.write(terminal.file, f"{text}\r".encode())
        terminal.read(0.004)
        assert time.monotonic() < latest, plain(terminal.out)[-2000:]
        if end is None and KEPT.search(plain(terminal.out)):
            end = time.monotonic() + alive_s
    os.kill(terminal.pid, signal.SIGKILL)
    terminal.settle()
    return {int(found[2]): found[1] for found in KEPT.finditer(plain(terminal.out))}


def test_a_bench_killed_in_a_burst_loses_nothing_it_called_kept(long: bool, tmp_path: Path) -> None:
    """SIGKILL at a random moment of a burst; each next bench opens on the same ski and stage."""
    chance = random.Random(20310506)
    book, job = book_with_studs_seated(tmp_path)
    for trial in range(200 if long else 3):
        if trial % A_BOOK == A_BOOK - 1:
            book, job = book_with_studs_seated(tmp_path)
        before = readings(book, job)
        sent = [f"{float(before[0]) + chance.randint(0, 8) / 1e4:.4f}" for _ in range(BURST)]
        with bench_on(book) as terminal:
            stands_where_it_was(terminal)
            said = burst_until_killed(terminal, sent, chance.uniform(0.0, 0.5))
        now = readings(book, job)
        sound(book)
        taken = now[len(before) :]
        assert now[: len(before)] == before
        assert taken == sent[: len(taken)], "none is lost, none doubled, none out of order"
        repeats = [now[0], *now[AS_RECEIVED:]]
        assert said
        assert said == {n: repeats[n - 1] for n in said}, trial
    with bench_on(book) as terminal:
        stands_where_it_was(terminal)


WRITER = """
import sys
from workbench.records.book import Book
book = Book(sys.argv[1])
for n in range(1_000_000):
    print(book.add_mark(sys.argv[2], sys.argv[3], "note", number=n).id, flush=True)
"""


def run(script: str, *arguments: object) -> subprocess.Popen[str]:
    """Start a Python script that tells on its standard output how far it is."""
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def kill(process: subprocess.Popen[str]) -> list[str]:
    """Kill a script and return the whole lines it had printed."""
    process.send_signal(signal.SIGKILL)
    out = process.communicate(timeout=60)[0]
    return out[: out.rfind("\n") + 1].splitlines()


def test_a_killed_writer_loses_no_row_it_told_of(long: bool, tmp_path: Path) -> None:
    """The book's own door, without a screen: every id that was printed is there, in order."""
    chance = random.Random(20310507)
    path = tmp_path / "book.db"
    with Book(path) as book:
        jobs = [furnish(book).job.id]
    for trial in range(500 if long else 6):
        if trial % A_BOOK == A_BOOK - 1:
            with Book(path) as book:
                jobs.append(furnish(book).job.id)
        writer = run(WRITER, path, jobs[-1], f"w{trial}")
        assert writer.stdout is not None
        told = [writer.stdout.readline().strip()]
        time.sleep(chance.uniform(0.0, 0.1))
        told += kill(writer)
        with Book(path) as book:
            kept = [f for f in book.facts(jobs[-1]) if f.who == f"w{trial}"]
        assert set(told) <= {fact.id for fact in kept}
        assert [f.number for f in kept if isinstance(f, rows.Mark)] == list(range(len(kept)))
    sound(path)


COPIER = """
import sys, datetime
from pathlib import Path
from workbench.records.backup.backups import copy_of_day
while True:
    print("begun", flush=True)
    copy_of_day(Path(sys.argv[1]), datetime.date(2031, 5, 6))
    print("done", flush=True)
"""


def test_killed_while_a_backup_is_made(long: bool, tmp_path: Path) -> None:
    """The day's copy is whole or not there; a later one clears away what was left half done."""
    chance = random.Random(1)
    book, job = book_with_studs_seated(tmp_path)
    before = readings(book, job)
    for _ in range(30 if long else 2):
        copier = run(COPIER, book)
        assert copier.stdout is not None
        for _ in range(chance.randint(1, 6)):
            copier.stdout.readline()
        time.sleep(chance.uniform(0.0, 0.02))
        kill(copier)
        for backup in backups_of(book):
            sound(backup.path)
            assert readings(backup.path, job) == before
    for left in book.with_name("backups").iterdir():
        os.utime(left, (0, 0))
    copy = copy_of_day(book, utc_now().date()).path
    assert {p.suffix for p in copy.parent.iterdir()} == {".db"}
    assert readings(book, job) == before


TAKER = """
import sys
from workbench.records.book import Book
from workbench.work.exchange.exchange import take_in
from workbench.work.job.shop import Shop
with Book(sys.argv[1]) as book:
    print("begun", flush=True)
    take_in(Shop(book), sys.argv[2])
"""


def test_killed_while_a_file_is_taken_in(long: bool, tmp_path: Path) -> None:
    """All of the file is in the book or nothing of it; taken in again it is all there."""
    chance = random.Random(2)
    book, job = book_with_studs_seated(tmp_path)
    with open_shop(book) as shop:
        export_book(shop, str(tmp_path / "all.json"))
    wanted = readings(book, job)
    skis = _skis(book)
    outcomes = set()
    for trial in range(30 if long else 2):
        other = tmp_path / f"other{trial}.db"
        Book(other).close()
        taker = run(TAKER, other, tmp_path / "all.json")
        assert taker.stdout is not None
        taker.stdout.readline()
        time.sleep(chance.uniform(0.0, 0.4))
        kill(taker)
        sound(other)
        outcomes.add(_skis(other))
    assert outcomes <= {0, skis}
    done = run(TAKER, other, tmp_path / "all.json")
    done.communicate(timeout=60)
    assert done.returncode == 0
    assert _skis(other) == skis
    assert readings(other, job) == wanted


def _skis(book: Path) -> int:
    with Book(book) as opened:
        return len(opened.skis())


MIGRATOR = """
import sys, time
from pathlib import Path
from workbench.records.desk import Desk
from workbench.records.store.schema import migrations
steps = migrations()
@steps(name="second_step")
def _second(db):
    db.execute("CREATE TABLE extra (id TEXT PRIMARY KEY) STRICT")
    for n in range(200):
        db.execute("INSERT INTO extra VALUES (?)", [str(n)])
    print("half", flush=True)
    time.sleep(60)
Desk(Path(sys.argv[1]), steps=steps)
"""


def test_killed_while_the_book_is_brought_up_to_date(tmp_path: Path) -> None:
    """The book opens as it was before the step, and the copy made first is whole."""
    book, job = book_with_studs_seated(tmp_path)
    before = readings(book, job)
    migrator = run(MIGRATOR, book)
    assert migrator.stdout is not None
    assert migrator.stdout.readline() == "half\n"
    kill(migrator)
    assert readings(book, job) == before
    sound(book)
    copy = book.with_name("demo.before-second_step.db")
    assert readings(copy, job) == before


RESTORER = """
import sys
from pathlib import Path
from workbench.records.backup.backups import restore
from workbench.records.desk import utc_now
while True:
    print("begun", flush=True)
    restore(Path(sys.argv[1]), Path(sys.argv[2]), utc_now())
"""


def test_killed_while_a_backup_is_put_back(long: bool, tmp_path: Path) -> None:
    """At every moment there is a book in its place, and it is whole."""
    chance = random.Random(3)
    book, job = book_with_studs_seated(tmp_path)
    before = readings(book, job)
    copy = copy_of_day(book, utc_now().date()).path
    for _ in range(30 if long else 2):
        restorer = run(RESTORER, book, copy)
        assert restorer.stdout is not None
        restorer.stdout.readline()
        time.sleep(chance.uniform(0.0, 0.1))
        kill(restorer)
        assert readings(book, job) == before
        sound(book)
    restore(book, copy, utc_now())
    assert readings(book, job) == before
