"""Daily copies beside the book, bounded, and a copy put back with the present book kept aside."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from tests.records.conftest import Shop
from workbench.errors import RecordsError
from workbench.records.backup import backups
from workbench.records.backup.opening import open_book
from workbench.records.book import Book
from workbench.records.store.schema import applied, migrations

pytestmark = pytest.mark.usefixtures("begun_by_steps")

DAY = date(2031, 5, 6)
NOW = datetime(2031, 5, 6, 17, 30, 5)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def texts(path: Path) -> list[str]:
    with Book(path) as book:
        return [f.text for job in book.history_of_ski(book.skis()[0].id) for f in job.facts]


def test_a_copy_of_the_day_is_sound_and_for_its_owner(shop: Shop) -> None:
    """Made while the book is open; a second one of the same day takes its place."""
    shop.book.add_fact(shop.job.id, "KV", shop.taken("2.450"))
    first = backups.copy_of_day(shop.book.path, DAY).path
    shop.book.add_fact(shop.job.id, "KV", shop.taken("2.451"))
    assert backups.is_newer_than(shop.book.path, first)
    assert backups.copy_of_day(shop.book.path, DAY).path == first
    assert not backups.is_newer_than(shop.book.path, first)
    assert texts(first) == ["2.450", "2.451"]
    assert first.stat().st_mode & 0o777 == 0o600
    assert first.parent.stat().st_mode & 0o777 == 0o700
    assert [b.day for b in backups.backups_of(shop.book.path)] == [DAY]


def test_where_the_bench_stands_is_no_change(shop: Shop) -> None:
    """Leaving writes the draft and the ski in hand; that alone makes no new copy."""
    copy = backups.copy_of_day(shop.book.path, DAY).path
    shop.book.set_setting("draft", "2.4")
    shop.book.set_setting("job", shop.job.id)
    assert not backups.is_newer_than(shop.book.path, copy)
    shop.book.set_setting("shop", "The boathouse")
    assert backups.is_newer_than(shop.book.path, copy)


def test_the_oldest_copies_make_room(shop: Shop) -> None:
    """As many days as wanted are kept, the newest of them."""
    for i in range(6):
        backups.copy_of_day(shop.book.path, DAY + timedelta(days=i), kept=3)
    assert [b.day.day for b in backups.backups_of(shop.book.path)] == [11, 10, 9]


def test_a_clock_set_back_does_not_remove_the_copy_just_made(shop: Shop) -> None:
    """It would be the oldest by its name."""
    for i in range(3):
        backups.copy_of_day(shop.book.path, DAY + timedelta(days=i), kept=3)
    made = backups.copy_of_day(shop.book.path, date(2001, 1, 1), kept=3).path
    assert made.exists()
    assert len(backups.backups_of(shop.book.path)) == 3


def test_nothing_but_our_own_copies_is_ever_removed(shop: Shop) -> None:
    """Not another book's copies, not a letter, not a file that only has such a name."""
    folder = backups.folder_of(shop.book.path)
    folder.mkdir()
    for name in ("notes.txt", "other.2031-05-01.db", "book.2031-13-99.db", "book.2031-05-02.db"):
        (folder / name).write_text("mine")
    for i in range(4):
        backups.copy_of_day(shop.book.path, DAY + timedelta(days=i), kept=1)
    assert names(folder) == [
        "book.2031-05-02.db", "book.2031-05-09.db", "book.2031-13-99.db", "notes.txt",
        "other.2031-05-01.db",
    ]  # fmt: skip


def test_a_foreign_file_under_the_days_name_is_left_and_said(shop: Shop) -> None:
    """A copy is never written over what is no book."""
    path = backups.path_for(shop.book.path, DAY)
    path.parent.mkdir()
    path.write_text("mine")
    with pytest.raises(RecordsError, match="no book of Quarterturn"):
        backups.copy_of_day(shop.book.path, DAY)
    assert path.read_text() == "mine"


def test_a_folder_that_cannot_be_made_is_said(shop: Shop) -> None:
    """A file stands where the folder should be."""
    backups.folder_of(shop.book.path).write_text("in the way")
    with pytest.raises(RecordsError, match="backups"):
        backups.copy_of_day(shop.book.path, DAY)


def lose(shop: Shop) -> Path:
    """Lose the book's file and begin another at its path."""
    path = shop.book.path
    shop.book.close()
    path.unlink()
    Book(path).close()
    return path


def test_a_copy_that_holds_more_is_kept_under_the_next_number(shop: Shop) -> None:
    """Each time the book is lost; the day's name stands for what the book holds now."""
    shop.book.add_fact(shop.job.id, "KV", shop.taken("2.450"))
    backups.copy_of_day(shop.book.path, DAY)
    path = lose(shop)
    first = backups.copy_of_day(path, DAY)
    assert first.aside is not None
    assert texts(first.aside) == ["2.450"]
    with Book(path) as book:
        assert book.skis() == ()
        book.set_setting("shop", "The boathouse")
        assert backups.copy_of_day(path, DAY).aside is None
    path.unlink()
    Book(path).close()
    assert backups.copy_of_day(path, DAY).aside == first.aside.with_name("book.2031-05-06.3.db")
    assert [b.label for b in backups.backups_of(path)] == [
        "2031-05-06", "2031-05-06.2", "2031-05-06.3",
    ]  # fmt: skip


def test_a_copy_is_kept_where_the_disk_knows_no_links(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Then it is renamed, and no name that is taken is taken from another."""

    def no_links(*_names: Path) -> None:
        raise OSError("no links here")

    monkeypatch.setattr(os, "link", no_links)
    made = backups.copy_of_day(shop.book.path, DAY).path
    before = made.read_bytes()
    made.with_name("book.2031-05-06.2.db").write_text("mine")
    aside = backups.copy_of_day(lose(shop), DAY).aside
    assert aside == made.with_name("book.2031-05-06.3.db")
    assert aside.read_bytes() == before
    assert made.with_name("book.2031-05-06.2.db").read_text() == "mine"


def test_a_days_copy_that_cannot_be_read_is_kept_too(shop: Shop) -> None:
    """Nobody knows what may still be had from it."""
    made = backups.copy_of_day(shop.book.path, DAY).path
    with made.open("r+b") as file:
        file.seek(4096)
        file.write(bytes(made.stat().st_size - 4096))
    before = made.read_bytes()
    aside = backups.copy_of_day(shop.book.path, DAY).aside
    assert aside is not None
    assert aside.read_bytes() == before


def test_a_days_copy_that_a_bench_has_open_is_left(shop: Shop) -> None:
    """Its log would be taken for the new copy's own."""
    made = backups.copy_of_day(shop.book.path, DAY).path
    with Book(made) as opened:
        opened.set_setting("shop", "Looked into")
        with pytest.raises(RecordsError, match=r"book\.2031-05-06\.db-wal.* beside it"):
            backups.copy_of_day(shop.book.path, DAY)
        assert opened.setting("shop") == "Looked into"
    done = backups.copy_of_day(shop.book.path, DAY)
    assert done.aside is not None


def test_old_copies_go_only_where_the_book_still_holds_it_all(shop: Shop) -> None:
    """Those of a lost book stay, numbered or not; once the book has it all again they go."""
    backups.copy_of_day(shop.book.path, DAY - timedelta(days=1))
    old = backups.copy_of_day(shop.book.path, DAY).path
    path = lose(shop)
    aside = backups.copy_of_day(path, DAY, kept=1).aside
    assert aside is not None
    for i in range(1, 4):
        backups.copy_of_day(path, DAY + timedelta(days=i), kept=1)
    assert [b.label for b in backups.backups_of(path)] == [
        "2031-05-09", "2031-05-06.2", "2031-05-05",
    ]  # fmt: skip
    assert not old.exists()
    backups.restore(path, aside, NOW)
    backups.copy_of_day(path, DAY + timedelta(days=4), kept=1)
    assert [b.label for b in backups.backups_of(path)] == ["2031-05-10"]


# Putting back ------------------------------------------------------------------------------


@pytest.fixture
def saved(closed_book: Path) -> Path:
    """A backup of a book that has had a reading since."""
    copy = backups.copy_of_day(closed_book, DAY).path
    with Book(closed_book) as book:
        shop = book.skis()[0]
        job = book.history_of_ski(shop.id)[0].job
        book.add_mark(job.id, "KV", "note", text="since then")
    return copy


def test_a_backup_put_back_and_the_present_book_kept(closed_book: Path, saved: Path) -> None:
    """Both open afterwards; nothing half-made is left beside them."""
    done = backups.restore(closed_book, saved, NOW)
    assert done.kept == closed_book.with_name("book.before-restore-2031-05-06-173005.db")
    assert texts(closed_book) == []
    assert texts(done.kept) == ["since then"]
    assert closed_book.stat().st_mode & 0o777 == 0o600
    assert saved.exists()
    assert not [name for name in names(closed_book.parent) if "tmp" in name]


def test_twice_in_one_second_keeps_both_books(closed_book: Path, saved: Path) -> None:
    """The second gets another name."""
    first, second = (backups.restore(closed_book, saved, NOW).kept for _ in range(2))
    assert first is not None
    assert second not in (None, first)
    assert texts(first) == ["since then"]


def test_a_book_that_is_gone_is_put_back(closed_book: Path, saved: Path) -> None:
    """With nothing to keep aside."""
    closed_book.unlink()
    assert backups.restore(closed_book, saved, NOW).kept is None
    assert texts(closed_book) == []


def test_a_link_to_the_book_stays_a_link(closed_book: Path, saved: Path) -> None:
    """The book that it leads to is the one put back."""
    link = closed_book.with_name("link.db")
    link.symlink_to(closed_book)
    done = backups.restore(link, saved, NOW)
    assert link.is_symlink()
    assert (texts(closed_book), done.book) == ([], closed_book.resolve())


def test_a_damaged_book_is_kept_aside_with_its_log(closed_book: Path, saved: Path) -> None:
    """A log left behind would be written into the book that was put back."""
    with closed_book.open("r+b") as file:
        file.truncate(9000)
    log = closed_book.with_name("book.db-wal")
    log.write_bytes(b"7" * 5000)
    done = backups.restore(closed_book, saved, NOW)
    assert texts(closed_book) == []
    assert done.kept is not None
    assert done.kept.stat().st_size == 9000
    assert done.kept.with_name(done.kept.name + "-wal").read_bytes() == b"7" * 5000


OPEN = """
import sys, time
from workbench.records.book import Book
from workbench.records.backup.opening import open_book
book = Book(sys.argv[1])
print("open", flush=True)
time.sleep(60)
"""


def test_not_while_a_bench_has_the_book_open(closed_book: Path, saved: Path) -> None:
    """Refused, and the bench goes on with its book; after a kill it is put back."""
    bench = subprocess.Popen([sys.executable, "-c", OPEN, str(closed_book)], stdout=-1, text=True)
    assert bench.stdout is not None
    try:
        assert bench.stdout.readline() == "open\n"
        with pytest.raises(RecordsError, match="open at a bench; close that"):
            backups.restore(closed_book, saved, NOW)
        with Book(closed_book) as book:
            assert book.skis()
    finally:
        os.kill(bench.pid, signal.SIGKILL)
        bench.wait()
    done = backups.restore(closed_book, saved, NOW)
    assert done.kept is not None
    assert texts(done.kept) == ["since then"]


def _newer(path: Path) -> None:
    with sqlite3.connect(path) as conn:
        conn.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) "
            "SELECT migration_set, 'from the future', applied_at FROM _sqlite_migrations LIMIT 1"
        )
    conn.close()


def _cut(path: Path) -> None:
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size // 2)


def _flip(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[4096:8192] = bytes(4096)
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("harm", "words"),
    [
        (_newer, "newer Quarterturn"),
        (_cut, "cut short"),
        (_flip, "damaged"),
        (lambda path: path.write_text("a letter"), "not a book"),
        (lambda path: path.unlink(), "cannot be read"),
    ],
    ids=["newer", "cut", "flipped", "letter", "gone"],
)
def test_what_is_no_sound_backup_is_refused(
    closed_book: Path, saved: Path, harm: object, words: str
) -> None:
    """The book and the folder are as they were."""
    harm(saved)  # type: ignore[operator]
    before = closed_book.read_bytes(), names(closed_book.parent)
    with pytest.raises(RecordsError, match=words):
        backups.restore(closed_book, saved, NOW)
    assert (closed_book.read_bytes(), names(closed_book.parent)) == before


def test_an_older_backup_is_put_back_and_brought_up_to_date(closed_book: Path) -> None:
    """By the migrations, as any older book is when opened."""
    old = closed_book.with_name("old.db")
    steps = migrations()
    steps._migrations = steps._migrations[:1]
    open_book(old, steps, make_folder=False).close()
    backups.restore(closed_book, old, NOW)
    with Book(closed_book) as book:
        assert book._desk.read(applied) == tuple(step.name for step in migrations()._migrations)


def test_the_book_itself_and_a_foreign_file_in_its_place_are_refused(
    closed_book: Path, saved: Path
) -> None:
    """Restoring over a letter would take it away."""
    with pytest.raises(RecordsError, match="the book itself"):
        backups.restore(closed_book, closed_book, NOW)
    letter = closed_book.with_name("letter.txt")
    letter.write_text("Dear Ines")
    with pytest.raises(RecordsError, match="move it away first"):
        backups.restore(letter, saved, NOW)
    assert letter.read_text() == "Dear Ines"
