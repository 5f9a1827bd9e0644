"""The door that keys pass: one at a time, in their order, and no letters faster than a hand.

A key waits until the one before has been through the widget and the screen that it went to, and
until a screen that was opened or uncovered by it is ready. Letters are commands, so one alone waits
a moment for what comes behind it: a scanner's text runs none, and a ski's serial takes that ski.
"""

from __future__ import annotations

import asyncio
from collections import deque
from time import monotonic
from typing import TYPE_CHECKING

from textual.app import App
from textual.events import Key, Paste
from textual.widgets import Input

from workbench.bench.bases.bursts import GAUGE_GAP_S, READING_AT_END, SHORTEST_BURST
from workbench.bench.bases.overlay import Overlay
from workbench.bench.draw.text import visible
from workbench.errors import BenchError
from workbench.frozen import dataclass
from workbench.work.text.words import error_words

if TYPE_CHECKING:
    from textual.message_pump import MessagePump
    from textual.screen import Screen

    from workbench.bench.app import Bench

LETTER_WAIT_S = GAUGE_GAP_S
"""How long a letter waits for another right behind it: a hand is slower."""

CLOSED_WAIT_S = 0.1
"""Longest time a closing screen takes to say so."""

LONGEST_WAIT_S = 1.0
"""A screen that has not taken a key by then holds up the next no longer."""

FEWEST_DIGITS = 6
"""A serial of digits alone is told from a reading by more of them than a caliper shows."""

NAMED_KEYS: dict[str, tuple[str, str | None]] = {
    "Enter": ("enter", "\r"), "Esc": ("escape", None), "Tab": ("tab", "\t"),
    "space": ("space", " "), "PgUp": ("pageup", None), "PgDn": ("pagedown", None),
    "↑": ("up", None), "↓": ("down", None), "←": ("left", None), "→": ("right", None),
    "*": ("asterisk", "*"), "/": ("slash", "/"), "+": ("plus", "+"), "-": ("minus", "-"),
}  # fmt: skip
"""Name and character of the keys that lines of keys show by other names than Textual's."""

TOLD_CELLS = 24
ENTERS = ("enter", "ctrl+j")


def is_reading(text: str) -> bool:
    """Tell whether a burst is a number as a caliper sends it."""
    return READING_AT_END.fullmatch(text.strip()) is not None


def may_be_serial(text: str) -> bool:
    """Tell whether a burst may be a serial: no number that a caliper could have sent."""
    if text.isdecimal():
        return len(text) >= FEWEST_DIGITS
    return len(text) > 1 and not is_reading(text)


@dataclass(frozen=True, slots=True)
class _InLine:
    """A key or a paste in the line; ``alone``: nothing came on its heels, so it is a hand's."""

    event: Key | Paste
    alone: bool = False


class KeyGate:
    """Lets keys and pastes into the bench and its screens one by one."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._line: deque[_InLine] = deque()
        self._ticket = 0
        self._busy = False
        self._stands: Screen[object] | None = None
        self._passed = ""
        self._held: list[Key] = []
        self._last_s = float("-inf")

    async def take(self, event: Key | Paste) -> None:
        """Put an event at the end of the line, and let in what may."""
        self._line.append(_InLine(event))
        await self._go_on()

    async def press(self, shown: str) -> None:
        """Take a key by the name that a line of keys shows it by."""
        name, char = NAMED_KEYS.get(shown, (shown.lower(), shown if len(shown) == 1 else None))
        await self.take(Key(name, char))

    # -- one at a time ---------------------------------------------------------------------------

    async def _go_on(self) -> None:
        bench = self._bench
        while self._line and not self._busy and not bench.is_leaving:
            if bench.screen is not self._stands:
                self._stands = bench.screen
                self._wait_behind([bench.screen])
            else:
                await self._next(self._line.popleft())

    async def _let_in(self, event: Key | Paste) -> None:
        way = self._way()
        if not await self._bench.let_in(event):
            self._wait_behind(way)

    def _way(self) -> list[MessagePump]:
        """Return what a key goes through: what has the focus, what that lies in, the screen."""
        screen = self._bench.screen
        return [x for x in (screen.focused or screen).ancestors_with_self if not isinstance(x, App)]

    def _wait_behind(self, way: list[MessagePump]) -> None:
        """Wait until each of these has done what lies before it now."""
        self._busy = True
        self._ticket += 1
        loop = asyncio.get_running_loop()
        loop.call_later(LONGEST_WAIT_S, self._pass_on, self._ticket, [])
        loop.call_later(CLOSED_WAIT_S, self._look, self._ticket, self._stands)
        self._pass_on(self._ticket, way)

    def _look(self, ticket: int, screen: Screen[object] | None) -> None:
        """Wait no longer behind a screen that has closed, and dropped what lay before it."""
        if self._bench.is_running and self._bench.screen is not screen:
            self._pass_on(ticket, [])

    def _pass_on(self, ticket: int, way: list[MessagePump]) -> None:
        while way:
            first, *way = way
            if first.call_later(self._pass_on, ticket, way):
                return
        if ticket == self._ticket:
            self._bench.call_later(self._through, ticket)

    async def _through(self, ticket: int) -> None:
        if ticket == self._ticket and self._busy:
            self._busy = False
            await self._go_on()

    # -- letters faster than a hand --------------------------------------------------------------

    async def _next(self, waiting: _InLine) -> None:
        event = waiting.event
        char = event.character or "" if isinstance(event, Key) and event.is_printable else ""
        enters = isinstance(event, Key) and event.key in ENTERS
        hard_on = abs(event.time - self._last_s) < LETTER_WAIT_S
        if waiting.alone:
            await self._let_in(event)
        elif self._held and hard_on and isinstance(event, Key) and char:
            self._hold(event)
        elif self._held and hard_on and enters and len(self._held) > 1:
            self._end_burst(waiting)
        elif self._held:
            self._end_run(waiting)
        elif isinstance(event, Key) and char:
            self._passed = self._passed if hard_on else ""
            self._last_s = event.time
            if self._waits(char):
                self._hold(event)
            else:
                self._passed += char
                await self._let_in(event)
        else:
            passed, self._passed = self._passed, ""
            if not (enters and hard_on and self._take_scanned(passed, "")):
                await self._let_in(event)

    def _waits(self, char: str) -> bool:
        """Tell whether a character may begin a scanner's text where it would be a command."""
        bench = self._bench
        if isinstance(bench.focused, Input) or getattr(bench.screen, "TAKES_TEXT", False):
            return False
        if char.isalpha():
            return not self._is_of_entry(char)
        return char.isdigit() and bench.hands.begins_serial(char)

    def _is_of_entry(self, char: str) -> bool:
        bench = self._bench
        if isinstance(bench.screen, Overlay):
            return bench.screen.is_of_entry(char)
        return bench.hands.state.mending and bench.entry.takes(char)

    def _hold(self, event: Key) -> None:
        self._held.append(event)
        self._last_s = event.time
        loop = asyncio.get_running_loop()
        loop.call_later(LETTER_WAIT_S, self._bench.call_later, self._nothing_came, event)

    async def _nothing_came(self, behind: Key) -> None:
        if self._held and self._held[-1] is behind:
            self._end_run()
            await self._go_on()

    def _run(self) -> tuple[list[_InLine], str]:
        """Return the keys held, each now to be let in, and the text of the whole run."""
        keys, self._held = self._held, []
        text = self._passed + "".join(key.character or "" for key in keys)
        return [_InLine(key, alone=True) for key in keys], text

    def _end_run(self, *behind: _InLine) -> None:
        """Let in what a hand typed; a longer run does nothing, and that is said."""
        keys, text = self._run()
        if len(keys) >= SHORTEST_BURST and not is_reading(text):
            words = f"'{visible(text, TOLD_CELLS)}' came faster than a hand types: nothing was done"
            self._bench.tell(words)
            keys = []
        self._line.extendleft(reversed([*keys, *behind]))

    def _end_burst(self, enter: _InLine) -> None:
        """Take the ski whose serial it is; let a number in; keep anything else as a note."""
        passed = self._passed
        keys, text = self._run()
        if self._take_scanned(text, passed):
            return
        if is_reading(text) or not any(char.isalpha() for char in text):
            self._line.extendleft(reversed([*keys, _InLine(enter.event, alone=True)]))
            return
        self._rub_out(passed)
        kept = "is kept as a note" if self._bench.hold_burst(text) else "is not kept"
        self._bench.tell(f"'{visible(text, TOLD_CELLS)}' is no serial of this book: it {kept}")

    def _take_scanned(self, serial: str, begun: str) -> bool:
        """Take the ski of a serial in hand; False where no ski has it, or what is open stays.

        ``begun``: what of it an entry took meanwhile, which is rubbed out again.
        """
        bench, hands = self._bench, self._bench.hands
        if not may_be_serial(serial):
            return False
        try:
            found = hands.scanned(serial)
        except BenchError as why:
            bench.tell(error_words(why, hands.state.unit))
            return False
        if not found:
            return False
        while isinstance(top := bench.screen, Overlay):
            if not top.give_way():
                return False
        self._rub_out(begun)
        if isinstance(found, str):
            bench.tell(found)
        else:
            hands.open(found.job_id)
            noted = hands.state.message  # an entry in progress, kept as a note
            said = f"scanned: {found.ski_name} is in hand"
            hands.say(f"{said}; {noted}" if noted else said, "warn" if noted else "done")
        bench.entry.ignore_enter(monotonic())
        return True

    def _rub_out(self, begun: str) -> None:
        bench = self._bench
        if begun and len(bench.screen_stack) == 1 and bench.hands.state.entry.endswith(begun):
            for _ in begun:
                bench.entry.rub_out()
