"""What differs between systems: signals, locks, folders on the disk, terminals.

Everything that one system has and another lacks is asked for here, by what is there and not by the
system's name, so that a test can take it away.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import asyncio

IS_WINDOWS = sys.platform == "win32"


def optional(name: str) -> Any:
    """Return a module that not every system has; None where it is not here."""
    try:
        return import_module(name)
    except ImportError:
        return None


# -- signals ---------------------------------------------------------------------------------------


def leave_signals() -> Iterator[signal.Signals]:
    """Yield the signals by which a system asks a program to leave."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
        if hasattr(signal, name):
            yield getattr(signal, name)


def on_signal(
    loop: asyncio.AbstractEventLoop, number: signal.Signals, call: Callable[[], None]
) -> None:
    """Have the loop call ``call`` at a signal, also where loops take none (Windows)."""
    try:
        loop.add_signal_handler(number, call)
    except NotImplementedError:
        signal.signal(number, lambda *_: loop.call_soon_threadsafe(call))


def can_be_stopped() -> bool:
    """Whether a program can be stopped and gone on with, as by Ctrl+Z."""
    return hasattr(signal, "SIGTSTP") and hasattr(signal, "SIGCONT")


# -- files -----------------------------------------------------------------------------------------


def locks(handle: int, *, alone: bool) -> bool:
    """Lock an open file at once, together with others or ``alone``; False where others hold it.

    Where a system knows one kind of lock, all hold it alone; where it knows none, nobody waits.
    """
    try:
        if fcntl := optional("fcntl"):
            fcntl.flock(handle, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
        elif msvcrt := optional("msvcrt"):
            os.lseek(handle, 0, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    except OSError:
        return False
    return True


def sync_folder(folder: Path) -> None:
    """Write a folder's entries through to the disk, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


# -- terminals -------------------------------------------------------------------------------------


def can_draw(environment: Mapping[str, str]) -> bool:
    """Whether the terminal says that it can draw; Windows' own says nothing and can."""
    name = environment.get("TERM", "")
    return name != "dumb" and (bool(name) or IS_WINDOWS)


def drop_unsent(handle: int) -> None:
    """Drop what a terminal has not taken yet, where the system can."""
    if termios := optional("termios"):
        with suppress(termios.error):
            termios.tcflush(handle, termios.TCOFLUSH)
