"""Help on one screen: what the keys do here, and the words of the trade."""

from __future__ import annotations

from collections.abc import Iterable

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.events import Key
from textual.widgets import Static

from workbench.bench.action_menu import CHOICES
from workbench.bench.bases.bursts import DIGITS, Heard
from workbench.bench.bases.overlay import Overlay
from workbench.bench.draw.text import held_words, hung, lines, look_of, styled, wrapped
from workbench.bench.hand.state import BenchState
from workbench.bench.panels.next_line import next_words
from workbench.bench.panels.turns_panel import steps_in_full
from workbench.work.job_text.view_words import Importance, Said, in_order, said_of, stage_words

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
