"""The backup that makes itself: one a day, brought up to date on leaving, as many as wanted."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tests.records.conftest import Shop as Furnished
from tests.records.conftest import furnish
from workbench.errors import InputError, RecordsError
from workbench.records import backups
from workbench.records.book import Book
from workbench.work import backup

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
    shop.book.add_reading(shop.job.id, "KV", shop.taken())
    copy = backup.back_up_at_leave(shop.book, DAY)
    assert copy is not None
    with Book(copy) as kept:
        assert len(kept.facts(shop.job.id)) == 1
    assert backup.back_up_at_leave(shop.book, NEXT) is not None


@pytest.mark.parametrize(
    ("text", "kept"),
    [("", 14), ("3", 3), (" 7 ", 7), ("0", 14), ("-1", 14), ("many", 14), ("²", 14), ("99999", 14)],
)
def test_how_many_are_kept(shop: Furnished, text: str, kept: int) -> None:
    """As the shop says, else fourteen."""
    shop.book.set_setting(backup.KEPT_SETTING, text)
    assert backup.kept_of(shop.book) == kept


def test_by_hand_to_a_file_a_folder_or_the_usual_place(shop: Furnished, tmp_path: Path) -> None:
    """A folder gets it under its usual name; a letter is left alone."""
    assert backup.back_up(shop.book, today=DAY) == backups.path_for(shop.book.path, DAY)
    (tmp_path / "stick").mkdir()
    assert backup.back_up(shop.book, str(tmp_path / "stick"), DAY).name == "book.2031-05-06.db"
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear Ines")
    with pytest.raises(RecordsError, match="no book of Quarterturn"):
        backup.back_up(shop.book, str(letter))
    with pytest.raises(RecordsError):
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
