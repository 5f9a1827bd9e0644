"""A real pseudo-terminal around a program: keys in, bytes out, and when they came."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import signal
import struct
import termios
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from time import perf_counter

QUIET_S = 0.03
"""With nothing more for this long, a paint is over."""


class Terminal:
    """A program on a pseudo-terminal of a size; close it, or use it as a context."""

    def __init__(
        self,
        command: Sequence[str],
        size: tuple[int, int] = (120, 36),
        env: Mapping[str, str] | None = None,
    ) -> None:
        self.started = perf_counter()
        self.out = b""
        self.ended = False
        self.pid, self.file = pty.fork()
        if self.pid == 0:
            os.environ.update({"TERM": "xterm-256color", **(env or {})})
            os.execvp(command[0], list(command))
        self.resize(size)

    def resize(self, size: tuple[int, int]) -> None:
        """Give the terminal another size in columns and rows."""
        fcntl.ioctl(self.file, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
        with suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGWINCH)

    def __enter__(self) -> Terminal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def read(self, wait_s: float) -> bytes:
        """Return what comes within a while, nothing where nothing does."""
        ready, _, _ = select.select([self.file], [], [], wait_s)
        if not ready:
            return b""
        try:
            got = os.read(self.file, 1 << 16)
        except OSError:  # the program has ended
            return b""
        self.out += got
        return got

    def until(self, marker: bytes, wait_s: float = 30.0) -> float:
        """Wait until the output holds ``marker``; return the seconds since the start."""
        end = perf_counter() + wait_s
        while marker not in self.out:
            if perf_counter() > end or (not self.read(0.5) and not self.alive()):
                raise AssertionError(f"never saw {marker!r}; last: {self.out[-400:]!r}")
        return perf_counter() - self.started

    def settle(self, quiet_s: float = 0.3) -> None:
        """Read until nothing more comes."""
        while self.read(quiet_s):
            pass

    def press(self, keys: bytes) -> float:
        """Send keys and return the seconds until the paint that follows was out in full."""
        start = perf_counter()
        os.write(self.file, keys)
        last = start
        wait_s = 1.0
        while self.read(wait_s):
            last = perf_counter()
            wait_s = QUIET_S
        return last - start

    def alive(self) -> bool:
        """Whether the program still runs."""
        with suppress(ChildProcessError):
            return os.waitpid(self.pid, os.WNOHANG) == (0, 0)
        return False

    def exit_status(self, wait_s: float = 10.0) -> int:
        """Wait until the program has ended and return its exit status."""
        end = perf_counter() + wait_s
        while perf_counter() < end:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.ended = True
                return os.waitstatus_to_exitcode(status)
            self.read(0.05)
        raise AssertionError("the program did not end")

    def processor_s(self) -> float:
        """Return the processor time of the program's threads until now (Linux alone tells it)."""
        total_ns = 0
        for thread in Path(f"/proc/{self.pid}/task").iterdir():
            with suppress(OSError):  # a thread that has just ended
                total_ns += int((thread / "schedstat").read_text().split()[0])
        return total_ns / 1e9

    def memory_mb(self) -> float:
        """Return the memory the program holds now (resident), where the system says so."""
        with open(f"/proc/{self.pid}/status", encoding="ascii") as file:
            line = next(x for x in file if x.startswith("VmRSS"))
        return int(line.split()[1]) / 1024

    def close(self) -> None:
        """End the program, by force where it does not go."""
        if not self.ended:
            with suppress(ProcessLookupError):
                os.kill(self.pid, signal.SIGKILL)
            with suppress(ChildProcessError):
                os.waitpid(self.pid, 0)
        with suppress(OSError):
            os.close(self.file)
