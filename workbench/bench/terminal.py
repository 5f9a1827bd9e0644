"""What terminals lack or do: letters, bytes that are no text, a stall, a stop, their end.

One that takes nothing, or has gone, holds up neither keys nor the way out.

Textual hands what it paints to a thread of its own by a short queue. Where that thread waits for a
stalled terminal, or has ended with the terminal, the queue fills and the next paint waits for ever.
A bench that was stopped and goes on takes the terminal again and draws itself, by itself. Where an
encoding lacks the bench's signs, plain letters stand for them, cell for cell.
"""

from __future__ import annotations

import asyncio
import codecs
import signal
import sys
from contextlib import suppress
from functools import partial
from types import FrameType
from typing import Any, Protocol, TextIO, cast

from rich.cells import cell_len
from textual.app import App
from textual.driver import Driver

from workbench.system import can_be_stopped, drop_unsent

WAIT_S = 2.0
"""How long to wait for the terminal to take what was painted before the bench closes."""

AGAIN_S = 0.2
TRIES = 25

LAST_WRITES = 20
"""Number of last writes that are kept: what gives the terminal back is among them."""


class Writer(Protocol):
    """The thread that writes, as far as it is used here."""

    _queue: Any
    stop: Any

    def join(self, timeout: float | None = None) -> None:
        """Wait for its end."""

    def is_alive(self) -> bool:
        """Tell whether it runs."""

    def fileno(self) -> int:
        """Return the terminal's number."""


def patient(driver: type[Driver]) -> type[Driver]:
    """Return a driver like this one that never waits for the terminal to take what is painted."""

    class Patient(driver):  # type: ignore[misc, valid-type]
        def start_application_mode(self) -> None:
            super().start_application_mode()
            ease(getattr(self, "_writer_thread", None))

    return Patient


def ease(writer: object) -> None:
    """Let a writer's queue take all that comes, and its end wait no longer than :data:`WAIT_S`."""
    if writer is not None and hasattr(writer, "_queue"):
        kept = cast("Writer", writer)
        kept._queue.maxsize = 0
        kept.stop = partial(_stop, kept)


def _stop(writer: Writer) -> None:
    """End the writer; what a stalled terminal does not take is given up, all but the last of it."""
    writer._queue.put(None)
    writer.join(WAIT_S)
    if not writer.is_alive():
        return
    while writer._queue.qsize() > LAST_WRITES:
        writer._queue.get_nowait()
    for _ in range(TRIES):
        _drop_unsent(writer)
        writer.join(AGAIN_S)
        if not writer.is_alive():
            return


def _drop_unsent(writer: Writer) -> None:
    """Have the system drop what the terminal has not taken yet, where it can."""
    with suppress(OSError, ValueError):
        drop_unsent(writer.fileno())


def take_up_again(app: App[Any]) -> None:
    """Let a stop that gave no warning (SIGSTOP) end as one that did (SIGTSTP) ends.

    Nothing is done where no terminal drives the app, nor on systems without these signals.
    """
    if not can_be_stopped():
        return
    stop, go_on = signal.getsignal(signal.SIGTSTP), signal.getsignal(signal.SIGCONT)
    if not callable(stop) or not callable(go_on):
        return
    loop = asyncio.get_running_loop()
    given_back = False

    def stopped(number: int, frame: FrameType | None) -> None:
        nonlocal given_back
        given_back = True
        stop(number, frame)

    def continued(number: int, frame: FrameType | None) -> None:
        nonlocal given_back
        if given_back:
            given_back = False
            go_on(number, frame)
        else:
            # The driver would begin anew on top of what runs: two readers of one keyboard.
            loop.call_soon_threadsafe(_begin_anew, app)

    signal.signal(signal.SIGTSTP, stopped)
    signal.signal(signal.SIGCONT, continued)


def _begin_anew(app: App[Any]) -> None:
    """Give the terminal back and take it again, which ends in a fresh picture."""
    with app.suspend():
        pass


ERRORS = "quarterturn-plain"

_SIGNS = (
    ("-", "─━═╌╍┄┅┈┉▁▔—−＿"),
    ("|", "│┃║╎┆┇┊┋▏▕‖"),
    ("+", "┌┍┎┏┐┑┒┓└┕┖┗┘┙┚┛├┝┞┟┠┡┢┣┤┥┦┧┨┩┪┫┬┭┮┯┰┱┲┳┴┵┶┷┸┹┺┻┼┽┾┿╀╂╋╭╮╯╰╞╡╪◆◇±"),
    (">", "→▸▶►"),
    ("<", "←◂◀◄"),
    ("^", "↑▲△"),
    ("v", "↓▼▽✓✔"),
    ("x", "✗✘×"),
    ("o", "○◎◯°"),
    ("*", "●•◐★☆■□·"),
    (".", "…"),
    ("~", "≈↺↻"),
    ("u", "µμ"),
    ('"', "″”“"),
    ("'", "’‘′"),
)
_PLAIN = {sign: plain for plain, signs in _SIGNS for sign in signs}


def plain(char: str) -> str:
    """Return what replaces a sign: as many plain letters as it takes cells."""
    if char in _PLAIN:
        return _PLAIN[char]
    if "\u2800" <= char <= "\u28ff":
        dots = (ord(char) - 0x2800).bit_count()
        return " " if not dots else "." if dots < 3 else ":" if dots < 6 else "#"
    if "\u2580" <= char <= "\u259f":
        return "#"
    return "?" * cell_len(char)


def _stand_in(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(plain, error.object[error.start : error.end])), error.end


def fit(stream: TextIO | None) -> None:
    """Let plain signs stand for those that a stream's encoding lacks."""
    codecs.register_error(ERRORS, _stand_in)
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors=ERRORS)


def bear_any_byte() -> None:
    """Let a byte on the keyboard's line that is no text become a sign without meaning.

    Textual's own reader would die of it, and the bench with it.
    """
    try:
        from textual.drivers import linux_driver
    except ImportError:  # not on this system; there the keyboard is read otherwise
        return

    def decoder(encoding: str) -> type[codecs.IncrementalDecoder]:
        class Bearing(codecs.getincrementaldecoder(encoding)):  # type: ignore[misc]
            def __init__(self, errors: str = "replace") -> None:
                super().__init__(errors)

        return Bearing

    linux_driver.getincrementaldecoder = decoder  # type: ignore[assignment, attr-defined]


def letters_fit() -> None:
    """Make both sure, before the screen is drawn."""
    fit(sys.__stderr__)
    bear_any_byte()
