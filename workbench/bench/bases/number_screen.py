"""A screen that takes numbers, by hand or off a caliper's cable: an entry, and Enter behind it.

Digits and Enter are a number here and nothing else: they choose and close nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Generic

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.events import Key, Paste, Resize
from textual.screen import ScreenResultType
from textual.widgets import Static

from workbench.bench.bases.bursts import ENTRY_MORE, ENTRY_START, LONGEST_ENTRY, Pace, SignKey
from workbench.bench.bases.overlay import KeyLine, KeyScreen
from workbench.bench.draw.text import TONES, Tone, paragraph, styled
from workbench.measure.units import Unit

if TYPE_CHECKING:
    from workbench.bench.app import Bench

ENTRY_FIRST = "Enter takes the entry first, or rub it out with Backspace"


class NumberScreen(KeyScreen[ScreenResultType], Generic[ScreenResultType]):
    """Keeps the entry in progress; a subclass takes it and draws.

    A subclass says what it shows in each of its ``PARTS`` (:meth:`parts`), and what Enter behind an
    entry (:meth:`take`), ``+`` alone (:meth:`plus`), arrows (:meth:`choose`) and, while no entry is
    in progress, other keys (:meth:`acts`) do. ``ENTRY_SIGNS`` begin an entry at once; a ``+`` that
    is none of them waits for digits on its heels.
    """

    DEFAULT_CSS = """
    NumberScreen { align: center middle; }
    NumberScreen > Vertical {
        width: 92%; max-width: 110; height: auto; max-height: 100%;
        padding: 0 1; background: $surface; color: $foreground; border: round $primary;
    }
    """
    KEYS = "number, Enter takes it · Esc closes"
    ENTRY_SIGNS = ""
    CHOOSES = False
    """Whether arrows choose among rows, which an entry in progress is taken before."""
    PARTS: tuple[str, ...] = ()
    """The names of what is shown one below the other, above the keys."""

    def __init__(self, unit: Unit = "in") -> None:
        super().__init__()
        self.unit = unit
        self.entry = ""
        self.message: tuple[str, Tone] = ("", "say")
        self.pace = Pace()
        self.sign = SignKey(self, self.type, lambda sign, time: self.plus(time))
        self.refused = False
        """Whether the entry was refused: it stays to be corrected, and starts no other number."""

    def compose(self) -> ComposeResult:
        """Lay out the parts and the keys."""
        box = Vertical()
        box.border_title = self.TITLE_WORDS
        with box:
            for part in self.PARTS:
                yield Static(id=part, markup=False)
            yield KeyLine(self.KEYS)

    def on_mount(self) -> None:
        """Show what there is to begin with."""
        self.draw()

    def after(self, bench: Bench, result: ScreenResultType | None) -> None:
        """Read everything again."""
        super().after(bench, result)
        bench.hands.look_again()

    def draw(self) -> None:
        """Draw everything anew."""
        if self.is_mounted:
            for part, shown in zip(self.PARTS, self.parts(self.inner_width), strict=True):
                self.query_one(f"#{part}", Static).update(shown)

    # -- what a subclass gives -------------------------------------------------------------------

    def parts(self, width: int) -> Sequence[Content]:
        """Return what each of the parts shows."""
        raise NotImplementedError

    def choose(self, step: int) -> None:
        """Mark another row; no entry is in progress."""

    def take(self, time: float) -> None:
        """Take the entry in progress; Enter came at ``time``."""
        raise NotImplementedError

    def plus(self, time: float) -> None:
        """Do what ``+`` alone does; it was pressed at ``time``."""

    def leave(self) -> None:
        """Do what Esc does: drop the entry, else close."""
        if self.entry:
            self.entry, self.refused = "", False
            self.pace.clear()
            self.say("entry dropped")
        else:
            self.dismiss(None)

    # -- the entry -------------------------------------------------------------------------------

    def belongs(self, char: str) -> bool:
        """Tell whether a character is of the entry now."""
        more = bool(self.entry) and char in ENTRY_MORE
        return char in ENTRY_START or char in self.ENTRY_SIGNS or more

    def is_of_entry(self, char: str) -> bool:
        """Tell whether a letter belongs to the entry in progress."""
        return bool(self.entry) and self.belongs(char)

    def give_way(self) -> bool:
        """Close for a ski that was scanned; an entry in progress is not to be lost."""
        if self.entry:
            return False
        self.leave()
        return self.over

    def type(self, char: str, time: float) -> None:
        """Add a character to the entry; one too long is refused.

        What was refused is not the start of the next number; a unit may still go behind it.
        """
        if self.refused and (char in ENTRY_START or char in self.ENTRY_SIGNS):
            self.entry = ""
        self.refused = False
        if len(self.entry) >= LONGEST_ENTRY:
            self.say(f"an entry has at most {LONGEST_ENTRY} characters", "warn")
            return
        if not self.entry:
            self.pace.clear()
        self.pace.add(time)
        self.entry += char
        self.draw()

    def rub_out(self) -> None:
        """Take the last character of the entry back; what is left of a refused one is corrected."""
        self.refused = False
        self.pace.clear()
        self.entry = self.entry[:-1]
        self.draw()

    def entry_line(self) -> Content:
        """Return the line that is typed into."""
        typed = self.entry or "type it, then Enter"
        return styled(("▏ ", "$accent"), (typed, "bold" if self.entry else "$ink-faint"))

    def said(self, width: int, most: int) -> list[Content]:
        """Return the message in at most ``most`` rows."""
        words, tone = self.message
        return paragraph(words, width, TONES[tone])[:most]

    # -- what is said and done -------------------------------------------------------------------

    @property
    def inner_width(self) -> int:
        """The cells of a line inside the frame."""
        return max(min(self.size.width * 92 // 100, 110) - 4, 20)

    def say(self, words: str, tone: Tone = "say") -> None:
        """Show a message until the next one."""
        self.message = (words, tone)
        self.draw()

    def attempt(self, act: Callable[[], object]) -> bool:
        """Do it; what was typed stays where it is refused, to be corrected."""
        done = super().attempt(act)
        self.refused = self.refused or (not done and bool(self.entry))
        return done

    # -- keys ------------------------------------------------------------------------------------

    def on_resize(self, event: Resize) -> None:
        """Draw for the room there is."""
        self.draw()

    def take_key(self, event: Key) -> None:
        """Take what belongs to the entry, do what keys do, and close."""
        key, char = event.key, event.character or ""
        self.sign.settle(char)
        if key in ("enter", "ctrl+j"):
            if self.entry:
                self.take(event.time)
        elif key == "escape":
            self.leave()
        elif key == "backspace":
            self.rub_out()
        elif char and self.belongs(char):
            self.type(char, event.time)
        elif char == "+":
            self.sign.press(char, event.time)
        elif char == "*":
            self.flip()
        elif key in ("up", "down"):
            self.step(1 if key == "down" else -1)
        elif not self.entry:
            self.do_key(key, char)

    def step(self, by: int) -> None:
        """Mark another row, once no entry is in progress."""
        if self.CHOOSES and self.entry:
            self.say(ENTRY_FIRST, "warn")
        elif self.CHOOSES:
            self.choose(by)

    def on_paste(self, event: Paste) -> None:
        """Take pasted text as if it had been typed; it is never taken without an Enter."""
        event.stop()
        for char in event.text.strip():
            if self.belongs(char) or (char == "+" and not self.entry):
                self.type(char, 0.0)
        self.pace.clear()
