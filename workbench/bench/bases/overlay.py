"""What every screen over the bench is: it closes once, and gives way to a ski that was scanned.

Most take every key themselves, in the order they came (:class:`KeyScreen`). Below a screen stand
its keys: each stays with its words, wherever the line breaks.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from time import monotonic
from typing import TYPE_CHECKING, Any, Generic

from rich.cells import cell_len
from textual import on
from textual._styles_cache import StylesCache
from textual.await_complete import AwaitComplete
from textual.content import Content
from textual.events import Click, Key
from textual.screen import ModalScreen, Screen, ScreenResultType
from textual.widgets import Static

from workbench.bench.draw.text import Tone, held_words, lines, literal, styled
from workbench.errors import BenchError
from workbench.measure.units import Unit, other
from workbench.work.job.shop import ChangedError

if TYPE_CHECKING:
    from workbench.bench.app import Bench
    from workbench.work.job.job_view import JobView

FOOT = "closer-foot"
"""The name of a line below a screen that shows its keys, if nothing else is said there."""


class Overlay(ModalScreen[ScreenResultType], Generic[ScreenResultType]):
    """A screen over the bench; keys still on their way to it once it has closed do nothing."""

    TAKES_TEXT = False
    """Whether letters are text here, not commands, though no line has the focus."""

    OWN_KEYS: tuple[str, ...] = ()
    """Keys of this screen that elsewhere do something on every screen."""

    heading = ""
    """The title of a form or a question, by which what is typed in it is kept."""

    over = False
    """Whether it has closed."""

    @property
    def bench(self) -> Bench:
        """The app that it lies over."""
        app: Any = self.app
        return app  # type: ignore[no-any-return]

    @classmethod
    def open_on(cls, bench: Bench) -> None:
        """Show it over the bench, made of the shop and the bench's state."""
        make: Any = cls
        bench.show(make(bench.shop, bench.hands.state))

    def after(self, bench: Bench, result: ScreenResultType | None) -> None:
        """Take over what was done here; an Enter held down while it closed does nothing."""
        bench.entry.ignore_enter(monotonic())

    def on_unmount(self) -> None:
        """Let go of what was painted here: Textual keeps a thousand widgets' rows in a cache."""
        StylesCache.get_inner_outer.cache_clear()

    @on(Click)
    def _press_shown(self, event: Click) -> None:
        """Press the key that is clicked on, in the line of keys below."""
        at = event.screen_offset
        if not self.region.contains_point(at):
            return
        widget, _ = self.get_widget_at(*at)
        inside, press = widget.content_region, getattr(self.app, "press_key", None)
        if press is None or not (isinstance(widget, KeyLine) or widget.id == FOOT):
            return
        if inside.contains_point(at):
            row = widget.render_line(at.y - inside.y).text
            if key := key_pressed(row.rstrip(), at.x - inside.x):
                event.stop()
                press(key)

    def dismiss(self, result: ScreenResultType | None = None) -> AwaitComplete:
        """Close with a result; a second time would close the screen below."""
        if self.over:
            return AwaitComplete()
        self.over = True
        return super().dismiss(result)

    def is_of_entry(self, char: str) -> bool:
        """Tell whether a letter belongs to a number that is being typed here."""
        return False

    def give_way(self) -> bool:
        """Close, for a ski was scanned; False where something typed here would be lost."""
        self.dismiss(None)
        return True


class KeyScreen(Overlay[ScreenResultType], Generic[ScreenResultType]):
    """Takes every key itself; ``*`` exchanges inch and mm, here and on the bench.

    A subclass says what keys do in :meth:`acts`. A :class:`BenchError` out of one is said and
    changes nothing.
    """

    AUTO_FOCUS = ""
    TITLE_WORDS = ""
    KEYS = ""
    unit: Unit = "in"
    pressed_s = 0.0
    """When the key came that is taken now, by Textual's clock."""

    # -- what a subclass gives -------------------------------------------------------------------

    def take_key(self, event: Key) -> None:
        """Do what a key means."""
        raise NotImplementedError

    def acts(self) -> Mapping[str, Callable[[], object]]:
        """Return what keys do on this screen alone, by their letters or names."""
        return {}

    def draw(self) -> None:
        """Draw everything anew."""
        raise NotImplementedError

    def say(self, words: str, tone: Tone = "say") -> None:
        """Show a message until the next one, where there is room for any."""

    def step(self, by: int) -> None:
        """Do what an arrow or the wheel means; ``by`` is 1 for down."""

    def seen_anew(self, now: JobView) -> None:
        """Take over the ski as it is now; a screen about no ski has nothing to do."""

    # -- what all do -----------------------------------------------------------------------------

    def on_key(self, event: Key) -> None:
        """Take every key here, in the order they came; none goes on to the bench."""
        event.stop()
        event.prevent_default()
        self.pressed_s = event.time
        if not self.over:
            self.take_key(event)

    def do_key(self, key: str, char: str) -> bool:
        """Do what a key does on this screen alone; return whether it does anything."""
        act = self.acts().get(char.lower() or key)
        if act is not None:
            self.attempt(act)
        return act is not None

    def attempt(self, act: Callable[[], object]) -> bool:
        """Do something; where it is refused, say why and return False."""
        try:
            act()
        except BenchError as why:
            if isinstance(why, ChangedError) and why.now is not None:
                self.seen_anew(why.now)
            self.say(f"✗ {why}", "warn")
            return False
        return True

    def ask(self, screen: Screen[Any], then: Callable[[Any], None]) -> None:
        """Lay a form or a question over this screen, and take over what it answers."""
        self.app.push_screen(screen, then)

    def hold(self, reading: str) -> None:
        """Hold a reading that came where no number is due, and say so."""
        self.say(held_words(self.app, reading), "warn")

    def flip(self) -> None:
        """Exchange inch and mm, here and on the bench."""
        hands = getattr(self.app, "hands", None)
        if hands is not None:
            hands.flip_unit()
        self.in_unit(hands.state.unit if hands is not None else other(self.unit))

    def in_unit(self, unit: Unit) -> None:
        """Show lengths in another unit."""
        self.unit = unit
        self.draw()

    def on_mouse_scroll_down(self) -> None:
        """Do for the wheel what an arrow does."""
        self.step(1)

    def on_mouse_scroll_up(self) -> None:
        """Do for the wheel what an arrow does."""
        self.step(-1)


BETWEEN = " · "
NAMED = ("Enter", "Esc", "Tab", "space", "PgUp", "PgDn", "↑", "↓", "←", "→")
"""Keys of more than one letter, and arrows, as a line of keys names them."""
_LONGEST_PART = 200


class KeyLine(Static):
    """Shows keys, with a dot between two, on as many rows as they take."""

    DEFAULT_CSS = "KeyLine { height: auto; color: $text-muted; }"

    def __init__(self, keys: str, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes, markup=False)
        self._keys = keys

    def render(self) -> Content:
        """Return the rows at the present width."""
        return lines(literal(row, _LONGEST_PART) for row in key_rows(self._keys, self._width()))

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        """Return how many rows the keys take."""
        return len(key_rows(self._keys, width))

    def _width(self) -> int:
        return max(self.content_size.width, 1)


def key_rows(keys: str, width: int) -> list[str]:
    """Return keys on rows of at most ``width`` cells, broken between two of them alone."""
    rows: list[str] = []
    for part in keys.split(BETWEEN):
        longer = f"{rows[-1]}{BETWEEN}{part}" if rows else part
        if rows and styled(longer).cell_length <= width:
            rows[-1] = longer
        else:
            rows.append(part)
    return rows


def key_pressed(row: str, x: int) -> str:
    """Return the key that a click at a cell of such a row presses; nothing where it is none.

    Of two keys that mean the same (``Enter or Esc closes``) the last; of two that do not
    (``F3 F4 order``) the one that is hit.
    """
    begin = 0
    for part in row.split(BETWEEN):
        end = begin + cell_len(part)
        if begin <= x < end:
            return _key_of(part, x - begin)
        begin = end + len(BETWEEN)
    return ""


def _key_of(part: str, x: int) -> str:
    found: list[tuple[int, str]] = []
    at, same = 0, False
    for word in part.split(" "):
        if word == "or" and found:
            same = True
        elif _is_key(word):
            found.append((at, word))
        elif word:
            break
        at += cell_len(word) + 1
    hit = next((key for at, key in found if at <= x < at + cell_len(key)), "")
    return hit or (found[-1][1] if len(found) == 1 or (found and same) else "")


def _is_key(word: str) -> bool:
    if word in NAMED or (word[:1] == "F" and word[1:].isdigit()):
        return True
    return len(word) == 1 and word.isascii()
