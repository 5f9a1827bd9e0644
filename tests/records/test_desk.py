"""Nothing acknowledged is lost: not by a kill, not by a second bench, not by a cancelled task."""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest

from workbench.records.book import Book
from workbench.records.store.rows import Mark

from .conftest import Shop, furnish

PATIENCE_S = 600
"""Far longer than it takes: a busy machine fails no test."""

WRITER = """
import sys
from workbench.records.book import Book
book = Book(sys.argv[1], bench=sys.argv[3])
for n in range(int(sys.argv[4])):
    mark = book.add_mark(sys.argv[2], sys.argv[3], "note", number=n)
    print(mark.id, flush=True)
book.close()
"""


def start_writer(path: Path, job_id: str, who: str, count: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), job_id, who, str(count)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_a_killed_process_loses_nothing_it_acknowledged(path: Path) -> None:
    """SIGKILL at a random moment: every id that was reported is in a sound book."""
    with Book(path) as book:
        job_id = furnish(book).job.id
    chance = random.Random(20310506)
    acknowledged: set[str] = set()
    for trial in range(5):
        writer = start_writer(path, job_id, f"w{trial}", 1_000_000)
        assert writer.stdout is not None
        acknowledged.update(writer.stdout.readline().strip() for _ in range(11))
        time.sleep(chance.uniform(0.0, 0.15))
        writer.send_signal(signal.SIGKILL)
        rest = writer.communicate(timeout=PATIENCE_S)[0]
        acknowledged.update(line for line in rest.splitlines() if len(line) == 36)
    with Book(path) as book:
        kept = book.facts(job_id)
    assert len(acknowledged) > 50
    assert acknowledged <= {fact.id for fact in kept}
    for trial in range(5):
        numbers = [f.number for f in kept if isinstance(f, Mark) and f.who == f"w{trial}"]
        assert numbers == list(range(len(numbers)))
    with closing(sqlite3.connect(path)) as conn:
        assert conn.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_two_processes_write_one_book_at_once(path: Path) -> None:
    """Both are served: no row lost, none doubled, nobody sees a locked database."""
    with Book(path) as book:
        job_id = furnish(book).job.id
        writers = [start_writer(path, job_id, who, 400) for who in ("one", "two")]
        for writer in writers:
            assert writer.communicate(timeout=PATIENCE_S)[1] == ""
        kept = book.facts(job_id)
    assert len(kept) == 800
    for who in ("one", "two"):
        mine = [fact.number for fact in kept if isinstance(fact, Mark) and fact.who == who]
        assert mine == list(range(400))


def test_a_change_by_another_bench_is_noticed_once(shop: Shop) -> None:
    """Another connection's write shows at the next look; one's own does not."""
    book = shop.book
    book.changed_since_last_look()
    book.add_mark(shop.job.id, "kl", "seated")
    assert not book.changed_since_last_look()
    with Book(book.path) as other:
        other.add_mark(shop.job.id, "mn", "note")
        assert book.changed_since_last_look()
        assert not book.changed_since_last_look()
        assert not other.changed_since_last_look()


def test_a_short_hold_by_another_program_is_waited_out(shop: Shop) -> None:
    """A write waits while another connection writes, and then is kept."""
    held = sqlite3.connect(shop.book.path, isolation_level=None, check_same_thread=False)
    held.execute("BEGIN IMMEDIATE")
    release = threading.Timer(0.3, lambda: held.execute("ROLLBACK"))
    started = time.monotonic()
    release.start()
    kept = shop.book.add_mark(shop.job.id, "kl", "seated")
    assert time.monotonic() - started > 0.2
    release.join()
    held.close()
    assert shop.book.facts(shop.job.id) == (kept,)


def test_many_threads_share_one_book(shop: Shop) -> None:
    """Whoever asks, the desk does one thing after another and loses none."""

    def work(who: str) -> None:
        for n in range(25):
            shop.book.add_mark(shop.job.id, who, "note", number=n)
            shop.book.facts(shop.job.id)

    threads = [threading.Thread(target=work, args=(f"t{n}",)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(shop.book.facts(shop.job.id)) == 100


def test_a_failed_write_leaves_no_transaction_open(shop: Shop) -> None:
    """After an error inside a write, the next write is kept by itself."""
    with pytest.raises(ZeroDivisionError):
        shop.book.batch(lambda: 1 // 0)
    kept = shop.book.add_mark(shop.job.id, "kl", "seated")
    with Book(shop.book.path) as other:
        assert other.facts(shop.job.id) == (kept,)


def test_a_read_sees_one_state_of_the_book(shop: Shop) -> None:
    """What another bench writes while a reading of many tables is under way is not half seen."""
    with Book(shop.book.path) as other:

        def look_twice() -> tuple[int, int]:
            first = len(shop.book.facts(shop.job.id))
            other.add_mark(shop.job.id, "mn", "note")
            return first, len(shop.book.facts(shop.job.id))

        assert shop.book._desk.read(lambda _db: look_twice()) == (0, 0)
        assert len(shop.book.facts(shop.job.id)) == 1


def test_rows_alone_load_no_database() -> None:
    """The plain values can be imported without SQLite or sqlite-utils."""
    probe = (
        "import sys; import workbench.records.store.rows; "
        "print([m for m in ('sqlite3', 'sqlite_utils') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_desk_commits_while_another_looks_at_their_file(path: Path) -> None:
    """SQLite writes its log into the file at a commit: half of that would look like damage."""
    with Book(path) as book, Book(path, beside=book) as other:
        job = furnish(book).job.id
        for each in (book, other):
            with book._desk._file.lock:
                kept = each._desk.submit(
                    partial(each.add_mark, job, "kl", "note", text="meanwhile")
                )
                with pytest.raises(TimeoutError):
                    kept.result(0.2)
            kept.result(20)
        assert book.facts(job) == other.facts(job)
