"""All that a command prints, in whatever letters the terminal has: nothing else prints.

Text goes through :func:`say`, which cannot fail on a letter; a file that is sent to standard output
goes through :func:`send` as it is, byte for byte.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import TextIO

from workbench.errors import BenchError, shown

DONE, FAILED, WRONG_INPUT, OUT_OF_REACH, NOT_TO_BE_RIDDEN = range(5)
"""Exit statuses; the last: what came tells that a ski thought fit here is not to be ridden."""

PLAIN_SIGNS = {
    "\N{MINUS SIGN}": "-", "±": "+/-", "°": " deg", "—": "-", "…": "...", "→": "->", "·": "|",
    "✗": "x",
}  # fmt: skip
"""Signs as they are printed where the terminal's encoding lacks them."""


def plain(text: str, encoding: str | None) -> str:
    """Return text that the encoding has: signs in plain letters, what else it lacks written out."""
    try:
        text.encode(encoding or "ascii")
    except UnicodeEncodeError:
        for sign, letters in PLAIN_SIGNS.items():
            text = text.replace(sign, letters)
        return text.encode("ascii", "backslashreplace").decode("ascii")
    return text


class Report:
    """What a command says, gathered to be printed as one JSON object instead of as lines."""

    def __init__(self, command: str) -> None:
        self.command = command
        self.lines: list[str] = []
        self.facts: dict[str, object] = {}

    def value(self, status: int) -> dict[str, object]:
        """The object: command, exit status, lines if any, then what the command gave by name."""
        head: dict[str, object] = {"command": self.command, "status": status}
        if self.lines or not self.facts:
            head["lines"] = self.lines
        return head | self.facts


_reports: list[Report] = []
"""The report that is being gathered, if one is."""


@contextmanager
def reporting(command: str) -> Iterator[Report]:
    """Gather what is said meanwhile; what goes to standard error goes there all the same."""
    _reports.append(Report(command))
    try:
        yield _reports[-1]
    finally:
        _reports.pop()


def facts(**values: object) -> None:
    """Give machines what the lines say, by name: figures unrounded, texts as they are."""
    if _reports:
        _reports[-1].facts |= values


def say(lines: Iterable[str], stream: TextIO | None = None) -> None:
    """Print lines on standard output, or on another stream."""
    if stream is None and _reports:
        _reports[-1].lines += [line for text in lines for line in text.splitlines()]
        return
    out = sys.stdout if stream is None else stream
    print(plain("\n".join(lines), out.encoding), file=out, flush=True)


def say_page(text: str) -> None:
    """Print an HTML or SVG page; what the encoding lacks is written as a reference to it."""
    encoding = sys.stdout.encoding or "ascii"
    say([text.encode(encoding, "xmlcharrefreplace").decode(encoding)])


def say_json(value: Mapping[str, object]) -> None:
    """Print an object as one line of JSON; what a command gathers goes into its own object."""
    if _reports:
        _reports[-1].facts |= value
        return
    say([json.dumps(value, ensure_ascii=True, allow_nan=False)])


def send(chunks: Iterable[bytes]) -> None:
    """Send a file to standard output, byte for byte."""
    sys.stdout.flush()
    for chunk in chunks:
        sys.stdout.buffer.write(chunk)
    sys.stdout.buffer.flush()


def complained(unfit: Iterable[str]) -> int:
    """Name on standard error each ski that was passed over; return the exit status."""
    lines = [f"quarterturn: {shown(line, sys.maxsize)[1:-1]}" for line in unfit]
    if lines:
        say(lines, sys.stderr)
    return FAILED if lines else 0


FIRST_SHOWN_S, SHOWN_EVERY_S = 0.7, 0.3
"""Work that is done at once shows nothing."""


class BrokenOffError(BenchError):
    """Long work that whoever asked for it broke off; it is undone where it is done."""


class _Progress:
    """How far long work is, on one line of a terminal that is written over and wiped at its end."""

    def __init__(self, doing: str, total: int, stream: TextIO | None) -> None:
        self._doing, self._total, self._stream = doing, total, stream
        self._done = 0
        self._began = time.monotonic()
        self._over, self._broken = threading.Event(), threading.Event()
        self._written = 0
        self._thread = threading.Thread(target=self._run, name="progress", daemon=True)

    def told(self, more: int) -> None:
        """Take in that so many more are done; from any thread.

        Raises ``BrokenOffError`` once the work was broken off, so that it ends where it is done.
        """
        if self._broken.is_set():
            raise BrokenOffError("broken off")
        self._done += more

    def begin(self) -> None:
        """Begin to show it, where there is a terminal."""
        if self._stream is not None:
            self._thread.start()

    def break_off(self) -> None:
        """Let the work end at what it is told next."""
        self._broken.set()

    def end(self, last: str = "") -> None:
        """Wipe the line, and leave ``last`` in its place."""
        self._over.set()
        if self._stream is not None:
            self._thread.join()
            self._write("")
            if last:
                say([last], self._stream)

    def _run(self) -> None:
        wait = FIRST_SHOWN_S
        while not self._over.wait(wait):
            wait = SHOWN_EVERY_S
            self._write(self._line())

    def _line(self) -> str:
        took = f"{time.monotonic() - self._began:.0f} s"
        far = ""
        if self._total and self._done:
            far = f" {min(99, 100 * self._done // self._total)} %,"
        elif self._done:
            far = f" {self._done:,} so far,"
        return f"{self._doing}:{far} {took}  (Ctrl+C breaks it off)"

    def _write(self, line: str) -> None:
        out = self._stream
        if out is not None and (line or self._written):
            padded = plain(line, out.encoding).ljust(self._written)
            end = "" if line else "\r"
            out.write(f"\r{padded}{end}")
            out.flush()
            self._written = len(line)


@contextmanager
def progress(
    doing: str, total: int = 0, *, kept: str = "nothing of it was kept"
) -> Iterator[Callable[[int], None]]:
    """Show on standard error how far long work is, where that is a terminal; nothing in a pipe.

    Yields what is to be told of how many more are done, of ``total`` where that is known. Where it
    is broken off by Ctrl+C, what it is told next ends the work, ``kept`` says what is left of it,
    and the command goes on to leave with 130.
    """
    stream = sys.stderr
    on_terminal = stream is not None and stream.isatty()
    shown_on = _Progress(doing, total, stream if on_terminal else None)
    shown_on.begin()
    try:
        yield shown_on.told
    except KeyboardInterrupt:
        shown_on.break_off()
        shown_on.end(f"Broken off: {kept}.")
        raise
    except BaseException:
        shown_on.end()
        raise
    shown_on.end()
