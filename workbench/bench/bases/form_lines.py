"""What forms and questions are made of: a line for text, a box with its notes, and drafts."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping
from typing import Any, ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding, BindingType
from textual.widgets import Input, Static

from workbench.bench.bases.overlay import Overlay
from workbench.bench.draw.text import literal
from workbench.work.text.fields import Texts
from workbench.work.text.safe_text import written_out

LONGEST_MESSAGE = 500
"""Cells that an error or a hint may take; it wraps."""

LONGEST_TEXT = 4000
"""Characters that a line takes: far more than a hand types, far less than what would stall it."""

_MOST_MARKS = 8
"""Combining marks on one letter: no script stacks more, and thousands would stall the line."""


def clean(text: str) -> str:
    """Return ``text`` on one line, control characters written out, so that it acts on nothing.

    So are marks piled up on one letter.
    """
    parts = [line.strip() for line in text.splitlines() if line.strip()]
    joined = "; ".join(parts) if len(parts) > 1 else (text.splitlines() or [""])[0]
    out: list[str] = []
    marks = 0
    for char in joined:
        marks = marks + 1 if unicodedata.category(char) in ("Mn", "Me") else 0
        if char == "\t":
            out.append(" ")
        elif char.isprintable() and marks <= _MOST_MARKS:
            out.append(char)
        else:
            out.append(written_out(char))
    return "".join(out)


class LineInput(Input):
    """A line whose start and whose pasted text act on nothing and lose nothing."""

    def __init__(self, value: str = "", *, id: str | None = None) -> None:
        super().__init__(
            clean(value), id=id, compact=True, select_on_focus=False, max_length=LONGEST_TEXT
        )

    def _on_paste(self, event: events.Paste) -> None:
        """Take every pasted line: Textual's own would keep the first alone."""
        event.stop()
        event.prevent_default()
        text = clean(event.text) if len(event.text) <= LONGEST_TEXT else ""
        if len(self.value) + len(text) > LONGEST_TEXT or (event.text and not text):
            self.app.notify(f"more than {LONGEST_TEXT} characters: not pasted", markup=False)
            return
        start, end = self.selection
        self.replace(text, min(start, end), max(start, end))


BOX = """
    align: center middle;
    & > Vertical {
        width: 92%; max-width: 110; height: auto; max-height: 100%;
        padding: 0 1; background: $surface; color: $foreground; border: round $primary;
    }
    .title { text-style: bold; height: auto; }
    .hint { height: auto; max-height: 7; color: $text-muted; }
    .trouble, .note { display: none; height: auto; color: $text-warning; text-style: bold; }
    .-wrong .trouble, .note.-shown { display: block; }
    LineInput { background: $panel; }
    LineInput:focus { background: $boost; text-style: bold; }
"""
"""The style that both share, written into their own."""


class Box(Overlay[object]):
    """What a form and a question share: a title, a hint, a note, and drafts."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "close", "Close", tooltip="close; what was typed is kept")
    ]

    def __init__(self, title: str) -> None:
        super().__init__()
        self.heading = title

    def say(self, words: str) -> None:
        """Show a note above the keys; an empty text takes it away."""
        note = self.query_one(".note", Static)
        note.update(literal(words, LONGEST_MESSAGE))
        note.set_class(bool(words), "-shown")

    def drafts(self) -> dict[str, Texts]:
        """Return the app's drafts, by heading."""
        return drafts_of(self.app)

    def end(self, result: object) -> None:
        """Close with a result, True where there is none to give; the draft has served."""
        self.drafts().pop(self.heading, None)
        self.dismiss(True if result is None else result)

    def action_close(self) -> None:
        """Close without saving; the draft stays."""
        self.dismiss(None)


def unfinished_text(heading: str, drafts: Mapping[str, Texts]) -> str:
    """Return what is typed in the form of that heading as one text to be kept."""
    texts = drafts.get(heading)
    return json.dumps({heading: texts}) if texts else ""


def unfinished_form(text: str | None) -> dict[str, Texts]:
    """Return drafts kept by :func:`unfinished_text`; a text that is none of ours gives none."""
    try:
        found = json.loads(text or "{}")
        return {
            str(heading): {str(key): clean(str(value)) for key, value in texts.items()}
            for heading, texts in found.items()
        }
    except (ValueError, AttributeError, RecursionError):
        return {}


def drafts_of(app: App[Any]) -> dict[str, Texts]:
    """Return what was typed in forms and not saved, by the form's title; it lives on the app."""
    kept: dict[str, Texts] | None = getattr(app, "form_drafts", None)
    if kept is None:
        kept = {}
        app.form_drafts = kept  # type: ignore[attr-defined]
    return kept
