"""Everything the bench can do, found as it is typed: the actions, and the day's skis by name.

Only an Enter pressed on purpose does the marked line; a caliper's burst is held as a note.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual import events, on
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, Static

from workbench.bench.action_menu import CHOICES
from workbench.bench.bases.bursts import PLUS_WAIT_S
from workbench.bench.bases.form_lines import BOX
from workbench.bench.bases.overlay import KeyLine, Overlay
from workbench.bench.bases.prompts import PromptInput
from workbench.bench.draw.text import first_seen, held_words, lines, literal, styled, visible
from workbench.bench.hand.state import BenchState

if TYPE_CHECKING:
    from workbench.bench.app import Bench

OPEN = "open:"
"""An answer that begins so names a job to take in hand."""

MOST_ROWS = 14
NOT_FOUND = 4


@dataclass(frozen=True, slots=True)
class _Entry:
    """A line of the palette: what it answers, its words, the letter that does the same.

    ``also``: other words that it is found by.
    """

    answer: str
    words: str
    key: str = ""
    also: str = ""


def entries(state: BenchState) -> tuple[_Entry, ...]:
    """Return everything that can be done now."""
    actions = [_Entry(c.action, c.words, state.keys.of(c.action), c.also) for c in CHOICES]
    skis = [
        _Entry(f"{OPEN}{x.job_id}", f"take in hand: {x.ski_name} · {x.rider} · {x.stage}")
        for x in state.roster
    ]
    return (*actions, *skis)


def matching(found: tuple[_Entry, ...], text: str) -> tuple[_Entry, ...]:
    """Return the entries that hold every word of ``text``, or begin another word for them with it.

    Those that begin with it come first, then those of which it begins words, and last those that
    it is another word for.
    """
    words = text.casefold().split()
    ranked = [(_rank(words, e), e) for e in found]
    return tuple(e for rank, e in sorted(ranked, key=lambda each: each[0]) if rank < NOT_FOUND)


def _rank(words: Sequence[str], entry: _Entry) -> int:
    of = entry.words.casefold()
    if of.startswith(" ".join(words)):
        return 0
    if all(_begins(w, of) for w in words):
        return 1
    if all(w in of for w in words):
        return 2
    return 3 if all(w in of or _begins(w, entry.also) for w in words) else NOT_FOUND


def _begins(word: str, words: str) -> bool:
    return any(each.startswith(word) for each in words.split())


class Palette(Overlay[str]):
    """Shows what matches; returns the answer of the one chosen, or nothing."""

    DEFAULT_CSS = f"""
    Palette {{{BOX}
        #found {{ height: auto; text-wrap: nowrap; }}
    }}
    """
    KEYS = "type a word or two · ↑ ↓ choose · + or Enter does it · Esc closes"

    def __init__(self, state: BenchState) -> None:
        super().__init__()
        self._all = entries(state)
        self._found = self._all
        self._at = self._first = 0

    def after(self, bench: Bench, result: str | None) -> None:
        """Do what was chosen, or take that ski in hand."""
        super().after(bench, result)
        if result and result.startswith(OPEN):
            bench.hands.open(result.removeprefix(OPEN))
        elif result:
            bench.do_(result)

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
        first = self._first = first_seen(self._at, len(self._found), room)
        rows = [self._row(first + i, e) for i, e in enumerate(self._found[first : first + room])]
        if not rows:
            rows = [styled(("  nothing is called so", "$ink-faint"))]
        rows += [Content("")] * (room - len(rows))
        self.query_one("#found", Static).update(lines(rows))

    def _row(self, index: int, entry: _Entry) -> Content:
        marked = index == self._at
        text = f"{'▸' if marked else ' '} {visible(entry.words, 66)}"
        return styled((text, "bold" if marked else ""), (f"  {entry.key}", "$ink-faint"))

    @on(Input.Changed)
    def _look(self, event: Input.Changed) -> None:
        event.stop()
        typed = event.value
        if typed.endswith("+"):  # alone it picks, as on the sheet; digits on its heels: a reading
            self.set_timer(PLUS_WAIT_S, lambda: self._plus(typed))
        else:
            self._found, self._at = matching(self._all, typed), 0
            self._draw()

    def _plus(self, typed: str) -> None:
        line = self.query_one(PromptInput)
        if line.value == typed and not self.over:
            line.value = typed.removesuffix("+")
            if self._found:
                self._end(self._found[self._at].answer)

    def on_click(self, event: events.Click) -> None:
        """Mark what is clicked on; a second click on it does it."""
        inside = self.query_one("#found", Static).content_region
        at = event.screen_offset
        index = self._first + at.y - inside.y
        if not inside.contains_point(at) or index >= len(self._found):
            return
        if index == self._at:
            self._end(self._found[index].answer)
        else:
            self._mark(index)

    def on_mouse_scroll_down(self) -> None:
        """Move the mark down."""
        self._mark(self._at + 1)

    def on_mouse_scroll_up(self) -> None:
        """Move the mark up."""
        self._mark(self._at - 1)

    def _mark(self, index: int) -> None:
        self._at = min(max(index, 0), max(len(self._found) - 1, 0))
        self._draw()

    def on_key(self, event: events.Key) -> None:
        """Move the mark, or close."""
        if event.key in ("up", "down"):
            event.stop()
            self._mark(self._at + (1 if event.key == "down" else -1))
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
        self.dismiss(answer)
