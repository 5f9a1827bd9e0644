"""A line that finds as it is typed, and tells a caliper's burst from a hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from workbench.bench.bases.bursts import BURST_GAP_S, READING_AT_END, SHORTEST_BURST

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
