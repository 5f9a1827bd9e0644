"""Benches that share a folder: one file each, torn, damaged, forged or late as it may be."""

from __future__ import annotations

import json
import random
import re
import zlib
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from unittest.mock import Mock

import pytest

from tests.records.conftest import Shop, furnish
from tests.shop import rows_out
from workbench.cli import main
from workbench.errors import InputError
from workbench.records.backup.copies import copy_book
from workbench.records.book import Book
from workbench.records.sharing import journal
from workbench.records.sharing.folder import ENDING, IN_HAND
from workbench.records.store.specs import WITH_IDS
from workbench.work.sharing.hubs import Watch, sync_folder
from workbench.work.sharing.words import shared_lines


@pytest.fixture
def books(tmp_path: Path) -> Iterator[list[Book]]:
    """Three books: the first has a shop in it, the others nothing."""
    with ExitStack() as stack:
        yield [stack.enter_context(Book(tmp_path / f"{name}.db")) for name in "abc"]


@pytest.fixture
def shop(books: list[Book]) -> Shop:
    return furnish(books[0])


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "stick").mkdir()
    return tmp_path / "stick"


def sync(book: Book, folder: Path) -> list[str]:
    return shared_lines(sync_folder(book, str(folder)))


def file_of(book: Book, folder: Path) -> Path:
    (found,) = folder.glob(f"{book.own_bench()}*{ENDING}")
    return found


def note(book: Book, shop: Shop, text: str) -> str:
    return book.add_mark(shop.job.id, "kl", "note", text=text).id


def test_whatever_the_order_all_books_are_equal_in_the_end(
    books: list[Book], shop: Shop, folder: Path
) -> None:
    """Three benches note, strike and sync in any order; files come late, torn or not at all."""
    chance = random.Random(7)
    for book in books:
        sync(book, folder)
    away: dict[Path, bytes] = {}
    for step in range(60):
        book = chance.choice(books)
        own = file_of(book, folder) if not away else None
        if chance.random() < 0.5 and book.facts(shop.job.id) is not None:
            made = note(book, shop, f"step {step}")
            if chance.random() < 0.3:
                book.strike(made, "slip", "kl", replaced_by=note(book, shop, f"better {step}"))
        elif own is not None and chance.random() < 0.5:
            whole = own.read_bytes()
            away[own] = whole
            own.write_bytes(whole[: chance.randrange(len(whole) * 3 // 4, len(whole))])
            for other in books:
                if other is not book:
                    assert not [line for line in sync(other, folder) if "damaged" in line]
        else:
            for file, whole in away.items():
                file.write_bytes(whole)
            away.clear()
            sync(book, folder)
    for file, whole in away.items():
        file.write_bytes(whole)
    for book in books * 2:
        said = sync(book, folder)
    assert "in step" in said[0]
    assert rows_out(books[1]) == rows_out(books[0]) == rows_out(books[2])
    assert sync(books[0], folder)[0].startswith("0 rows sent, 0 rows taken")


def test_an_interrupted_sync_goes_on_where_it_was(
    books: list[Book], shop: Shop, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Broken off once the file was written, or within a line of its own: a row arrives once."""
    first, second, _ = books
    kept = journal.note_sent

    def broken_off(*_args: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(journal, "note_sent", broken_off)
    with pytest.raises(KeyboardInterrupt):
        sync(first, folder)
    monkeypatch.setattr(journal, "note_sent", kept)
    with file_of(first, folder).open("ab") as file:
        file.write(b"0123abcd {half")
    for book in (second, first, second):
        sync(book, folder)
    assert rows_out(second) == rows_out(first)


def test_a_damaged_file_is_told_and_written_anew_once_taken_away(
    books: list[Book], shop: Shop, folder: Path
) -> None:
    """Rows before the damage are taken; none behind it is passed over."""
    first, second, _ = books
    sync(first, folder)
    file = file_of(first, folder)
    hurt = bytearray(file.read_bytes())
    hurt[-40] ^= 1
    file.write_bytes(hurt)
    said = sync(second, folder)
    assert "in step" not in said[0]
    assert any(file.name in line and "take the file away" in line for line in said)
    file.unlink()
    for book in (first, second):
        said = sync(book, folder)
    assert "in step" in said[0]
    assert rows_out(second) == rows_out(first)


def forge(file: Path, **changes: object) -> None:
    """Append the file's last row again as another's hand would, check sum and all."""
    kept = json.loads(file.read_text().splitlines()[-1][9:])
    row_id = kept["row"]["id"]
    kept["row"]["id"] = row_id[:-1] + ("1" if row_id[-1] != "1" else "2")
    form = changes.pop("form", kept["form"])
    kept["form"], kept["row"] = form, kept["row"] | changes
    text = json.dumps(kept).encode()
    with file.open("ab") as out:
        out.write(b"%08x %s\n" % (zlib.crc32(text), text))


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"at": "yesterday"}, "a time such as"),
        ({"job_id": "0190a5f0-0000-7000-8000-000000000000"}, "that is in this file or in the book"),
        ({"form": journal.FORM + 1}, "a newer one wrote it.*update this one"),
    ],
)
def test_a_row_that_is_forged_or_newer_ends_its_file_alone(
    books: list[Book], shop: Shop, folder: Path, changes: dict[str, object], why: str
) -> None:
    """What stood before it is taken, and all of the other benches."""
    first, second, third = books
    sync(first, folder)
    sync(second, folder)
    note(first, shop, "before")
    sync(first, folder)
    forge(file_of(first, folder), **changes)
    note(second, shop, "of the second")
    sync(second, folder)
    said = sync(third, folder)
    assert "in step" not in said[0]
    assert any(re.search(why, line) for line in said), said
    texts = {getattr(fact, "text", "") for fact in third.facts(shop.job.id)}
    assert {"before", "of the second"} <= texts


def test_a_damaged_row_here_is_not_sent_and_goes_once_struck_out(
    books: list[Book], shop: Shop, folder: Path
) -> None:
    """As with an exchange file; what comes is taken all the same."""
    first, second, _ = books
    sync(first, folder)
    sync(second, folder)
    kept = first.add_fact(shop.job.id, "kl", shop.taken())
    first.write(lambda pen: pen.db.execute("DROP TRIGGER readings_no_update"))
    first.write(lambda pen: pen.db.execute("UPDATE readings SET mm = 99"))
    first._desk.read(lambda db: db.sound.clear())
    note(second, shop, "of the second")
    sync(second, folder)
    said = sync(first, folder)
    assert any("not sent" in line and kept.id in line for line in said), said
    assert "of the second" in {getattr(fact, "text", "") for fact in first.facts(shop.job.id)}
    first.strike(kept.id, "damaged", "kl")
    assert "in step" in sync(first, folder)[0]
    sync(second, folder)
    texts = {getattr(fact, "text", "") for fact in second.facts(shop.job.id)}
    assert "of the second" in texts
    assert shop.taken().text not in texts  # it stays at home, with its strike


def test_a_copied_book_writes_a_file_of_its_own(
    books: list[Book], shop: Shop, folder: Path, tmp_path: Path
) -> None:
    """A backup opened elsewhere shares under another bench id; nothing is lost on either side."""
    first, second, _ = books
    sync(first, folder)
    copy_book(first.path, tmp_path / "copy.db")
    with Book(tmp_path / "copy.db") as copy:
        note(copy, shop, "on the boat")
        note(first, shop, "in the shop")
        for book in (copy, first, second, copy):
            sync(book, folder)
        assert len(list(folder.glob(f"*{ENDING}"))) == 3
        assert rows_out(copy) == rows_out(first) == rows_out(second)


def test_every_table_that_travels_is_journaled(books: list[Book]) -> None:
    """A table that a later migration adds is not forgotten."""
    made = books[0].read(
        lambda db: {row[0] for row in db.execute("SELECT name FROM sqlite_master")}
    )
    assert {f"{table}_journal" for table in WITH_IDS} <= made


def test_a_path_that_is_no_folder_is_refused(books: list[Book], tmp_path: Path) -> None:
    """And nothing is made there."""
    with pytest.raises(InputError, match="a folder that is there"):
        sync_folder(books[0], str(tmp_path / "nowhere"))
    assert not (tmp_path / "nowhere").exists()


def test_a_ski_set_at_two_benches_apart_is_told_at_both(
    books: list[Book], shop: Shop, folder: Path
) -> None:
    """With both versions, whoever syncs first; one after the other is no clash."""
    first, second, third = books

    def clashes(book: Book) -> list[str]:
        return [line for line in sync(book, folder) if "two benches at once" in line]

    def read(book: Book, text: str, who: str) -> None:
        book.add_fact(shop.job.id, who, shop.taken(text, float(text) * 25.4))

    read(first, "2.450", "KL")
    for book in (first, second, third):
        assert not clashes(book)
    read(second, "2.455", "RB")
    for book in (second, first, third):
        assert not clashes(book)
    read(first, "2.460", "KL")
    read(second, "2.470", "RB")
    assert not clashes(first)
    told = [*clashes(second), *clashes(first)]
    assert len(told) == 2
    for line in told:
        assert "(KL) tail, tips 2.460 in" in line
        assert "(RB) tail, tips 2.470 in" in line
        assert "2.45" not in line
    for book in (third, second, first):
        assert not clashes(book)


def test_the_command_line_says_what_went_and_refuses_what_is_no_hub(
    books: list[Book],
    shop: Shop,
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In words and as JSON; a password in a URL is refused and not repeated."""
    first, second = (str(book.path) for book in books[:2])
    assert main(["--book", first, "sync", "--folder", str(folder)]) == 0
    assert "in step" in capsys.readouterr().out
    assert main(["--book", second, "sync", "--folder", str(folder), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["sent"], said["in_step"]) == (0, True)
    assert all("three" in line for line in said["news"])  # the tests' shop has a block of two studs
    assert said["taken"] == sum(map(len, rows_out(books[0]).values()))
    for words, status, told in (
        (["sync"], 1, "no hub is joined"),
        (["hub", "status"], 1, "no hub is joined"),
        (["hub", "join"], 2, "a URL after 'hub join'"),
        (["hub", "leave", "postgresql://x/y"], 2, "'hub leave' alone"),
        (["hub", "join", "postgresql://one:s3cret@x/y"], 2, "a URL without"),
        (["sync", "--watch", "--folder", str(folder)], 2, "one of the two"),
    ):
        assert main(["--book", first, *words]) == status
        error = capsys.readouterr().err
        assert told in error
        assert "s3cret" not in error
    shared = sync_folder(books[1], str(folder))
    shared.round.stopped.append("no more")
    books[1].write(journal.join, "1", "hub", "postgresql://x/y", "two")
    monkeypatch.setattr(Watch, "start", lambda watch: watch._told(shared))
    monkeypatch.setattr(Watch, "wait", Mock(side_effect=KeyboardInterrupt))
    assert main(["--book", second, "sync", "--watch", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert [*said][:3] == ["command", "status", "place"]
    assert (said["command"], said["status"], said["in_step"]) == ("sync", 1, False)


def test_a_folder_says_which_ski_another_bench_had_in_hand(
    books: list[Book], shop: Shop, folder: Path
) -> None:
    """In a small file that is replaced; one that is torn says nothing, and stops nothing."""
    ours, theirs, _ = books
    ours.set_setting("job", shop.job.id, who="kl")
    ours.set_setting("who", "kl", who="kl")
    assert sync(ours, folder)[1:] == []
    said = sync(theirs, folder)[-1]
    assert f"(kl) had '{shop.ski.name}' in hand on 20" in said
    (told,) = sync_folder(theirs, str(folder)).in_hand
    assert told.ski == shop.ski.name
    (own,) = folder.glob(f"{ours.own_bench()}*{IN_HAND}")
    for torn in (own.read_bytes()[:-9], b"[]", b'{"name": 7}', b"\xff"):
        own.write_bytes(torn)
        assert sync_folder(theirs, str(folder)).in_hand == ()
    ours.set_setting("job", "", who="kl")
    sync(ours, folder)
    assert sync_folder(theirs, str(folder)).in_hand == ()
