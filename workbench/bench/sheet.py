"""The numbered sheet: everything else that can be done, for the keypad alone.

A digit moves the mark and ``+`` does it: no caliper's burst ends with ``+``. A burst that lands
here is held and answers nothing; the sheet stays.
"""

from __future__ import annotations

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.content import Content
from textual.events import Key, Resize
from textual.screen import ModalScreen
from textual.widgets import Static

from workbench.bench.bursts import PLUS_WAIT_S, Heard
from workbench.bench.opens import OPENINGS
from workbench.bench.room import first_seen
from workbench.bench.text import lines, literal, styled, visible
from workbench.frozen import dataclass

COLUMN = 38


@dataclass(frozen=True, slots=True)
class Choice:
    """One line of the sheet: the letter that does the same on the bench, and words."""

    action: str
    key: str
    words: str


_LEAVING = (
    Choice("tour", "", "first day: a walk-through"),
    Choice("palette", ":", "find what to do by typing"),
    Choice("help", "h", "help: keys and words"),
    Choice("quit", "q", "leave; everything is kept"),
)

CHOICES: tuple[Choice, ...] = (
    Choice("take_back", "u", "take the last entry back"),
    Choice("retarget", "t", "change the target"),
    Choice("baseline", "b", "the baseline as the target"),
    Choice("finer", "f", "finer turn, round and round"),
    Choice("keep", "k", "keep readings as they stand"),
    Choice("aside", "s", "set this ski aside: reason"),
    Choice("strike", "x", "strike out reading ▸: reason"),
    Choice("note", "w", "write a note"),
    Choice("hold", "m", "how to take this reading"),
    Choice("worth", "g", "what it is worth, and why"),
    Choice("restate", "v", "this fin by every method"),
    Choice("calipers", "l", "calipers: register, check"),
    Choice("unfinished", "j", "next ski not finished"),
    Choice("add_ski", "n", "add a ski to the queue"),
    Choice("queue_ski", "r", "queue a known ski again"),
    Choice("add_blade", "e", "add a blade"),
    Choice("add_block", "c", "add a block"),
    Choice("initials", "i", "initials"),
    Choice("large", "=", "what matters now, in large"),
    Choice("side", "p", "other panel at the side"),
    Choice("drawing", "d", "draw: braille, blocks, ASCII"),
    Choice("theme", "y", "theme: night, day, contrast"),
    *(Choice(action, o.key, o.words) for action, o in OPENINGS.items()),
    *_LEAVING,
)


class Sheet(ModalScreen[str]):
    """Shows the choices; returns an action's name or nothing. A burst is given to the app."""

    BINDINGS = [Binding("escape", "close", show=False)]

    def __init__(self) -> None:
        super().__init__()
        self._heard = Heard()
        self._number = ""
        self._marked = 0
        self._held = ""

    def compose(self) -> ComposeResult:
        """Lay the sheet out."""
        with Vertical(id="sheet"):
            yield Static(id="sheet-lines", markup=False)

    def on_mount(self) -> None:
        """Show the choices."""
        self._draw()

    def on_resize(self, event: Resize) -> None:
        """Lay the columns out for the room there is."""
        self._draw()

    def _draw(self) -> None:
        columns = min(max((self.size.width - 4) // COLUMN, 1), 3)
        deep = -(-len(CHOICES) // columns)
        room = max(self.size.height - 2, 3)
        first = first_seen(self._marked % deep, deep, room)
        out = []
        for i in range(first, min(first + room, deep)):
            row = [i + deep * column for column in range(columns)]
            out.append(styled(*(self._choice(n) for n in row if n < len(CHOICES))))
        sheet = self.query_one("#sheet", Vertical)
        sheet.styles.width = columns * COLUMN + 4
        sheet.border_title = literal(self._head(columns == 1, deep > room), columns * COLUMN)
        self.query_one("#sheet-lines", Static).update(lines(out))

    def _head(self, narrow: bool, cut: bool) -> str:
        """Return how to choose, or what came in meanwhile."""
        if self._held:
            came = "" if narrow else "came in here: "
            return f"! {visible(self._held, 12 if narrow else 24)} {came}held as a note"
        if narrow:
            return "Number or ↑ ↓, then + ; Esc closes"
        more = " ; more ↑ ↓" if cut else ""
        return f"Everything else: number or arrows, then + ; Esc closes{more}"

    def _choice(self, index: int) -> Content:
        """Return a choice in a column of its own width, marked where it is the one."""
        choice = CHOICES[index]
        mark = "▸" if index == self._marked else " "
        style = "bold" if index == self._marked else ""
        text = f"{mark}{index + 1:>2} {choice.words}"
        key = f" {choice.key} "
        return styled((text.ljust(COLUMN - len(key)), style), (key, "$ink-faint"))

    def on_key(self, event: Key) -> None:
        """Move the mark, do the marked thing on purpose, or hold a burst."""
        event.stop()
        event.prevent_default()
        char, time = event.character or "", event.time
        if event.key in ("enter", "ctrl+j"):
            self._enter()
        elif event.key in ("up", "down"):
            self._mark(self._marked + (1 if event.key == "down" else -1))
        elif self._heard.belongs(char, time):
            self._type(char, time)
        elif char and char in "+-":
            self._heard.add(char, time)
            if char == "+":
                self.set_timer(PLUS_WAIT_S, self._choose)
        elif event.key in ("escape", "backspace", "slash"):
            self.dismiss("")
        else:
            self._letter(char)

    def _mark(self, index: int) -> None:
        self._number = ""
        self._marked = index % len(CHOICES)
        self._draw()

    def _type(self, char: str, time: float) -> None:
        self._heard.add(char, time)
        if not char.isdigit():
            return
        number = self._number + char
        if not 1 <= int(number) <= len(CHOICES):
            number = char
        if 1 <= int(number) <= len(CHOICES):
            self._mark(int(number) - 1)
            self._number = number

    def _choose(self) -> None:
        if self._heard.text == "+":  # else digits on its heels: a signed reading
            self.dismiss(CHOICES[self._marked].action)

    def _letter(self, char: str) -> None:
        action = next((c.action for c in CHOICES if c.key and c.key == char), "")
        if action:
            self.dismiss(action)

    def _enter(self) -> None:
        reading = self._heard.complete()
        hold = getattr(self.app, "hold_burst", None)
        if reading and hold is not None:
            hold(reading)
            self._held = reading
            self._draw()
