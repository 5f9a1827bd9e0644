"""Cells of a spreadsheet: no text starts a formula or an escape sequence, and none is changed."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.strategies import HOSTILE_NAMES
from workbench.work.exchange.csv_files import (
    STARTS,
    cell_of,
    cell_text,
    csv_chunks,
)

texts = st.text(max_size=30) | st.text(alphabet="'=+-@＝\t\r\n x\\u0;,\"|1.\x1b\u202e", max_size=12)
keepable = texts.filter(lambda text: not any("\ud800" <= c <= "\udfff" for c in text))


@given(text=texts)
@settings(max_examples=400)
def test_any_text_comes_back_exactly(text: str) -> None:
    """Also what begins with apostrophes, or looks written out already."""
    assert cell_text(cell_of(text)) == text


@given(text=texts)
@settings(max_examples=400)
def test_no_text_starts_a_formula_or_acts_on_a_terminal(text: str) -> None:
    """After whitespace as well; and nothing in a cell is unprintable."""
    cell = cell_of(text)
    assert cell.isprintable()
    assert not cell.lstrip().startswith(tuple(STARTS))


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("  @cmd", "'  @cmd"),
        ("-0.010", "'-0.010"),
        ("＝1", "'＝1"),
        ("\t=1", "'\\x09=1"),
        ("'Heron", "'Heron"),
        ("'=1", "''=1"),
        ("O'Neil", "O'Neil"),
        ("a\x1b[31mb", "a\\x1b[31mb"),
        ("C:\\new", "C:\\new"),
        ("C:\\x41", "C:\\x5cx41"),
        ("a;=cmd()", "a;\\x3dcmd()"),
        ("tail, -0.010; depth", "tail, -0.010; depth"),
        ("x, -2+3|cmd", "x, \\x2d2+3|cmd"),
        (-0.01, "-0.01"),
        (3, "3"),
        (None, ""),
    ],
)  # fmt: skip
def test_cells_as_they_are_written(text: str | float | None, cell: str) -> None:
    """Numbers of ours stay numbers; plain text stays as it is."""
    if isinstance(text, str) and text.startswith("\t"):
        assert cell_text(cell_of(text)) == text
    else:
        assert cell_of(text) == cell


@given(rows=st.lists(st.lists(keepable, min_size=2, max_size=2), max_size=4))
def test_a_file_of_any_texts_reads_back(rows: list[list[str]]) -> None:
    """Through the CSV itself: a row stays a row."""
    text = b"".join(csv_chunks(("a", "b"), [*rows])).decode()
    back = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert [[cell_text(cell) for cell in row] for row in back[1:]] == rows
    assert text.count("\r\n") == len(rows) + 1


def test_hostile_names_come_back() -> None:
    """Markup, escapes, quotes and directions."""
    for name in HOSTILE_NAMES:
        assert cell_text(cell_of(name)) == name
