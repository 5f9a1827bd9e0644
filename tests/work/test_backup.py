"""The backup that makes itself: one a day, brought up to date on leaving, as many as wanted."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tests.records.conftest import Shop as Furnished
from tests.records.conftest import furnish
from workbench.errors import InputError
from workbench.records.backup import backups
from workbench.records.backup.backups import backups_of
from workbench.records.book import Book
from workbench.work.exchange import backup

DAY, NEXT = date(2031, 5, 6), date(2031, 5, 7)


@pytest.fixture
def shop(tmp_path: Path):
    with Book(tmp_path / "book.db") as book:
        yield furnish(book)


def test_one_a_day_and_the_next_day_another(shop: Furnished) -> None:
    """Opening the bench again on the same day makes none."""
    first = backup.back_up_today(shop.book, DAY)
    assert first is not None
    assert backup.back_up_today(shop.book, DAY) is None
    assert backup.back_up_today(shop.book, NEXT) not in (None, first)


def test_on_leaving_only_where_something_was_kept(shop: Furnished) -> None:
    """Also where a crash kept an earlier leaving from it, or the day has turned."""
    assert backup.back_up_at_leave(shop.book, DAY) is not None
    assert backup.back_up_at_leave(shop.book, DAY) is None
    shop.book.add_fact(shop.job.id, "KV", shop.taken())
    copy = backup.back_up_at_leave(shop.book, DAY)
    assert copy is not None
    with Book(copy.path) as kept:
        assert len(kept.facts(shop.job.id)) == 1
    assert backup.back_up_at_leave(shop.book, NEXT) is not None


@pytest.mark.parametrize(
    ("text", "kept"),
    [("", 14), ("3", 3), (" 7 ", 7), ("0", 14), ("-1", 14), ("many", 14), ("²", 14), ("99999", 14)],
)
def test_how_many_are_kept(shop: Furnished, text: str, kept: int) -> None:
    """As the shop says, else fourteen."""
    shop.book.set_setting("backups_kept", text)
    assert backup.kept_of(shop.book) == kept


def test_by_hand_to_a_file_a_folder_or_the_usual_place(shop: Furnished, tmp_path: Path) -> None:
    """A folder gets it under its usual name; a letter is left alone."""
    assert backup.back_up(shop.book, today=DAY).path == backups.path_for(shop.book.path, DAY)
    (tmp_path / "stick").mkdir()
    made = backup.back_up(shop.book, str(tmp_path / "stick"), DAY)
    assert made.path.name == "book.2031-05-06.db"
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear Ines")
    with pytest.raises(InputError, match=r"backup: .*no book of Quarterturn; name another"):
        backup.back_up(shop.book, str(letter))
    with pytest.raises(InputError, match="its folder is not there"):
        backup.back_up(shop.book, str(tmp_path / "no" / "x.db"))
    assert letter.read_text() == "Dear Ines"


def test_a_day_stands_for_its_copy(shop: Furnished, tmp_path: Path) -> None:
    """A day without a copy, or a file that is not there, is wrong input."""
    backup.back_up(shop.book, today=DAY)
    path = shop.book.path
    shop.book.close()
    assert backup.restore(path, "2031-05-06").kept is not None
    for text in ("2031-05-07", "nowhere.db", "a\0b", " "):
        with pytest.raises(InputError):
            backup.restore(path, text)


# A book lost and begun anew ----------------------------------------------------------------


@pytest.fixture
def begun_anew(shop: Furnished, tmp_path: Path):
    """A day's copy with a reading; the book's file lost, a new book at the same path."""
    shop.book.add_fact(shop.job.id, "KV", shop.taken("2.450"))
    backup.back_up_today(shop.book, DAY)
    shop.book.close()
    shop.book.path.unlink()
    with Book(tmp_path / "book.db") as book:
        yield book


@pytest.mark.parametrize("again", [backup.back_up_at_leave, lambda b, d: backup.back_up(b, "", d)])
def test_a_new_book_does_not_take_the_days_copy_of_the_lost_one(begun_anew: Book, again) -> None:
    """On leaving and by hand: it is kept under a number, which is said; later copies take none."""
    done = again(begun_anew, DAY)
    assert done.path.name == "book.2031-05-06.db"
    assert done.aside == done.path.with_name("book.2031-05-06.2.db")
    assert f"it is kept as {done.aside}" in backup.copied_lines(done)[1]
    begun_anew.set_setting("shop", "The boathouse")
    done = again(begun_anew, DAY)
    assert done.aside is None
    assert len(backup.copied_lines(done)) == 1
    assert [each.label for each in backups_of(begun_anew.path)] == [
        "2031-05-06", "2031-05-06.2",
    ]  # fmt: skip


def test_what_was_kept_under_a_number_is_put_back_by_it(begun_anew: Book) -> None:
    """As the list shows it; a number that no copy has is wrong input."""
    backup.back_up_at_leave(begun_anew, DAY)
    path = begun_anew.path
    begun_anew.close()
    lines = backup.backup_lines(backups_of(path), path)
    assert [line.split()[0] for line in lines] == ["2031-05-06", "2031-05-06.2"]
    with pytest.raises(InputError):
        backup.restore(path, "2031-05-06.3")
    backup.restore(path, "2031-05-06.2")
    with Book(path) as book:
        assert [fact.text for fact in book.history_of_ski(book.skis()[0].id)[0].facts] == ["2.450"]


@pytest.mark.parametrize("text", ["Dear Ines", "x" * 5000])
def test_a_letter_is_no_backup_to_put_back(shop: Furnished, tmp_path: Path, text: str) -> None:
    """Wrong input: it names the file and what would do."""
    letter = tmp_path / "letter.txt"
    letter.write_text(text)
    with pytest.raises(InputError, match=r"backup: .* not a book of Quarterturn; name another"):
        backup.restore(shop.book.path, str(letter))
