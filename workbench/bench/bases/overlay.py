"""What every screen over the bench is: it closes once, and gives way to a ski that was scanned."""

from __future__ import annotations

from typing import Generic

from textual import on
from textual._styles_cache import StylesCache
from textual.await_complete import AwaitComplete
from textual.events import Click
from textual.screen import ModalScreen, ScreenResultType

from workbench.bench.bases.key_line import KeyLine, key_pressed

FOOT = "closer-foot"
"""The name of a line below a screen that shows its keys, if nothing else is said there."""


class Overlay(ModalScreen[ScreenResultType], Generic[ScreenResultType]):
    """A screen over the bench; keys still on their way to it once it has closed do nothing."""

    TAKES_TEXT = False
    """Whether letters are text here, not commands, though no line has the focus."""

    _closed_once = False

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
        if self._closed_once:
            return AwaitComplete()
        self._closed_once = True
        return super().dismiss(result)

    def is_of_entry(self, char: str) -> bool:
        """Tell whether a letter belongs to a number that is being typed here."""
        return False

    def give_way(self) -> bool:
        """Close, for a ski was scanned; False where something typed here would be lost."""
        self.dismiss(None)
        return True
