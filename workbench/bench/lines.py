"""What forms and questions are made of: a line for text, a box with its notes, and drafts."""

from __future__ import annotations

from typing import Any, ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding, BindingType
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from workbench.bench.text import literal

LONGEST_MESSAGE = 300
"""Cells that an error or a hint may take; it wraps."""

Texts = dict[str, str]


def clean(text: str) -> str:
    """Return ``text`` on one line, control characters written out, so that it acts on nothing."""
    parts = [line.strip() for line in text.splitlines() if line.strip()]
    joined = "; ".join(parts) if len(parts) > 1 else (text.splitlines() or [""])[0]
    return "".join(
        c if c.isprintable() else " " if c == "\t" else c.encode("unicode_escape").decode()
        for c in joined
    )


class LineInput(Input):
    """A line whose start and whose pasted text act on nothing and lose nothing."""

    def __init__(self, value: str = "", *, id: str | None = None) -> None:
        super().__init__(clean(value), id=id, compact=True, select_on_focus=False)

    def _on_paste(self, event: events.Paste) -> None:
        """Take every pasted line: Textual's own would keep the first alone."""
        event.stop()
        event.prevent_default()
        start, end = self.selection
        self.replace(clean(event.text), min(start, end), max(start, end))


BOX = """
    align: center middle;
    & > Vertical {
        width: 92%; max-width: 110; height: auto; max-height: 100%;
        padding: 0 1; background: $surface; color: $foreground; border: round $primary;
    }
    .title { text-style: bold; height: auto; }
    .hint { height: auto; max-height: 3; color: $text-muted; }
    .trouble, .note { display: none; height: auto; color: $text-warning; text-style: bold; }
    .-wrong .trouble, .note.-shown { display: block; }
    .keys { height: auto; color: $text-muted; }
    LineInput { background: $panel; }
    LineInput:focus { background: $boost; text-style: bold; }
"""
"""The style that both share, written into their own."""


class Box(ModalScreen[object]):
    """What a form and a question share: a title, a hint, a note, and drafts."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "close", "Close", tooltip="close; what was typed is kept")
    ]

    def __init__(self, title: str) -> None:
        super().__init__()
        self.heading = title
        self.over = False

    def say(self, words: str) -> None:
        """Show a note above the keys; an empty text takes it away."""
        note = self.query_one(".note", Static)
        note.update(literal(words, LONGEST_MESSAGE))
        note.set_class(bool(words), "-shown")

    def drafts(self) -> dict[str, Texts]:
        """Return the app's drafts, by heading."""
        return drafts_of(self.app)

    def end(self, result: object) -> None:
        """Close with a result; the draft has served."""
        self.over = True
        self.drafts().pop(self.heading, None)
        self.dismiss(result)

    def action_close(self) -> None:
        """Close without saving; the draft stays."""
        if not self.over:
            self.over = True
            self.dismiss(None)


def drafts_of(app: App[Any]) -> dict[str, Texts]:
    """Return what was typed in forms and not saved, by the form's title; it lives on the app."""
    kept: dict[str, Texts] | None = getattr(app, "form_drafts", None)
    if kept is None:
        kept = {}
        app.form_drafts = kept  # type: ignore[attr-defined]
    return kept
