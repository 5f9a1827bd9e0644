"""A list over the bench: a mark that arrows move, letters that act, and no burst that answers.

Digits and Enter off a caliper's cable are held as a note. A ``+`` acts once no digit came on its
heels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from time import monotonic
from typing import TYPE_CHECKING, Generic, TypeAlias, TypeVar

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.events import Click, Key, Paste
from textual.widgets import Static

from workbench.bench.bases.bursts import PLUS_WAIT_S, Heard
from workbench.bench.bases.overlay import KeyLine, KeyScreen
from workbench.bench.bases.prompts import Prompt
from workbench.bench.draw.text import (
    Tone,
    first_seen,
    hung,
    lines,
    said,
    styled,
    visible,
)
from workbench.work.text.fields import REASON

if TYPE_CHECKING:
    from workbench.bench.hand.state import BenchState
    from workbench.work.job.job_view import JobView
    from workbench.work.job.shop import Shop

SAID_LINES = 3
_LABEL_CELLS = 9

MOVES = {
    "up": -1, "down": 1, "pageup": -10, "pagedown": 10, "home": -(10**6), "end": 10**6,
}  # fmt: skip
"""How many rows down a key moves the mark."""


Item = TypeVar("Item")

Row: TypeAlias = Content | Callable[[], Content]
"""A row of a list, or what draws it once it is seen: a day may have hundreds."""


class Listed(Static):
    """The list of a screen, which draws it anew where its room changed: a message takes lines."""

    def on_resize(self) -> None:
        """Show as much as there is room for."""
        if isinstance(self.screen, ListScreen):
            self.screen.draw()

    def on_click(self, event: Click) -> None:
        """Move the mark to the row that is clicked on."""
        if isinstance(self.screen, ListScreen):
            self.screen.pick(event.y)


class ListScreen(KeyScreen[None], Generic[Item]):
    """Shows its items between what :meth:`head` and :meth:`foot` return for the room there is.

    A subclass says how an item is shown (:meth:`row`), and what ``+`` (:meth:`plus`) and other keys
    (:meth:`acts`) do.
    """

    DEFAULT_CSS = """
    ListScreen { align: center middle; }
    ListScreen > Vertical {
        width: 96%; max-width: 116; height: 100%; max-height: 36;
        padding: 0 1; background: $surface; color: $foreground; border: round $primary;
    }
    ListScreen #list { height: 1fr; text-wrap: nowrap; }
    ListScreen #list-said { height: auto; max-height: 3; }
    """
    KEYS = "↑ ↓ choose · Esc closes"
    SHOWN_KEYS = ""
    """Those of the keys that there is room for; help shows all of them."""

    items: Sequence[Item] = ()

    def __init__(self) -> None:
        super().__init__()
        self.at = 0
        self._message: tuple[str, Tone] = ("", "say")
        self._heard = Heard()
        self._seen: tuple[range, int] = (range(0), 0)

    def compose(self) -> ComposeResult:
        """Lay out the list, what was said and the keys."""
        with Vertical():
            yield Listed(id="list", markup=False)
            yield Static(id="list-said", markup=False)
            yield KeyLine(self.SHOWN_KEYS or self.KEYS, id="list-keys")

    def on_mount(self) -> None:
        """Show the list under its title."""
        self.query_one(Vertical).border_title = self.TITLE_WORDS
        self.call_after_refresh(self.draw)

    # -- what a subclass gives -------------------------------------------------------------------

    def head(self, width: int) -> Sequence[Content]:
        """Return the lines above the list."""
        return ()

    def row(self, item: Item, here: bool, width: int) -> Content:
        """Return an item on a line; ``here``: it is the marked one."""
        raise NotImplementedError

    def rows(self, width: int) -> Sequence[Row]:
        """Return the rows of the list, a line each; the marked one is :attr:`at`."""
        return [partial(self.row, item, i == self.at, width) for i, item in enumerate(self.items)]

    def foot(self, width: int) -> Sequence[Content]:
        """Return the lines below the list, about the marked row."""
        return ()

    def plus(self) -> None:
        """Do what ``+`` does to the marked row."""

    def _load(self) -> None:
        """Read anew what is listed."""

    def settle(self, by: int) -> None:
        """Keep the mark in the list, once it was moved down (1) or up (-1)."""
        self.at = max(self.at, 0)

    # -- drawing ---------------------------------------------------------------------------------

    def draw(self) -> None:
        """Draw everything anew."""
        if not self.is_mounted or self.over:
            return
        panel = self.query_one("#list", Static)
        width, height = panel.size.width, panel.size.height
        if width < 1 or height < 1:
            return
        listed = self.rows(width)
        if self.at > (last := max(len(listed) - 1, 0)):
            self.at = last
            listed = self.rows(width)
        head, foot = list(self.head(width)), list(self.foot(width))
        room = max(height - len(head) - len(foot), 1)
        first = first_seen(self.at, len(listed), room)
        seen = [row() if callable(row) else row for row in listed[first : first + room]]
        gap = [Content("")] * (room - len(seen))
        panel.update(lines([*head, *seen, *gap, *foot]))
        self._seen = range(first, first + len(seen)), len(head)
        self.query_one("#list-said", Static).update(said(self._message, width, SAID_LINES))

    @property
    def marked(self) -> Item | None:
        """The item that the mark is at."""
        return self.items[min(self.at, len(self.items) - 1)] if self.items else None

    def pick(self, y: int) -> None:
        """Mark what is in a row of the list, if anything does."""
        seen, head = self._seen
        if 0 <= y - head < len(seen):
            self.at = seen[y - head]
            self.say("")

    def say(self, words: str, tone: Tone = "say") -> None:
        """Show a message until the next one."""
        self._message = (words, tone)
        self.draw()

    # -- keys ------------------------------------------------------------------------------------

    def take_key(self, event: Key) -> None:
        """Move the mark, do what keys do here, or hold a number; Enter answers nothing."""
        char, time = event.character or "", event.time
        if event.key in ("enter", "ctrl+j"):
            if reading := self._heard.complete():
                self.hold(reading)
        elif self._heard.belongs(char, time):
            self._heard.add(char, time)
        elif char == "+":
            self._heard.add(char, time)
            self.set_timer(PLUS_WAIT_S, self._plus_alone)
        elif event.key == "escape":
            self.close_list()
        elif char == "*":
            self.flip()
        elif not (char.isalpha() and self._heard.hard_on(time)):  # else a burst's unit
            self.do_key(event.key, char)

    def do_key(self, key: str, char: str = "") -> bool:
        """Move the mark, or do what a key does on this list."""
        by = MOVES.get(key)
        if by is None:
            return super().do_key(key, char)
        self.at += by
        self.settle(1 if by > 0 else -1)
        self.say("")
        return True

    def step(self, by: int) -> None:
        """Move the mark."""
        self.do_key("down" if by > 0 else "up")

    def on_paste(self, event: Paste) -> None:
        """Hold pasted text: nothing is read here."""
        event.stop()
        self.hold(event.text.strip())

    def _plus_alone(self) -> None:
        if self._heard.text == "+" and not self.over:  # else digits on its heels: a reading
            self.attempt(self.plus)

    def _kept(self, result: object, said: str = "kept") -> None:
        """Show what a form or a question kept, unless it was closed."""
        if result:
            self.attempt(self._load)
            self.say(said, "done")

    def _ask_why(
        self,
        title: str,
        strike: Callable[[str], object],
        done: str = "struck out; it stays readable",
    ) -> None:
        """Ask why, strike out or forget with that reason, and say what was done."""
        prompt = Prompt(title, REASON.words, "", strike)
        self.app.push_screen(prompt, lambda struck: self._kept(struck, done))

    def give_way(self) -> bool:
        """Close for a ski that was scanned."""
        self.close_list()
        return True

    def close_list(self) -> None:
        """Go back to the bench, which reads everything again."""
        self.end()
        self.bench.hands.look_again()

    def end(self) -> None:
        """Go back to the bench as it is."""
        entry = self.bench.entry
        self.dismiss(None)
        entry.ignore_enter(monotonic())


class UnitList(ListScreen[Item]):
    """A list about the ski in hand; ``*`` exchanges inch and mm, here and on the bench."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__()
        assert state.view is not None
        self.shop = shop
        self.view = state.view
        self.unit = state.unit

    def seen_anew(self, now: JobView) -> None:
        """Show the ski as it is now."""
        self.view = now
        self._load()


def marked_row(here: bool, text: str, width: int) -> Content:
    """Return a row behind the mark if it is the one, cut to ``width`` cells."""
    return styled((visible(f"{'▸' if here else ' '} {text}", width), "bold" if here else ""))


def told(width: int, label: str, text: str, style: str = "") -> list[Content]:
    """Return a faint label and a text that hangs beside it."""
    return hung(f"{label:<{_LABEL_CELLS}}", "$ink-faint", text, width, style)
