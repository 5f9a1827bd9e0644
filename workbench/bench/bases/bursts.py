"""A caliper's burst, told from a hand: digits and Enter, faster than anyone types.

Where a number is due it is a reading; anywhere else it is held, and answers nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING, Generic, Literal, NamedTuple, TypeVar

if TYPE_CHECKING:
    from textual.message_pump import MessagePump
    from textual.timer import Timer

DIGITS = "0123456789.,"
ENTRY_START = DIGITS + "½¼¾⅛⅜⅝⅞"
ENTRY_MORE = ENTRY_START + "/ \"'+-−″”°mnichoutIMNCHOUTµ"
LONGEST_ENTRY, LONGEST_FIND = 40, 60

SHORTEST_BURST = 3
"""Fewer characters than any caliper sends before its Enter."""

GAUGE_GAP_S = 0.040
"""An entry came off a cable where most gaps between its keys are shorter than this."""

BURST_GAP_S = 0.060
"""A key this soon after another is of the same burst."""

BURST_WINDOW_S = 0.15
"""An answer this soon after a burst is its line feed or a key held down, not a hand."""

PLUS_WAIT_S = 0.12
"""How long a sign waits for digits right behind it."""

READING_AT_END = re.compile(r"[+\-]?[0-9.,][0-9.,/ \-]*(?:mm|in|\")?$", re.IGNORECASE)


class Pace:
    """When the keys of one entry came, in seconds of any one clock."""

    def __init__(self) -> None:
        self._times: list[float] = []

    def clear(self) -> None:
        """Begin another entry."""
        self._times.clear()

    def add(self, time: float) -> None:
        """Add a key of the entry."""
        self._times.append(time)

    def pause(self, time: float) -> float:
        """Return how long after the last key of the entry this one comes (s)."""
        return time - self._times[-1] if self._times else float("inf")

    def is_burst(self, enter_s: float) -> bool:
        """Tell whether the keys, and the Enter behind them, came off a cable."""
        gaps = sorted(b - a for a, b in pairwise((*self._times, enter_s)))
        if len(gaps) < SHORTEST_BURST:
            return False
        middle = gaps[(len(gaps) - 1) // 2] + gaps[len(gaps) // 2]
        return middle < 2.0 * GAUGE_GAP_S


class Heard:
    """Gathers what a caliper's cable types where no reading can be taken."""

    def __init__(self) -> None:
        self.text = ""
        self._time = float("-inf")

    def hard_on(self, time: float) -> bool:
        """Tell whether a key comes hard on the heels of the last one."""
        return bool(self.text) and time - self._time < PLUS_WAIT_S

    def belongs(self, char: str, time: float) -> bool:
        """Tell whether a key is of a number: a digit, or a sign or blank hard on its heels."""
        return bool(char) and (char in DIGITS or (char in "+-/ " and self.hard_on(time)))

    def add(self, char: str, time: float) -> None:
        """Add a character to the number under way; after a pause begin another."""
        self.text = self.text + char if self.hard_on(time) else char
        self._time = time

    def complete(self) -> str:
        """Return the reading that Enter completes, or nothing where too little was typed."""
        text, self.text = self.text, ""
        return text if len(text) >= SHORTEST_BURST else ""


Before = TypeVar("Before")


class Enter(NamedTuple, Generic[Before]):
    """What an Enter behind typed text is.

    It was pressed on purpose; or it ends a ``reading`` that came off a cable, with the line as it
    was ``before``; or it came too close on other text; or it is the line feed of another.
    """

    kind: Literal["purpose", "burst", "hasty", "slip"]
    reading: str = ""
    before: Before | None = None


class Run(Generic[Before]):
    """Characters hard on each other's heels, each with the line as it was before it."""

    def __init__(self) -> None:
        self._keys: list[tuple[str, Before]] = []
        self._last_s = float("-inf")

    def hard_on(self, time: float) -> bool:
        """Take the time of a key, which begins another run after a pause; tell if it does not."""
        hard_on = time - self._last_s < BURST_GAP_S
        self._last_s = time
        if not hard_on:
            self._keys.clear()
        return hard_on

    def add(self, char: str, before: Before) -> None:
        """Add a character to the run."""
        self._keys.append((char, before))

    def clear(self) -> None:
        """Forget the run: what came was no character."""
        self._keys.clear()

    @property
    def before(self) -> Before | None:
        """The line as it was before the run; None without one."""
        return self._keys[0][1] if self._keys else None

    def enter(self, time: float) -> Enter[Before]:
        """Return what an Enter is, by what came before it and how fast."""
        hard_on, (keys, self._keys) = self.hard_on(time), (self._keys, [])
        match = READING_AT_END.search("".join(char for char, _ in keys))
        if match is not None and len(match[0].strip()) >= SHORTEST_BURST:
            return Enter("burst", match[0].strip(), keys[match.start()][1])
        return Enter("purpose" if not hard_on else "hasty" if keys else "slip")


class FindLine:
    """The text that is looked for. A reading in it is taken out again when its Enter comes."""

    def __init__(self) -> None:
        self.text = ""
        self._run: Run[str] = Run()

    def type(self, char: str, time: float) -> None:
        """Add a character; blanks count only behind another."""
        self._run.hard_on(time)
        self._run.add(char, self.text)
        if len(self.text) < LONGEST_FIND and (self.text or not char.isspace()):
            self.text += char

    def rub_out(self) -> None:
        """Take the last character back."""
        self.text = self.text[:-1]
        self._run.clear()

    def clear(self) -> None:
        """Begin anew."""
        self.text = ""
        self._run.clear()

    def enter(self, time: float) -> Enter[str]:
        """Return what an Enter is; a reading it ends is taken out of the text."""
        found = self._run.enter(time)
        if found.before is not None:
            self.text = found.before
        return found


class SignKey:
    """A sign with digits on its heels begins a number; alone it acts.

    ``begins`` and ``alone`` are given the sign and when it was pressed; the timer is the pump's.
    """

    def __init__(
        self,
        pump: MessagePump,
        begins: Callable[[str, float], object],
        alone: Callable[[str, float], object],
    ) -> None:
        self._pump, self._begins, self._alone = pump, begins, alone
        self._pressed: tuple[str, float] = ("", 0.0)
        self._waiting: Timer | None = None

    def press(self, sign: str, time: float) -> None:
        """Wait for what comes behind a sign."""
        self._pressed = (sign, time)
        self._waiting = self._pump.set_timer(PLUS_WAIT_S, lambda: self.settle(""))

    def settle(self, char: str) -> None:
        """Decide by the character that came behind the sign, if a sign is waiting."""
        if self._waiting is None:
            return
        self._waiting.stop()
        self._waiting = None
        act = self._begins if char and char in ENTRY_START else self._alone
        act(*self._pressed)
