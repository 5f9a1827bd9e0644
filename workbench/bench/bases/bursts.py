"""A caliper's burst, told from a hand: digits and Enter, faster than anyone types.

Where a number is due it is a reading; anywhere else it is held, and answers nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.message_pump import MessagePump
    from textual.timer import Timer

DIGITS = "0123456789.,"
ENTRY_START = DIGITS + "½¼¾⅛⅜⅝⅞"
ENTRY_MORE = ENTRY_START + "/ \"'+-−″”°mnichoutIMNCHOUTµ"
LONGEST_ENTRY = 40

SHORTEST_BURST = 3
"""Fewer characters than any caliper sends before its Enter."""

GAUGE_GAP_S = 0.040
"""An entry came off a cable where most gaps between its keys are shorter than this."""

BURST_GAP_S = 0.060
"""A key this soon after another is of the same burst."""

BURST_WINDOW_S = 0.15
"""An answer this soon after a burst is its line feed or a key held down, not a hand."""

PLUS_WAIT_S = 0.12
"""So long a sign waits for digits on its heels."""

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
