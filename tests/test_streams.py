"""Streams that are closed or full, pipes in place of files, and files for their owner alone."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.by_command import Commands

FULL = Path("/dev/full")


def shell(line: str, book: Path) -> subprocess.CompletedProcess[bytes]:
    """Run a line of sh in which ``q`` is the program on this book."""
    program = f'q() {{ "{sys.executable}" -m workbench --book "{book}" "$@"; }}; {line}'
    return subprocess.run(["sh", "-c", program], capture_output=True, timeout=60, check=False)


@pytest.mark.parametrize(
    ("line", "status", "said"),
    [
        ("q queue >&-", 1, b"standard output: is closed"),
        ("q turns - <&-", 2, b"standard input that is open"),
        pytest.param(
            "q queue >/dev/full", 1, b"standard output: cannot be written",
            marks=pytest.mark.skipif(not FULL.exists(), reason="no full device here"),
        ),
    ],
)  # fmt: skip
def test_a_closed_or_full_stream_is_told_in_one_line(
    book: Path, line: str, status: int, said: bytes
) -> None:
    done = shell(line, book)
    assert done.returncode == status
    assert said in done.stderr
    assert done.stderr.count(b"\n") == 1


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_nothing_is_written_over_a_pipe(commands: Commands, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert "a plain file" in commands.refused("export", str(pipe))
    status, _, err = commands.all_of("backup", str(pipe))
    assert status == 2
    assert "is not a plain file" in err
    assert pipe.is_fifo()


@pytest.mark.skipif(os.name == "nt", reason="the modes of files are those of Unix")
@pytest.mark.parametrize("what", ["advice", "baselines"])
def test_what_is_written_out_is_for_its_owner_alone(
    commands: Commands, tmp_path: Path, what: str
) -> None:
    file = tmp_path / "out.txt"
    before = os.umask(0)
    try:
        commands.run(what, "export", str(file))
    finally:
        os.umask(before)
    assert file.stat().st_mode & 0o777 == 0o600


def test_what_a_command_does_not_know_is_refused_with_its_own_page(
    book: Path, commands: Commands
) -> None:
    done = shell("q ride H66-014", book)
    assert done.returncode == 2
    assert done.stderr.endswith(b"see quarterturn ride --help\n")


def test_settings_without_initials_are_named_without_a_gap(commands: Commands) -> None:
    out = commands.run("history", "H66-014", "--settings")
    assert ", :" not in str(out)
