"""The keys below a screen: each stays with its words, wherever the line breaks."""

from __future__ import annotations

from rich.cells import cell_len
from textual.content import Content
from textual.widgets import Static

from workbench.bench.draw.text import lines, literal, styled

BETWEEN = " · "
NAMED = ("Enter", "Esc", "Tab", "space", "PgUp", "PgDn", "↑", "↓", "←", "→")
"""Keys of more than one letter, and arrows, as a line of keys names them."""
_LONGEST_PART = 200


class KeyLine(Static):
    """Shows keys, with a dot between two, on as many rows as they take."""

    DEFAULT_CSS = "KeyLine { height: auto; color: $text-muted; }"

    def __init__(self, keys: str, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes, markup=False)
        self._keys = keys

    def render(self) -> Content:
        """Return the rows at the present width."""
        return lines(literal(row, _LONGEST_PART) for row in key_rows(self._keys, self._width()))

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        """Return how many rows the keys take."""
        return len(key_rows(self._keys, width))

    def _width(self) -> int:
        return max(self.content_size.width, 1)


def key_rows(keys: str, width: int) -> list[str]:
    """Return keys on rows of at most ``width`` cells, broken between two of them alone."""
    rows: list[str] = []
    for part in keys.split(BETWEEN):
        longer = f"{rows[-1]}{BETWEEN}{part}" if rows else part
        if rows and styled(longer).cell_length <= width:
            rows[-1] = longer
        else:
            rows.append(part)
    return rows


def key_pressed(row: str, x: int) -> str:
    """Return the key that a click at a cell of such a row presses; nothing where it is none.

    Of two keys that mean the same (``Enter or Esc closes``) the last; of two that do not
    (``F3 F4 order``) the one that is hit.
    """
    begin = 0
    for part in row.split(BETWEEN):
        end = begin + cell_len(part)
        if begin <= x < end:
            return _key_of(part, x - begin)
        begin = end + len(BETWEEN)
    return ""


def _key_of(part: str, x: int) -> str:
    found: list[tuple[int, str]] = []
    at, same = 0, False
    for word in part.split(" "):
        if word == "or" and found:
            same = True
        elif _is_key(word):
            found.append((at, word))
        elif word:
            break
        at += cell_len(word) + 1
    hit = next((key for at, key in found if at <= x < at + cell_len(key)), "")
    return hit or (found[-1][1] if len(found) == 1 or (found and same) else "")


def _is_key(word: str) -> bool:
    if word in NAMED or (word[:1] == "F" and word[1:].isdigit()):
        return True
    return len(word) == 1 and word.isascii()
