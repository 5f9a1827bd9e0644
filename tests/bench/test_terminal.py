"""The bench in a real pseudo-terminal: how it starts, leaves, is resized and is killed."""

from __future__ import annotations

import asyncio
import fcntl
import os
import pty
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.shop import DAY, demo_file
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.system import on_signal

ROOT = Path(__file__).resolve().parents[2]
ENTERED, LEFT = b"\x1b[?1049h", b"\x1b[?1049l"
COMMAND = (sys.executable, "-m", "workbench")


def _environment(**changes: str) -> dict[str, str]:
    return {**os.environ, "TERM": "xterm-256color", "PYTHONPATH": str(ROOT), **changes}


class Terminal:
    """A bench running in a pseudo-terminal."""

    def __init__(self, *arguments: str, size: tuple[int, int] = (80, 24)) -> None:
        self.master, slave = pty.openpty()
        self.resize(size, tell=False)
        self.child = subprocess.Popen(
            [*COMMAND, *arguments], stdin=slave, stdout=slave, stderr=slave,
            env=_environment(), cwd=ROOT, start_new_session=True,
        )  # fmt: skip
        os.close(slave)
        self.output = b""

    def resize(self, size: tuple[int, int], tell: bool = True) -> None:
        packed = struct.pack("HHHH", size[1], size[0], 0, 0)
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, packed)
        if tell:
            self.child.send_signal(signal.SIGWINCH)

    def _read(self, seconds: float) -> bool:
        if not select.select([self.master], [], [], seconds)[0]:
            return True
        try:
            data = os.read(self.master, 65536)
        except OSError:
            return False
        self.output += data
        return bool(data)

    def wait_for(self, *wanted: bytes, seconds: float = 25.0) -> None:
        """Read until one of these is in what came since the last call."""
        end = time.monotonic() + seconds
        while not any(w in self.output for w in wanted):
            assert time.monotonic() < end, f"{wanted} never came: {self.output[-3000:]!r}"
            if not self._read(0.2):
                break
        assert any(w in self.output for w in wanted), self.output[-3000:]

    def rest(self, seconds: float) -> None:
        """Read for a while."""
        end = time.monotonic() + seconds
        while time.monotonic() < end and self._read(0.05):
            pass

    def write(self, keys: bytes) -> None:
        os.write(self.master, keys)

    def status(self, seconds: float = 15.0) -> int:
        """Return the exit status, reading on so that the child is never stuck writing."""
        end = time.monotonic() + seconds
        while self.child.poll() is None:
            assert time.monotonic() < end, "the bench did not leave"
            self._read(0.05)
        while select.select([self.master], [], [], 0.1)[0] and self._read(0.1):
            pass
        return self.child.returncode

    def close(self) -> None:
        if self.child.poll() is None:
            self.child.kill()
        self.child.wait()
        os.close(self.master)


@pytest.fixture
def run() -> Iterator[object]:
    begun: list[Terminal] = []

    def begin(*arguments: str, size: tuple[int, int] = (80, 24)) -> Terminal:
        begun.append(Terminal(*arguments, size=size))
        return begun[-1]

    yield begin
    for terminal in begun:
        terminal.close()


def test_the_demo_starts_takes_keys_and_leaves_with_status_0(run) -> None:
    """The scratch shop opens; q leaves and gives the terminal back."""
    terminal = run("demo")
    terminal.wait_for(b"received check")
    terminal.write(b"\r")
    terminal.wait_for(b"ticks:")
    terminal.write(b"+")
    terminal.wait_for(b"ticked")
    terminal.write(b"q")
    assert terminal.status() == 0
    assert terminal.output.count(ENTERED) == terminal.output.count(LEFT) == 1
    assert b"Traceback" not in terminal.output


async def test_a_loop_that_takes_no_signal_handlers_hears_signals_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As the loops of Windows: every loop has the call, and there it raises."""

    def raises(*_: object) -> None:
        raise NotImplementedError

    loop, heard = asyncio.get_running_loop(), asyncio.Event()
    monkeypatch.setattr(loop, "add_signal_handler", raises)
    before = signal.getsignal(signal.SIGUSR1)
    try:
        on_signal(loop, signal.SIGUSR1, heard.set)
        os.kill(os.getpid(), signal.SIGUSR1)
        await asyncio.wait_for(heard.wait(), 30.0)
    finally:
        signal.signal(signal.SIGUSR1, before)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_leaves_the_terminal_whole(run, tmp_path: Path, number: signal.Signals) -> None:
    """Status 128 + the signal, the alternate screen and the mouse given back."""
    terminal = run("demo", "--keep", str(demo_file(tmp_path)))
    terminal.wait_for(b"received check")
    terminal.child.send_signal(number)
    assert terminal.status() == 128 + number
    assert LEFT in terminal.output
    assert terminal.output.rindex(LEFT) > terminal.output.rindex(ENTERED)
    assert b"\x1b[?1000l" in terminal.output


@pytest.mark.parametrize("arguments", [("demo",), ()])
def test_without_a_terminal_it_says_so_in_one_line(
    arguments: tuple[str, ...], tmp_path: Path
) -> None:
    """Standard input that is no terminal: status 2, nothing drawn, no book begun."""
    book = tmp_path / "none.db"
    done = subprocess.run(
        [*COMMAND, "--book", str(book), *arguments], stdin=subprocess.DEVNULL, capture_output=True,
        env=_environment(), cwd=ROOT, timeout=30, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.count(b"\n") == 1
    assert b"terminal" in done.stderr
    assert not book.exists()


def test_a_terminal_that_cannot_draw_is_refused_in_one_line() -> None:
    """TERM=dumb: status 2 and no control sequence."""
    master, slave = pty.openpty()
    done = subprocess.run(
        [*COMMAND, "demo"], stdin=slave, stdout=slave, stderr=subprocess.PIPE,
        env=_environment(TERM="dumb"), cwd=ROOT, timeout=30, check=False,
    )  # fmt: skip
    os.close(slave)
    os.close(master)
    assert done.returncode == 2
    assert done.stderr.count(b"\n") == 1
    assert b"TERM" in done.stderr
    assert b"\x1b" not in done.stderr


def _gannet(path: Path) -> str:
    """Put the ski whose readings are due in hand; return its job."""
    with Book(path) as book:
        items = (*book.unfinished_before("9999-12-31"), *book.day_queue(DAY))
        job = next(x.job.id for x in items if x.ski_name == "Gannet 68" and x.job.day == DAY)
        book.set_setting("job", job, who="")
    return job


def _readings(path: Path, job: str) -> list[str]:
    with Book(path) as book:
        return [f.text for f in book.facts(job) if isinstance(f, rows.Reading) and not f.struck]


def test_a_storm_of_resizes_loses_no_key(run, tmp_path: Path) -> None:
    """From 60x18 to 200x60 and back between the digits of one reading."""
    path = demo_file(tmp_path)
    job = _gannet(path)
    terminal = run("demo", "--keep", str(path))
    terminal.wait_for(b"Gannet 68")
    sizes = [(60, 18), (200, 60), (80, 24), (59, 10), (120, 36), (61, 19), (180, 50)]
    for n, char in enumerate("2.4905mm\b\b"):
        for k in range(3):
            terminal.resize(sizes[(n + k) % len(sizes)])
            terminal.rest(0.01)
        terminal.write(char.replace("\b", "\x7f").encode())
    terminal.resize((100, 30))
    terminal.rest(0.5)
    terminal.output = b""
    terminal.write(b"\r")
    terminal.wait_for(b"kept")
    terminal.write(b"q")
    assert terminal.status() == 0
    assert _readings(path, job) == ["2.4905"]


def test_a_bench_killed_after_kept_reopens_with_the_reading_on_the_same_ski(
    run, tmp_path: Path
) -> None:
    """What the screen called kept outlives SIGKILL."""
    path = demo_file(tmp_path)
    job = _gannet(path)
    terminal = run("demo", "--keep", str(path))
    terminal.wait_for(b"Gannet 68")
    terminal.write(b"2.4905\r")
    terminal.wait_for(b"kept:")
    terminal.child.kill()
    terminal.status()
    assert _readings(path, job) == ["2.4905"]
    again = run("demo", "--keep", str(path))
    again.wait_for(b"2.4905 in")
    again.wait_for(b"Gannet 68")
    again.write(b"q")
    assert again.status() == 0
