"""A list over the bench: a mark that arrows move, letters that act, and no burst that answers.

Digits and Enter off a caliper's cable are held as a note. A ``+`` acts once no digit came on its
heels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from time import monotonic
from typing import TYPE_CHECKING, Any

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.events import Click, Key, Paste
from textual.widgets import Static

from workbench.bench.bases.bursts import PLUS_WAIT_S, Heard
from workbench.bench.bases.overlay import KeyLine, Overlay
from workbench.bench.bases.prompts import Prompt
from workbench.bench.draw.text import (
    Tone,
    first_seen,
    held_words,
    hung,
    lines,
    said,
    styled,
    visible,
)
from workbench.errors import BenchError
from workbench.measure.units import Unit
from workbench.work.job.shop import ChangedError
from workbench.work.text.fields import REASON

if TYPE_CHECKING:
    from workbench.bench.app import Bench
    from workbench.bench.hand.state import BenchState
    from workbench.work.job.job_view import JobView
    from workbench.work.job.shop import Shop

SAID_LINES = 3
_LABEL_CELLS = 9


class Listed(Static):
    """The list of a screen, which draws it anew where its room changed: a message takes lines."""

    def on_resize(self) -> None:
        """Show as much as there is room for."""
        screen = self.screen
        if isinstance(screen, ListScreen):
            screen.draw()

    def on_click(self, event: Click) -> None:
        """Move the mark to the row that is clicked on."""
        screen = self.screen
        if isinstance(screen, ListScreen):
            screen.pick(event.y)

    def on_mouse_scroll_down(self) -> None:
        """Move the mark down."""
        self._scroll("down")

    def on_mouse_scroll_up(self) -> None:
        """Move the mark up."""
        self._scroll("up")

    def _scroll(self, key: str) -> None:
        screen = self.screen
        if isinstance(screen, ListScreen):
            screen.scroll_by_key(key)


class ListScreen(Overlay[None]):
    """Shows what :meth:`head`, :meth:`rows` and :meth:`foot` return for the room there is.

    A subclass says what ``+`` (:meth:`plus`) and letters (:meth:`letter`) do; a
    :class:`BenchError` out of them is said and changes nothing.
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
    AUTO_FOCUS = None
    KEYS = "↑ ↓ choose · Esc closes"
    SHOWN_KEYS = ""
    """Those of the keys that there is room for; help shows all of them."""

    TITLE_WORDS = ""

    def __init__(self) -> None:
        super().__init__()
        self.at = 0
        self._message: tuple[str, Tone] = ("", "say")
        self._heard = Heard()
        self._over = False
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

    def rows(self, width: int) -> Sequence[Content]:
        """Return the rows of the list, a line each; the marked one is :attr:`at`."""
        return ()

    def foot(self, width: int) -> Sequence[Content]:
        """Return the lines below the list, about the marked row."""
        return ()

    def plus(self) -> None:
        """Do what ``+`` does to the marked row."""

    def letter(self, char: str) -> None:
        """Do what a letter does."""

    def _load(self) -> None:
        """Read anew what is listed."""

    def seen_anew(self, now: JobView) -> None:
        """Take over the ski as it is now; a list about no ski has nothing to do."""

    def in_unit(self, unit: Unit) -> None:
        """Take over the unit that the bench shows now; a list without lengths has nothing to do."""

    # -- drawing ---------------------------------------------------------------------------------

    def draw(self) -> None:
        """Draw everything anew."""
        if not self.is_mounted or self._over:
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
        seen = listed[first : first + room]
        gap = [Content("")] * (room - len(seen))
        panel.update(lines([*head, *seen, *gap, *foot]))
        self._seen = range(first, first + len(seen)), len(head)
        self.query_one("#list-said", Static).update(said(self._message, width, SAID_LINES))

    def marked_row(self, i: int, text: str, width: int) -> Content:
        """Return a row behind the mark if it is the one, cut to ``width`` cells."""
        here = i == self.at
        return styled((visible(f"{'▸' if here else ' '} {text}", width), "bold" if here else ""))

    def pick(self, y: int) -> None:
        """Mark what is in a row of the list, if anything does."""
        seen, head = self._seen
        if 0 <= y - head < len(seen):
            self.at = seen[y - head]
            self.say("")

    def scroll_by_key(self, key: str) -> None:
        """Do for the wheel what an arrow does."""
        self._move_or_letter(key, "")

    def say(self, words: str, tone: Tone = "say") -> None:
        """Show a message until the next one."""
        self._message = (words, tone)
        self.draw()

    # -- keys ------------------------------------------------------------------------------------

    @property
    def bench(self) -> Bench:
        """The app that this list lies over."""
        app: Any = self.app
        return app  # type: ignore[no-any-return]

    def on_key(self, event: Key) -> None:
        """Take every key here, in the order they came."""
        event.stop()
        event.prevent_default()
        if self._over:
            return
        char, time = event.character or "", event.time
        if event.key in ("enter", "ctrl+j"):
            self._enter()
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
            self._move_or_letter(event.key, char)

    def flip(self) -> None:
        """Exchange inch and mm, here and on the bench."""
        self.bench.hands.flip_unit()
        self.in_unit(self.bench.hands.state.unit)
        self.draw()

    def on_paste(self, event: Paste) -> None:
        """Hold pasted text: nothing is read here."""
        event.stop()
        self.say(held_words(self.bench, event.text.strip()), "warn")

    def _move_or_letter(self, key: str, char: str) -> None:
        steps = {"up": -1, "down": 1, "pageup": -10, "pagedown": 10, "home": -100000, "end": 100000}
        if key in steps:
            self.at = max(self.at + steps[key], 0)
            self.say("")
        elif char.isalpha():
            self._try(lambda: self.letter(char.lower()))

    def _plus_alone(self) -> None:
        if self._heard.text == "+" and not self._over:  # else digits on its heels: a reading
            self._try(self.plus)

    def _enter(self) -> None:
        reading = self._heard.complete()
        if reading:
            self.say(held_words(self.app, reading), "warn")

    def _try(self, act: Any) -> None:
        try:
            act()
        except BenchError as why:
            if isinstance(why, ChangedError) and why.now is not None:
                self.seen_anew(why.now)
            self.say(f"✗ {why}", "warn")

    def _kept(self, result: object, said: str = "kept") -> None:
        """Show what a form or a question kept, unless it was closed."""
        if result:
            self._try(self._load)
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
        self._over = True
        entry = self.bench.entry
        self.dismiss(None)
        entry.ignore_enter(monotonic())


class UnitList(ListScreen):
    """A list about the ski in hand; ``*`` exchanges inch and mm, here and on the bench."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__()
        assert state.view is not None
        self.shop = shop
        self.view = state.view
        self.unit: Unit = state.unit

    def seen_anew(self, now: JobView) -> None:
        """Show the ski as it is now."""
        self.view = now
        self._load()

    def in_unit(self, unit: Unit) -> None:
        """Show lengths in another unit."""
        self.unit = unit


def told(width: int, label: str, text: str, style: str = "") -> list[Content]:
    """Return a faint label and a text that hangs beside it."""
    return hung(f"{label:<{_LABEL_CELLS}}", "$ink-faint", text, width, style)
