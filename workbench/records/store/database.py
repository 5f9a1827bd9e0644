"""The connection of a book: statements, rows as dicts, and savepoints.

sqlite-utils takes a while to load and is needed only where the tables themselves change, so that
nothing else here waits for it.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

from workbench.records.store.faults import is_busy

ROOMY_KIB = 32_000

BUSY_SECONDS = 10.0
"""How long SQLite itself waits for another connection."""

Told: TypeAlias = Callable[[int], object]
"""What long work tells of how many more rows, lines or pages it is through with.

It may raise, and the work is then undone.
"""


def quiet(_: int) -> None:
    """Tell nobody."""


def connection(path: Path, how: str = "mode=ro") -> closing[sqlite3.Connection]:
    """A connection to the file at ``path``, closed when it is left; ``how`` is part of its URI.

    Where this process has the book open, opening and closing its file any other way than through
    SQLite would take away its locks on it.
    """
    uri = f"{path.absolute().as_uri()}?{how}"
    return closing(sqlite3.connect(uri, uri=True, timeout=BUSY_SECONDS))


class Database:
    """A SQLite connection that begins no transaction unless told to."""

    __slots__ = ("_columns", "_others_wrote", "conn", "kept", "sound")

    def __init__(self, conn: sqlite3.Connection) -> None:
        self.conn = conn
        self.sound: set[str] = set()
        """The ids of rows that were found to agree with themselves, so that each is looked at once.
        """
        self.kept: dict[str, tuple[object, object]] = {}
        """What was read of late by the id of its job, each with what tells whether it still holds.
        """
        self._others_wrote = -1
        self._columns: dict[str, tuple[str, ...]] = {}

    def columns_of(self, table: str) -> tuple[str, ...]:
        """The names of a table's columns, in their order."""
        if table not in self._columns:
            found = self.conn.execute(f"PRAGMA table_info({table})")
            self._columns[table] = tuple(row[1] for row in found)
        return self._columns[table]

    def forget_if_others_wrote(self) -> None:
        """Forget what was read of late where another connection has written since."""
        version = int(self.conn.execute("PRAGMA data_version").fetchone()[0])
        if version != self._others_wrote:
            self.kept.clear()
            self._others_wrote = version

    def execute(self, sql: str, values: Sequence[object] = ()) -> sqlite3.Cursor:
        """Execute one statement."""
        return self.conn.execute(sql, values)

    def query(self, sql: str, values: Sequence[object] = ()) -> Iterator[dict[str, Any]]:
        """Execute a statement that gives rows, and return them by the names of their columns."""
        found = self.conn.execute(sql, values)
        names = [column[0] for column in found.description]
        return (dict(zip(names, row, strict=True)) for row in found)

    @contextmanager
    def atomic(self) -> Iterator[None]:
        """Do what follows whole or not at all, within the transaction that is open."""
        self.conn.execute("SAVEPOINT part")
        try:
            yield
        except BaseException:
            self.kept.clear()  # what was read since the savepoint is not so
            if self.conn.in_transaction:  # a full disk may have ended it
                self.conn.execute("ROLLBACK TO part")
                self.conn.execute("RELEASE part")
            raise
        self.conn.execute("RELEASE part")

    @contextmanager
    def roomy(self) -> Iterator[None]:
        """Let what follows use more memory for pages: much is written before it is kept."""
        before = self.conn.execute("PRAGMA cache_size").fetchone()[0]
        self.conn.execute(f"PRAGMA cache_size = {-ROOMY_KIB}")
        try:
            yield
        finally:
            self.conn.execute(f"PRAGMA cache_size = {before}")

    def commit(self) -> None:
        """Keep what the open transaction did."""
        self.conn.commit()

    def rollback(self) -> None:
        """Drop what the open transaction did; without one there is nothing to do."""
        self.conn.rollback()

    def close(self) -> None:
        """Close the connection."""
        self.conn.close()


# Waiting for another connection to the same book ---------------------------------------------

_T = TypeVar("_T")

PATIENCE_SECONDS = 30.0
"""How long we go on trying after that."""


def patiently(step: Callable[[], _T]) -> _T:
    """Do ``step``, and do it again while another connection is in the way."""
    deadline = time.monotonic() + PATIENCE_SECONDS
    while True:
        try:
            return step()
        except sqlite3.OperationalError as error:
            if not is_busy(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.02)
