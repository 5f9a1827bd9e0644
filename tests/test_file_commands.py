"""``export``, ``import``, ``intake``, ``export-csv``, ``backup`` and ``restore`` as typed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.shop import demo_file, open_shop, ski
from workbench.cli import main
from workbench.records.book import Book
from workbench.records.store import rows


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return demo_file(tmp_path)


@pytest.fixture
def other(tmp_path: Path) -> Path:
    path = tmp_path / "other.db"
    Book(path).close()
    return path


class Run:
    """A command's exit status and what it printed."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def __call__(self, book: Path, *words: str) -> tuple[int, str, str]:
        try:
            status = main(["--book", str(book), *words])
        except SystemExit as leaving:
            status = int(leaving.code or 0)
        out, err = self._capsys.readouterr()
        return status, out, err


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return Run(capsys)


def skis(path: Path) -> int:
    with Book(path) as book:
        return len(book.skis())


def test_a_book_goes_out_and_in(run: Run, book: Path, other: Path, tmp_path: Path) -> None:
    """A dry run first; then all of it; then there is nothing new."""
    file = str(tmp_path / "book.json")
    status, out, _ = run(book, "export", file)
    assert (status, out.startswith("Written: ")) == (0, True)
    status, out, _ = run(other, "import", "--dry-run", file)
    assert (status, out.startswith("Would take in: ")) == (0, True)
    assert skis(other) == 0
    status, out, _ = run(other, "import", file)
    assert (status, out.startswith("Taken in: ")) == (0, True)
    assert skis(other) == skis(book)
    assert run(other, "import", file)[1].startswith("Nothing new in this file")


def test_one_ski_goes_out(run: Run, book: Path, other: Path, tmp_path: Path) -> None:
    """By its serial; a name that is none is wrong input."""
    file = str(tmp_path / "ski.json")
    assert run(book, "export", "--ski", "H66-014", file)[0] == 0
    assert run(other, "import", file)[0] == 0
    assert skis(other) == 1
    status, _, err = run(book, "export", "--ski", "nobody", file)
    assert (status, err.count("\n")) == (2, 1)


def test_a_wrong_file_is_one_line_and_status_2(run: Run, book: Path, tmp_path: Path) -> None:
    """It names the file."""
    path = tmp_path / "wrong.json"
    path.write_text('{"format": "something else"}')
    for command in ("import", "intake"):
        status, out, err = run(book, command, str(path))
        assert (status, out, err.count("\n")) == (2, "", 1)
        assert "wrong.json" in err
    assert run(book, "import", str(tmp_path / "nowhere"))[0] == 2


def test_a_queue_goes_out_as_csv_and_in_for_another_day(
    run: Run, book: Path, other: Path, tmp_path: Path
) -> None:
    """To a file or standard output; each problem on a line of its own and status 2."""
    file = str(tmp_path / "skis.csv")
    assert run(book, "export-csv", "skis", "--to", file)[0] == 0
    status, out, _ = run(other, "intake", file, "--dry-run")
    assert status == 2
    assert "✗ line 2, blade:" in out
    run(book, "export", str(tmp_path / "book.json"))
    run(other, "import", str(tmp_path / "book.json"))
    (tmp_path / "one.csv").write_text("ski,serial,due\nHeron 66,H66-014,09:00\n")
    status, out, _ = run(other, "intake", str(tmp_path / "one.csv"), "--day", "2031-05-06")
    assert (status, "not in the queue already" in out) == (2, True)
    (tmp_path / "one.csv").write_text("ski,serial,unit,blade,block,due\nGull 66,G-1,in,1,1,09:00\n")
    status, out, _ = run(other, "intake", str(tmp_path / "one.csv"), "--day", "2031-05-06")
    assert (status, out) == (0, "1 ski was queued: 1 new, 0 known\n+ Gull 66 (new)\n")
    assert run(other, "intake", str(tmp_path / "one.csv"), "--day", "tomorrow")[0] == 2


def test_csv_to_standard_output(book: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    """As bytes in UTF-8, line ends and all."""
    assert main(["--book", str(book), "export-csv", "readings", "--ski", "H66-014"]) == 0
    lines = capfdbinary.readouterr().out.split(b"\r\n")
    assert lines[0].startswith(b"day,at,who,ski,serial")
    assert len(lines) > 3


def test_a_backup_and_back(run: Run, book: Path, tmp_path: Path) -> None:
    """Today's copy, a copy by name, the list, and a restore by file and by day."""
    assert run(book, "restore", "--list")[1].startswith("No backups in ")
    status, out, _ = run(book, "backup")
    assert (status, out.startswith("Backup: ")) == (0, True)
    assert run(book, "backup", str(tmp_path / "kept.db"))[0] == 0
    listed = run(book, "restore", "--list")[1]
    day = listed.split()[0]
    with Book(book) as open_book:
        open_book.set_setting("shop", "Another name")
    for source in (str(tmp_path / "kept.db"), day):
        status, out, _ = run(book, "restore", source)
        assert (status, "The book that was there is kept as" in out) == (0, True)
    with Book(book) as open_book:
        assert open_book.setting("shop") == "The boathouse (demo)"
    assert len(list(tmp_path.glob("demo.before-restore-*.db"))) == 2


def test_a_restore_of_nothing_or_over_a_letter(run: Run, book: Path, tmp_path: Path) -> None:
    """Status 2 for what was typed, 1 for a book that is none; the letter stays."""
    assert run(book, "restore")[0] == 2
    assert run(book, "restore", str(tmp_path / "nowhere.db"))[0] == 2
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear Ines")
    assert run(letter, "restore", str(book))[0] == 1
    for words in (
        ("backup", str(letter)),
        ("backup", str(tmp_path / "no" / "copy.db")),
        ("restore", str(letter)),
    ):
        status, out, err = run(book, *words)
        assert (status, out, err.count("\n")) == (2, "", 1)
        assert "backup: " in err
        assert "; " in err
    assert letter.read_text() == "Dear Ines"


def test_a_backup_over_another_book_is_refused(run: Run, book: Path, tmp_path: Path) -> None:
    """Status 2, the other book as it was."""
    (tmp_path / "b").mkdir()
    other = demo_file(tmp_path / "b")
    before = other.read_bytes()
    status, out, err = run(book, "backup", str(other))
    assert (status, out) == (2, "")
    assert "name a file that is free" in err
    assert other.read_bytes() == before


def test_a_days_copy_of_a_lost_book_is_kept_and_said(run: Run, book: Path) -> None:
    """The book begun anew at the same path has less in it."""
    run(book, "backup")
    book.unlink()
    Book(book).close()
    status, out, _ = run(book, "backup")
    assert status == 0
    first, second = out.splitlines()
    assert first.startswith("Backup: ")
    assert second.startswith("The day's earlier backup holds what this book does not; it is kept")
    label = run(book, "restore", "--list")[1].splitlines()[1].split()[0]
    assert label.endswith(".2")
    assert run(book, "restore", label)[0] == 0
    assert skis(book) > 0


def test_a_ski_that_is_not_to_be_ridden_ends_an_import_with_status_4(
    run: Run, book: Path, other: Path, tmp_path: Path
) -> None:
    """It is named last, and again by a dry run; a file that brings nothing new ends with 0."""
    file = str(tmp_path / "book.json")
    run(book, "export", file)
    assert run(other, "import", file)[0] == 0
    with open_shop(book) as shop:
        shop.book.add_fact(ski(shop, "Lark 66").job.id, "XX", rows.SignOff())
    run(book, "export", file)
    for words in (("--dry-run", file), (file,)):
        status, out, _ = run(other, "import", *words)
        assert status == 4
        assert out.splitlines()[-1].startswith("! 'Lark 66' ")
        assert "by XX on " in out
        assert "releases nothing: clamp bolts not checked" in out
    assert run(other, "import", file)[0] == 0
