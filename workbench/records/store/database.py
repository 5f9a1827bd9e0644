"""The connection of a book: statements, rows as dicts, savepoints, and what can go wrong with it.

sqlite-utils takes a while to load and is needed only where the tables themselves change, so that
nothing else here waits for it.
"""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

from workbench.errors import BenchError, InputError, RecordsError, shown

NUMBER_TAKEN = "was counted already"
"""What a refusal of a taken number says, behind its table and what is counted."""


def about(path: Path, words: str) -> RecordsError:
    """The error that says what is wrong with the file at ``path``."""
    return RecordsError(f"{shown(str(path), 300)}: {words}")


class UnknownRowError(RecordsError):
    """An id that no row of the book has; ``kind`` says what was looked for."""

    def __init__(self, kind: str, row_id: object) -> None:
        self.kind = kind
        self.row_id = row_id
        super().__init__(f"{kind}: {shown(row_id)} — the id of a {kind} that is in the book")


class StruckTwiceError(RecordsError):
    """A row that was struck out before."""

    def __init__(self, row_id: str, who: str, at: str) -> None:
        self.row_id = row_id
        super().__init__(
            f"row {shown(row_id)} was struck out already by {shown(who)} at {at}; "
            "leave it, or enter what should be there instead"
        )


class DamagedError(RecordsError):
    """Something in the book that no book of ours can hold."""

    def __init__(self, what: str) -> None:
        super().__init__(f"{what}: the book is damaged; keep it and open the latest backup")


class DamagedRowError(RecordsError):
    """A row that no longer says what was written and that nobody has struck out."""

    def __init__(self, table: str, row_id: str, why: str) -> None:
        super().__init__(
            f"{table} {shown(row_id)}: damaged in the book ({why}); nothing was written out: "
            "strike it out with the reason, enter it anew, then export"
        )


class RefusedFileError(RecordsError):
    """A file that no copy is written over, or that none is put back from; ``accepted`` says why."""

    def __init__(self, path: Path, accepted: str) -> None:
        self.accepted = accepted
        super().__init__(f"{shown(str(path), 300)}: {accepted}")


_ADVICE = {
    5: "another program has held the book too long; close it, or wait and enter this again",
    6: "another program has held the book too long; close it, or wait and enter this again",
    8: "the book is read-only; make it writable, or open a copy in a folder of your own",
    10: "the disk does not answer properly; check it, then enter this again",
    11: "the book is damaged; keep it as it is and open the latest backup",
    13: "the disk is full, so this was not kept; make room, then enter it again",
    14: "the book cannot be opened; check that its folder is there and is yours",
    26: "this is not a book of Quarterturn; name another file",
}


def explain(path: Path, error: sqlite3.Error | UnicodeDecodeError) -> RecordsError:
    """Put what SQLite says about the book at ``path`` into a line with a way on."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if isinstance(error, UnicodeDecodeError) or str(error).startswith("Could not decode"):
        code = sqlite3.SQLITE_CORRUPT
    advice = _ADVICE.get(code, "nothing of this was kept; try again")
    if getattr(error, "sqlite_errorcode", 0) == sqlite3.SQLITE_READONLY_DBMOVED:
        advice = "another file was put in the book's place while it was open; open it again"
    return about(path, f"{advice} ({said(error)})")


def said(error: Exception) -> str:
    """An error's own words on one line."""
    return shown(" ".join(str(error).split()), 160)


def is_busy(error: sqlite3.Error) -> bool:
    """Whether another connection was in the way."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF in (5, 6)


_CHECK = re.compile(r"CHECK constraint failed: (\w+): (.*)", re.DOTALL)
_TYPE = re.compile(r"cannot store \w+ value in (\w+) column \w+\.(\w+)")
_TAKEN = re.compile(rf"\w+: (\w+) {NUMBER_TAKEN}")
_EMPTY = re.compile(r"NOT NULL constraint failed: \w+\.(\w+)")


def refused(columns: Mapping[str, object], error: sqlite3.IntegrityError) -> BenchError | None:
    """Turn a row that the schema refused into the field and value to blame; None if unclear."""
    text = str(error)
    if found := _CHECK.match(text):
        return InputError(found[1], columns.get(found[1]), found[2])
    if found := _TAKEN.match(text):
        accepted = "the next one: this one was counted already in this job, so look again"
        return InputError(found[1], columns.get(found[1]), accepted)
    if found := _TYPE.match(text):
        kind = "a number" if found[1] in ("REAL", "INTEGER") else "text"
        return InputError(found[2], columns.get(found[2]), kind)
    if found := _EMPTY.match(text):
        return InputError(found[1], None, "a value")
    return None


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
