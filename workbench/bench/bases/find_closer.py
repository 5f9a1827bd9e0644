"""A closer look with a line above it that finds as it is typed."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widgets import Input, Static

from workbench.bench.bases.prompts import PromptInput
from workbench.bench.bases.view_only import DrawnCloser
from workbench.bench.draw.room import held_words


class FindCloser(DrawnCloser):
    """Shows the line while it is wanted; a burst that lands in it is taken out again and held.

    A subclass shows what is found (:meth:`show_found`), and its body and foot.
    """

    DEFAULT_CSS = """
    FindCloser #find { height: 1; display: none; }
    FindCloser.-finding #find { display: block; }
    FindCloser #find Static { width: 6; }
    FindCloser #find PromptInput { width: 1fr; }
    """
    AUTO_FOCUS = ""

    def compose(self) -> ComposeResult:
        """Lay out the line to find by, the body and the keys."""
        with Vertical():
            with Horizontal(id="find"):
                yield Static("find: ", markup=False)
                yield PromptInput()
            yield self.body()
            yield Static(id="closer-foot", markup=False)

    def show_found(self, text: str) -> None:
        """Show what is found by ``text``; all of it without one."""
        raise NotImplementedError

    @property
    def finding(self) -> bool:
        """Whether the line has the keys."""
        return self.focused is not None

    def begin_find(self) -> None:
        """Show the line and give it the keys."""
        self.add_class("-finding")
        self.query_one(PromptInput).focus()

    def end_find(self, clear: bool) -> None:
        """Take the keys back; the line goes where nothing is looked for."""
        line = self.query_one(PromptInput)
        if clear:
            line.value = ""
        if not line.value:
            self.remove_class("-finding")
        self.set_focus(None)

    @on(Input.Changed)
    def _found(self, event: Input.Changed) -> None:
        event.stop()
        self.show_found(event.value)

    @on(PromptInput.Answered)
    def _keep_find(self) -> None:
        self.end_find(clear=False)

    @on(PromptInput.Burst)
    def _hold(self, event: PromptInput.Burst) -> None:
        self._say(held_words(self.app, event.reading))
