"""What screens that look closer share: they ask nothing, and a burst changes nothing."""

from __future__ import annotations

import math
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.events import Key
from textual.widget import Widget
from textual.widgets import Input, Static

from workbench.bench.bases.bursts import BURST_WINDOW_S, DIGITS, SHORTEST_BURST
from workbench.bench.bases.overlay import Overlay
from workbench.bench.bases.prompts import PromptInput
from workbench.bench.draw.text import held_words, lines, paragraph, styled, visible
from workbench.measure.units import Unit

BURST = DIGITS + "+-/"
SHOWN = 20
_NARROWEST = 56


class Closer(Overlay[None]):
    """A screen to look at; Esc, an Enter pressed on purpose or its own key closes it.

    Digits and Enter as a caliper sends them go to the app's ``hold_burst(text)``; the screen stays.
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
    TITLE_WORDS: ClassVar[str] = ""
    KEYS: ClassVar[str] = "Enter or Esc closes"

    def __init__(self, key: str) -> None:
        super().__init__()
        self._own_key = key
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

    def move(self, by: int) -> None:
        """Do what an arrow means here; ``by`` is 1 for down."""

    def command(self, event: Key) -> bool:
        """Do what a key means on this screen alone; return whether it means anything."""
        return False

    def on_key(self, event: Key) -> None:
        """Close on purpose, move, or hold a burst; nothing goes on to the bench."""
        event.stop()
        event.prevent_default()
        char = event.character or ""
        if self.command(event):
            self._typed = ""
        elif event.key in ("enter", "ctrl+j"):
            self._enter(event.time)
        elif event.key == "escape" or (not self._typed and char.lower() == self._own_key):
            self.dismiss(None)
        elif event.key in ("up", "down"):
            self._typed = ""
            self.move(1 if event.key == "down" else -1)
        elif event.key == "backspace":
            self._typed = self._typed[:-1]
        elif char == "*" and not self._typed:
            self.flip()
        elif char and (char in BURST or (self._typed and char.isprintable())):
            self._typed += char  # a unit behind digits belongs to them

    def on_mouse_scroll_down(self) -> None:
        """Do for the wheel what an arrow does."""
        self.move(1)

    def on_mouse_scroll_up(self) -> None:
        """Do for the wheel what an arrow does."""
        self.move(-1)

    def in_unit(self, unit: Unit) -> None:
        """Take over the unit that the bench shows now; a screen without lengths shows the same."""

    def flip(self) -> None:
        """Exchange inch and mm, here and on the bench."""
        hands = getattr(self.app, "hands", None)
        if hands is not None:
            hands.flip_unit()
            self.in_unit(hands.state.unit)

    def _enter(self, time: float) -> None:
        text, self._typed = self._typed, ""
        if sum(c.isdigit() for c in text) >= SHORTEST_BURST:
            self._burst_s = time
            self._say(held_words(self.app, text))
        elif text:
            self._say(f"'{visible(text, SHOWN)}' is no reading, not taken")
        elif time - self._burst_s > BURST_WINDOW_S:
            self.enter()

    def enter(self) -> None:
        """Do what an Enter pressed on purpose means: close."""
        self.dismiss(None)

    def say(self, words: str) -> None:
        """Show what is said from elsewhere."""
        self._say(words)

    def _say(self, text: str) -> None:
        foot = styled(
            (f"! {text}", "bold $state-caution"), (" · Enter or Esc closes", "$ink-faint")
        )
        self.query_one("#closer-foot", Static).update(foot)


class Rows(Widget):
    """Rows made for the width there is."""

    DEFAULT_CSS = "Rows { height: auto; width: 100%; }"
    can_focus = False

    def __init__(self, screen: TableScreen) -> None:
        super().__init__()
        self._from = screen

    def render(self) -> Content:
        """Return the table at the present width."""
        return self._from.table(max(self.content_size.width, _NARROWEST))

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        """Return how many rows the table takes."""
        return self._from.table(max(width, _NARROWEST)).plain.count("\n") + 1


class TableScreen(Closer):
    """A screen of rows; arrows scroll where there is more of them than room."""

    KEYS = "↑ ↓ scroll · Enter or Esc closes"

    def table(self, width: int) -> Content:
        """Return the rows for a width in cells."""
        raise NotImplementedError

    def body(self) -> Widget:
        """Return the rows in a scroll."""
        scroll = VerticalScroll(Rows(self), id="closer-body")
        scroll.can_focus = False
        return scroll

    def redraw(self) -> None:
        """Make the rows anew."""
        self.query_one(Rows).refresh(layout=True)

    def move(self, by: int) -> None:
        """Scroll by a row."""
        self.query_one("#closer-body").scroll_relative(y=by, animate=False)


class UnitTable(TableScreen):
    """A table that ``*`` shows in the other unit."""

    KEYS = "↑ ↓ scroll · * in/mm · Enter or Esc closes"

    def __init__(self, key: str, unit: Unit) -> None:
        super().__init__(key)
        self.unit: Unit = unit

    def in_unit(self, unit: Unit) -> None:
        """Show lengths in another unit."""
        self.unit = unit
        self.redraw()


def trouble(why: str, width: int) -> Content:
    """Return why there is nothing to show."""
    return lines(paragraph(f"! {why}", width, "bold $state-caution"))


class DrawnCloser(Closer):
    """A closer look whose body is what :meth:`drawn` returns for the room there is."""

    def drawn(self, width: int, height: int) -> Content:
        """Return the body, filling ``width`` x ``height`` cells."""
        raise NotImplementedError

    def body(self) -> Widget:
        """Return the widget that is drawn into."""
        return _Drawn(self)

    def redraw(self) -> None:
        """Draw the body anew."""
        self.query_one(_Drawn).refresh()


class _Drawn(Widget):
    """The body of such a screen."""

    can_focus = False

    def __init__(self, screen: DrawnCloser) -> None:
        super().__init__(id="closer-body")
        self._from = screen

    def render(self) -> Content:
        """Return the body at the present size."""
        return self._from.drawn(self.content_size.width, self.content_size.height)


class FindCloser(DrawnCloser):
    """Shows the line while it is wanted; a burst that lands in it is taken out again and held.

    A subclass shows what is found (:meth:`show_found`), and its body and foot.
    """

    DEFAULT_CSS = """
    FindCloser #find { height: 1; display: none; }
    FindCloser.-finding #find { display: block; }
    FindCloser #find Static { width: 6; }
    FindCloser #find PromptInput { width: 1fr; }
    """
    AUTO_FOCUS = ""

    def compose(self) -> ComposeResult:
        """Lay out the line to find by, the body and the keys."""
        with Vertical():
            with Horizontal(id="find"):
                yield Static("find: ", markup=False)
                yield PromptInput()
            yield self.body()
            yield Static(id="closer-foot", markup=False)

    def show_found(self, text: str) -> None:
        """Show what is found by ``text``; all of it without one."""
        raise NotImplementedError

    @property
    def finding(self) -> bool:
        """Whether the line has the keys."""
        return self.focused is not None

    def begin_find(self) -> None:
        """Show the line and give it the keys."""
        self.add_class("-finding")
        self.query_one(PromptInput).focus()

    def end_find(self, clear: bool) -> None:
        """Take the keys back; the line goes where nothing is looked for."""
        line = self.query_one(PromptInput)
        if clear:
            line.value = ""
        if not line.value:
            self.remove_class("-finding")
        self.set_focus(None)

    @on(Input.Changed)
    def _found(self, event: Input.Changed) -> None:
        event.stop()
        self.show_found(event.value)

    @on(PromptInput.Answered)
    def _keep_find(self) -> None:
        self.end_find(clear=False)

    @on(PromptInput.Burst)
    def _hold(self, event: PromptInput.Burst) -> None:
        self._say(held_words(self.app, event.reading))
