"""A closer look that is drawn into whatever room there is: only what can be seen."""

from __future__ import annotations

from textual.content import Content
from textual.widget import Widget

from workbench.bench.bases.view_only import Closer


class DrawnCloser(Closer):
    """A closer look whose body is what :meth:`drawn` returns for the room there is."""

    def drawn(self, width: int, height: int) -> Content:
        """Return the body, filling ``width`` x ``height`` cells."""
        raise NotImplementedError

    def body(self) -> Widget:
        """Return the widget that is drawn into."""
        return _Drawn(self)

    def redraw(self) -> None:
        """Draw the body anew."""
        self.query_one(_Drawn).refresh()


class _Drawn(Widget):
    """The body of such a screen."""

    can_focus = False

    def __init__(self, screen: DrawnCloser) -> None:
        super().__init__(id="closer-body")
        self._from = screen

    def render(self) -> Content:
        """Return the body at the present size."""
        return self._from.drawn(self.content_size.width, self.content_size.height)
