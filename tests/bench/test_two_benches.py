"""Two benches on one book: nothing lost, nothing doubled, nobody locked out, each sees the other.

Short in the everyday run; ``pytest --long tests/bench/test_two_benches.py`` writes thousands.
"""

from __future__ import annotations

import os
import re
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.bench.terminal import Terminal
from tests.bench.test_kill import (
    bench_on,
    book_with_studs_seated,
    plain,
    readings,
    run,
    sound,
    stands_where_it_was,
)
from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.bench.hand.hands import draft_in
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop

WORKER = """
import sys
from workbench.measure.lengths import parse_length
from workbench.records.book import Book
from workbench.work.job.shop import Shop
path, job, who, count = sys.argv[1:]
with Book(path, bench=who) as book:
    shop = Shop(book, who=who)
    print("open", flush=True)
    sys.stdin.readline()
    for n in range(int(count)):
        if n % 50 == 0:
            view = shop.view(job)
            line = view.lines[0]
        text = f"2.4{n % 1000:03d}"
        from workbench.records.store.rows import Reading
        book.add_fact(job, who, Reading(
            method_id=line.method_id, pass_number=view.progress.pass_number, text=text, unit="in",
            mm=float(text) * 25.4,
        ))
"""


@pytest.fixture
def long(request: pytest.FixtureRequest) -> bool:
    return bool(request.config.getoption("--long"))


def test_two_processes_write_one_book(long: bool, tmp_path: Path) -> None:
    """Both write as fast as they can; every row is there once, each one's in its order."""
    count = 5000 if long else 300
    book, job = book_with_studs_seated(tmp_path)
    before = len(readings(book, job))
    both = [run(WORKER, book, job, who, count) for who in ("AA", "BB")]
    for process in both:
        assert process.stdout is not None
        assert process.stdout.readline() == "open\n"
    for process in both:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    for process in both:
        out, errors = process.communicate(timeout=600)
        assert (process.returncode, out, errors) == (0, "", "")
    with Book(book) as opened:
        kept = [f for f in opened.facts(job) if isinstance(f, rows.Reading)]
    assert len(kept) == before + 2 * count
    assert len({f.id for f in kept}) == len(kept)
    for who in ("AA", "BB"):
        assert [f.text for f in kept if f.who == who] == [
            f"2.4{n % 1000:03d}" for n in range(count)
        ]
    sound(book)


def test_two_benches_take_readings_of_one_ski(long: bool, tmp_path: Path) -> None:
    """Two real benches, a burst each at the same time: none is lost, in each one's order.

    A reading that the other bench's came before is refused, and is a note once the next one begins.
    """
    count = 150 if long else 25
    book, job = book_with_studs_seated(tmp_path)
    before = len(typed(book, job))
    sent = [[f"2.{4 + at}{n:03d}" for n in range(count)] for at in (0, 1)]
    with bench_on(book) as one, bench_on(book) as two:
        for terminal in (one, two):
            stands_where_it_was(terminal)
        for at, terminal in enumerate((one, two)):
            os.write(terminal.file, "".join(f"{text}\r" for text in sent[at]).encode())
        _until_there(book, job, before + 2 * count, one, two)
        for terminal in (one, two):
            assert "locked" not in plain(terminal.out)
            terminal.press(b"q")
            assert terminal.exit_status() == 0
    kept = typed(book, job)[before:]
    for texts in sent:
        assert [text for text in kept if text in set(texts)] == texts
    sound(book)


def typed(book: Path, job: str) -> list[str]:
    """What was typed at a job, in order: readings, notes, then what is on a line still."""
    with Book(book) as opened:
        held = [f for f in opened.facts(job) if isinstance(f, rows.Reading | rows.Mark)]
        kept = [f.text for f in held if isinstance(f, rows.Reading) or f.kind == "held"]
        drafts = opened.settings_kept(("draft",)).get("draft", ())
    begun = [draft_in(text) for _, text in drafts]
    return kept + [each.text for each in begun if each is not None]


def _until_there(book: Path, job: str, count: int, *terminals: Terminal) -> None:
    """Wait until all is kept but the last entry of each, which may be refused and on its line."""
    end = time.monotonic() + 300
    while len(typed(book, job)) < count - len(terminals):
        assert time.monotonic() < end, plain(terminals[0].out)[-2000:]
        for terminal in terminals:
            while terminal.read(0.1):
                pass
    for terminal in terminals:
        terminal.settle(1.0)


def set_aside(other: Shop, view: JobView) -> None:
    other.set_aside(view, "a cracked bolt")


def turn(other: Shop, view: JobView) -> None:
    """Aim anew, loosen and turn the first stud."""
    view = other.aim(other.reopen_target(view), view.lines[0], "+.020", "in")
    other.step_done(other.step_done(other.accept_target(view)))


@pytest.mark.parametrize(
    ("stage", "first", "told", "keys", "act", "said"),
    [("sign-off", b"\r", b"signs off", b"+", set_aside, b"cracked bolt"),
     ("within", b"2.4600", b"2.4600", b"\r", turn, b"ADA"),
     ("within", b"", b"leave it", b"\r", turn, b"ADA")],
)  # fmt: skip
def test_a_stopped_bench_does_nothing_by_what_is_no_longer_so(
    tmp_path: Path, stage: str, first: bytes, told: bytes, keys: bytes,
    act: Callable[[Shop, JobView], None], said: bytes,
) -> None:  # fmt: skip
    """Another acts while it is stopped; the key that was meant for the view before is refused."""
    book = demo_file(tmp_path)
    with open_shop(book, "ADA") as shop:
        view = walk_to(shop, ski(shop, "Heron 66"), heron(ski(shop, "Heron 66")), stage)
        shop.remember("job", view.job.id)
    with bench_on(book) as terminal:
        terminal.until(b"Heron 66")
        terminal.settle()
        if first:
            os.write(terminal.file, first)
        terminal.until(told)
        terminal.settle(0.5)
        os.kill(terminal.pid, signal.SIGSTOP)
        with open_shop(book, "ADA") as other:
            act(other, other.view(view.job.id))
            facts = other.view(view.job.id).facts
        terminal.out = b""
        os.write(terminal.file, keys)
        os.kill(terminal.pid, signal.SIGCONT)
        terminal.until(said)
        terminal.settle(1.0)
        with open_shop(book) as other:
            assert other.view(view.job.id).facts == facts
        terminal.press(b"q")
        assert terminal.exit_status() == 0


def test_what_one_does_the_other_shows(long: bool, tmp_path: Path) -> None:
    """A ski set aside at one bench says so in the other's roster, with no key pressed there."""
    book = demo_file(tmp_path)
    with open_shop(book) as shop:
        shop.remember("job", ski(shop, "Heron 66").job.id)
    with bench_on(book) as one, bench_on(book) as two:
        for terminal in (one, two):
            terminal.until(b"Heron 66")
            terminal.settle()
        two.out = b""
        one.press(b"s")
        one.settle()
        one.press(b"a bolt is missing")
        one.settle()
        one.press(b"\r")
        one.until(b"a bolt is missing")
        start = time.monotonic()
        two.until(b"a bolt is missing", wait_s=2.0 if long else 20.0)
        took = time.monotonic() - start
        assert re.search(r"Heron 66.{0,80}set aside", plain(two.out), re.DOTALL)
        print(f"seen after {took:.2f} s")
