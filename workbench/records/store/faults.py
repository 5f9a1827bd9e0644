"""What can go wrong with a book, each as one line with a way on."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Mapping
from pathlib import Path

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
