"""One lock holds a book's place: opened, copied and put back there by several at once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path

import pytest

from tests.records.conftest import furnish
from workbench.errors import RecordsError
from workbench.records.backup import backups, opening, place
from workbench.records.backup.place import place_held
from workbench.records.book import Book

pytestmark = pytest.mark.usefixtures("begun_by_steps")

NOW = datetime(2031, 5, 6, 17, 30, 5)

HOLD = """
import sys
from pathlib import Path
from workbench.records.backup.place import place_held
with place_held(Path(sys.argv[1]), alone=sys.argv[2] == "alone"):
    print("held", flush=True)
    sys.stdin.readline()
"""

OPEN = """
import sys
from pathlib import Path
from workbench.records.book import Book
print("ready", flush=True)
sys.stdin.readline()
book = Book(Path(sys.argv[1]))
book.set_setting("shop", "kept " + sys.argv[2])
print("kept", flush=True)
sys.stdin.readline()
"""

RESTORE = """
import sys
from datetime import datetime
from pathlib import Path
from workbench.records.backup import backups
print("ready", flush=True)
sys.stdin.readline()
done = backups.restore(Path(sys.argv[1]), Path(sys.argv[2]), datetime(2031, 5, 6, 17, 30, 5))
print(done.kept, flush=True)
"""


@contextmanager
def process(code: str, *args: object) -> Iterator[subprocess.Popen[str]]:
    """A process of ours, killed in the end."""
    command = [sys.executable, "-c", code, *map(str, args)]
    running = subprocess.Popen(command, stdin=-1, stdout=-1, text=True)
    try:
        yield running
    finally:
        running.kill()
        running.wait()


def says(running: subprocess.Popen[str]) -> str:
    assert running.stdout is not None
    return running.stdout.readline().strip()


def go_on(running: subprocess.Popen[str]) -> None:
    assert running.stdin is not None
    running.stdin.write("\n")
    running.stdin.flush()


@pytest.fixture
def saved(closed_book: Path) -> Path:
    """A copy from before anything was set."""
    return backups.copy_of_day(closed_book, date(2031, 5, 6)).path


def test_an_opener_waits_until_the_restore_is_through(
    closed_book: Path, saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it then keeps is in the book that was put back, and not in the one set aside."""
    swap = backups._swap
    with process(OPEN, closed_book, "late") as opener:

        def slowly(book: Path, spare: Path, now: datetime) -> Path | None:
            assert says(opener) == "ready"
            go_on(opener)
            done = swap(book, spare, now)
            with pytest.raises(subprocess.TimeoutExpired):
                opener.wait(0.6)
            return done

        monkeypatch.setattr(backups, "_swap", slowly)
        done = backups.restore(closed_book, saved, NOW)
        assert says(opener) == "kept"
    assert done.kept is not None
    with Book(closed_book) as book, Book(done.kept) as aside:
        assert book.setting("shop") == "kept late"
        assert aside.setting("shop") is None


def test_who_waits_too_long_is_told_that_the_book_is_being_restored(
    closed_book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And once the one who restores is killed, the book opens."""
    monkeypatch.setattr(place, "WAIT_SECONDS", 0.1)
    with process(HOLD, closed_book, "alone") as restorer:
        assert says(restorer) == "held"
        for wanted in (Book, lambda path: backups.copy_of_day(path, date(2031, 5, 6))):
            with pytest.raises(RecordsError, match="is being restored by another"):
                wanted(closed_book)
        os.kill(restorer.pid, signal.SIGKILL)
        restorer.wait()
        Book(closed_book).close()
    assert not closed_book.with_name(f".{closed_book.name}.lock").exists()


def test_no_restore_while_others_open_or_copy_the_book(
    closed_book: Path, saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They hold the place together; it is given up as they end."""
    monkeypatch.setattr(place, "WAIT_SECONDS", 0.1)
    with process(HOLD, closed_book, "together") as one, process(HOLD, closed_book, "too") as two:
        assert (says(one), says(two)) == ("held", "held")
        with pytest.raises(RecordsError, match="is being opened or copied by another"):
            backups.restore(closed_book, saved, NOW)
        go_on(one)
        go_on(two)
        assert (one.wait(), two.wait()) == (0, 0)
        assert backups.restore(closed_book, saved, NOW).kept is not None


def test_two_restores_at_once_each_set_their_book_aside(closed_book: Path, saved: Path) -> None:
    """Under names of their own, each of them a sound book."""
    with process(RESTORE, closed_book, saved) as one, process(RESTORE, closed_book, saved) as two:
        assert (says(one), says(two)) == ("ready", "ready")
        with place_held(closed_book, alone=True):  # both have to wait, then both go on
            go_on(one)
            go_on(two)
            with pytest.raises(subprocess.TimeoutExpired):
                one.wait(1.0)
        kept = {says(one), says(two)}
        assert (one.wait(), two.wait()) == (0, 0)
    assert len(kept) == 2
    for path in (*map(Path, kept), closed_book):
        with Book(path) as book:
            assert [ski.name for ski in book.skis()] == ["Ski A"]


def test_a_lock_file_that_was_removed_locks_nothing(closed_book: Path) -> None:
    """Who waited for it takes the one that lies there now."""
    lock = closed_book.with_name(f".{closed_book.name}.lock")
    with process(HOLD, closed_book, "alone") as gone:
        assert says(gone) == "held"
        lock.unlink()
        with place_held(closed_book, alone=True):
            go_on(gone)
            assert gone.wait() == 0
            assert lock.exists()
    assert not lock.exists()


def test_a_book_that_goes_while_it_is_looked_at_is_said(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As one line, wherever in the looking it goes."""
    with Book(path) as book:
        furnish(book)
    with pytest.raises(RecordsError, match="cannot be read"):
        opening.look_inside(path.with_name("gone.db"), None)
    exists = Path.exists

    def and_gone(self: Path) -> bool:
        found = exists(self)
        if self.name.endswith("-wal"):
            path.unlink(missing_ok=True)
        return found

    monkeypatch.setattr(Path, "exists", and_gone)
    with pytest.raises(RecordsError):
        Book(path)


def test_a_link_that_leads_to_itself_is_said(tmp_path: Path, saved: Path) -> None:
    """At a restore and at opening; the link stays."""
    loop = tmp_path / "loop.db"
    loop.symlink_to(loop)
    with pytest.raises(RecordsError, match="leads back to itself"):
        backups.restore(loop, saved, NOW)
    with pytest.raises(RecordsError, match=r"loop\.db"):
        Book(loop)
    assert loop.is_symlink()


def test_folders_made_for_a_book_are_the_owners_alone(tmp_path: Path) -> None:
    """Those above it too, whatever the umask."""
    before = os.umask(0)
    try:
        Book(tmp_path / "a" / "b" / "book.db", make_folder=True).close()
    finally:
        os.umask(before)
    made = (tmp_path / "a", tmp_path / "a" / "b")
    assert [folder.stat().st_mode & 0o777 for folder in made] == [0o700, 0o700]
