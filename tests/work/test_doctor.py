"""The doctor's report: what is there, the book's health, and no word of the book's own."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.records.damaging import change
from tests.shop import demo_file, open_shop, ski
from workbench.bench.crash import write_report
from workbench.cli import main
from workbench.work.exchange.doctor import facts_of, lines_of


def told(capsys: pytest.CaptureFixture[str], book: Path, *more: str, status: int = 0) -> str:
    assert main(["--book", str(book), "doctor", *more]) == status
    return capsys.readouterr().out


def test_a_sound_book_is_told_with_its_rows_and_nothing_is_changed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = demo_file(tmp_path)
    before = book.read_bytes()
    facts = json.loads(told(capsys, book, "--json"))
    assert (facts["book"]["sound"], facts["book"]["damaged"]) == (True, {})
    with closing(sqlite3.connect(book)) as conn:
        assert facts["book"]["rows"] > conn.execute("SELECT count(*) FROM readings").fetchone()[0]
    assert {"quarterturn", "python", "textual", "sqlite"} <= set(facts["versions"])
    assert set(facts["extras"]) == {"pdf", "trace", "hub", "web", "qr"}
    assert facts["book"]["shared"] == []
    assert facts["folders"][0]["path"].endswith("demo.db")
    lines = told(capsys, book)
    assert f"book's rows: {facts['book']['rows']}, newest of" in lines
    assert "✓ sound, no damaged row" in lines
    assert book.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["demo.db"]


def test_how_far_a_shared_book_is_sent_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book, folder = demo_file(tmp_path), tmp_path / "shared"
    folder.mkdir()
    assert main(["--book", str(book), "sync", "--folder", str(folder)]) == 0
    capsys.readouterr()
    assert "book shared: by a folder, rows still to go: 0" in told(capsys, book)
    with open_shop(book) as shop:
        shop.note(ski(shop, "Heron 66"), "note", "seen")
    assert "rows still to go: 1" in told(capsys, book)


def test_no_person_and_no_ski_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book = demo_file(tmp_path)
    out = told(capsys, book) + told(capsys, book, "--json")
    with open_shop(book) as shop:
        skis = shop.book.skis()
        names = {x for ski in skis for x in (ski.name, ski.rider, ski.serial, ski.model) if x}
    assert len(names) > len(skis)
    assert not [name for name in names if name in out]


def test_a_damaged_row_is_counted_and_a_struck_one_is_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = demo_file(tmp_path)
    with closing(sqlite3.connect(book)) as conn:
        sql = "SELECT id FROM readings WHERE id NOT IN (SELECT row_id FROM strikes) ORDER BY id"
        (first,), (struck,) = conn.execute(sql).fetchmany(2)
    with open_shop(book) as shop:
        shop.book.strike(struck, "misread", "KV")
    change(book, "readings", struck, mm=1.0)
    assert "no damaged row" in told(capsys, book)
    change(book, "readings", first, mm=1.0)
    assert "✗ damaged rows: 1 of readings" in told(capsys, book, status=1)


def test_what_is_no_book_or_not_there_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "book's health: not begun yet" in told(capsys, tmp_path / "none.db")
    other = tmp_path / "other.db"
    other.write_text("these are notes, no book")
    assert "book's health: ✗ it cannot be read" in told(capsys, other, status=1)
    with closing(sqlite3.connect(tmp_path / "cards.db")) as conn:
        conn.execute("CREATE TABLE cards (name)")
    assert "is not a book of Quarterturn" in told(capsys, tmp_path / "cards.db", status=1)


def test_the_home_folder_is_written_as_a_tilde(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    assert facts_of(tmp_path / "shop.db")["folders"][0]["path"] in ("~/shop.db", "~\\shop.db")


@pytest.mark.parametrize(
    ("surroundings", "colors"),
    [
        ({"TERM": "xterm-256color"}, "256"), ({"TERM": "linux"}, "16"), ({"TERM": ""}, "none"),
        ({"TERM": "xterm", "COLORTERM": "truecolor"}, "24 bit"),
        ({"TERM": "xterm-256color", "NO_COLOR": "1"}, "none (NO_COLOR is set)"),
    ],
)  # fmt: skip
def test_the_colors_that_the_surroundings_promise(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, surroundings: dict[str, str], colors: str
) -> None:
    for name in ("COLORTERM", "NO_COLOR", "WT_SESSION"):
        monkeypatch.delenv(name, raising=False)
    for name, value in surroundings.items():
        monkeypatch.setenv(name, value)
    assert facts_of(tmp_path / "none.db")["terminal"]["colors"] == colors


def test_a_crash_report_has_the_same_lines(tmp_path: Path) -> None:
    """Also while the book is open here: every line but the folder's is as the doctor says."""
    book = demo_file(tmp_path)
    with open_shop(book):
        report = write_report(ValueError("a slip of ours"), tmp_path, "bench", book)
        wanted = lines_of(facts_of(book, quick=True))
    assert report is not None
    text = report.read_text("utf-8")
    assert "a slip of ours" in text
    assert "\n".join(wanted) in text
    assert "book's health: ✓ sound" in text
