"""The lines at the bottom: what to do now, what was just said, the caution, and the keys."""

from __future__ import annotations

from functools import lru_cache

from rich.cells import cell_len
from textual.content import Content

from workbench.bench.draw.text import lines, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.work.job_text.tasks import READS_AT, TASKS, caution_words, keys_words
from workbench.work.roster.keys import AS_SHIPPED, Keys

_ROWS = 3
"""Rows below the panels."""

INDENT = 6
LEAST_BESIDE = 12
"""Cells within which what was said is of use beside the end of what to do."""

CAUTION = "bold $state-danger"
"""A caution is never dim: what it warns of is a danger."""

_TONES = {"warn": "bold $state-caution", "done": "$state-within", "say": ""}


def _keys(narrow: bool, keys: Keys) -> tuple[tuple[str, str], ...]:
    shown = (
        ("Enter", "next"),
        ("*", "in/mm"),
        ("+", "yes"),
        (keys.of("take_back"), "back" if narrow else "take back"),
        ("/", "more"),
        (keys.of("help"), "help"),
    )
    return tuple(each for each in shown if each[0])


@lru_cache(maxsize=4)
def keys_line(narrow: bool = False, keys: Keys = AS_SHIPPED) -> Content:
    """Return the keys that matter, in one line; the rest is on the sheet."""
    gap = " " if narrow else "  "
    parts = [((f" {key} ", "bold $accent"), f"{word}{gap}") for key, word in _keys(narrow, keys)]
    return styled(*[part for pair in parts for part in pair])


def key_at(x: int, narrow: bool = False, keys: Keys = AS_SHIPPED) -> str:
    """Return the key at a cell of that line; nothing where two keys share their words."""
    gap = 1 if narrow else 2
    end = 0
    for key, word in _keys(narrow, keys):
        end += cell_len(key) + 2 + cell_len(word) + gap
        if x < end:
            return "" if " " in key else key
    return ""


PAD = (
    ("1", "2", "3", "4", "5", ".", "+", "space", "Esc"),
    ("6", "7", "8", "9", "0", "-", "/", "Backspace", "Enter"),
)
"""The keys for fingers, row by row: what a ski is set with, from received to signed off."""

_PAD_WORDS = {"space": "tick", "Backspace": "del"}


@lru_cache(maxsize=4)
def pad_rows(width: int) -> Content:
    """Return the keys for fingers, each two rows high and as wide as there is room for."""
    wide = width // len(PAD[0])
    blank = styled(*[part for _ in PAD[0] for part in ((" " * (wide - 1), "on $panel"), " ")])
    rows = []
    for keys in PAD:
        words = (_PAD_WORDS.get(key, key).center(wide - 1) for key in keys)
        shown = styled(*[p for w in words for p in ((w, "bold $accent on $panel"), " ")])
        rows += [shown, blank, styled("")]
    return lines(rows[:-1])


def pad_key_at(x: int, y: int, width: int) -> str:
    """Return the key for fingers at a cell; nothing beside them."""
    column = x // (width // len(PAD[0]))
    return PAD[y // 3][column] if column < len(PAD[0]) else ""


def next_rows(state: BenchState, width: int) -> tuple[Content, str]:
    """Return the rows below the panels, and the caution that found none: it goes on their frame.

    Always three rows: to lay the screen out anew takes longer than a key may.
    """
    words, careful = next_words(state), caution(state)
    careful = "" if careful in words else careful
    due = _within(words, width - INDENT, 2)
    said = _said(state, width, _ROWS - len(due))
    rows = [styled(("NEXT  ", "bold $accent"), (due[0], "bold"))]
    rest = f"{' ' * INDENT}{due[1]}  " if len(due) > 1 else ""
    left = width - cell_len(rest)
    if rest and said and (cell_len(" ".join(said)) <= left or (careful and state.tone != "warn")):
        beside = visible(" ".join(said), left) if left >= LEAST_BESIDE else ""
        rows.append(
            styled((rest if beside else rest.rstrip(), "bold"), (beside, _TONES[state.tone]))
        )
        said = []
    elif rest:
        rows.append(styled((rest.rstrip(), "bold")))
    rows += [styled((part, _TONES[state.tone])) for part in said]
    room = _ROWS - len(rows)
    if careful and room > 0:
        rows += [styled((part, CAUTION)) for part in _within(careful, width, room)]
        careful = ""
    return lines(rows), visible(careful, width - 2)


def _said(state: BenchState, width: int, most: int) -> list[str]:
    """Return what was just said under its sign: a warning in ``most`` rows, else in one.

    What to do now is never cut for it.
    """
    if not state.message:
        return []
    sign = {"warn": "! ", "done": "✓ ", "say": ""}[state.tone]
    if state.tone == "warn":
        more = f" more: {state.keys.of('help') or 'F1'}"
        return _within(sign + state.keys.said(state.message), width, most, more)
    return _within(sign + state.keys.said(state.message), width, 1)


def _within(text: str, width: int, most: int, where: str = "") -> list[str]:
    """Return text in at most ``most`` lines; the last, where cut, says where the rest is."""
    parts = wrapped(text, width)
    if len(parts) <= most:
        return parts
    last = visible(" ".join(parts[most - 1 :]), width - len(where))
    return [*parts[: most - 1], last + where]


def next_words(state: BenchState) -> str:
    """Return what to do now, in one sentence, by the keys in force."""
    return state.keys.said(_next_words(state))


def _next_words(state: BenchState) -> str:
    view = state.view
    if view is None:
        return "Enter adds a ski to today's queue; / opens the sheet of everything else."
    if state.question is not None:
        offered = state.question.placings[state.offered]
        others = ", - shows the next," if len(state.question.placings) > 1 else ";"
        return f"+ takes {offered.words}{others} Backspace corrects it, Esc cancels."
    if state.entry:
        return _entry_words(state)
    return keys_words(view, state)


def _entry_words(state: BenchState) -> str:
    """Return what Enter does with what is being typed."""
    if state.entry in "+-":
        way = "down" if state.entry == "+" else "up"
        return f"Type the change, or Enter moves the mark {way}; Backspace takes the sign away."
    if not any(char.isdigit() for char in state.entry):
        return "Type the number; Backspace corrects it, Esc cancels."
    if state.view is None:
        return "No ski in hand: Esc cancels, then Enter adds a ski."
    takes = state.view.stage in READS_AT or TASKS[state.view.stage].asks == "angle"
    if not takes and not state.view.reads_locked:
        return f"Enter keeps {state.entry} as a note: no reading is due. Esc cancels."
    if state.unclear:
        return f"Enter asks what {state.entry} means; Backspace corrects it, Esc cancels."
    return f"Enter takes {state.reads_as or state.entry}; Backspace corrects it, Esc cancels."


def caution(state: BenchState) -> str:
    """Return the caution that belongs where the hand is now."""
    if state.view is None:
        return "The ski and block maker's instructions come first."
    return caution_words(state.view, state.hands_on)
