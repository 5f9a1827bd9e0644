"""Everything the bench can do, found as it is typed: the actions, and the day's skis by name.

Only an Enter pressed on purpose does the marked line; a caliper's burst is held as a note.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from textual import events, on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, Static

from workbench.bench.key_line import KeyLine
from workbench.bench.lines import BOX
from workbench.bench.opens import OPEN
from workbench.bench.overlay import Overlay
from workbench.bench.prompts import PromptInput
from workbench.bench.room import first_seen, held_words
from workbench.bench.sheet import CHOICES
from workbench.bench.state import BenchState
from workbench.bench.text import lines, literal, styled, visible

MOST_ROWS = 14


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the palette: what it answers, its words, the letter that does the same."""

    answer: str
    words: str
    key: str = ""


def entries(state: BenchState) -> tuple[Entry, ...]:
    """Return everything that can be done now."""
    actions = [Entry(c.action, c.words, c.key) for c in CHOICES]
    skis = [
        Entry(f"{OPEN}{x.job_id}", f"take in hand: {x.ski_name} · {x.rider} · {x.stage}")
        for x in state.roster
    ]
    return (*actions, *skis)


def matching(found: tuple[Entry, ...], text: str) -> tuple[Entry, ...]:
    """Return the entries that hold every word of ``text``.

    Those that begin with it come first, then those of which it begins words.
    """
    words = text.casefold().split()
    kept = [e for e in found if all(w in e.words.casefold() for w in words)]
    return tuple(sorted(kept, key=lambda e: _rank(words, e.words.casefold())))


def _rank(words: Sequence[str], of: str) -> int:
    if of.startswith(" ".join(words)):
        return 0
    return 1 if all(_begins(w, of) for w in words) else 2


def _begins(word: str, words: str) -> bool:
    return any(each.startswith(word) for each in words.split())


class Palette(Overlay[str]):
    """Shows what matches; returns the answer of the one chosen, or nothing."""

    DEFAULT_CSS = f"""
    Palette {{{BOX}
        #found {{ height: auto; text-wrap: nowrap; }}
    }}
    """
    KEYS = "type a word or two · ↑ ↓ choose · Enter does it · Esc closes"

    def __init__(self, state: BenchState) -> None:
        super().__init__()
        self._all = entries(state)
        self._found = self._all
        self._at = 0
        self._over = False

    def compose(self) -> ComposeResult:
        """Lay out the line, what matches, and the keys."""
        with Vertical():
            yield PromptInput()
            yield Static(id="found", markup=False)
            yield Static(classes="note")
            yield KeyLine(self.KEYS, classes="keys")

    def on_mount(self) -> None:
        """Begin in the line."""
        self.query_one(PromptInput).focus()
        self._draw()

    def on_resize(self, event: events.Resize) -> None:
        """Show as much as there is room for."""
        self._draw()

    def _draw(self) -> None:
        room = max(min(MOST_ROWS, self.size.height - 8), 3)
        first = first_seen(self._at, len(self._found), room)
        rows = [self._row(first + i, e) for i, e in enumerate(self._found[first : first + room])]
        if not rows:
            rows = [styled(("  nothing is called so", "$ink-faint"))]
        rows += [Content("")] * (room - len(rows))
        self.query_one("#found", Static).update(lines(rows))

    def _row(self, index: int, entry: Entry) -> Content:
        marked = index == self._at
        text = f"{'▸' if marked else ' '} {visible(entry.words, 66)}"
        return styled((text, "bold" if marked else ""), (f"  {entry.key}", "$ink-faint"))

    @on(Input.Changed)
    def _look(self, event: Input.Changed) -> None:
        event.stop()
        self._found, self._at = matching(self._all, event.value), 0
        self._draw()

    def on_key(self, event: events.Key) -> None:
        """Move the mark, or close."""
        if event.key in ("up", "down"):
            event.stop()
            step = 1 if event.key == "down" else -1
            self._at = min(max(self._at + step, 0), max(len(self._found) - 1, 0))
            self._draw()
        elif event.key == "escape":
            event.stop()
            self._end("")

    @on(PromptInput.Answered)
    def _do(self) -> None:
        chosen = self._at > 0 or self.query_one(PromptInput).value.strip()
        if self._found and chosen:  # an Enter on nothing typed and nothing marked is a slip
            self._end(self._found[self._at].answer)

    @on(PromptInput.Burst)
    def _hold(self, event: PromptInput.Burst) -> None:
        note = self.query_one(".note", Static)
        note.update(literal(held_words(self.app, event.reading), 100))
        note.set_class(True, "-shown")

    def give_way(self) -> bool:
        """Close for a ski that was scanned."""
        self._end("")
        return True

    def _end(self, answer: str) -> None:
        if not self._over:
            self._over = True
            self.dismiss(answer)
