"""Commands in process on a demo book: what each says where it succeeds and where it is refused."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Self

import pytest

from tests.shop import DAY, demo_file
from workbench.cli import main

Said = list[str]
Run = Callable[..., Said]
Refused = Callable[..., str]


class _Day(date):
    """The demo's own day, whatever the calendar says."""

    @classmethod
    def today(cls) -> Self:
        return cls.fromisoformat(DAY)


def demo_of_today(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write a demo book and make its day today's: commands work on today's queue."""
    monkeypatch.setattr("workbench.work.job.open_book.date", _Day)
    return demo_file(folder)


class Commands:
    """Runs commands on a book, by KV unless another is named."""

    def __init__(self, book: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self._book = book
        self._capsys = capsys

    def run(self, *words: str, who: str = "KV") -> Said:
        """Run a command and return its lines; it must succeed and complain of nothing."""
        status, out, err = self.all_of(*words, who=who)
        assert (status, err) == (0, "")
        return out.splitlines()

    def refused(self, *words: str, who: str = "KV", status: int = 2) -> str:
        """Run a command that is refused and return its one line on standard error."""
        found, out, err = self.all_of(*words, who=who)
        assert (found, out) == (status, "")
        assert err.count("\n") == 1
        return err

    def all_of(self, *words: str, who: str = "KV") -> tuple[int, str, str]:
        """Run a command and return its status and both outputs."""
        status = main(["--book", str(self._book), "--who", who, *words])
        out, err = self._capsys.readouterr()
        return status, out, err


def fact(lines: Said, name: str) -> str:
    """Return what is said behind ``name: ``, the first time."""
    return next(x.removeprefix(f"{name}: ") for x in lines if x.startswith(f"{name}: "))
