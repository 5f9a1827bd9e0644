"""The numbered sheet: everything else that can be done, for the keypad alone.

A digit moves the mark and ``+`` does it: no caliper's burst ends with ``+``. A burst that lands
here closes the sheet and is held, not answered.
"""

from __future__ import annotations

from dataclasses import dataclass

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Static

from workbench.bench.text import lines, styled

PLUS_WAIT_S = 0.12


@dataclass(frozen=True, slots=True)
class Choice:
    """One line of the sheet: the letter that does the same on the bench, and words."""

    action: str
    key: str
    words: str


CHOICES: tuple[Choice, ...] = (
    Choice("take_back", "u", "take the last entry back"),
    Choice("retarget", "t", "change the target"),
    Choice("baseline", "b", "take the baseline as the target"),
    Choice("finer", "f", "finer turn, round and round"),
    Choice("keep", "k", "keep the readings as they stand"),
    Choice("aside", "s", "set this ski aside, with a reason"),
    Choice("strike", "x", "strike out the reading marked, with a reason"),
    Choice("note", "w", "write a note to this job"),
    Choice("unfinished", "j", "next ski that is not finished"),
    Choice("add_ski", "n", "add a ski to today's queue"),
    Choice("add_blade", "e", "add a blade"),
    Choice("add_block", "c", "add a block"),
    Choice("initials", "i", "initials"),
    Choice("side", "p", "other panel at the side"),
    Choice("drawing", "d", "draw with braille, blocks or ASCII"),
    Choice("theme", "y", "theme: night, day, contrast"),
    Choice("help", "h", "help: keys and words"),
    Choice("quit", "q", "leave the bench; everything is kept"),
)


class Sheet(ModalScreen[str]):
    """Shows the choices; returns an action's name, ``held:TEXT`` for a burst, or nothing."""

    BINDINGS = [Binding("escape", "close", show=False)]

    def __init__(self) -> None:
        super().__init__()
        self._typed = ""
        self._marked = 0
        self._time = 0.0

    def compose(self) -> ComposeResult:
        """Lay the sheet out."""
        with Vertical(id="sheet"):
            yield Static(id="sheet-lines", markup=False)

    def on_mount(self) -> None:
        """Show the choices."""
        self._draw()

    def _draw(self) -> None:
        out = [styled(("Everything else: number or arrows, then + ; Esc closes", "bold $accent"))]
        for i, choice in enumerate(CHOICES):
            mark = "▸" if i == self._marked else " "
            style = "bold" if i == self._marked else ""
            out.append(
                styled(
                    (f"{mark}{i + 1:>2}  {choice.words}", style),
                    (f"  ({choice.key})", "$ink-faint"),
                )
            )
        self.query_one("#sheet-lines", Static).update(lines(out))

    def on_key(self, event: Key) -> None:
        """Move the mark, do the marked thing on purpose, or hold a burst."""
        event.stop()
        event.prevent_default()
        char = event.character or ""
        if event.key in ("enter", "ctrl+j"):
            self._enter()
        elif event.key in ("up", "down"):
            self._typed = ""
            self._marked = (self._marked + (1 if event.key == "down" else -1)) % len(CHOICES)
            self._draw()
        elif char and char in "0123456789.,":
            self._type(char, event.time)
        elif char == "+" and event.time - self._time > PLUS_WAIT_S:
            self._typed = ""
            self.set_timer(PLUS_WAIT_S, self._choose)
        elif event.key in ("escape", "backspace", "slash"):
            self.dismiss("")
        elif char:
            for choice in CHOICES:
                if choice.key == char:
                    self.dismiss(choice.action)

    def _type(self, char: str, time: float) -> None:
        self._time = time
        self._typed += char
        if self._typed.isdigit() and 1 <= int(self._typed) <= len(CHOICES):
            self._marked = int(self._typed) - 1
            self._draw()

    def _choose(self) -> None:
        if self._typed:  # digits on the heels of the +: a signed reading
            return
        self.dismiss(CHOICES[self._marked].action)

    def _enter(self) -> None:
        if len(self._typed) >= 3:
            self.dismiss(f"held:{self._typed}")
        self._typed = ""
