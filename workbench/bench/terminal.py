"""A terminal that takes nothing, or has gone, holds up neither keys nor the way out.

Textual hands what it paints to a thread of its own by a short queue. Where that thread waits for a
stalled terminal, or has ended with the terminal, the queue fills and the next paint waits for ever.
A bench that was stopped and goes on takes the terminal again and draws itself, by itself.
"""

from __future__ import annotations

import asyncio
import signal
from contextlib import suppress
from functools import partial
from types import FrameType
from typing import Any, Protocol, cast

from textual.app import App
from textual.driver import Driver

from workbench.system import can_be_stopped, drop_unsent

WAIT_S = 2.0
"""So long the terminal may take for what was painted before the bench is left."""

AGAIN_S = 0.2
TRIES = 25

LAST_WRITES = 20
"""What gives the terminal back is among so many last writes."""


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
