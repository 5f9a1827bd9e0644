"""The numbered sheet: everything else that can be done, for the keypad alone.

A digit moves the mark and ``+`` does it: no caliper's burst ends with ``+``. A burst that lands
here is held and answers nothing; the sheet stays.
"""

from __future__ import annotations

from typing import TypeAlias

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.content import Content
from textual.events import Click, Key, Resize
from textual.widgets import Static

from workbench.bench.bases.bursts import PLUS_WAIT_S, Heard
from workbench.bench.bases.overlay import Overlay
from workbench.bench.draw.room import first_seen
from workbench.bench.draw.text import (
    lines,
    literal,
    styled,
    visible,
)
from workbench.bench.opens import GROUPS, OPENINGS, Group
from workbench.frozen import dataclass
from workbench.work.roster.keys import AS_SHIPPED, Keys

COLUMN = 38


@dataclass(frozen=True, slots=True)
class Choice:
    """One line of the sheet: its action, words and group; its key is in the table of keys.

    ``also``: other words that it is found by.
    """

    action: str
    words: str
    group: Group = "this ski"
    also: str = ""


_ALL = (
    Choice("take_back", "take the last entry back", also="undo rub out mistake"),
    Choice("retarget", "change the target", also="aim goal"),
    Choice("baseline", "the baseline as the target", also="start numbers"),
    Choice("one_step_more", "one step more, as last time", also="same change again wing"),
    Choice("undo_change", "undo the last ride's change", also="back before wing"),
    Choice("finer", "finer turn, round and round", also="eighth sixteenth quarter"),
    Choice("settled", "studs settled before reading", also="learn backlash play"),
    Choice("without_learned", "with or without learning", also="plain geometry turns learnt"),
    Choice("keep", "keep readings as they are", also="accept enough good"),
    Choice("aside", "set this ski aside: reason", also="stop wait broken"),
    Choice("strike", "strike out reading ▸: reason", also="undo delete remove wrong"),
    Choice("note", "write a note", also="remark comment"),
    Choice("hold", "how to take this reading", also="method caliper measure"),
    Choice("sure", "how sure is this reading?", also="uncertainty budget trust sure"),
    Choice("restate", "convert between methods", also="restate this fin by every method"),
    Choice("next_ski", "next ski of the queue (PgDn)", "the day", "step forward"),
    Choice("ski_before", "the ski before (PgUp)", "the day", "step back"),
    Choice("unfinished", "next ski not finished", "the day"),
    Choice("add_ski", "add a ski to the queue", "the day", "new"),
    Choice("queue_ski", "queue a known ski again", "the day", "return back"),
    Choice("large", "what matters now, in large", "the day", "big zoom full"),
    Choice("pad", "keys for fingers, or none", "the day", "touch tablet tap number pad"),
    Choice("initials", "initials", "the day", "who name hands"),
    Choice("palette", "find what to do by typing", "the day", "search"),
    Choice("help", "help: keys and words", "the day"),
    Choice("quit", "leave; everything is kept", "the day", "exit close stop end"),
    Choice("copy", "copy what is shown", "paper", "clipboard text file screen"),
    Choice("calipers", "calipers: register, check", "the workshop", "gauge block zero"),
    Choice("add_blade", "add a blade", "the workshop", "new fin"),
    Choice("add_block", "add a block", "the workshop", "new box studs"),
    Choice("side", "other panel at the side", "the workshop", "view roster turns"),
    Choice("drawing", "draw: braille, blocks, ASCII", "the workshop", "signs font"),
    Choice("theme", "theme: night, day, contrast", "the workshop", "colour dark light"),
    Choice("tour", "first day: a walk-through", "the workshop", "learn tutorial"),
    *(Choice(action, o.words, o.group, o.also) for action, o in OPENINGS.items()),
)
CHOICES: tuple[Choice, ...] = tuple(sorted(_ALL, key=lambda c: GROUPS.index(c.group)))

Row: TypeAlias = "str | int"
"""A line of the sheet: the head of a group, or the index of a choice."""

ROWS: tuple[Row, ...] = tuple(
    row
    for group in GROUPS
    for row in (group, *(i for i, c in enumerate(CHOICES) if c.group == group))
)


class Sheet(Overlay[str]):
    """Shows the choices; returns an action's name or nothing. A burst is given to the app."""

    BINDINGS = [Binding("escape", "close", show=False)]

    def __init__(self, keys: Keys = AS_SHIPPED) -> None:
        super().__init__()
        self._keys = keys
        self._heard = Heard()
        self._number = ""
        self._marked = 0
        self._held = ""
        self._first, self._deep = 0, len(ROWS)

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
        deep = -(-len(ROWS) // columns)
        room = max(self.size.height - 2, 3)
        first = first_seen(ROWS.index(self._marked) % deep, deep, room)
        self._first, self._deep = first, deep
        out = []
        for i in range(first, min(first + room, deep)):
            row = [i + deep * column for column in range(columns)]
            out.append(styled(*(self._row(ROWS[n]) for n in row if n < len(ROWS))))
        sheet = self.query_one("#sheet", Vertical)
        sheet.styles.width = columns * COLUMN + 4
        sheet.border_title = literal(self._head(columns == 1, deep > room), columns * COLUMN)
        self.query_one("#sheet-lines", Static).update(lines(out))

    def _head(self, narrow: bool, cut: bool) -> str:
        """Return how to choose, or what arrived meanwhile."""
        if self._held:
            came = "" if narrow else "arrived here: "
            return f"! {visible(self._held, 12 if narrow else 24)} {came}held as a note"
        if narrow:
            return "Number or ↑ ↓, then + ; Esc closes"
        more = " ; more ↑ ↓" if cut else ""
        return f"Everything else: number or arrows, then + ; Esc closes{more}"

    def _row(self, row: Row) -> Content:
        """Return the head of a group, or a choice, marked where it is the one; of one width."""
        if isinstance(row, str):
            return styled((f" {row.upper()}".ljust(COLUMN), "bold $accent"))
        index = row
        choice = CHOICES[index]
        mark = "▸" if index == self._marked else " "
        style = "bold" if index == self._marked else ""
        text = f"{mark}{index + 1:>2} {choice.words}"
        key = f" {self._keys.of(choice.action)} "
        return styled((text.ljust(COLUMN - len(key)), style), (key, "$ink-faint"))

    def on_click(self, event: Click) -> None:
        """Mark what is clicked on; a second click on it does it."""
        inside = self.query_one("#sheet-lines", Static).content_region
        at = event.screen_offset
        if not inside.contains_point(at):
            return
        column, y = (at.x - inside.x) // COLUMN, at.y - inside.y + self._first
        place = y + self._deep * column
        row = ROWS[place] if y < self._deep and place < len(ROWS) else ""
        if row == self._marked:
            self.dismiss(CHOICES[self._marked].action)
        elif isinstance(row, int):
            self._mark(row)

    def on_mouse_scroll_down(self) -> None:
        """Move the mark down."""
        self._mark(self._marked + 1)

    def on_mouse_scroll_up(self) -> None:
        """Move the mark up."""
        self._mark(self._marked - 1)

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
            self._letter(char or event.key)

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
        action = self._keys.action(char)
        if action:
            self.dismiss(action)

    def _enter(self) -> None:
        reading = self._heard.complete()
        hold = getattr(self.app, "hold_burst", None)
        if reading and hold is not None:
            hold(reading)
            self._held = reading
            self._draw()
