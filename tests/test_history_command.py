"""``history`` and ``compare`` on the command line: plain lines, JSON and exit statuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.shop import demo_file
from workbench.cli import main
from workbench.work.history.timeline import KINDS


@pytest.fixture
def book(tmp_path: Path) -> str:
    return str(demo_file(tmp_path))


def run(book: str, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    try:
        status = main(["--book", book, *words])
    except SystemExit as stop:
        status = int(stop.code or 0)
    said = capsys.readouterr()
    return status, said.out, said.err


def test_history_is_one_line_an_entry_oldest_first(
    book: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """By name or by serial the same; filtered by kind and by words."""
    status, out, _ = run(book, capsys, "history", "Heron 67")
    assert status == 0
    lines = out.splitlines()
    assert lines == sorted(lines, key=lambda line: line[:16])
    assert run(book, capsys, "history", "H67-003")[1] == out
    struck = run(book, capsys, "history", "Heron 67", "--kind", "struck")[1].splitlines()
    assert len(struck) == 1
    assert "reading  STRUCK tail, upper line  0.6280 in" in struck[0]
    assert struck[0].endswith(": jaw stood on the bevel]")
    assert run(book, capsys, "history", "Heron 67", "--find", "BEVEL")[1].splitlines() == struck
    assert run(book, capsys, "history", "Heron 67", "--find", "zzz")[1] == "nothing of this kind\n"


@pytest.mark.parametrize("kind", KINDS)
def test_history_takes_every_kind_by_one_word(
    book: str, capsys: pytest.CaptureFixture[str], kind: str
) -> None:
    """As a shell passes it: a hyphen for the space."""
    assert run(book, capsys, "history", "Heron 67", "--kind", kind.replace(" ", "-"))[0] == 0


def test_history_as_json_has_what_was_typed_and_the_strike(
    book: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = run(book, capsys, "history", "Heron 67", "--kind", "struck", "--json")
    assert status == 0
    (entry,) = json.loads(out)["entries"]
    assert entry["method"] == "tail, upper line"
    assert (entry["text"], entry["typed_in"]) == ("0.6280", "in")
    assert entry["mm"] == pytest.approx(0.628 * 25.4)
    assert entry["struck"]["reason"] == "jaw stood on the bevel"


def test_settings_are_numbered_and_compare_takes_the_numbers(
    book: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each number by its method, in the unit asked for; a number names the same as a word."""
    status, out, _ = run(book, capsys, "history", "Heron 67", "--settings", "--unit", "mm")
    assert status == 0
    first = out.splitlines()[0]
    assert first.startswith("1  ")
    assert "depth, hole 2 back edge 62.84 mm ±0.052" in first
    assert run(book, capsys, "compare", "Heron 67", "1", "2") == run(
        book, capsys, "compare", "Heron 67", "first", "2"
    )
    report = json.loads(run(book, capsys, "history", "Heron 67", "--settings", "--json")[1])
    assert len(report["settings"]) == len(out.splitlines())


def test_compare_says_differences_in_both_units_and_the_turns(
    book: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = run(book, capsys, "compare", "Heron 67", "1", "2")
    assert status == 0
    assert "depth, hole 2 back edge: A 2.4740 in ±0.0020 = 62.84 mm" in out
    assert "B less A +0.0130 in (U 0.0029) = +0.33 mm (U 0.073), real change" in out
    assert "stud turns from A to B:" in out
    report = json.loads(run(book, capsys, "compare", "Heron 67", "1", "2", "--json")[1])
    assert report["trouble"] == ""
    assert [s["stud"] for s in report["studs"]] == ["front", "rear", "tail"]
    assert report["differences"][0]["difference_mm"] == pytest.approx(0.33, abs=0.01)
    assert report["differences"][0]["clear"] is True


def test_compare_without_names_takes_the_last_two(
    book: str, capsys: pytest.CaptureFixture[str]
) -> None:
    report = json.loads(run(book, capsys, "compare", "Heron 67", "--json")[1])
    settings = json.loads(run(book, capsys, "history", "Heron 67", "--settings", "--json")[1])
    assert [report["a"], report["b"]] == settings["settings"][-2:]


@pytest.mark.parametrize(
    "words",
    [
        ("history", "No such ski"),
        ("history", "Heron 67", "--kind", "odd"),
        ("compare", "Heron 67", "99"),
        ("compare", "Heron 67", "1", "2026-02-30"),
    ],
)
def test_wrong_input_is_one_line_and_status_2(
    book: str, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    status, out, err = run(book, capsys, *words)
    assert (status, out) == (2, "")
    assert len(err.splitlines()) == 1


def test_text_from_the_book_is_written_out(book: str, capsys: pytest.CaptureFixture[str]) -> None:
    """An escape sequence in a note acts on no terminal."""
    from tests.shop import open_shop, ski

    with open_shop(Path(book)) as shop:
        shop.note(ski(shop, "Heron 67"), "note", "\x1b[2Jgone")
    out = run(book, capsys, "history", "Heron 67", "--kind", "notes")[1]
    assert "\x1b" not in out
    assert "note: \\x1b[2Jgone" in out
