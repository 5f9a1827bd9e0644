"""Help with the keys and words of the trade, and the palette, which finds what can be done."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual import events, on
from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.events import Key
from textual.widgets import Input, Static

from workbench.bench.action_menu import CHOICES
from workbench.bench.bases.bursts import DIGITS, PLUS_WAIT_S, Heard
from workbench.bench.bases.forms import BOX
from workbench.bench.bases.overlay import KeyLine, Overlay
from workbench.bench.bases.prompts import PromptInput
from workbench.bench.draw.text import (
    first_seen,
    held_words,
    hung,
    lines,
    literal,
    look_of,
    styled,
    visible,
    wrapped,
)
from workbench.bench.hand.state import BenchState
from workbench.bench.panels.next_line import next_words
from workbench.bench.panels.turns_panel import steps_in_full
from workbench.work.job_text.view_words import Importance, Said, in_order, said_of, stage_words

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
    """Shows what matches; returns the answer of the one chosen, or nothing.

    Only an Enter pressed on purpose does the marked line; a caliper's burst is held as a note.
    """

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

    @classmethod
    def open_on(cls, bench: Bench) -> None:
        """Show it, once the whole day is read."""
        bench.hands.read_all()
        bench.show(cls(bench.hands.state))

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


NAME_CELLS = 11
"""Cells for a key or a word before what it means."""

_KEYS = (
    ("Enter", "the next step, always; with an entry: take it"),
    ("digits . ,", "start the reading due, wherever you are; 2450 is 2.450"),
    ("+  space", "tick, answer yes, sign off: on purpose only"),
    ("+5  -12", "at a target: a change of 0.005, of 0.012 in; of hundredths on a mm bench"),
    ("+ Enter", "the mark down, - Enter up: for the numeric keypad"),
    ("*", "inch or mm, everywhere; what was typed keeps its unit"),
    ("/", "the numbered sheet of everything else"),
    ("up down", "another reading or target; a reading typed again is a repeat"),
    ("PgUp PgDn", "another ski of the queue"),
    ("Backspace", "correct the entry; Esc cancels"),
)

_WORDS = (
    ("depth", "from the base to the blade's outer edge, at a hole's edge or at its deepest"),
    ("tail", "from the ski's tail end forward to the blade's trailing edge; many call it DFT"),
    ("length", "leading edge to trailing edge, near the base"),
    ("tips, flat", "jaw tips right at the base, or the caliper lying flat: very different numbers"),
    ("in step", "top line: this book and its hub are; behind, alone: since when (hub, sync)"),
    ("in, out", "a stud goes in toward the blade, out away from it"),
)


class Help(Overlay[None]):
    """The help screen; Esc or h closes it. A caliper's burst is held, not lost."""

    AUTO_FOCUS = "#help"  # so that the arrows scroll
    OWN_KEYS = ("f1",)

    @classmethod
    def open_on(cls, bench: Bench) -> None:
        """Show the keys of the screen that it is asked for on, or help for the whole bench."""
        bench.push_screen(cls(bench.hands.state, getattr(bench.screen, "KEYS", "")))

    def __init__(self, state: BenchState, here: str = "") -> None:
        """``here`` are the keys of the screen that help was asked for on, if not the bench."""
        super().__init__()
        self._heard = Heard()
        self._state = state
        self._here = here

    def compose(self) -> ComposeResult:
        """Lay the help out."""
        keys = self._state.keys
        out = [styled(("Where you are", "bold $accent"))]
        out += [styled(f"  {x}") for x in self._where()]
        out += self._in_full()
        out += [styled(("Keys of the bench", "bold $accent"))]
        out += self._entries(_KEYS)
        out += self._entries((keys.of(c.action), c.words) for c in CHOICES if keys.of(c.action))
        out += [styled(("On the sheet and in the palette", "bold $accent"))]
        out += [styled(f"  {c.words}") for c in CHOICES if not keys.of(c.action)]
        out += [styled(("Words", "bold $accent"))]
        out += self._entries(_WORDS)
        out += [styled("A loose or sharp fin injures. The maker's instructions come first.")]
        with VerticalScroll(id="help") as box:
            box.border_title = "Help · ↑ ↓ scroll · Esc closes"
            yield Static(lines(out))

    def _entries(self, entries: Iterable[tuple[str, str]]) -> list[Content]:
        """Return keys or words with what they mean beside them, however narrow it is."""
        width = min(92, self.app.size.width) - 6
        return [
            row
            for name, words in entries
            for row in hung(f"  {name:<{NAME_CELLS}}", "bold", words, width)
        ]

    def _where(self) -> list[str]:
        """Say what can be done right here."""
        width = min(84, self.app.size.width - 8)
        if self._here:
            return [x for part in self._here.split(" · ") for x in wrapped(part.strip(), width)]
        view = self._state.view
        stage = f"{view.ski.name}: {stage_words(view)}. " if view is not None else ""
        said = wrapped(f"! {self._state.message}", width) if self._state.tone == "warn" else []
        return [*wrapped(f"{stage}{next_words(self._state)}", width), *said]

    def _in_full(self) -> list[Content]:
        """Return what may find no room beside the readings: every warning, the wing's screws."""
        if self._here:
            return []
        width = min(84, self.app.size.width - 8)
        if self._state.view is not None and self._state.view.stage == "wing":
            steps = [styled("  ", row) for row in steps_in_full(width)]
            return [styled(("The wing, in this order", "bold $accent")), *steps]
        rows = [(part, style) for words, style in self._warned() for part in wrapped(words, width)]
        head = [styled(("Warnings", "bold $accent"))] if rows else []
        return head + [styled(("  ", ""), row) for row in rows]

    def _warned(self) -> list[tuple[str, str]]:
        """Return every warning behind its sign, with its style."""
        view = self._state.view
        said = list(said_of(view, self._state.unit)) if view is not None else []
        others = (self._state.clash, self._state.elsewhere)
        said += [Said(Importance.WRONG, words) for words in others if words]
        return [(each.signed, look_of(each.importance)) for each in in_order(said)]

    def on_key(self, event: Key) -> None:
        """Close on purpose; a number that comes in is held."""
        char = event.character or ""
        own = (self._state.keys.of("help"), self._state.keys.of("quit"))
        if event.key in ("escape", "f1", "question_mark") or (char and char in own):
            event.stop()
            self.dismiss(None)
        elif char and char in DIGITS + "+-/":
            self._heard.add(char, event.time)
        elif event.key in ("enter", "ctrl+j") and (reading := self._heard.complete()):
            held_words(self.app, reading)
