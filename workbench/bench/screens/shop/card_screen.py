"""The setting card and the day sheet, as they will be printed; F2 writes them to the shop's folder.

Nothing here is asked, so that a caliper's burst is held and changes nothing; only F2 writes.
"""

from __future__ import annotations

import math

from textual.content import Content
from textual.events import Key

from workbench.bench.bases.view_only import Rows, TableScreen
from workbench.bench.draw.text import lines, paragraph, styled
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.work.job.shop import Shop
from workbench.work.paper.cards import card_of
from workbench.work.paper.day_sheet import day_sheet
from workbench.work.paper.printing import Written, card_document, sheet_document
from workbench.work.paper.text_pages import card_text, day_text

PAGE_WIDTH = 80
HELD_DOWN_S = 0.6
"""A key held down sends itself again within this time: one press writes once."""

_SIGNS = {"! ": "bold $state-caution", "* ": "bold $state-within"}
"""What goes before a line that says how things are; the sign tells it without the colour."""


class PageScreen(TableScreen):
    """A page as text, and F2 to write it as files; what was written is above it."""

    KEYS = "F2 writes it to the folder · ↑ ↓ PgUp PgDn scroll · Enter or Esc closes"

    def __init__(self, key: str) -> None:
        super().__init__(key)
        self._said: tuple[str, str] = ("", "")
        self._pressed_s = -math.inf

    def page(self, width: int) -> str:
        """Return the page as text of at most ``width`` columns."""
        raise NotImplementedError

    def write(self) -> Written:
        """Write the page to the shop's folder."""
        raise NotImplementedError

    def command(self, event: Key) -> bool:
        """Write on F2, turn pages."""
        if event.key == "f2":
            again, self._pressed_s = event.time - self._pressed_s < HELD_DOWN_S, event.time
            if not again:
                self._write()
        elif event.key in ("pageup", "pagedown"):
            height = self.query_one("#closer-body").content_size.height - 1
            self.move(height if event.key == "pagedown" else -height)
        else:
            return False
        return True

    def move(self, by: int) -> None:
        """Scroll by rows, each key in its turn."""
        self.query_one("#closer-body").scroll_relative(y=by, animate=False, immediate=True)

    def _write(self) -> None:
        try:
            self._said = (f"✓ {self.write().words}", "bold $state-within")
        except BenchError as why:
            self._said = (f"✗ not written: {why}", "bold $state-caution")
        self.query_one("#closer-body").scroll_home(animate=False)
        self.query_one(Rows).refresh(layout=True)

    def table(self, width: int) -> Content:
        """Return what was said, and the page below it."""
        words, style = self._said
        said = paragraph(words, width, style)
        text = self.page(min(width, PAGE_WIDTH))
        return lines(
            [*said, *(styled((line, _SIGNS.get(line[:2], ""))) for line in text.split("\n"))]
        )


class CardScreen(PageScreen):
    """The setting card of a job."""

    TITLE_WORDS = "Setting card"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        super().__init__(state.keys.of("card") or "escape")
        self._shop, self._view = shop, state.view
        self._card = card_of(shop, state.view)

    def page(self, width: int) -> str:
        """Return the card."""
        return card_text(self._card, width)

    def write(self) -> Written:
        """Write the card in every format that can be written here."""
        return card_document(self._shop, self._view).write(self._shop)


class DaySheetScreen(PageScreen):
    """The day sheet of the bench's day."""

    TITLE_WORDS = "Day sheet"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__("escape")
        self._shop = shop
        self._sheet = day_sheet(shop)

    def page(self, width: int) -> str:
        """Return the sheet."""
        return day_text(self._sheet, width)

    def write(self) -> Written:
        """Write the sheet in every format that can be written here."""
        return sheet_document(self._shop).write(self._shop)
