"""A list that is searched as it is typed: letters and digits are what is looked for.

Commands lie on the keys beside them. A caliper's burst is taken out of the line again and held.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from textual.events import Key, Paste

from workbench.bench.bases.bursts import BURST_GAP_S, READING_AT_END, SHORTEST_BURST, SignKey
from workbench.bench.bases.lists import ListScreen
from workbench.bench.draw.text import held_words

LONGEST_FIND = 60


@dataclass(frozen=True, slots=True)
class Enter:
    """What an Enter means: open what is marked, or a reading that came off a cable, or nothing."""

    kind: Literal["open", "burst", "nothing"]
    reading: str = ""


class FindLine:
    """The text under way. A reading in it is taken out again when its Enter comes."""

    def __init__(self) -> None:
        self.text = ""
        self._before = ""
        self._run = ""
        self._last_s = float("-inf")

    def type(self, char: str, time: float) -> None:
        """Add a character; blanks count only behind another."""
        if time - self._last_s >= BURST_GAP_S:
            self._before, self._run = self.text, ""
        self._last_s = time
        self._run += char
        if len(self.text) < LONGEST_FIND and (self.text or not char.isspace()):
            self.text += char

    def rub_out(self) -> None:
        """Take the last character back."""
        self.text, self._run = self.text[:-1], ""

    def clear(self) -> None:
        """Begin anew."""
        self.text, self._run = "", ""

    def enter(self, time: float) -> Enter:
        """Return what an Enter means, by what came before it and how fast."""
        hard_on = time - self._last_s < BURST_GAP_S
        self._last_s = time
        match = READING_AT_END.search(self._run)
        run, self._run = self._run, ""
        if match is not None and len(match[0].strip()) >= SHORTEST_BURST and hard_on:
            self.text = (self._before + run[: match.start()]).lstrip()[:LONGEST_FIND]
            return Enter("burst", match[0].strip())
        return Enter("nothing" if hard_on else "open")


class FindScreen(ListScreen):
    """A subclass lists what :attr:`find` finds (:meth:`fill`) and opens what is marked."""

    TAKES_TEXT = True

    def __init__(self) -> None:
        super().__init__()
        self.find = FindLine()
        self._sign = SignKey(self, self.find.type, lambda sign, time: self._open())

    # -- what a subclass gives -------------------------------------------------------------------

    def fill(self) -> None:
        """List what the line finds."""

    def open_marked(self) -> None:
        """Do what Enter and ``+`` do to what is marked."""

    def command(self, key: str) -> None:
        """Do what a key does that is no letter."""

    # -- keys ------------------------------------------------------------------------------------

    def on_key(self, event: Key) -> None:
        """Take every key here, in the order they came."""
        event.stop()
        event.prevent_default()
        if self._over:
            return
        key, char = event.key, event.character or ""
        self._sign.settle(char)
        if self._over:
            return
        if key in ("enter", "ctrl+j"):
            self._entered(event.time)
        elif char == "+":
            self._sign.press(char, event.time)
        elif key == "escape":
            self._escape()
        elif char == "*":
            self.flip()
        elif key == "backspace":
            self.find.rub_out()
            self._found()
        elif len(char) == 1 and char.isprintable():
            self.find.type(char, event.time)
            self._found()
        else:
            self.command(key)

    def scroll_by_key(self, key: str) -> None:
        """Do for the wheel what an arrow does."""
        self.command(key)

    def on_paste(self, event: Paste) -> None:
        """Look for what was pasted; a reading that was is held."""
        event.stop()
        event.prevent_default()
        text = event.text.strip()
        if text and not any(c.isalpha() for c in text):
            self.say(held_words(self.bench, text), "warn")
            return
        for char in text[:LONGEST_FIND]:
            if char.isprintable():
                self.find.type(char, 0.0)
        self._found()

    def _open(self) -> None:
        if not self._over:
            self._try(self.open_marked)

    def _found(self) -> None:
        self.at = 0
        self._try(self.fill)
        self.say("")

    def _entered(self, time: float) -> None:
        found = self.find.enter(time)
        if found.kind == "burst":
            self._try(self.fill)
            self.say(held_words(self.app, found.reading), "warn")
        elif found.kind == "open":
            self._open()

    def _escape(self) -> None:
        if self.find.text:
            self.find.clear()
            self._found()
        else:
            self.close_list()
