"""The bench's panels and lines: they take a new state over and paint only what changed."""

from __future__ import annotations

import itertools
from collections.abc import Callable

from rich.segment import Segment
from textual.content import Content
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.style import Style
from textual.visual import Visual
from textual.widget import Widget
from textual.widgets import Static

from workbench.bench.hand.state import BenchState

Draw = Callable[[BenchState, int, int], Content]

FEW_ROWS = 4
"""Up to this many rows are painted one by one."""


def same(one: Content, other: Content) -> bool:
    """Whether two contents look the same."""
    return one.plain == other.plain and one.spans == other.spans


class Line(Static):
    """Lines of a fixed height across the bench, painted again where they change."""

    _shown = Content("")

    def show(self, words: Content) -> None:
        """Show these words in place of the last."""
        if not same(words, self._shown):
            self._shown = words
            self.update(words, layout=False)


class Panel(Widget):
    """Draws the state into whatever room it has; only rows that changed are painted again."""

    can_focus = False

    def __init__(self, name: str, title: str, draw: Draw) -> None:
        super().__init__(id=name)
        self.border_title = title
        self._make = draw
        self._state: BenchState | None = None
        self._drawn = Content("")
        self._rows: list[Content] = []
        self._strips: dict[int, Strip] = {}
        self._styles: dict[str | Style, Style] = {}
        self._drawn_for: Size | None = None

    def show(self, state: BenchState) -> None:
        """Take a new state over; what looks any different is painted."""
        self._state = state
        room = self.content_size
        if room != self._drawn_for or not room:
            self._drawn_for = None
            self.refresh()
            return
        changed = self._draw(state, room)
        if changed:
            self.refresh(*(Region(0, y, room.width, 1) for y in changed))

    def _draw(self, state: BenchState, room: Size) -> list[int]:
        """Draw the state; return the rows that look different, whose paint is given up."""
        drawn = self._make(state, room.width, room.height)
        if same(drawn, self._drawn):
            return []
        before, self._drawn = self._rows, drawn
        self._rows = drawn.split("\n", allow_blank=True)
        rows = itertools.zip_longest(before, self._rows, fillvalue=Content(""))
        changed = [y for y, (old, new) in enumerate(rows) if not same(old, new)]
        for y in changed:
            self._strips.pop(y, None)
        return changed

    def render(self) -> Content:
        """Return the panel's text for its present size."""
        room = self.content_size
        if self._state is not None and room != self._drawn_for:
            self._strips.clear()
            self._draw(self._state, room)
            self._drawn_for = room
        return self._drawn

    def render_line(self, y: int) -> Strip:
        """Return a row as it is painted; while the mouse selects in it, Textual paints it all."""
        self.render()
        if self.text_selection is not None or not 0 <= y < len(self._rows):
            return super().render_line(y)
        if y not in self._strips:
            self._paint(y)
        return self._strips[y]

    def _paint(self, y: int) -> None:
        """Paint a row, or all of them at once where many are wanted, which costs less."""
        width, style = self.content_size.width, self.visual_style
        count = len(self._rows)
        if count - len(self._strips) > FEW_ROWS:
            whole = Visual.to_strips(self, self._drawn, width, count, style)
            self._strips = dict(enumerate(whole))
        else:
            self._strips[y] = self._painted(self._rows[y], y, width, style)
        self._strips.setdefault(y, Strip.blank(width))

    def _painted(self, row: Content, y: int, width: int, style: Style) -> Strip:
        """Return one row in its colours, the shortest way where it needs no wrapping."""
        if row.cell_length > width or "\t" in row.plain:
            one = Visual.to_strips(self, row, width, 1, style)
            return one[0].apply_offsets(0, y) if one else Strip.blank(width)
        segments, x = [], 0
        for text, own in row.render(style, end="", parse_style=self._parsed):
            segments.append(Segment(text, (style + own).rich_style_with_offset(x, y)))
            x += len(text)
        return Strip(segments, row.cell_length)

    def _parsed(self, style: str | Style) -> Style:
        """Return a style in the theme's colours, each parsed once."""
        known = self._styles.get(style)
        if known is None:
            known = self._styles[style] = self._get_style(style)
        return known

    def notify_style_update(self) -> None:
        """Paint in the new colours."""
        self._strips.clear()
        self._styles.clear()
        super().notify_style_update()
