"""The bench's panels and lines: they take a new state over and paint only what changed."""

from __future__ import annotations

from collections.abc import Callable

from textual.content import Content
from textual.geometry import Size
from textual.widget import Widget
from textual.widgets import Static

from workbench.bench.state import BenchState

Draw = Callable[[BenchState, int, int], Content]


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
    """Draws the state into whatever room it has."""

    can_focus = False

    def __init__(self, name: str, title: str, draw: Draw) -> None:
        super().__init__(id=name)
        self.border_title = title
        self._make = draw
        self._state: BenchState | None = None
        self._drawn = Content("")
        self._drawn_for: Size | None = None

    def show(self, state: BenchState) -> None:
        """Take a new state over; it is painted where it looks any different."""
        self._state = state
        before, room = self._drawn, self.content_size
        if room != self._drawn_for or not room:
            self._drawn_for = None
            self.refresh()
            return
        self._drawn = self._make(state, room.width, room.height)
        if not same(before, self._drawn):
            self.refresh()

    def render(self) -> Content:
        """Return the panel's text for its present size."""
        room = self.content_size
        if self._state is not None and room != self._drawn_for:
            self._drawn = self._make(self._state, room.width, room.height)
            self._drawn_for = room
        return self._drawn
