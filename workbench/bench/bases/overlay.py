"""What every screen over the bench is: it closes once, and gives way to a ski that was scanned."""

from __future__ import annotations

from typing import Generic

from textual._styles_cache import StylesCache
from textual.await_complete import AwaitComplete
from textual.screen import ModalScreen, ScreenResultType


class Overlay(ModalScreen[ScreenResultType], Generic[ScreenResultType]):
    """A screen over the bench; keys still on their way to it once it has closed do nothing."""

    TAKES_TEXT = False
    """Whether letters are text here, not commands, though no line has the focus."""

    _closed_once = False

    def on_unmount(self) -> None:
        """Let go of what was painted here: Textual keeps a thousand widgets' rows in a cache."""
        StylesCache.get_inner_outer.cache_clear()

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
