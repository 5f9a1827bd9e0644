"""What this bench has learnt of the block and blade in hand, each stud with its evidence."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content
from textual.widgets import Static

from workbench.bench.bases.lists import UnitList
from workbench.bench.draw.plots import learned_plot
from workbench.bench.draw.text import paragraph, paragraphs
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.work.job.shop import Shop
from workbench.work.learn.what_learnt import ALL, LearntPage, bring_back, forget, learnt_page
from workbench.work.order.shop_policy import LEARNING
from workbench.work.roster.settings import change

ON = "Turns of every ski in this shop go by what was learned (setting learning: on)."
OFF = "Turns go by the plain geometry (setting learning: off)."
ASK_ON = "+ lets the turns of every ski in this shop go by what was learned"
ASK_OFF = "+ lets the turns of every ski in this shop go by the plain geometry again"
LEAST_PLOT, MOST_PLOT = 6, 22


class LearnedScreen(UnitList):
    """The studs; below them what the turns of the marked one really moved."""

    TITLE_WORDS = "What this bench has learned"
    KEYS = (
        "↑ ↓ stud · o, then +, turns by it or not · x forgets the stud's · a forgets all · "
        "b brings the stud's back · Esc closes"
    )
    SHOWN_KEYS = "↑ ↓ stud · o turns by it · x forgets · a all · b brings back · Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(shop, state)
        if not self.view.rig.studs:
            raise BenchError("no block yet: nothing is learned of its studs")
        self._page: LearntPage | None = None
        self._load()

    def _load(self) -> None:
        self._page = learnt_page(self.shop.book, self.view.ski)

    @property
    def _is_on(self) -> bool:
        return self.view.rules.learns_at("~")

    @property
    def page(self) -> LearntPage:
        """What was learnt, as it is shown."""
        assert self._page is not None
        return self._page

    # -- what is shown ---------------------------------------------------------------------------

    def head(self, width: int) -> Sequence[Content]:
        """The block and blade, what learning changed, and a question about a thread."""
        page = self.page
        out = paragraph(page.title, width, "bold $accent")
        out += paragraphs(page.history, width)
        out += paragraph(ON if self._is_on else OFF, width, "bold")
        if page.asked:
            out += paragraph(f"? {page.asked}", width, "bold $state-caution")
        return out

    def rows(self, width: int) -> Sequence[Content]:
        """The studs, each in a row."""
        studs = [stud.words.partition(";")[0] for stud in self.page.studs]
        return [self.marked_row(i, text, width) for i, text in enumerate(studs)]

    def foot(self, width: int) -> Sequence[Content]:
        """The marked stud in full with its turns, and what was forgotten."""
        page = self.page
        stud = page.studs[min(self.at, len(page.studs) - 1)]
        out = paragraph(stud.words, width, "bold")
        below = paragraphs(page.forgotten, width, "$ink-faint")
        height = self.query_one("#list", Static).size.height
        taken = len(self.head(width)) + len(page.studs) + len(out) + len(below) + 1
        room = min(height - taken, MOST_PLOT)
        if room >= LEAST_PLOT:
            out += learned_plot(stud, width, room, self.bench.hands.state.drawing)
        return [Content(""), *out, *below]

    # -- what is done ----------------------------------------------------------------------------

    def letter(self, char: str) -> None:
        """Forget what was learnt of the marked stud or of all, bring it back, or turn by it."""
        stud = self.page.studs[min(self.at, len(self.page.studs) - 1)]
        if char == "x":
            self._forget(stud.name, f"Forget what was learned of the {stud.said} stud")
        elif char == "a":
            self._forget(ALL, "Forget what was learned of all studs")
        elif char == "o":
            self.say(self._question, "warn")
        elif char == "b":
            bring_back(self.shop.book, self.view.ski, stud.name, self.shop.who)
            self._load()
            self.say(f"what was learned of the {stud.said} stud counts again", "done")

    def plus(self) -> None:
        """Turn by what was learned or by the geometry, once that was asked for."""
        if self._message[0] == self._question:
            change(self.shop, {LEARNING: "off" if self._is_on else "on"})
            self.view = self.shop.view(self.view.job.id)
            self.say(ON if self._is_on else OFF, "done")

    @property
    def _question(self) -> str:
        return ASK_OFF if self._is_on else ASK_ON

    def _forget(self, name: str, title: str) -> None:
        book, ski, who = self.shop.book, self.view.ski, self.shop.who
        self._ask_why(
            title,
            lambda reason: forget(book, ski, name, reason, who),
            "forgotten; b brings a stud's back",
        )
