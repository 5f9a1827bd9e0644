"""A row as the line of a file: written, and known again without being read where nothing differs.

A line is what ``json.dumps`` makes of the row, in ASCII. Most lines of a file are such lines; what
is written in another way is left to a reader of whole files.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from json.encoder import encode_basestring_ascii
from typing import Any

from workbench.records.exchange.form import Column, Form, Row

ID_AT = len('{"id": "')
ID_LENGTH = 36

LONGEST_FAST = 1_000_000
"""A longer line is looked at column by column: one text in it may be too long."""

_DOUBTFUL = re.compile(r"\\u(0000|d[89a-f])")
"""An escaped NUL or half of a surrogate pair."""

encode = json.JSONEncoder(ensure_ascii=True, allow_nan=False).encode

Writer = Callable[[Any], str]


class OtherLayoutError(Exception):
    """A file that may be one of ours, but not laid out as we write them; ``place`` says where."""

    def __init__(self, place: str) -> None:
        self.place = place
        super().__init__(place)


class Lines:
    """The lines of one table: ``names`` are its columns in their order."""

    def __init__(self, form: Form) -> None:
        self.names = tuple(form.columns)
        self._part = form.part.value if form.part is not None else ""
        self._writers = tuple(_writer(column) for column in form.columns.values())
        pairs = ", ".join(f"{encode(name)}: %s" for name in self.names)
        more = f", {encode(self._part)}: %s" if self._part else ""
        self._line = f"{{{pairs}{more}}}"

    def line(self, values: Sequence[Any], parts: Sequence[Row] = ()) -> str:
        """A row's line, of the values of its columns and of the parts that lie in it.

        Raises ``TypeError`` for a value of another kind than its column's.
        """
        written = [write(value) for write, value in zip(self._writers, values, strict=True)]
        if self._part:
            written.append(encode([*parts]))
        return self._line % tuple(written)


def rows_said(lines: Sequence[str]) -> list[Any] | None:
    """What many lines say, None where one of them is doubtful and each is to be read by itself.

    Doubtful is one that is very long, names a column twice, has a number without end, or may hold
    what no book can keep.
    """
    text = f"[{', '.join(lines)}]"
    if _DOUBTFUL.search(text) or max(map(len, lines), default=0) > LONGEST_FAST:
        return None
    try:
        found: list[Any] = _decode(text)
    except (ValueError, RecursionError):
        return None
    return found if len(found) == len(lines) else None


def _once_each(pairs: list[tuple[str, Any]]) -> Row:
    row = dict(pairs)
    if len(row) < len(pairs):
        raise ValueError("a column twice")
    return row


def _no_constant(word: str) -> float:
    raise ValueError(word)


_decode = json.JSONDecoder(object_pairs_hook=_once_each, parse_constant=_no_constant).decode


def row_said(line: str, place: str) -> Row:
    """The row that a line says; raises ``OtherLayoutError`` for one not written as ours are."""
    try:
        row = json.loads(line)
        if isinstance(row, dict) and encode(row) == line:
            return row
    except (ValueError, RecursionError):
        pass
    raise OtherLayoutError(place)


def _writer(column: Column) -> Writer:
    write = _WRITERS[column.kind]
    return _or_null(write) if column.nullable else write


def _or_null(write: Writer) -> Writer:
    return lambda value: "null" if value is None else write(value)


def _finite(value: float) -> str:
    text = float.__repr__(value)
    if text[-1] in "fn":  # inf, nan
        raise ValueError(text)
    return text


_WRITERS: dict[str, Writer] = {
    "TEXT": encode_basestring_ascii,
    "REAL": _finite,
    "INTEGER": int.__repr__,
}
