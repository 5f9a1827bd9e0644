"""A list that is searched as it is typed: letters and digits are what is looked for.

Commands lie on the keys beside them. A caliper's burst is taken out of the line again and held.
"""

from __future__ import annotations

from textual.events import Key, Paste
from textual.timer import Timer

from workbench.bench.find_line import FindLine
from workbench.bench.lists import ListScreen
from workbench.bench.sheet import PLUS_WAIT_S


class FindScreen(ListScreen):
    """A subclass lists what :attr:`find` finds (:meth:`fill`) and opens what is marked."""

    def __init__(self) -> None:
        super().__init__()
        self.find = FindLine()
        self._plus: Timer | None = None

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
        if self._plus is not None:
            self._settle_plus(char, event.time)
            if self._over:
                return
        if key in ("enter", "ctrl+j"):
            self._entered(event.time)
        elif char == "+":
            self._plus = self.set_timer(PLUS_WAIT_S, self._plus_pressed)
        elif key == "escape":
            self._escape()
        elif key == "backspace":
            self.find.rub_out()
            self._found()
        elif len(char) == 1 and char.isprintable():
            self.find.type(char, event.time)
            self._found()
        else:
            self.command(key)

    def on_paste(self, event: Paste) -> None:
        """Look for what was pasted; a reading that was is held."""
        event.stop()
        event.prevent_default()
        text = event.text.strip()
        if text and not any(c.isalpha() for c in text):
            self.bench.hold_burst(text)
            self.say("pasted text is held as a note: no number is read here", "warn")
            return
        for char in text:
            if char.isprintable():
                self.find.type(char, 0.0)
        self._found()

    def _settle_plus(self, char: str, time: float) -> None:
        """A + with digits on its heels is the sign of a reading; alone it opens."""
        if self._plus is not None:
            self._plus.stop()
            self._plus = None
        if char and char in "0123456789.,":
            self.find.type("+", time)
        else:
            self._try(self.open_marked)

    def _plus_pressed(self) -> None:
        if self._plus is not None and not self._over:
            self._plus = None
            self._try(self.open_marked)

    def _found(self) -> None:
        self.at = 0
        self._try(self.fill)
        self.say("")

    def _entered(self, time: float) -> None:
        found = self.find.enter(time)
        if found.kind == "burst":
            self.bench.hold_burst(found.reading)
            self._try(self.fill)
            self.say(f"{found.reading} came in here and is held as a note", "warn")
        elif found.kind == "open":
            self._try(self.open_marked)

    def _escape(self) -> None:
        if self.find.text:
            self.find.clear()
            self._found()
        else:
            self.close_list()
