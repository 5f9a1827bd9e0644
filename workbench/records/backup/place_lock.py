"""The lock on a book's place: held while a book is opened there, copied from there or put back.

The book's own file cannot carry it, since putting a book back replaces that file. A file beside it
does, which is removed with the lock; the system releases the lock of a process that died.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from workbench.records.store.database import about, said
from workbench.system import locks

WAIT_SECONDS = 20.0
_AGAIN_SECONDS = 0.005


@contextmanager
def place_held(book: Path, *, alone: bool = False) -> Iterator[None]:
    """Hold the place of a book together with others, or ``alone`` to put another file there.

    Raises ``RecordsError`` where it cannot be had within ``WAIT_SECONDS``.
    """
    lock, handle = _held(book, alone)
    try:
        yield
    finally:
        _release(lock, handle)


def _held(book: Path, alone: bool) -> tuple[Path, int]:
    deadline = time.monotonic() + WAIT_SECONDS
    while True:
        try:
            place = Path(os.path.realpath(book))
            lock = place.with_name(f".{place.name}.lock")
            handle = os.open(lock, os.O_CREAT | os.O_RDWR, 0o600)
        except (OSError, ValueError) as error:
            raise about(book, f"cannot be reached ({said(error)}); name another") from error
        if locks(handle, alone=alone) and _is_at(handle, lock):
            return lock, handle
        os.close(handle)
        if time.monotonic() > deadline:
            why = "is being opened or copied" if alone else "is being restored"
            raise about(book, f"{why} by another; try again in a moment")
        time.sleep(_AGAIN_SECONDS)


def _is_at(handle: int, lock: Path) -> bool:
    """Whether the file that was locked is the one at its path: who had it before removes it."""
    try:
        return os.path.samestat(os.fstat(handle), os.stat(lock))
    except OSError:
        return False


def _release(lock: Path, handle: int) -> None:
    try:
        if locks(handle, alone=True) and _is_at(handle, lock):
            with suppress(OSError):  # where an open file cannot be removed it stays
                lock.unlink()
    finally:
        os.close(handle)
