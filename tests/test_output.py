"""What commands print, in terminals whose encoding lacks letters: no command dies of one."""

from __future__ import annotations

import io
import json
import shlex
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from tests.by_command import demo_of_today
from tests.shop import demo_file
from tests.test_help import COMMANDS
from workbench import cli, commands
from workbench.commands import FAMILIES, output
from workbench.commands.manual import NO_FACTS
from workbench.commands.output import BrokenOffError, _Progress, plain, progress
from workbench.commands.shop.serve_web import BenchServer
from workbench.records.book import Book

NAMES = [
    name for family in FAMILIES.values() for names in family.values() for name in names.split()
]

RIDER = "Åsa Ōnishi ±⅛ 北"
"""A rider with letters that neither ASCII nor cp1252 has, and with some that only one lacks."""


class Stream(io.TextIOWrapper):
    """Standard output in an encoding; a letter that it lacks is an error, as in a terminal."""

    def __init__(self, encoding: str) -> None:
        super().__init__(io.BytesIO(), encoding=encoding, errors="strict", write_through=True)

    @property
    def text(self) -> str:
        assert isinstance(self.buffer, io.BytesIO)
        return self.buffer.getvalue().decode(self.encoding, "replace")


@cache
def _odd_letters() -> bytes:
    """A demo book in which every rider, and the baselines' names, have such letters."""
    with tempfile.TemporaryDirectory() as folder:
        path = demo_file(Path(folder))
        with Book(path) as book:
            for ski in book.skis():
                book.correct_ski(replace(ski, rider=RIDER), who="KV")
            for baseline in book.baselines():
                book.add_baseline(replace(baseline, id="", name=RIDER), who="KV")
        return path.read_bytes()


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A fresh copy of it, whose day is today; a slip of the program is no answer."""
    path = demo_of_today(tmp_path, monkeypatch)
    path.write_bytes(_odd_letters())
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(cli, "_slip_of_ours", _raise)
    return path


def _raise(_args: object, error: Exception) -> int:
    raise error


def said(given: Sequence[str], book: Path, encoding: str, patch: pytest.MonkeyPatch) -> str:
    """Run a command in such a terminal; return what it printed."""
    printed = Stream(encoding)
    with patch.context() as patched:
        patched.setattr(sys, "stdout", printed)
        patched.setattr(sys, "stderr", Stream(encoding))
        patched.setattr(sys, "stdin", io.StringIO())
        patched.setattr(BenchServer, "serve", lambda *_: None)  # it serves until it is ended
        with suppress(SystemExit):
            cli.main(["--book", str(book), "--who", "KV", *given])
    return printed.text


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
@pytest.mark.parametrize("name", NAMES)
def test_no_command_dies_of_a_letter(
    name: str, encoding: str, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each example of a command's own page, and the page itself."""
    for line, _ in COMMANDS[name].examples:
        said(shlex.split(line)[1:], book, encoding, monkeypatch)
    assert said([name, "--help"], book, encoding, monkeypatch)


@pytest.mark.parametrize(
    "command", ["advice", "baselines", "queue", "find Heron", "card H66-014", "export-csv skis"]
)
def test_what_the_encoding_lacks_is_written_out(
    command: str, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same lines, letter for letter but for those; a file keeps its own bytes."""
    whole = said(command.split(), book, "utf-8", monkeypatch)
    assert not whole.isascii()
    told = said(command.split(), book, "ascii", monkeypatch)
    if command.startswith("export-csv"):
        assert RIDER in whole
        assert "\N{REPLACEMENT CHARACTER}" in told
    else:
        assert told == plain(whole, "ascii")


FACT_LINES = (
    "take 2", "next", "hold", "marks --ski OT-65-771", "curve", "pairs", "queue", "find Heron",
    "parts", "calipers", "advice", "baselines", "baselines struck", "restore --list", "settings",
    "checks received", "study", "doctor", "paths", "outline 1", "ride", "note 'a look'",
    "export book.json", "import book.json", "backup",
)  # fmt: skip
"""A line for each command that prints facts, and acts of each kind."""


def test_every_command_of_facts_answers_in_one_object(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One line of ASCII: command, status, then facts by name or the lines that it says."""
    for line in FACT_LINES:
        given = shlex.split(line)
        told = said([*given, "--json"], book, "utf-8", monkeypatch)
        assert told.endswith("\n"), line
        assert told.count("\n") == 1, line
        assert told.isascii(), line
        found = json.loads(told)
        assert isinstance(found, dict), line
        assert found["command"] == given[0]
        assert found["status"] in (0, 1), line
        words = found.get("lines", [])
        assert all(isinstance(each, str) and "\n" not in each for each in words)
        assert found.keys() > {"command", "status"}, line
    for name, parser in COMMANDS.items():
        has = "--json" in parser._option_string_actions
        assert has is (name not in NO_FACTS), name


def test_nothing_else_prints() -> None:
    """One module writes to standard output; the rest of the commands hand it their lines."""
    for path in (*Path(commands.__file__).parent.rglob("*.py"), Path(cli.__file__)):
        text = path.read_text(encoding="utf-8")
        if path.name != "output.py":
            assert "print(" not in text, path
            assert "stdout.write" not in text, path
            assert "stdout.buffer" not in text, path


# -- long work -------------------------------------------------------------------------------------


class Terminal(io.StringIO):
    """Standard error as a terminal."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


def test_long_work_shows_how_far_it_is_on_a_terminal_and_wipes_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(output, "FIRST_SHOWN_S", 0.0)
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with progress("Taking it in", 200) as told:
        told(50)
        while "25 %" not in terminal.getvalue():
            time.sleep(0.01)
    shown, _, last = terminal.getvalue().rpartition("\r")[0].rpartition("\r")
    assert "Taking it in: 25 %, 0 s  (Ctrl+C breaks it off)" in shown
    assert last.isspace()


def test_long_work_prints_nothing_into_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(output, "FIRST_SHOWN_S", 0.0)
    pipe = io.StringIO()
    monkeypatch.setattr(sys, "stderr", pipe)
    with progress("Taking it in") as told:
        told(1)
        time.sleep(0.02)
    with pytest.raises(KeyboardInterrupt), progress("Taking it in"):
        raise KeyboardInterrupt
    assert pipe.getvalue() == ""


def test_work_that_was_broken_off_ends_where_it_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever waited has gone: the thread that works is told when it tells of more."""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with pytest.raises(KeyboardInterrupt), progress("Taking it in") as told:
        raise KeyboardInterrupt
    with pytest.raises(BrokenOffError):
        told(1)
    assert terminal.getvalue().endswith("Broken off: nothing of it was kept.\n")


@pytest.mark.parametrize("command", ["export", "import", "backup"])
def test_a_command_broken_off_keeps_nothing_and_leaves_with_130(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By Ctrl+C in the middle of its work: no file, no row, the book as it was."""
    path, file = demo_file(tmp_path), tmp_path / "other.json"
    other = tmp_path / "other.db"
    assert cli.main(["--book", str(path), "export", str(file)]) == 0
    Book(other).close()
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir() if p.suffix in (".json", ".db")}

    tell = _Progress.told

    def broken_off(shown: _Progress, more: int) -> None:
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)
        assert shown._broken.wait(30)
        tell(shown, more)

    monkeypatch.setattr(_Progress, "told", broken_off)
    # Tests that a shell runs in the background begin with this signal ignored.
    was = signal.signal(signal.SIGINT, signal.default_int_handler)
    given = {"export": "export new.json", "import": "import other.json", "backup": "backup new.db"}
    monkeypatch.chdir(tmp_path)
    at = other if command == "import" else path
    try:
        assert cli.main(["--book", str(at), *given[command].split()]) == 130
    finally:
        signal.signal(signal.SIGINT, was)
    after = {p.name: p.read_bytes() for p in tmp_path.iterdir() if p.suffix in (".json", ".db")}
    assert after == before
    assert not [p for p in tmp_path.rglob("*") if p.suffix == ".tmp"]
