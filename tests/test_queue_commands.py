"""``queue``, ``find`` and ``settings`` line by line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from tests.shop import DAY, demo_file, open_shop
from workbench.cli import main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return demo_file(tmp_path)


@pytest.fixture
def run(book: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    def command(*words: str) -> tuple[int, str, str]:
        status = main(["--book", str(book), *words])
        return (status, *capsys.readouterr())

    return command


def test_a_days_queue_is_listed_in_its_order_with_its_sum(run: Run) -> None:
    """Each job on a line, the sum on the last."""
    status, out, _ = run("queue", "--day", DAY)
    lines = out.splitlines()
    assert status == 0
    assert lines[0].strip() == "1 waiting  Heron 66  Ines Tavary  09:00  H66-014"
    assert "set aside  Otter 66  Rafe Lundqvist  13:30  a clamp bolt is stripped" in out
    assert lines[-1].startswith(f"{DAY}: 10 skis: 1 done, 8 open, 1 set aside")


def test_names_act_on_no_terminal(run: Run, book: Path) -> None:
    """Escapes are written out in both lists."""
    with open_shop(book) as shop:
        ski = shop.book.ski(shop.roster()[0].ski_id)
        shop.book.correct_ski(replace(ski, name="Evil\x1b[2J\u202e"))
    for words in (("queue", "--day", DAY), ("find", "evil")):
        _, out, _ = run(*words)
        assert "\x1b" not in out
        assert "Evil\\x1b[2J\\u202e" in out


def test_find_prints_what_matches_and_how_many(run: Run) -> None:
    """Nothing found is an answer too."""
    assert run("find", "HERON", "ines")[1].splitlines()[-1] == "2 found"
    assert run("find", "zzz")[:2] == (0, "nothing found\n")


def test_settings_are_shown_and_changed_one_by_one(run: Run) -> None:
    """An unknown name and a wrong value are wrong input, in one line."""
    assert "guard_band" in run("settings")[1]
    assert run("settings", "repeats", "3")[1].split()[:2] == ["repeats", "3"]
    assert run("settings", "repeats")[1].split()[:2] == ["repeats", "3"]
    assert run("settings", "repeats", "")[1].split()[:2] == ["repeats", "1"]
    for words in (("settings", "reapeats"), ("settings", "unit", "cm"), ("queue", "--day", "soon")):
        status, _, err = run(*words)
        assert status == 2
        assert len(err.splitlines()) == 1


def test_without_a_book_none_is_begun(run: Run, book: Path) -> None:
    """A mistyped path is said, not filled."""
    book.rename(book.with_suffix(".away"))
    for words in (("queue",), ("find", "x"), ("settings",)):
        status, _, err = run(*words)
        assert status == 1
        assert "there is no book" in err
    assert not book.exists()
