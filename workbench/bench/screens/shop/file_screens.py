"""Files: the book out and in, a day's skis in, backups; the setting card and the day sheet.

What changes the book is shown first. Letters and ``+`` choose, F2 does or writes; digits and Enter
off a caliper's cable are held and do nothing.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal

from textual.content import Content

from workbench.bench.bases.forms import Form
from workbench.bench.bases.lists import ListScreen
from workbench.bench.bases.view_only import TableScreen
from workbench.bench.draw.text import lines, paragraph, paragraphs, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError, InputError
from workbench.places import is_plain_file
from workbench.records.backup.backups import backups_of
from workbench.work.exchange.backup import back_up, copied_lines
from workbench.work.exchange.csv_files import CsvWanted, write_csv
from workbench.work.exchange.exchange import export_book, export_ski_of_id, take_in
from workbench.work.exchange.exchange_words import exported_lines, size_words, taken_in_lines
from workbench.work.exchange.intake import intake_lines, take_in_skis
from workbench.work.files.safe_write import path_of, slug
from workbench.work.job.shop import Shop
from workbench.work.paper.cards import card_of
from workbench.work.paper.day_sheet import day_sheet
from workbench.work.paper.printing import Written, card_document, sheet_document
from workbench.work.paper.text_pages import card_text, day_text
from workbench.work.text.fields import Field
from workbench.work.text.words import clean

MOST_BACKUPS = 3

Name = Literal[
    "book", "ski", "import", "intake", "queue", "skis", "readings", "history", "this history",
    "backup",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an errand did, in lines; ``ready`` says that it was a trial which may now be done."""

    lines: tuple[str, ...]
    ready: bool = False


@dataclass(frozen=True, slots=True)
class Errand:
    """One errand: its letter, words, what it does in a sentence, and the file's name proposed.

    ``tried_first``: a dry run shows what would come of it. ``asks``: a path is asked for.
    """

    name: Name
    key: str
    words: str
    hint: str
    proposed: str = ""
    tried_first: bool = False
    needs_ski: bool = False
    asks: bool = True


ERRANDS: tuple[Errand, ...] = (
    Errand("book", "b", "export the book", "everything, for another bench",
           "quarterturn-{day}.json"),
    Errand("ski", "s", "export this ski", "the ski in hand and all it needs, for a bench",
           "quarterturn-{ski}-{day}.json", needs_ski=True),
    Errand("import", "i", "import a file", "of another bench: a look first, then F2",
           tried_first=True),
    Errand("intake", "c", "skis from a CSV", "a day's skis: their problems first, then F2",
           tried_first=True),
    Errand("queue", "q", "queue to a CSV", "today's skis, for a spreadsheet or a bench",
           "queue-{day}.csv"),
    Errand("readings", "r", "readings to a CSV", "every reading kept, for a spreadsheet",
           "readings-{day}.csv"),
    Errand("skis", "l", "skis to a CSV", "every ski, for a spreadsheet or a bench",
           "skis-{day}.csv"),
    Errand("history", "h", "history to a CSV", "all done to every ski, struck out or not",
           "history-{day}.csv"),
    Errand("this history", "o", "this ski's history", "the ski in hand alone, to a CSV",
           "history-{ski}-{day}.csv", needs_ski=True),
    Errand("backup", "k", "back up now", "today's copy in 'backups' beside the book",
           asks=False),
)  # fmt: skip


def run_errand(
    errand: Errand, shop: Shop, path: str, ski_id: str = "", *, trial: bool = False
) -> Outcome:
    """Do an errand, or with ``trial`` try it; raises ``BenchError`` where it cannot be done."""
    if errand.tried_first and not is_plain_file(path_of(path)):
        raise InputError("file", path, "a file that is there")
    match errand.name:
        case "book":
            return Outcome(tuple(exported_lines(export_book(shop, path))))
        case "ski":
            return Outcome(tuple(exported_lines(export_ski_of_id(shop, ski_id, path))))
        case "import":
            taken = take_in(shop, path, dry_run=trial)
            return Outcome(tuple(taken_in_lines(taken)), trial and bool(taken.brought.new))
        case "intake":
            intake = take_in_skis(shop, path, dry_run=trial)
            return Outcome(tuple(intake_lines(intake)), trial and not intake.problems)
        case "backup":
            return Outcome(tuple(copied_lines(back_up(shop.book))))
        case "queue" | "skis" | "readings" | "history":
            return _csv(shop, CsvWanted(errand.name), path)
        case "this history":
            return _csv(shop, CsvWanted("history", ski_id=ski_id), path)


def _csv(shop: Shop, wanted: CsvWanted, path: str) -> Outcome:
    unfit: list[str] = []
    size = write_csv(shop, wanted, path, unfit)
    written = f"Written: {clean(path)} ({size_words(size)})"
    return Outcome((written, *(f"! {clean(line)}" for line in unfit)))


_SIGNS = {"! ": "bold $state-caution", "✗ ": "bold $state-caution", "+ ": "$state-within"}
TROUBLES = ("! ", "✗ ")
WORKING = "working ..."
SHORT, LONG = 2, 150
"""Lines of an outcome and letters of an error that are said below the list; a longer one, or one
with troubles, gets a screen of its own."""


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
        self._backups = _backup_words(self.shop)
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
            proposed = errand.proposed.format(day=self.shop.day, ski=slug(name))
            value = self._paths.get(errand.name, proposed and f"~/{proposed}")
            field = Field("file", "File", "its path; ~ is your home folder", "FILE")
            title = errand.words[0].upper() + errand.words[1:]
            form = Form(title, [field], lambda texts: _path_in(texts["file"]), now={"file": value})
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
                run_errand, errand, self.shop, path, ski_id, trial=trial
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
        self._backups = _backup_words(self.shop)
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


def _backup_words(shop: Shop) -> tuple[str, ...]:
    """Return the newest daily copies of the book, a line each, and how one is put back."""
    found = backups_of(shop.book.path)
    if not found:
        return ("No daily backup yet: one is made when the shop's own book is open.",)
    days = [f"  {each.label}  {each.size / 1e6:.1f} MB" for each in found[:MOST_BACKUPS]]
    more = f", {len(found) - MOST_BACKUPS} older ones" if len(found) > MOST_BACKUPS else ""
    back = "To put one back close the bench, then: quarterturn restore DAY"
    return (f"Daily backups{more}:", *days, back)


def _path_in(path: str) -> str:
    """Return a path that is not blank, trimmed."""
    path_of(path)
    return path.strip()


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
