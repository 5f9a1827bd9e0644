"""The desk: one thread that owns the one connection, so that writes come one after another.

Whoever asks waits for the answer or takes a future; nobody else touches the connection.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from workbench.errors import InputError, RecordsError
from workbench.records.backup.opening import connect, open_book
from workbench.records.backup.place import GREATEST_ID, WatchedFile
from workbench.records.store.database import Database, about, explain, patiently
from workbench.records.store.writer import Mint, Pen, bench_tag, own_bench

if TYPE_CHECKING:
    from sqlite_utils import Migrations

_T = TypeVar("_T")


def utc_now() -> datetime:
    """The machine's clock, with its zone."""
    return datetime.now(UTC)


class Desk:
    """One open book file and the thread that works on it."""

    def __init__(
        self,
        path: Path,
        *,
        clock: Callable[[], datetime] = utc_now,
        bench: str = "",
        make_folder: bool = False,
        steps: Migrations | None = None,
        beside: Desk | None = None,
    ) -> None:
        """Open or begin the book at ``path``, made by today's steps; raises ``RecordsError``.

        ``beside`` is a desk of this process that has it open. The file is then touched through
        SQLite alone: opening and closing it otherwise would drop the locks of that desk.
        """
        self.path = path
        self._clock = clock
        self._mint = Mint(bench_tag(bench))
        self._named = bool(bench)
        self._bench = ""
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="records-desk")
        self._pen: Pen | None = None
        self._reading = False
        self._beside = beside
        try:
            self.submit(lambda: self._open(steps, make_folder)).result()
        except BaseException:
            self._pool.shutdown()
            raise

    def _open(self, steps: Migrations | None, make_folder: bool) -> None:
        self._thread = threading.get_ident()
        try:
            if self._beside is None:
                self._db = open_book(self.path, steps, make_folder=make_folder)
            else:
                self._db = patiently(lambda: connect(self.path))
            self._looked_at = self._followed = self._checked = self._data_version()
            greatest = self._greatest_id()
            self._mint.follow(greatest)
            shared = self._beside._file if self._beside is not None else None
            self._file: WatchedFile = shared or WatchedFile(self.path, greatest)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise explain(self.path, error) from error
        except OSError as error:
            if isinstance(error, RecordsError):
                raise
            raise about(self.path, "cannot be read; open it again") from error

    # Asking ----------------------------------------------------------------------------------

    def submit(self, call: Callable[[], _T]) -> Future[_T]:
        """Have the desk's thread call ``call`` when its turn comes."""
        try:
            return self._pool.submit(call)
        except RuntimeError as error:
            raise about(self.path, "this book was closed; open it again") from error

    def run(self, call: Callable[[], _T]) -> _T:
        """Call ``call`` on the desk's thread and wait for its answer."""
        if threading.get_ident() == self._thread:
            return call()
        return self.submit(call).result()

    def read(self, fn: Callable[[Database], _T]) -> _T:
        """What ``fn`` reads, all of it from one state of the book."""
        return self.run(lambda: self._read(fn))

    def write(self, fn: Callable[[Pen], _T]) -> _T:
        """Let ``fn`` write in one transaction; when this returns, it is on the disk.

        Inside another write it joins that one's transaction.
        """
        return self.run(lambda: self._write(fn))

    def changed_since_last_look(self) -> bool:
        """Whether another connection has written since this was last asked."""
        return self.run(lambda: self._explained(self._look_again))

    def newest(self) -> datetime | None:
        """The time that the book's greatest id is of, as far as it has been followed."""
        return self.run(lambda: self._mint.newest)

    def bench(self) -> str:
        """This book's own bench id."""
        return self.write(lambda _pen: self._bench)

    def close(self) -> None:
        """Finish everything asked so far, then close the file; a second time does nothing."""
        try:
            last = self._pool.submit(self._close)
        except RuntimeError:
            return
        self._pool.shutdown()
        last.result()

    # On the desk's own thread ----------------------------------------------------------------

    def _close(self) -> None:
        self._explained(self._db.close)
        if self._beside is None:
            self._file.close()

    def _explained(self, call: Callable[[], _T]) -> _T:
        try:
            return call()
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise explain(self.path, error) from error
        except UnicodeEncodeError as error:
            raise InputError("text", error.object, "text of whole characters") from error

    def _read(self, fn: Callable[[Database], _T]) -> _T:
        if self._pen is not None or self._reading:
            return fn(self._db)
        with self._file.lock:
            return self._explained(lambda: self._read_alone(fn))

    def _read_alone(self, fn: Callable[[Database], _T]) -> _T:
        self._reading = True
        patiently(lambda: self._db.execute("BEGIN"))
        try:
            return fn(self._db)
        finally:
            self._db.rollback()
            self._reading = False

    def _write(self, fn: Callable[[Pen], _T]) -> _T:
        if self._pen is not None:
            with self._db.atomic():
                return fn(self._pen)
        version = self._explained(self._data_version)
        if self._file.check(lambda: self._explained(self._data_version) != self._checked):
            self._checked = version
        return self._explained(lambda: self._write_alone(fn))

    def _write_alone(self, fn: Callable[[Pen], _T]) -> _T:
        db = self._db
        patiently(lambda: db.execute("BEGIN IMMEDIATE"))
        try:
            self._follow_others()
            self._know_bench()
            self._pen = Pen(db, self._mint, self._clock)
            answer = fn(self._pen)
            with self._file.lock:
                db.commit()
                self._file.committed()
        except BaseException:
            db.rollback()
            self._bench = ""  # it may have been given within this transaction
            db.kept.clear()  # what was read while it was written is not so
            raise
        finally:
            self._pen = None
        if db.conn.in_transaction:
            raise about(self.path, "a write did not finish; enter it again")
        return answer

    def _follow_others(self) -> None:
        version = self._data_version()
        if version != self._followed:
            self._mint.follow(self._greatest_id())
            self._followed = version

    def _know_bench(self) -> None:
        """Find this book's bench id, or give it one: at the first write, so that looking at a copy
        makes it no other bench's."""
        if not self._bench:
            self._bench = own_bench(self._db, self.path, self._clock())
            if not self._named:
                self._mint.tag = int(self._bench[:6], 16)

    def _look_again(self) -> bool:
        version = self._data_version()
        changed = version != self._looked_at
        self._looked_at = version
        return changed

    def _data_version(self) -> int:
        return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    def _greatest_id(self) -> str | None:
        found: str | None = self._db.execute(GREATEST_ID).fetchone()[0]
        return found
