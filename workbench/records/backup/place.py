"""A book's place: the lock on it, and the file there watched while it is open.

The lock is held while a book is opened at a place, copied from there or put back. The book's own
file cannot carry it, since putting a book back replaces that file. A file beside it does, which is
removed with the lock; the system releases the lock of a process that died.

Others may move the file of an open book, cut it short or write another over it. SQLite goes on with
what it has read and with its log, and would keep what is entered then in a file that is none.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from threading import Lock

from workbench.records.store.database import about, connection, said
from workbench.records.store.schema import APPLICATION_ID
from workbench.records.store.specs import WITH_IDS
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


# -- the file, watched -----------------------------------------------------------------------------

GREATEST_ID = "SELECT max(id) FROM ({})".format(
    " UNION ALL ".join(f"SELECT max(id) AS id FROM {table}" for table in WITH_IDS)
)
_HOLDS = " UNION ALL ".join(f"SELECT 1 FROM {table} WHERE id = :id" for table in WITH_IDS)
_PAUSES = (0.0, 0.02, 0.1, 0.3)
"""Between looks at a file that does not change; then it stays as it is."""

_LONGEST = 20.0
"""Seconds that another bench may take to write its log into the file."""

_MOST_SPARED = 5
"""Looks in a row at a file that is not whole by itself while others write to the book: so many, and
for ``_LONGEST`` seconds, since programs write many rows in a second."""

_WAL = 2


class WatchedFile:
    """The file of a book that a connection has open; to be closed after the connection.

    Its first bytes are read through a handle that stays open: closing one takes away the locks that
    this process has on the file.
    """

    def __init__(self, path: Path, greatest: str | None) -> None:
        """``greatest`` is the greatest id in the book, as its connection has read it."""
        self._path = path
        self.lock = Lock()
        """Held while the file is looked at, and by the desks of this process while they read or
        commit. At a commit SQLite may write its log into the file, and leaves out the pages that
        were changed again since another's read began: the file alone then looks damaged."""
        self._handle = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
        self._status = self._committed = os.fstat(self._handle)
        self._spared = 0
        self._spared_since = 0.0
        is_logged = _size(path.with_name(path.name + "-wal")) > 0
        self._newest = self._greatest_in_file() if is_logged else greatest

    def close(self) -> None:
        """Let go of the file."""
        os.close(self._handle)

    def committed(self) -> None:
        """Note the file as a commit left it: at one SQLite may write its log into the file."""
        self._committed = os.fstat(self._handle)

    def check(self, others_wrote: Callable[[], bool]) -> bool:
        """Raise ``RecordsError`` unless writing to the book is safe; costs one look at its path.

        More is looked at only where the file was written since: that is seldom, as rows go into the
        log first. A checkpoint, our own or that of a process that has written (``others_wrote``),
        may have stopped at a page that somebody was reading: the next one completes it, so a few
        looks are let pass. Returns whether the file is whole by itself.
        """
        try:
            status = os.stat(self._path)
        except OSError:
            status = None
        if status is None or not os.path.samestat(status, self._status):
            raise about(
                self._path,
                "the book was moved or deleted while open; nothing more is kept "
                "here until it is back in its place, then enter this again",
            )
        with self.lock:
            return not _changed(status, self._status) or self._look_again(status, others_wrote)

    def _look_again(self, status: os.stat_result, others_wrote: Callable[[], bool]) -> bool:
        end = time.monotonic() + _LONGEST
        pauses = list(_PAUSES)
        while pauses and time.monotonic() < end:
            time.sleep(pauses.pop(0))
            if self._is_whole():
                self._status, self._spared = status, 0
                return True
            now = os.fstat(self._handle)
            if _changed(now, status):  # another bench is writing its log into it just now
                status, pauses = now, list(_PAUSES)
        if not self._spared:
            self._spared_since = time.monotonic()
        is_new = time.monotonic() < self._spared_since + _LONGEST
        by_checkpoint = not _changed(status, self._committed) or others_wrote()
        if by_checkpoint and (is_new or self._spared < _MOST_SPARED):
            self._spared += 1
            return False
        raise about(
            self._path,
            "the book was cut short or written over while open; nothing more is "
            "kept here. Leave the bench, keep the file, and restore the latest backup",
        )

    def _is_whole(self) -> bool:
        """Whether it is no shorter, still a book, and holds the newest row that it held before."""
        if os.fstat(self._handle).st_size < self._status.st_size:
            return False
        os.lseek(self._handle, 0, os.SEEK_SET)
        head = os.read(self._handle, 100)
        if len(head) < 100 or int.from_bytes(head[68:72]) != APPLICATION_ID:
            return False
        if (head[18], head[19]) != (_WAL, _WAL):
            return False
        return self._newest is None or self._holds_newest()

    def _holds_newest(self) -> bool:
        try:
            with self._file_alone() as conn:
                if conn.execute(_HOLDS, {"id": self._newest}).fetchone() is None:
                    return False
                self._newest = conn.execute(GREATEST_ID).fetchone()[0]
        except (sqlite3.Error, UnicodeDecodeError):
            return False
        return True

    def _greatest_in_file(self) -> str | None:
        """The greatest id in the file without its log; None where it has no tables yet."""
        try:
            with self._file_alone() as conn:
                found: str | None = conn.execute(GREATEST_ID).fetchone()[0]
        except sqlite3.Error:
            return None
        return found

    def _file_alone(self) -> closing[sqlite3.Connection]:
        return connection(self._path, "mode=ro&immutable=1")


def _changed(now: os.stat_result, then: os.stat_result) -> bool:
    """Whether a file was written between two looks at it."""
    return (now.st_size, now.st_mtime_ns) != (then.st_size, then.st_mtime_ns)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
