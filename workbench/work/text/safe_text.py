"""Text from people on one line of a page or a screen: nothing in it hides, acts or runs away."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator
from functools import lru_cache

_MOST_MARKS = 2
"""Combining marks on one letter: more would climb over the lines above and below."""

_ESCAPED_KINDS = frozenset(("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"))
_BLANKS = frozenset("\u115f\u1160\u3164\uffa0\u2800\u034f\u17b4\u17b5")
"""Letters and marks by category that print nothing at all."""

LONGEST_KEPT = 200
"""Characters of a text whose looks are kept, for most are shown again and again."""

_Cells = Callable[[str], int]


def cells_of(text: str) -> int:
    """Return how many columns of a fixed-width page ``text`` takes (Unicode annex 11)."""
    return sum(_width(char) for char in text)


def _width(char: str) -> int:
    if unicodedata.category(char) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def visible(text: str, limit: int, cells: _Cells = cells_of) -> str:
    """Return ``text`` on one line of at most ``limit`` cells, with nothing hidden in it.

    Control, format, zero-width and direction characters are written out (an escape becomes
    ``\\x1b``), line ends show as ⏎, and what is too long ends in …; a ``limit`` below 1 leaves
    nothing. ``cells`` says how many columns a string takes.
    """
    if limit < 1:
        return ""
    if text.isascii() and text.isprintable():  # a cell each, and nothing to hide
        return text if len(text) <= limit else f"{text[: limit - 1]}…"
    return _brief(text, limit, cells) if len(text) <= LONGEST_KEPT else _shown(text, limit, cells)


def _shown(text: str, limit: int, cells: _Cells) -> str:
    kept: list[str] = []
    count = 0
    for unit in units(text, cells):
        kept.append(unit)
        count += cells(unit)
        if count > limit:
            return _shortened(kept, limit, cells)
    return "".join(kept)


_brief = lru_cache(maxsize=4096)(_shown)


def units(text: str, cells: _Cells = cells_of) -> Iterator[str]:
    """Yield what may not be cut apart: a character, its marks with it, or a written-out escape."""
    unit, marks = "", 0
    before = ""
    for char in text:
        if unit and _rides(char) and marks < _MOST_MARKS:
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
        elif _hides(char, cells):
            yield written_out(char)
        else:
            unit = char
    if unit:
        yield unit


def _rides(char: str) -> bool:
    """Tell whether a character combines with the one before it."""
    return unicodedata.category(char) in ("Mn", "Me", "Mc") and not _is_selector(char)


def _hides(char: str, cells: _Cells) -> bool:
    """Tell whether a character standing alone prints nothing of its own."""
    if " " <= char <= "~":
        return False
    if unicodedata.category(char) in _ESCAPED_KINDS or char in _BLANKS or _is_selector(char):
        return True
    return cells(char) == 0


def _is_selector(char: str) -> bool:
    """Variation selectors: they change a glyph's width behind the layout's back."""
    return "\ufe00" <= char <= "\ufe0f" or "\U000e0100" <= char <= "\U000e01ef" or char in _BLANKS


def written_out(char: str) -> str:
    """Return a character as a visible escape, such as ``\\u202e``."""
    return char.encode("unicode_escape").decode("ascii")


def _shortened(parts: list[str], limit: int, cells: _Cells) -> str:
    """Drop whole units from the end until what is left fits with an ellipsis."""
    while parts and cells("".join(parts) + "…") > limit:
        parts.pop()
    return "".join(parts) + "…"
