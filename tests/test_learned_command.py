"""``learned``, ``settled`` and ``without-learned`` on the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.shop import demo_file
from workbench.cli import main

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def book(tmp_path: Path) -> str:
    return str(demo_file(tmp_path))


def run(book: str, capsys: Captured, *words: str) -> tuple[int, str, str]:
    try:
        status = main(["--book", book, *words])
    except SystemExit as stop:
        status = int(stop.code or 0)
    told = capsys.readouterr()
    return status, told.out, told.err


def test_it_names_each_stud_and_how_many_rounds(book: str, capsys: Captured) -> None:
    status, out, _ = run(book, capsys, "learned", "Heron 66")
    assert status == 0
    lines = out.splitlines()
    assert " rounds of " in lines[0]
    assert [x.split(":")[0] for x in lines[1:4]] == [
        "Stud top front", "Stud top rear", "Stud tail",
    ]  # fmt: skip
    assert all("backlash 0." in x and "from " in x for x in lines[1:4])
    assert any(x.startswith("Rounds per ski: ") for x in lines)


def test_it_lists_every_turn_with_what_it_moved(book: str, capsys: Captured) -> None:
    """As many lines of a stud as rounds are told of it."""
    out = run(book, capsys, "learned", "Heron 66", "--moves")[1].splitlines()
    told = next(x for x in out if x.startswith("Stud tail:"))
    moves = [x for x in out if x.startswith("Stud tail: turned ")]
    assert told.endswith(f"from {len(moves)} rounds")
    assert all(" turns of its thread" in x for x in moves)


def test_forgetting_needs_a_reason_and_can_be_brought_back(book: str, capsys: Captured) -> None:
    """Both are kept; the other studs keep what they taught."""
    before = run(book, capsys, "learned", "Heron 66")[1].splitlines()
    status, out, err = run(book, capsys, "learned", "Heron 66", "--forget", "tail")
    assert (status, out) == (2, "")
    assert "reason" in err
    words = ("--forget", "tail", "--reason", "new stud")
    out = run(book, capsys, "--who", "KV", "learned", "Heron 66", *words)[1]
    assert "tail: not yet told from its thread" in out
    assert out.count("from 0 rounds") == 1
    assert "Forgotten of the tail stud: new stud [KV]" in out
    status, _, err = run(book, capsys, "learned", "Heron 66", "--bring-back", "top rear")
    assert status == 2
    assert "forgotten" in err
    after = run(book, capsys, "learned", "Heron 66", "--bring-back", "tail")[1].splitlines()
    assert after[1 : 1 + len(before)] == before
    assert "brought back" in after[-1]
    status, _, err = run(book, capsys, "learned", "Heron 66", "--forget", "middle")
    assert status == 2
    assert "top front" in err
    run(book, capsys, "learned", "Heron 66", "--forget", "all", "--reason", "a new block")
    out = run(book, capsys, "learned", "Heron 66", "--bring-back", "tail")[1]
    assert "Forgotten of all studs: a new block" in out
    assert "brought back: the tail stud" in out
    assert next(x for x in before if x.startswith("Stud tail:")) in out
    assert out.count("from 0 rounds") == 2  # of the two others
    out = run(book, capsys, "learned", "Heron 66", "--bring-back", "all")[1].splitlines()
    assert out[1 : 1 + len(before)] == before


def test_a_job_goes_without_and_with_it_again(book: str, capsys: Captured) -> None:
    run(book, capsys, "settings", "learning", "on")
    ski = ("--ski", "Stilt 67")
    assert "without what was learned" in run(book, capsys, "without-learned", *ski)[1]
    assert "by what was learned" in run(book, capsys, "without-learned", "--off", *ski)[1]
    status, _, err = run(book, capsys, "settled", *ski)
    assert status == 2
    assert err
