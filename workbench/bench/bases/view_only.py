"""What screens that look closer share: they ask nothing, and a burst changes nothing."""

from __future__ import annotations

import math
from collections.abc import Callable

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.events import Key
from textual.widget import Widget
from textual.widgets import Static

from workbench.bench.bases.bursts import BURST_WINDOW_S, DIGITS, SHORTEST_BURST
from workbench.bench.bases.overlay import KeyScreen
from workbench.bench.draw.text import Tone, lines, paragraph, styled, visible
from workbench.measure.units import Unit

BURST = DIGITS + "+-/"
SHOWN = 20
_NARROWEST = 56


class Closer(KeyScreen[None]):
    """A screen to look at; Esc, an Enter pressed on purpose or the key that opened it closes it.

    Digits and Enter as a caliper sends them are held; the screen stays.
    """

    DEFAULT_CSS = """
    Closer { align: center middle; }
    Closer > Vertical {
        width: 100%; max-width: 112; height: 100%; max-height: 34;
        border: round $primary; background: $surface; padding: 0 1;
    }
    Closer #closer-body { height: 1fr; width: 100%; }
    Closer #closer-foot { height: 1; width: 100%; }
    """
    KEYS = "Enter or Esc closes"

    def __init__(self, key: str = "", unit: Unit = "in") -> None:
        super().__init__()
        self._own_key = key
        self.unit = unit
        self._typed = ""
        self._burst_s = -math.inf

    def compose(self) -> ComposeResult:
        """Lay out the body and the line of keys below it."""
        box = Vertical()
        box.border_title = self.TITLE_WORDS
        with box:
            yield self.body()
            yield Static(styled((self.KEYS, "$ink-faint")), id="closer-foot", markup=False)

    def body(self) -> Widget:
        """Return what is looked at, named ``closer-body``."""
        raise NotImplementedError

    def draw(self) -> None:
        """Draw the body anew."""
        body = self.query_one(_Body)
        body.refresh(layout=isinstance(body, Rows))

    def take_key(self, event: Key) -> None:
        """Close on purpose, move, do what keys do here, or hold a burst."""
        key, char = event.key, event.character or ""
        if not (char and self._typed) and self.do_key(key, char):
            self._typed = ""
        elif key in ("enter", "ctrl+j"):
            self._enter(event.time)
        elif key == "escape" or (char and not self._typed and char.lower() == self._own_key):
            self.dismiss(None)
        elif key in ("up", "down"):
            self._typed = ""
            self.step(1 if key == "down" else -1)
        elif key == "backspace":
            self._typed = self._typed[:-1]
        elif char == "*" and not self._typed:
            self.flip()
        elif char and (char in BURST or (self._typed and char.isprintable())):
            self._typed += char  # a unit behind digits belongs to them

    def _enter(self, time: float) -> None:
        text, self._typed = self._typed, ""
        if sum(c.isdigit() for c in text) >= SHORTEST_BURST:
            self._burst_s = time
            self.hold(text)
        elif text:
            self.say(f"'{visible(text, SHOWN)}' is no reading, not taken")
        elif time - self._burst_s > BURST_WINDOW_S:
            self.enter()

    def enter(self) -> None:
        """Do what an Enter pressed on purpose means: close."""
        self.dismiss(None)

    def say(self, words: str, tone: Tone = "say") -> None:
        """Show a message in place of the keys."""
        foot = styled(
            (f"! {words}", "bold $state-caution"), (" · Enter or Esc closes", "$ink-faint")
        )
        self.query_one("#closer-foot", Static).update(foot)


class _Body(Widget):
    """What a screen shows, made for the room there is."""

    can_focus = False


class Drawn(_Body):
    """A drawing of all the room there is."""

    def __init__(self, draw: Callable[[int, int], Content]) -> None:
        super().__init__(id="closer-body")
        self._make = draw

    def render(self) -> Content:
        """Return it at the present size."""
        return self._make(self.content_size.width, self.content_size.height)


class Rows(_Body):
    """Rows made for the width there is."""

    DEFAULT_CSS = "Rows { height: auto; width: 100%; }"

    def __init__(self, table: Callable[[int], Content]) -> None:
        super().__init__()
        self._make = table

    def render(self) -> Content:
        """Return them at the present width."""
        return self._make(max(self.content_size.width, _NARROWEST))

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        """Return how many rows they take."""
        return self._make(max(width, _NARROWEST)).plain.count("\n") + 1


class TableScreen(Closer):
    """A screen of rows; arrows scroll where there is more of them than room."""

    KEYS = "↑ ↓ scroll · * in/mm · Enter or Esc closes"

    def table(self, width: int) -> Content:
        """Return the rows for a width in cells."""
        raise NotImplementedError

    def body(self) -> Widget:
        """Return the rows in a scroll."""
        scroll = VerticalScroll(Rows(self.table), id="closer-body")
        scroll.can_focus = False
        return scroll

    def step(self, by: int) -> None:
        """Scroll by rows."""
        self.query_one("#closer-body").scroll_relative(y=by, animate=False)


class DrawnCloser(Closer):
    """A closer look whose body is what :meth:`drawn` returns for the room there is."""

    def drawn(self, width: int, height: int) -> Content:
        """Return the body, filling ``width`` x ``height`` cells."""
        raise NotImplementedError

    def body(self) -> Widget:
        """Return the widget that is drawn into."""
        return Drawn(self.drawn)


def trouble(why: str, width: int) -> Content:
    """Return why there is nothing to show."""
    return lines(paragraph(f"! {why}", width, "bold $state-caution"))
