"""Files: the book out and in, a day's skis in, backups; the setting card and the day sheet.

What changes the book is shown first. Letters and ``+`` choose, F2 does or writes; digits and Enter
off a caliper's cable are held and do nothing.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Sequence
from functools import partial

from textual.content import Content

from workbench.bench.bases.forms import Form
from workbench.bench.bases.lists import ListScreen
from workbench.bench.bases.view_only import TableScreen
from workbench.bench.draw.text import lines, paragraph, paragraphs, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.work.exchange import file_errands as errands
from workbench.work.exchange.file_errands import ERRANDS, Errand, Outcome
from workbench.work.job.shop import Shop
from workbench.work.paper.cards import card_of
from workbench.work.paper.day_sheet import day_sheet
from workbench.work.paper.printing import Written, card_document, sheet_document
from workbench.work.paper.text_pages import card_text, day_text
from workbench.work.text.fields import Field

_SIGNS = {"! ": "bold $state-caution", "✗ ": "bold $state-caution", "+ ": "$state-within"}
TROUBLES = ("! ", "✗ ")
WORKING = "working ..."
SHORT, LONG = 2, 150
"""An outcome of so many lines is said below the list, and an error of so many letters; a longer
one, or one with troubles, gets a screen of its own."""


class ReportScreen(TableScreen):
    """What came of a file, to be read."""

    TITLE_WORDS = "What came of it"
    KEYS = "↑ ↓ scroll · Enter or Esc closes"

    def __init__(self, outcome: Outcome) -> None:
        super().__init__()
        self._outcome = outcome

    def table(self, width: int) -> Content:
        """Return the report; the signs before its lines say what needs a person."""
        out = []
        for line in self._outcome.lines:
            style = _SIGNS.get(line[:2], "")
            first, *more = wrapped(line, width - 3)
            out += [styled((part, style)) for part in (first, *(f"  {part}" for part in more))]
        return lines(out)


class TrialScreen(ReportScreen):
    """What a file would bring; F2 does it."""

    TITLE_WORDS = "What the file would bring"
    KEYS = "F2 does it · ↑ ↓ scroll · Esc closes, nothing is changed"

    def __init__(self, outcome: Outcome, act: Callable[[], None]) -> None:
        super().__init__(outcome)
        self._act = act

    def table(self, width: int) -> Content:
        """Return the report below a line that says it is not done yet."""
        head = styled(("Not done yet: F2 does it.", "bold $accent"))
        return lines([head, styled(""), super().table(width)])

    def acts(self) -> dict[str, Callable[[], None]]:
        """Do it on F2."""
        return {"f2": self._do}

    def _do(self) -> None:
        self.dismiss(None)
        self._act()


class ExchangeScreen(ListScreen[Errand]):
    """The errands with files; one at a time."""

    DEFAULT_CSS = "ExchangeScreen > Vertical { max-height: 22; }"
    TITLE_WORDS = "Files: in, out, backup"
    KEYS = "↑ ↓ choose · + does it, or its letter · Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__()
        self.shop = shop
        self._busy = False
        self._paths: dict[str, str] = {}
        self._backups: tuple[str, ...] = ()

    def on_mount(self) -> None:
        """Show the errands and the backups there are."""
        self._backups = errands.backup_words(self.shop)
        super().on_mount()

    items = ERRANDS

    def row(self, errand: Errand, here: bool, width: int) -> Content:
        """Return an errand: its key, words and hint."""
        head = f"{'▸' if here else ' '} {errand.key}  {errand.words:<18}"
        hint = visible(errand.hint, max(width - len(head) - 2, 0))
        return styled((head, "bold" if here else ""), "  ", (hint, "$ink-faint"))

    def foot(self, width: int) -> Sequence[Content]:
        """Return where the book lies and which daily copies there are."""
        told = (f"This book: {self.shop.book.path}", *self._backups)
        return paragraphs(told, width, "$ink-faint")

    def plus(self) -> None:
        """Begin the marked errand."""
        self._begin(ERRANDS[self.at])

    def acts(self) -> dict[str, Callable[[], None]]:
        """Begin the errand of a letter."""
        return {errand.key: partial(self._pick, i) for i, errand in enumerate(ERRANDS)}

    def _pick(self, i: int) -> None:
        self.at = i
        self._begin(ERRANDS[i])

    def close_list(self) -> None:
        """Close unless an errand is under way."""
        if self._busy:
            self.say("not yet: an errand is under way", "warn")
        else:
            super().close_list()

    def _begin(self, errand: Errand) -> None:
        view = self.bench.hands.state.view
        if self._busy:
            self.say("one errand after the other: wait a moment", "warn")
        elif errand.needs_ski and view is None:
            self.say("no ski in hand", "warn")
        elif not errand.asks:
            self._start(errand, "", trial=False)
        else:
            self.say("")
            name = "" if view is None else view.ski.name
            proposed = errands.proposed(errand, self.shop, name)
            value = self._paths.get(errand.name, proposed)
            field = Field("file", "File", "its path; ~ is your home folder", "FILE")
            title = errand.words[0].upper() + errand.words[1:]
            form = Form(
                title, [field], lambda texts: errands.check_path(texts["file"]), now={"file": value}
            )
            self.bench.push_screen(form, lambda path: self._with_path(errand, path))

    def _with_path(self, errand: Errand, path: object) -> None:
        if isinstance(path, str):
            self._paths[errand.name] = path
            self._start(errand, path, trial=errand.tried_first)

    def _start(self, errand: Errand, path: str, *, trial: bool) -> None:
        self._busy = True
        self.say(WORKING)
        self.run_worker(self._run(errand, path, trial), exit_on_error=False)

    async def _run(self, errand: Errand, path: str, trial: bool) -> None:
        view = self.bench.hands.state.view
        ski_id = "" if view is None else view.ski.id
        try:
            outcome = await asyncio.to_thread(
                errands.run, errand, self.shop, path, ski_id, trial=trial
            )
        except BenchError as why:
            self._busy = False
            words = f"✗ {why}"
            if len(words) > LONG:
                self._show(Outcome((words,)), lambda: None)
            else:
                self.say(words, "warn")
            return
        self._busy = False
        self._backups = errands.backup_words(self.shop)
        self._show(outcome, lambda: self._start(errand, path, trial=False))

    def _show(self, outcome: Outcome, act: Callable[[], None]) -> None:
        if outcome.ready:
            self.say("")
            self.bench.push_screen(TrialScreen(outcome, act))
        elif len(outcome.lines) > SHORT or any(line[:2] in TROUBLES for line in outcome.lines):
            self.say("")
            self.bench.push_screen(ReportScreen(outcome))
        else:
            self.say(" · ".join(outcome.lines), "done")


PAGE_WIDTH = 80
HELD_DOWN_S = 0.6
"""A key held down sends itself again within this time: one press writes once."""

_PAGE_SIGNS = {"! ": "bold $state-caution", "* ": "bold $state-within"}
"""What goes before a line that says how things are; the sign tells it without the colour."""


class PageScreen(TableScreen):
    """A page as text, and F2 to write it as files; what was written is above it."""

    KEYS = "F2 writes it to the folder · ↑ ↓ PgUp PgDn scroll · Enter or Esc closes"

    def __init__(self, key: str = "") -> None:
        super().__init__(key)
        self._said: tuple[str, str] = ("", "")
        self._asked_s = -math.inf

    def page(self, width: int) -> str:
        """Return the page as text of at most ``width`` columns."""
        raise NotImplementedError

    def write(self) -> Written:
        """Write the page to the shop's folder."""
        raise NotImplementedError

    def acts(self) -> dict[str, Callable[[], None]]:
        """Write on F2, turn pages."""
        height = self.query_one("#closer-body").content_size.height - 1
        return {
            "f2": self._write,
            "pageup": lambda: self.step(-height),
            "pagedown": lambda: self.step(height),
        }

    def step(self, by: int) -> None:
        """Scroll by rows, each key in its turn."""
        self.query_one("#closer-body").scroll_relative(y=by, animate=False, immediate=True)

    def _write(self) -> None:
        again, self._asked_s = self.pressed_s - self._asked_s < HELD_DOWN_S, self.pressed_s
        if again:
            return
        try:
            self._said = (f"✓ {self.write().words}", "bold $state-within")
        except BenchError as why:
            self._said = (f"✗ not written: {why}", "bold $state-caution")
        self.query_one("#closer-body").scroll_home(animate=False)
        self.draw()

    def table(self, width: int) -> Content:
        """Return what was said, and the page below it."""
        words, style = self._said
        said = paragraph(words, width, style)
        text = self.page(min(width, PAGE_WIDTH))
        return lines(
            [*said, *(styled((line, _PAGE_SIGNS.get(line[:2], ""))) for line in text.split("\n"))]
        )


class CardScreen(PageScreen):
    """The setting card of a job."""

    TITLE_WORDS = "Setting card"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        super().__init__(state.keys.of("card"))
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
        super().__init__()
        self._shop = shop
        self._sheet = day_sheet(shop)

    def page(self, width: int) -> str:
        """Return the sheet."""
        return day_text(self._sheet, width)

    def write(self) -> Written:
        """Write the sheet in every format that can be written here."""
        return sheet_document(self._shop).write(self._shop)
