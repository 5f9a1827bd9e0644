"""The keys below a screen: each stays with its words, wherever the line breaks."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from workbench.bench.draw.text import lines, literal, styled

BETWEEN = " · "
LONGEST_PART = 200


class KeyLine(Static):
    """Shows keys, with a dot between two, on as many rows as they take."""

    DEFAULT_CSS = "KeyLine { height: auto; color: $text-muted; }"

    def __init__(self, keys: str, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes, markup=False)
        self._keys = keys

    def render(self) -> Content:
        """Return the rows at the present width."""
        return lines(literal(row, LONGEST_PART) for row in key_rows(self._keys, self._width()))

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
