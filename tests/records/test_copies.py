"""A copy made at a place that a person names: over an older copy of the same book, nothing else."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.records.conftest import Shop, furnish
from workbench.errors import RecordsError
from workbench.records.backup.copies import copy_book
from workbench.records.backup.opening import open_book
from workbench.records.book import Book
from workbench.records.store.database import RefusedFileError
from workbench.records.store.schema import migrations

pytestmark = pytest.mark.usefixtures("begun_by_steps")

ID = "01a22673-ddda-7c18-ba0f-a08dc55d1941"


@pytest.fixture
def other(tmp_path: Path) -> Path:
    """Another shop's book, closed."""
    path = tmp_path / "other.db"
    with Book(path) as book:
        furnish(book)
    return path


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.suffix != ".db-shm"}


def test_another_book_that_is_open_is_left_and_goes_on(shop: Shop, other: Path) -> None:
    """Its newest rows lie in the log beside it."""
    with Book(other) as theirs:
        theirs.set_setting("shop", "The other boathouse")
        with pytest.raises(RefusedFileError, match=r"other\.db'.*'other\.db-wal' beside it.*free"):
            copy_book(shop.book.path, other)
        theirs.set_setting("theme", "dark")
    with Book(other) as theirs:
        assert theirs.settings() == {"shop": "The other boathouse", "theme": "dark"}


def test_another_book_that_is_closed_is_left(shop: Shop, other: Path, tmp_path: Path) -> None:
    """Its header tells it from a copy."""
    before = contents(tmp_path)
    with pytest.raises(RefusedFileError, match=r"header says WAL.*name a file that is free"):
        copy_book(shop.book.path, other)
    assert contents(tmp_path) == before


def _of_another(book: Path, copy: Path) -> None:
    copy_book(book.with_name("other.db"), copy)


def _later(book: Path, copy: Path) -> None:
    """The copy of a book that has gone on from this one."""
    ahead = book.with_name("ahead.db")
    copy_book(book, ahead)
    with Book(ahead) as later:
        later.set_setting("shop", "The boathouse")
    copy_book(ahead, copy)


def _newer(book: Path, copy: Path) -> None:
    copy_book(book, copy)
    with sqlite3.connect(copy) as conn:
        conn.execute("UPDATE _sqlite_migrations SET name = 'from the future' WHERE rowid = 1")
    conn.close()


def _damaged(book: Path, copy: Path) -> None:
    copy_book(book, copy)
    data = bytearray(copy.read_bytes())
    data[4096:] = bytes(len(data) - 4096)
    copy.write_bytes(data)


@pytest.mark.parametrize(
    ("lay", "words"),
    [
        (_of_another, r"holds \w+ '[0-9a-f-]{36}', which this book does not.*older copy of this"),
        (_later, r"holds settings '[0-9a-f-]{36}', which this book does not"),
        (_newer, "holds _sqlite_migrations 'from the future', which"),
        (_damaged, "cannot be compared with the book, so it stays; name a file that is free"),
    ],
)
def test_a_copy_that_is_not_plainly_older_is_left(
    shop: Shop, other: Path, tmp_path: Path, lay: Callable[[Path, Path], None], words: str
) -> None:
    """Of another book, with more in it, of a newer form or damaged: not changed by a byte."""
    copy = tmp_path / "copy.db"
    lay(shop.book.path, copy)
    before = contents(tmp_path)
    with pytest.raises(RefusedFileError, match=words):
        copy_book(shop.book.path, copy)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("ending", ["-wal", "-shm", "-journal"])
@pytest.mark.parametrize("free", [True, False])
def test_no_copy_gets_another_books_log(
    shop: Shop, tmp_path: Path, ending: str, free: bool
) -> None:
    """Also at a name that is free: SQLite would take the log for the copy's own."""
    copy = tmp_path / "copy.db"
    if not free:
        copy_book(shop.book.path, copy)
    log = Path(f"{copy}{ending}")
    log.write_bytes(b"7" * 100)
    with pytest.raises(RefusedFileError, match=f"'copy.db{ending}' beside it"):
        copy_book(shop.book.path, copy)
    assert (copy.exists(), log.read_bytes()) == (not free, b"7" * 100)


def test_a_copy_of_an_older_form_is_replaced(tmp_path: Path) -> None:
    """The book it was made of has been brought up to date since."""
    path, copy = tmp_path / "old.db", tmp_path / "copy.db"
    steps = migrations()
    steps._migrations = steps._migrations[:1]
    open_book(path, steps, make_folder=False).close()
    copy_book(path, copy)
    with Book(path) as book:
        furnish(book)
        copy_book(book.path, copy)
    with Book(copy) as kept:
        assert len(kept.skis()) == 1


def test_the_copy_before_a_change_of_form_is_not_replaced_by_less(tmp_path: Path) -> None:
    """Where the file of that name holds more it is kept under a number."""
    path = tmp_path / "book.db"
    steps = migrations()
    steps._migrations = steps._migrations[:-1]
    open_book(path, steps, make_folder=False).close()
    young = tmp_path / "young.db"
    shutil.copy(path, young)
    db = open_book(path, steps, make_folder=False)
    db.execute("INSERT INTO settings VALUES (?, '', '', 'shop', 'The boathouse')", [ID])
    db.close()
    Book(path).close()
    [kept] = tmp_path.glob("book.before-*.db")
    before = kept.read_bytes()
    path.unlink()
    shutil.copy(young, path)
    Book(path).close()
    assert kept.with_name(f"{kept.stem}.2.db").read_bytes() == before
    assert kept.exists()


def test_what_cannot_be_read_is_said(shop: Shop, tmp_path: Path) -> None:
    """No folder, no file: the book stays as it is."""
    with pytest.raises(RecordsError, match="its folder is not there"):
        copy_book(shop.book.path, tmp_path / "no" / "copy.db")
