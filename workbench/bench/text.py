"""The one door from data to the screen: what a person typed is shown, never obeyed.

Markup stays text, and characters that would act on the terminal or hide are written out.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable, Iterator

from rich.cells import cell_len
from rich.text import Text
from textual.content import Content

LIMIT = 60
"""Cells that a name from the data may take unless a caller says otherwise."""

LONGEST_PART = 500
"""Cells that one plain string inside :func:`styled` may take."""

MOST_MARKS = 2
"""Combining marks on one letter: more would climb over the lines above and below."""

Part = str | Content | tuple[str, str]

_ESCAPED_KINDS = frozenset(("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"))
_BLANKS = frozenset("\u115f\u1160\u3164\uffa0\u2800\u034f\u17b4\u17b5")
"""Letters and marks by category that print nothing at all."""


def visible(text: str, limit: int = LIMIT) -> str:
    """Return ``text`` on one line of at most ``limit`` cells, with nothing hidden in it.

    Control, format, zero-width and direction characters are written out (an escape becomes
    ``\\x1b``), line ends show as ⏎, and what is too long ends in …; a ``limit`` below 1 leaves
    nothing.
    """
    if limit < 1:
        return ""
    kept: list[str] = []
    cells = 0
    for unit in _units(text):
        kept.append(unit)
        cells += cell_len(unit)
        if cells > limit:
            return _shortened(kept, limit)
    return "".join(kept)


def literal(text: str, limit: int = LIMIT) -> Content:
    """Return ``text`` for a widget, a title, a tooltip or a toast: see :func:`visible`."""
    return Content(visible(text, limit))


def rich_literal(text: str, limit: int = LIMIT) -> Text:
    """Return ``text`` for a table's cell or a tree's label, which know Rich's texts only."""
    return Text(visible(text, limit), no_wrap=True, end="")


def styled(*parts: Part) -> Content:
    """Put plain strings, (string, style) pairs and contents together on one line.

    Every string is shown literally, up to :data:`LONGEST_PART` cells; a content is taken as it is.
    A style is ours, such as ``"bold $primary"``, and never comes from data.
    """
    return Content.assemble(*(_guarded(part) for part in parts))


def lines(rows: Iterable[Content]) -> Content:
    """Return these contents one below the other."""
    return Content("\n").join(rows)


def _guarded(part: Part) -> Content | tuple[str, str]:
    if isinstance(part, str):
        return literal(part, LONGEST_PART)
    if isinstance(part, tuple):
        text, style = part
        return (visible(text, LONGEST_PART), style)
    return part


def _units(text: str) -> Iterator[str]:
    """Yield what may not be cut apart: a character, its marks with it, or a written-out escape."""
    unit, marks = "", 0
    before = ""
    for char in text:
        if unit and _rides(char) and marks < MOST_MARKS:
            unit, marks = unit + char, marks + 1
            continue
        if unit:
            yield unit
        unit, marks = "", 0
        if char == "\n" and before == "\r":
            before = char
            continue
        before = char
        if char in "\r\n":
            yield "⏎"
        elif _hides(char):
            yield _written_out(char)
        else:
            unit = char
    if unit:
        yield unit


def _rides(char: str) -> bool:
    """Tell whether a character combines with the one before it."""
    return unicodedata.category(char) in ("Mn", "Me", "Mc") and not _is_selector(char)


def _hides(char: str) -> bool:
    """Tell whether a character standing alone prints nothing of its own."""
    if " " <= char <= "~":
        return False
    if unicodedata.category(char) in _ESCAPED_KINDS or char in _BLANKS or _is_selector(char):
        return True
    return cell_len(char) == 0


def _is_selector(char: str) -> bool:
    """Variation selectors: they change a glyph's width behind the layout's back."""
    return "\ufe00" <= char <= "\ufe0f" or "\U000e0100" <= char <= "\U000e01ef" or char in _BLANKS


def _written_out(char: str) -> str:
    return char.encode("unicode_escape").decode("ascii")


def _shortened(units: list[str], limit: int) -> str:
    """Drop whole units from the end until what is left fits with an ellipsis."""
    while units and cell_len("".join(units) + "…") > limit:
        units.pop()
    return "".join(units) + "…"


def wrapped(text: str, width: int) -> list[str]:
    """Return text broken at spaces into lines of at most ``width`` cells, nothing in it hidden."""
    return textwrap.wrap(visible(text, 2000), max(width, 8)) or [""]
