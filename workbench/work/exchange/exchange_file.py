"""How an exchange file is laid out: written, read line by line, and known again by its digest.

A line for each row, so that a file of any size passes through without being in memory. One that is
laid out otherwise (by hand, say) is read whole, up to ``LARGEST_WHOLE``.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import sys
import tempfile
from collections.abc import Generator, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import datetime
from itertools import chain, islice
from pathlib import Path
from typing import IO, Any

from workbench.errors import InputError
from workbench.records.exchange.form import ID_AT, OtherLayoutError, encode
from workbench.records.store.database import Told
from workbench.records.store.specs import Table
from workbench.work.files.table_files import cannot_read, parse_table, text_in

FORMAT = "quarterturn exchange"
VERSION = 1
LARGEST_WHOLE = 200_000_000
"""Bytes of a file that is not laid out as ours are."""

AT_ONCE = 1_000
LONGEST_LINE = 20_000_000
"""No row of ours takes more: a text has at most a million characters."""

_BLOCK = 1 << 18

BEGINNING = re.compile(
    rb'\{\n"format": "quarterturn exchange",\n"version": [0-9]+,\n'
    rb'"migrations": \[[^\n]*\],\n"holds": "(book|ski)",\n"rows": \{'
)
"""How :func:`text_of` begins every file, byte for byte."""

_HEAD_LINES = 6
_TABLE = re.compile(r'"([a-z_]+)": \[(\],?)?')


def text_of(
    steps: tuple[str, ...],
    found: Iterable[tuple[Table, Iterable[list[str]]]],
    whole: bool,
    told: Told,
) -> Iterator[bytes]:
    """Yield a file's text: a line for each row, ASCII alone, the same for the same rows."""
    yield f'{{\n"format": {encode(FORMAT)},\n"version": {VERSION},\n'.encode()
    yield f'"migrations": {encode(steps)},\n'.encode()
    yield f'"holds": "{"book" if whole else "ski"}",\n"rows": {{'.encode()
    comma = ""
    for table, lots in found:
        yield f"{comma}\n{encode(table)}: [".encode()
        comma = ","
        between = "\n"
        for lines in filter(None, lots):
            yield (between + ",\n".join(lines)).encode()
            between = ",\n"
            told(len(lines))
        yield b"]" if between == "\n" else b"\n]"
    yield b"\n}\n}\n"


@contextmanager
def opened(path: str | Path) -> Iterator[IO[bytes]]:
    """Open a file that can be read again from its beginning; ``-`` is standard input.

    Raises:
        InputError: it cannot be read; says why.
    """
    if str(path) == "-":
        if sys.stdin is None:
            raise InputError("file", "-", "standard input that is open")
        with tempfile.TemporaryFile() as kept:
            shutil.copyfileobj(sys.stdin.buffer, kept)
            kept.seek(0)
            yield kept
        return
    with ExitStack() as held:
        with cannot_read(path):
            file = held.enter_context(Path(path).open("rb"))
        yield file


def read_lines(
    file: IO[bytes], digest: hashlib.blake2b
) -> tuple[dict[str, Any], Iterator[tuple[str, int, list[str]]]]:
    """Return what a file says of itself, and its rows: a table's name, a number, lines from there.

    ``digest`` is given what was read.

    Raises:
        OtherLayoutError: it is not laid out as ours are; the lots raise it too, as soon as they
            come to where.
    """
    file.seek(0)
    lines = chain.from_iterable(_blocks(file, digest))
    head = "".join(f"{line}\n" for line in islice(lines, _HEAD_LINES))
    if not BEGINNING.match(head.encode()):
        raise OtherLayoutError("its beginning")
    try:
        data = json.loads(head + "}}")
    except (ValueError, RecursionError):
        raise OtherLayoutError("its beginning") from None
    del data["rows"]
    return data, _lots(lines)


def _blocks(file: IO[bytes], digest: hashlib.blake2b) -> Iterator[list[str]]:
    """Yield the lines without their ends, many at a time."""
    while block := file.read(_BLOCK) + file.readline(LONGEST_LINE):
        digest.update(block)
        if not block.endswith(b"\n"):
            raise OtherLayoutError("its end, or a very long line")
        try:
            yield block[:-1].decode("ascii").split("\n")
        except UnicodeDecodeError:
            raise OtherLayoutError("a letter that is not ASCII") from None


def _lots(lines: Iterator[str]) -> Iterator[tuple[str, int, list[str]]]:
    last = False
    for line in lines:
        if line == "}" and last:
            break
        found = _TABLE.fullmatch(line)
        if found is None or last:
            raise OtherLayoutError(f"the line {line[:60]!r}")
        end = found[2]
        if end is None:
            end = yield from _rows(found[1], lines)
        last = end == "]"
    if [*lines] != ["}"]:
        raise OtherLayoutError("its end")


def _rows(table: str, lines: Iterator[str]) -> Generator[tuple[str, int, list[str]], None, str]:
    """Yield the lines of one table in lots; return how its list ends."""
    number, more = 0, True
    lot: list[str] = []
    for line in lines:
        if not more:
            if line not in ("],", "]"):
                raise OtherLayoutError(f"rows.{table}[{number + len(lot)}]")
            if lot:
                yield table, number, lot
            return line
        if not line.startswith('{"id": "') or len(line) <= ID_AT:
            raise OtherLayoutError(f"rows.{table}[{number + len(lot)}]")
        more = line.endswith(",")
        lot.append(line[:-1] if more else line)
        if len(lot) == AT_ONCE:
            yield table, number, lot
            number, lot = number + len(lot), []
    raise OtherLayoutError(f"the end of rows.{table}")


def read_whole(file: IO[bytes], place: str) -> dict[str, Any]:
    """Return what a file says that is not laid out as ours are, ``place`` being where.

    Raises:
        InputError: it is too large to be read whole, or no JSON.
    """
    file.seek(0)
    with cannot_read("file"):
        raw = file.read(LARGEST_WHOLE + 1)
    if len(raw) > LARGEST_WHOLE:
        accepted = (
            f"a file of at most {LARGEST_WHOLE // 1_000_000} MB, or one as quarterturn export "
            f"lays it out, which this is up to {place}"
        )
        raise InputError("file", f"over {LARGEST_WHOLE} bytes", accepted)
    return parse_table(text_in(raw), "json")


# -- a file known again ----------------------------------------------------------------------------

KNOWN = "known_files"
"""The setting that keeps the marks of files whose rows are all in the book, for good."""

MOST_MARKS = 16


@dataclass(frozen=True, slots=True)
class FileMark:
    """A file's digest, how many rows it has, and the time of the newest."""

    digest: str
    rows: int
    latest: datetime | None = None


def new_digest() -> hashlib.blake2b:
    """A digest of no bytes yet, which is given a file's as they pass."""
    return hashlib.blake2b(digest_size=20)


def mark_among(kept: str | None, file: IO[bytes]) -> FileMark | None:
    """Return the mark of a file where it is one of those that a setting keeps."""
    marks = {mark.digest: mark for mark in _marks(kept)}
    if not marks:
        return None
    digest = new_digest()
    with cannot_read("file"):
        while chunk := file.read(_BLOCK):
            digest.update(chunk)
    return marks.get(digest.hexdigest())


def with_mark(kept: str | None, mark: FileMark) -> str | None:
    """Return the setting with one mark more; None where it has it."""
    marks = _marks(kept)
    if any(mark.digest == known.digest for known in marks):
        return None
    listed = [*marks, mark][-MOST_MARKS:]
    return encode([[m.digest, m.rows, m.latest and m.latest.isoformat()] for m in listed])


def _marks(kept: str | None) -> list[FileMark]:
    try:
        return [
            FileMark(str(digest), int(rows), latest and datetime.fromisoformat(latest))
            for digest, rows, latest in json.loads(kept or "[]")
        ]
    except (ValueError, TypeError):
        return []  # not ours: nothing is known, and everything read anew
