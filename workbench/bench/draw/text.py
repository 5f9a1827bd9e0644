"""The one door from data to the screen: what a person typed is shown, never obeyed.

Markup stays text, and characters that would act on the terminal or hide are written out. Here too
are the looks of what is said, and what of a long list fits into the room there is.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable, Sequence
from typing import Any, Literal, TypeVar, assert_never

from rich.cells import cell_len
from textual.content import Content

from workbench.work.job_text.view_words import Importance
from workbench.work.text import safe_text
from workbench.work.text.safe_text import written_out

T = TypeVar("T")
Tone = Literal["say", "done", "warn"]

LIMIT = 60
"""Cells that a name from the data may take unless a caller says otherwise."""

_LONGEST_PART = 500
"""Cells that one plain string inside :func:`styled` may take."""

_MOST_MARKS = 8
"""Combining marks on one letter: no script stacks more, and thousands would stall the line."""

_Part = str | Content | tuple[str, str]


def visible(text: str, limit: int = LIMIT) -> str:
    """Return ``text`` on one line of at most ``limit`` cells, with nothing hidden in it.

    Control, format, zero-width and direction characters are written out (an escape becomes
    ``\\x1b``), line ends show as ⏎, and what is too long ends in …; a ``limit`` below 1 leaves
    nothing.
    """
    return safe_text.visible(text, limit, cell_len)


def literal(text: str, limit: int = LIMIT) -> Content:
    """Return ``text`` for a widget, a title, a tooltip or a toast: see :func:`visible`."""
    return Content(visible(text, limit))


def styled(*parts: _Part) -> Content:
    """Put plain strings, (string, style) pairs and contents together on one line.

    Every string is shown literally, up to :data:`LONGEST_PART` cells; a content is taken as it is.
    A style is ours, such as ``"bold $primary"``, and never comes from data.
    """
    return Content.assemble(*(_guarded(part) for part in parts))


def padded(text: str, width: int, right: bool = False) -> str:
    """Return text cut or filled to ``width`` cells, at its end or (``right``) before it.

    Wide letters take two cells, so that counting characters would push the rest aside.
    """
    shown = visible(text, width)
    gap = " " * max(width - cell_len(shown), 0)
    return gap + shown if right else shown + gap


def lines(rows: Iterable[Content]) -> Content:
    """Return these contents one below the other."""
    return Content("\n").join(rows)


def _guarded(part: _Part) -> Content | tuple[str, str]:
    if isinstance(part, str):
        return literal(part, _LONGEST_PART)
    if isinstance(part, tuple):
        text, style = part
        return (visible(text, _LONGEST_PART), style)
    return part


def wrapped(text: str, width: int) -> list[str]:
    """Return text broken at spaces into lines of at most ``width`` cells, nothing in it hidden."""
    room = max(width, 8)
    rows = textwrap.wrap(visible(text, 2000), room, break_on_hyphens=False)
    return [part for row in rows for part in _narrowed(row, room)] or [""]


def paragraph(text: str, width: int, style: str = "") -> list[Content]:
    """Return text in one style, broken into rows of ``width`` cells; an empty one has none."""
    return [styled((part, style)) for part in wrapped(text, width)] if text else []


def paragraphs(texts: Iterable[str], width: int, style: str = "") -> list[Content]:
    """Return each of these texts as a :func:`paragraph`."""
    return [row for text in texts for row in paragraph(text, width, style)]


def hung(lead: str, look: str, text: str, width: int, style: str = "") -> list[Content]:
    """Return a text in rows of ``width`` cells that hang beside its lead, which has a look."""
    cells = cell_len(lead)
    first, *rest = wrapped(text, width - cells)
    below = [styled((" " * cells, ""), (part, style)) for part in rest]
    return [styled((lead, look), (first, style)), *below]


def _narrowed(row: str, width: int) -> Iterable[str]:
    """Break a line once more where wide letters make it too long."""
    if cell_len(row) <= width:
        yield row
        return
    part = ""
    for unit in safe_text.units(row, cell_len):
        if part and cell_len(part + unit) > width:
            yield part
            part = ""
        part += unit
    if part:
        yield part


def look_of(importance: Importance) -> str:
    """Return the style of what is said on a step of the ladder; none of them is dim."""
    match importance:
        case Importance.DANGER:
            return "bold reverse $state-danger"
        case Importance.WRONG:
            return "bold $state-outside"
        case Importance.DOUBT:
            return "bold $state-caution"
        case Importance.FIGURES:
            return ""
        case _:
            assert_never(importance)


TONES: dict[Tone, str] = {"say": "", "done": "bold $state-within", "warn": "bold $state-caution"}
"""The style of a message; its words say the same."""

BURST_CELLS = 16


def first_seen(at: int, count: int, room: int) -> int:
    """Return the first of ``room`` rows to show, so that row ``at`` of ``count`` is among them."""
    return min(max(at - room // 2, 0), max(count - room, 0))


def in_sight(items: Sequence[T], at: int, room: int) -> list[tuple[bool, T]]:
    """Return what of a list fits into ``room`` rows, each with whether it is the one ``at``."""
    first = first_seen(at, len(items), room)
    return [(i == at, item) for i, item in enumerate(items[first : first + room], first)]


def count_line(at: int, count: int) -> Content:
    """Return the line below a list that is longer than its room."""
    return styled((f"  {at + 1} of {count}", "$ink-faint"))


def said(message: tuple[str, Tone], width: int, rows: int) -> Content:
    """Return a message that wraps into at most ``rows`` lines of ``width`` cells."""
    words, tone = message
    return styled((visible(words, rows * width - width // 4), TONES[tone]))


def held_words(app: Any, reading: str) -> str:
    """Hold a reading that came where no number is due, and return what is to be said of it."""
    hold, words = getattr(app, "hold_burst", None), visible(reading, BURST_CELLS)
    if hold is None or hold(reading) is False:  # no ski in hand, or the book does not take it
        return f"{words} arrived here and was not taken"
    return f"{words} arrived here and is held as a note"


def on_one_line(text: str) -> str:
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
