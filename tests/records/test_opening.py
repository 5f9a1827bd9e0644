"""A book that cannot be opened says why, and stays as it was."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import stat
import subprocess
import sys
from contextlib import closing, suppress
from pathlib import Path

import pytest
from sqlite_utils import Database, Migrations

from workbench.errors import BenchError, RecordsError
from workbench.records.backup import opening
from workbench.records.backup.copies import copy_book
from workbench.records.backup.place import WatchedFile
from workbench.records.book import Book
from workbench.records.desk import Desk
from workbench.records.store.rows import RideNote
from workbench.records.store.schema import migrations

from .conftest import Shop, furnish

pytestmark = pytest.mark.usefixtures("begun_by_steps")


@pytest.fixture(autouse=True)
def _nothing_checked_yet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "_checked", set())


def refused(path: Path, match: str) -> None:
    """Opening raises one line that matches, and changes nothing in the folder."""
    before = contents(path.parent)
    with pytest.raises(RecordsError, match=match) as caught:
        Book(path)
    assert "\n" not in str(caught.value)
    assert contents(path.parent) == before


def contents(folder: Path) -> dict[str, bytes | None]:
    return {
        child.name: child.read_bytes() if child.is_file() else None for child in folder.iterdir()
    }


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def test_a_new_book_and_its_folder_are_the_owners_alone(tmp_path: Path) -> None:
    """The book is 0600 and a folder made for it 0700, the log beside it 0600."""
    path = tmp_path / "new" / "book.db"
    with Book(path, make_folder=True) as book:
        furnish(book)
        assert mode(path) == 0o600
        assert mode(path.parent) == 0o700
        assert mode(path.with_name("book.db-wal")) == 0o600


def test_a_book_needs_no_file_beside_it_when_closed(closed_book: Path) -> None:
    """After closing, the one file is all there is."""
    assert [child.name for child in closed_book.parent.iterdir()] == ["book.db"]


def test_an_empty_file_becomes_a_book(path: Path) -> None:
    """A file of no bytes, as a process killed at the start leaves it, is no obstacle."""
    path.touch()
    with Book(path) as book:
        assert book.skis() == ()


@pytest.mark.parametrize("name", ["a b?c=d&mode=ro#e.db", "50%.db", "ümläut ✓.db", "'; --.db"])
def test_a_path_is_taken_literally(tmp_path: Path, name: str) -> None:
    """Signs that mean something in an address mean nothing in a path."""
    with Book(tmp_path / name) as book:
        book.set_setting("a", "b")
    assert [child.name for child in tmp_path.iterdir()] == [name]


def test_a_missing_folder_is_named_unless_it_may_be_made(tmp_path: Path) -> None:
    """Only the default place is made by itself."""
    with pytest.raises(RecordsError, match="its folder is not there"):
        Book(tmp_path / "gone" / "book.db")
    assert contents(tmp_path) == {}


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000, "\ud800"])
def test_a_path_that_no_system_takes_is_refused(tmp_path: Path, name: str) -> None:
    """NUL, names without end and half characters are one line, not a traceback."""
    refused(tmp_path / name, "cannot be (reached|made)")


def test_a_folder_is_no_book(tmp_path: Path) -> None:
    """A path that is a folder is refused."""
    (tmp_path / "book.db").mkdir()
    refused(tmp_path / "book.db", "is a folder")


@pytest.mark.parametrize("text", [b"x", b"name,depth\n" * 50, b"SQLite format 3\0", b"\0" * 4096])
def test_a_file_that_is_no_database_is_refused_untouched(path: Path, text: bytes) -> None:
    """Anything but a database of ours stays as it is."""
    path.write_bytes(text)
    refused(path, r"is not a book|is the database of another program")


@pytest.mark.parametrize("journal", ["delete", "wal"])
def test_another_programs_database_is_refused_untouched(path: Path, journal: str) -> None:
    """A sound SQLite database without our mark is not changed by a byte, nor is its log."""
    with closing(sqlite3.connect(path)) as other:
        other.execute(f"PRAGMA journal_mode = {journal}")
        other.execute("CREATE TABLE skis (id TEXT)")
        other.execute("INSERT INTO skis VALUES ('theirs')")
        other.commit()
        refused(path, "another program")


def test_a_newer_book_is_refused_untouched(closed_book: Path) -> None:
    """A book with a step this program does not know is left to the program that does."""
    with closing(sqlite3.connect(closed_book)) as conn:
        conn.execute(
            """INSERT INTO _sqlite_migrations (migration_set, name, applied_at)
            VALUES ('quarterturn', 'from_the_future', '2040-01-01')"""
        )
        conn.commit()
    before = closed_book.read_bytes()
    with pytest.raises(RecordsError, match=r"newer Quarterturn .'from_the_future'"):
        Book(closed_book)
    assert closed_book.read_bytes() == before


def test_a_book_cut_short_is_refused_untouched(closed_book: Path) -> None:
    """A truncated file is named as such."""
    with closed_book.open("r+b") as file:
        file.truncate(closed_book.stat().st_size - 4096)
    refused(closed_book, "is cut short; keep it and open the latest backup")


def test_a_book_with_flipped_bytes_is_refused_untouched(closed_book: Path) -> None:
    """Damage inside is found when the book is first opened."""
    text = bytearray(closed_book.read_bytes())
    for at in range(8192, len(text), 4096):
        text[at : at + 12] = b"\xff" * 12
    closed_book.write_bytes(text)
    with pytest.raises(RecordsError, match=r"is damaged .*open the latest backup"):
        Book(closed_book)
    assert closed_book.read_bytes() == bytes(text)


def test_a_book_whose_guards_were_taken_off_is_refused(closed_book: Path) -> None:
    """A book that another program made changeable is not trusted."""
    with closing(sqlite3.connect(closed_book)) as conn:
        conn.execute("DROP TRIGGER readings_no_update")
        conn.commit()
    refused(closed_book, "its tables are damaged or were changed by another program")


def test_an_index_or_table_of_another_program_is_no_harm(closed_book: Path) -> None:
    """What a copying or browsing program adds beside our tables does not lock the book."""
    with closing(sqlite3.connect(closed_book)) as conn:
        conn.execute("CREATE TABLE _theirs (id INTEGER PRIMARY KEY)")
        conn.execute("CREATE INDEX theirs ON readings(at)")
        conn.execute("ANALYZE")
        conn.commit()
    with Book(closed_book) as book:
        assert len(book.skis()) == 1


def test_random_damage_never_gives_a_traceback(path: Path) -> None:
    """Bytes changed or cut anywhere: a line with a way on, and a refused file is as it was."""
    with Book(path) as book:
        job_id = furnish(book).job.id
    whole = path.read_bytes()
    used = [at for at, byte in enumerate(whole) if byte]
    chance = random.Random(2)
    refusals = 0
    for _ in range(120):
        hurt = bytearray(whole[: chance.choice([len(whole), len(whole), 1 << 14])])
        for _ in range(chance.choice([1, 3, 50])):
            hurt[chance.choice(used) % len(hurt)] = chance.randrange(256)
        for child in path.parent.iterdir():
            child.unlink()
        path.write_bytes(hurt)
        opening._checked.clear()
        refusals += refuses_or_answers(path, job_id, bytes(hurt))
    assert 20 < refusals < 120


def refuses_or_answers(path: Path, job_id: str, hurt: bytes) -> bool:
    """Whether the book was refused; raises anything but our own errors of one line."""
    try:
        book = Book(path)
    except BenchError as error:
        told = str(error)
    else:
        answers(book, job_id)
        return False
    assert "\n" not in told
    assert path.read_bytes() == hurt
    return True


def answers(book: Book, job_id: str) -> None:
    with book:
        for ask in (book.skis, book.blades, book.blocks, lambda: book.history_of_ski(job_id)):
            with suppress(BenchError):
                ask()
        with suppress(BenchError):
            book.add_mark(job_id, "kl", "note")


def test_a_read_only_book_is_refused(closed_book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A book that may not be written says so, with a way on."""
    monkeypatch.setattr(os, "access", lambda where, how: where != closed_book)
    refused(closed_book, "read-only here; make it writable, or open a copy")


def test_a_book_in_a_read_only_folder_is_refused(
    closed_book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The log needs the folder too."""
    monkeypatch.setattr(os, "access", lambda where, how: where != closed_book.parent)
    refused(closed_book, "its folder is read-only here")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write all")
def test_permissions_of_the_system_are_heeded(closed_book: Path) -> None:
    """The same with the real thing, where the tests do not run as root."""
    closed_book.chmod(0o400)
    refused(closed_book, "read-only here")


def test_a_book_that_turns_read_only_says_so(shop: Shop) -> None:
    """A write that the database refuses as read-only is a line with a way on, and no row."""
    shop.book._desk.read(lambda db: db.execute("PRAGMA query_only = ON"))
    with pytest.raises(RecordsError, match="the book is read-only; make it writable"):
        shop.book.add_mark(shop.job.id, "kl", "seated")
    assert shop.book.facts(shop.job.id) == ()


def test_a_full_disk_says_so_and_loses_nothing(shop: Shop) -> None:
    """A write for which there is no room is refused whole; when there is room, it goes on."""
    desk = shop.book._desk
    kept = shop.book.add_fact(shop.job.id, "kl", shop.taken())
    pages = desk.read(lambda db: db.execute("PRAGMA page_count").fetchone()[0])
    desk.read(lambda db: db.execute(f"PRAGMA max_page_count = {pages}"))
    with pytest.raises(RecordsError, match=r"the disk is full.*make room"):
        shop.book.add_fact(shop.job.id, "kl", RideNote(text="x" * 100_000))
    assert shop.book.facts(shop.job.id) == (kept,)
    desk.read(lambda db: db.execute("PRAGMA max_page_count = 1000000"))
    note = shop.book.add_fact(shop.job.id, "kl", RideNote(text="x" * 100_000))
    assert shop.book.facts(shop.job.id) == (kept, note)


def test_a_book_moved_away_takes_no_more(shop: Shop, tmp_path: Path) -> None:
    """Writes to a file that is no longer at its place would be lost: they are refused."""
    away = tmp_path / "away.db"
    shop.book.path.rename(away)
    with pytest.raises(RecordsError, match="moved or deleted"):
        shop.book.add_mark(shop.job.id, "kl", "seated")
    away.rename(shop.book.path)
    kept = shop.book.add_mark(shop.job.id, "kl", "seated")
    assert shop.book.facts(shop.job.id) == (kept,)


def test_a_closed_book_says_so(shop: Shop) -> None:
    """Asking a closed book is an error with a way on; closing twice is none."""
    shop.book.close()
    shop.book.close()
    with pytest.raises(RecordsError, match="was closed; open it again"):
        shop.book.skis()


def with_step(fails: bool = False) -> Migrations:
    """Today's steps and one more."""
    steps = migrations()

    @steps(name="second_step")
    def _second(db: Database) -> None:
        db.execute("CREATE TABLE extra (id TEXT PRIMARY KEY) STRICT")
        if fails:
            raise ValueError("no room for it")

    return steps


def tables(book: Book) -> set[str]:
    """The names of a book's tables."""
    sql = "SELECT name FROM sqlite_master WHERE type = 'table'"
    return {name for (name,) in book.read(lambda db: db.execute(sql).fetchall())}


def test_a_migration_keeps_a_copy_first(closed_book: Path) -> None:
    """The book before the step is beside it, whole and for its owner alone."""
    Desk(closed_book, steps=with_step()).close()
    copy = closed_book.with_name("book.before-second_step.db")
    assert mode(copy) == 0o600
    with Book(copy) as old:
        (the_ski,) = old.skis()
        assert "extra" not in tables(old)
    with closing(sqlite3.connect(closed_book)) as conn:
        assert conn.execute("SELECT id FROM skis").fetchall() == [(the_ski.id,)]
        assert conn.execute("SELECT count(*) FROM extra").fetchone() == (0,)


def test_no_copy_where_nothing_is_pending(closed_book: Path) -> None:
    """Opening a book that is up to date leaves nothing behind."""
    Book(closed_book).close()
    assert [child.name for child in closed_book.parent.iterdir()] == ["book.db"]


def test_a_migration_that_fails_half_way_leaves_the_book_as_it_was(closed_book: Path) -> None:
    """The error says where the copy is, and the older program still opens the book."""
    with pytest.raises(RecordsError, match=r"no room for it.*as it was.*before-second_step\.db"):
        Desk(closed_book, steps=with_step(fails=True))
    with Book(closed_book) as book:
        assert len(book.skis()) == 1
        assert "extra" not in tables(book)


def test_many_processes_may_begin_one_book_at_once(path: Path) -> None:
    """Benches started together on a new book all come up, on one and the same schema."""
    begin = (
        "import sys; from workbench.records.book import Book; "
        "book = Book(sys.argv[1]); book.set_setting(sys.argv[2], 'here'); book.close()"
    )
    started = [
        subprocess.Popen([sys.executable, "-c", begin, str(path), str(n)], stderr=subprocess.PIPE)
        for n in range(4)
    ]
    errors = [process.communicate(timeout=60)[1].decode() for process in started]
    assert errors == [""] * 4
    with Book(path) as book:
        assert book.settings() == {str(n): "here" for n in range(4)}


def test_a_backup_is_one_sound_file_of_all_that_was_kept(shop: Shop, tmp_path: Path) -> None:
    """A copy made while the book is open holds everything, needs no log and is 0600."""
    kept = shop.book.add_fact(shop.job.id, "kl", shop.taken())
    copy = tmp_path / "copies.db"
    copy_book(shop.book.path, copy)
    alone = tmp_path / "elsewhere"
    alone.mkdir()
    shutil.copy(copy, alone / "book.db")
    assert mode(copy) == 0o600
    with Book(alone / "book.db") as restored:
        assert restored.facts(shop.job.id) == (kept,)
    assert not list(tmp_path.glob("*.tmp"))


def test_a_backup_replaces_an_older_one_and_nothing_else(shop: Shop, tmp_path: Path) -> None:
    """An older copy gives way; the book itself, a folder and a stranger's file do not."""
    copy = tmp_path / "copy.db"
    copy_book(shop.book.path, copy)
    shop.book.set_setting("unit", "mm")
    copy_book(shop.book.path, copy)
    with Book(copy) as restored:
        assert restored.setting("unit") == "mm"
    letter = tmp_path / "letter.txt"
    letter.write_text("dear rider")
    before = contents(tmp_path).keys()
    for target, why in (
        (letter, "no book of Quarterturn"),
        (shop.book.path, "is the book itself"),
        (tmp_path, "is a folder"),
        (tmp_path / "gone" / "copy.db", "its folder is not there"),
    ):
        with pytest.raises(RecordsError, match=why):
            copy_book(shop.book.path, target)
    assert letter.read_text() == "dear rider"
    assert contents(tmp_path).keys() == before


def _older(path: Path, copy: Path) -> None:
    path.write_bytes(copy.read_bytes())


def _grown_zeros(path: Path, copy: Path) -> None:
    path.write_bytes(bytes(path.stat().st_size + 4096))


def _cut_short(path: Path, copy: Path) -> None:
    os.truncate(path, path.stat().st_size - 4096)


@pytest.mark.parametrize("harm", [_older, _grown_zeros, _cut_short])
def test_a_file_cut_short_or_written_over_takes_no_more(closed_book: Path, harm: object) -> None:
    """Noticed at the next write, even where the file has the same length and form."""
    copy = closed_book.with_name("copy.db")
    shutil.copyfile(closed_book, copy)
    with Book(closed_book) as book:
        for i in range(3):
            book.set_setting("shop", f"name {i}")
    assert copy.stat().st_size == closed_book.stat().st_size
    book = Book(closed_book)
    try:
        book.set_setting("shop", "kept")
        harm(closed_book, copy)  # type: ignore[operator]
        with pytest.raises(RecordsError, match="cut short or written over while open"):
            book.set_setting("shop", "lost")
    finally:
        with suppress(RecordsError):
            book.close()


def test_a_log_written_into_the_file_is_no_harm(closed_book: Path) -> None:
    """By this bench or another; each goes on keeping, and the newest row there is looked for."""
    with Book(closed_book) as one, Book(closed_book) as two:
        for i in range(4):
            (one, two)[i % 2].set_setting("shop", f"name {i}")
            (two, one)[i % 2]._desk.read(
                lambda db: db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            )
        one.set_setting("shop", "last")
        assert two.setting("shop") == "last"


@pytest.mark.parametrize("goes_on", [True, False])
def test_a_log_that_takes_long_to_be_written_is_waited_for(
    closed_book: Path, monkeypatch: pytest.MonkeyPatch, goes_on: bool
) -> None:
    """While the file still changes another bench is at it; one that stays torn is torn."""
    left, at = iter(range(12)), closed_book.stat().st_mtime_ns

    def half_written(watched: WatchedFile) -> bool:
        nonlocal at
        if next(left, None) is None:
            return True
        if goes_on:
            at += 1_000_000
            os.utime(closed_book, ns=(at, at))
        return False

    with Book(closed_book) as book:
        os.utime(closed_book, ns=(at + 1, at + 1))
        monkeypatch.setattr(WatchedFile, "_is_whole", half_written)
        monkeypatch.setattr("workbench.records.backup.place.time.sleep", lambda seconds: None)
        if goes_on:
            book.set_setting("shop", "kept")
        else:
            with pytest.raises(RecordsError, match="cut short or written over while open"):
                book.set_setting("shop", "lost")
            monkeypatch.undo()
    assert len(list(left)) == (0 if goes_on else 8)


def test_a_log_that_another_bench_wrote_in_part_is_let_pass_a_few_times(
    closed_book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A checkpoint that stopped at somebody's reading leaves a file that is not whole by itself."""
    monkeypatch.setattr("workbench.records.backup.place.time.sleep", lambda seconds: None)
    with Book(closed_book) as book, Book(closed_book) as other:
        other.set_setting("shop", "theirs")
        monkeypatch.setattr(WatchedFile, "_is_whole", lambda watched: False)
        at = closed_book.stat().st_mtime_ns
        os.utime(closed_book, ns=(at + 1, at + 1))
        for i in range(9):
            book.set_setting("shop", f"name {i}")
        monkeypatch.setattr("workbench.records.backup.place._LONGEST", -1.0)
        with pytest.raises(RecordsError, match="cut short or written over while open"):
            book.set_setting("shop", "lost")
        monkeypatch.undo()
        book.set_setting("shop", "kept")


def test_a_log_that_this_bench_wrote_in_part_is_let_pass_too(
    closed_book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that stands as this bench's own commit left it was not written over by anybody."""
    monkeypatch.setattr("workbench.records.backup.place.time.sleep", lambda seconds: None)
    at = closed_book.stat().st_mtime_ns
    with Book(closed_book) as book:
        book.batch(lambda: os.utime(closed_book, ns=(at + 1, at + 1)))
        monkeypatch.setattr(WatchedFile, "_is_whole", lambda watched: False)
        book.set_setting("shop", "kept")
        os.utime(closed_book, ns=(at + 2, at + 2))
        with pytest.raises(RecordsError, match="cut short or written over while open"):
            book.set_setting("shop", "lost")
        monkeypatch.undo()


def test_what_came_with_the_log_of_another_bench_is_watched_too(closed_book: Path) -> None:
    """A bench opened while rows lie in the log knows what the file itself holds."""
    copy = closed_book.with_name("copy.db")
    shutil.copyfile(closed_book, copy)
    with Book(closed_book) as first:
        first.set_setting("shop", "in the log")
        with Book(closed_book) as second:
            second.set_setting("shop", "kept")
            second._desk.read(lambda db: db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone())
            second.set_setting("shop", "kept too")
            closed_book.write_bytes(copy.read_bytes())
            with pytest.raises(RecordsError, match="written over while open"):
                second.set_setting("shop", "lost")
