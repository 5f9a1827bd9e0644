"""Text in a spreadsheet's cells: it starts no formula and no escape sequence, and comes back whole.

Common practice, no source: spreadsheets take a cell for a formula that begins with = + - @, a tab
or a line end, full-width forms included. Such a cell gets an apostrophe before it. What does not
print is written out as ``\\x1b``, ``\\u202e`` or ``\\U000e0001``.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence

from workbench.errors import InputError
from workbench.work.files.table_files import read_text

STARTS = "=+-@＝＋－＠"
_MARK = {False: ",", True: ";"}
DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}

_WRITTEN = re.compile(r"\\(?:x([0-9a-f]{2})|u([0-9a-f]{4})|U([0-9a-f]{8}))")
_INNER = re.compile(
    r"""(?<=[;,|"])(\ *)
    (?: [=@＝＠] | [+\-＋－] (?! \.?\d[\d.,/]* (?: [\ ;,"'] | $) ) )""",
    re.VERBOSE,
)
"""A formula's start behind what another spreadsheet may part cells by; a signed number is none."""


def cell_of(value: str | float | None, *, comma: bool = False) -> str:
    """Return a value as a cell; a number is ours, stays one and takes no apostrophe.

    ``comma``: a number has a decimal comma instead of a point.
    """
    if value is None:
        return ""
    if not isinstance(value, str):
        return repr(value).replace(".", ",") if comma else repr(value)
    text = _written_out(value)
    return f"'{text}" if _starts_formula(text) else text


def cell_text(cell: str) -> str:
    """Return the text that a cell means: :func:`cell_of`, undone."""
    if cell.startswith("'") and _starts_formula(cell[1:]):
        cell = cell[1:]
    return _WRITTEN.sub(_char, cell)


def _starts_formula(text: str) -> bool:
    """Whether a spreadsheet might take this for a formula; apostrophes before it count as ours."""
    bare = text.lstrip("'")
    return bare[:1] in ("\t", "\r", "\n") or bare.lstrip()[:1] in tuple(STARTS)


def _written_out(text: str) -> str:
    """Write out what does not print, and each backslash that would read as such."""
    text = _WRITTEN.sub(lambda found: "\\x5c" + found[0][1:], text)
    if not text.isprintable():
        text = "".join(c if c.isprintable() else _escape(c) for c in text)
    return _INNER.sub(lambda found: f"{found[1]}{_escape(found[0][-1])}", text)


def _escape(char: str) -> str:
    code = ord(char)
    if code < 0x100:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def _char(found: re.Match[str]) -> str:
    code = int(found[1] or found[2] or found[3], 16)
    return chr(code) if code <= 0x10FFFF else found[0]


def csv_chunks(
    header: Sequence[str], rows: Iterable[Sequence[str | float | None]], *, comma: bool = False
) -> Iterator[bytes]:
    """Yield a CSV file in UTF-8, a line at a time.

    ``comma``: with decimal commas, and so with semicolons between the cells.
    """
    line = io.StringIO(newline="")
    writer = csv.writer(line, delimiter=_MARK[comma], lineterminator="\r\n")
    writer.writerow(header)
    yield line.getvalue().encode()
    for values in rows:
        line.seek(0)
        line.truncate()
        writer.writerow([cell_of(value, comma=comma) for value in values])
        yield line.getvalue().encode()


def read_csv(path: str) -> list[tuple[int, list[str]]]:
    """Return the rows of a CSV file with the line each begins on, the header first.

    Commas, semicolons or tabs part the cells, told by the header; empty rows are left out.

    Raises:
        InputError: not a file of text in UTF-8, no rows, or not CSV; says on which line.
    """
    text = read_text(path)
    if "\0" in text:
        raise InputError(f"line {text[: text.index(chr(0))].count(chr(10)) + 1}", "\0", "text")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
    out: list[tuple[int, list[str]]] = []
    before = 0
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                out.append((before + 1, row))
            before = reader.line_num
    except csv.Error as why:
        raise InputError(f"line {before + 1}", str(why), "cells of CSV, quotes closed") from None
    if not out:
        raise InputError("file", "(empty)", "a header and a row for each ski")
    return out


def _delimiter(text: str) -> str:
    """Return what parts the cells of the header; one that is quoted parts nothing."""
    header = next((line for line in text.splitlines() if line.strip()), "")
    bare = re.sub(r'"[^"]*"?', "", header)
    found = [mark for mark in DELIMITERS if mark in bare]
    if len(found) > 1:
        words = " and ".join(DELIMITERS[mark] for mark in found)
        raise InputError("header", header, f"one kind of mark between its columns, not {words}")
    return found[0] if found else ","
