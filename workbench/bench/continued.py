"""A bench that was stopped and goes on takes the terminal again and draws itself, by itself."""

from __future__ import annotations

import asyncio
import signal
from types import FrameType
from typing import Any

from textual.app import App

from workbench.system import can_be_stopped


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
