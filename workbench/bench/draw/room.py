"""What of a long list fits into the room there is, and what was said below it."""

from __future__ import annotations

from typing import Any, assert_never

from textual.content import Content

from workbench.bench.draw.text import Tone, styled, visible
from workbench.work.job_text.importance import Importance


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
