"""What was learned: of the block and blade in hand, and of two methods' numbers on one fin."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from textual.content import Content
from textual.widgets import Static

from workbench.bench.bases.forms import Form, by_view
from workbench.bench.bases.lists import Row, UnitList, marked_row, told
from workbench.bench.draw.plots import learned_plot
from workbench.bench.draw.text import paragraph, paragraphs, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError, InputError
from workbench.measure.display import FINE, change_text
from workbench.measure.learnt_offset import Restatement
from workbench.work.job.shop import Shop
from workbench.work.learn.what_learnt import (
    ALL,
    LearntStud,
    bring_back,
    forget,
    learnt_page,
)
from workbench.work.roster.settings import change
from workbench.work.study import offsets
from workbench.work.study.offset_words import SaidKind, pair_state, restated_words, summary
from workbench.work.trust.shop_policy import LEARNING

ON = "Turns of every ski in this shop go by what was learned (setting learning: on)."
OFF = "Turns go by the plain geometry (setting learning: off)."
ASK_ON = "+ lets the turns of every ski in this shop go by what was learned"
ASK_OFF = "+ lets the turns of every ski in this shop go by the plain geometry again"
LEAST_PLOT, MOST_PLOT = 6, 22


class LearnedScreen(UnitList[LearntStud]):
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
        self._load()

    def _load(self) -> None:
        self.page = learnt_page(self.shop.book, self.view.ski)
        self.items = self.page.studs

    @property
    def _is_on(self) -> bool:
        return self.view.rules.learns_at("~")

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

    def row(self, stud: LearntStud, here: bool, width: int) -> Content:
        """A stud and what was learnt of it, in short."""
        return marked_row(here, stud.words.partition(";")[0], width)

    def foot(self, width: int) -> Sequence[Content]:
        """The marked stud in full with its turns, and what was forgotten."""
        page, stud = self.page, self.marked
        assert stud is not None
        out = paragraph(stud.words, width, "bold")
        below = paragraphs(page.forgotten, width, "$ink-faint")
        height = self.query_one("#list", Static).size.height
        taken = len(self.head(width)) + len(page.studs) + len(out) + len(below) + 1
        room = min(height - taken, MOST_PLOT)
        if room >= LEAST_PLOT:
            out += learned_plot(stud, width, room, self.bench.hands.state.drawing)
        return [Content(""), *out, *below]

    # -- what is done ----------------------------------------------------------------------------

    def acts(self) -> dict[str, Callable[[], None]]:
        """Forget what was learnt of the marked stud or of all, bring it back, or turn by it."""
        stud = self.marked
        assert stud is not None
        return {
            "x": lambda: self._forget(
                stud.name, f"Forget what was learned of the {stud.said} stud"
            ),
            "a": lambda: self._forget(ALL, "Forget what was learned of all studs"),
            "o": lambda: self.say(self._question, "warn"),
            "b": lambda: self._bring_back(stud),
        }

    def _bring_back(self, stud: LearntStud) -> None:
        bring_back(self.shop.book, self.view.ski, stud.name, self.shop.who)
        self._load()
        self.say(f"what was learned of the {stud.said} stud counts again", "done")

    def plus(self) -> None:
        """Turn by what was learned or by the geometry, once that was asked for."""
        if self._message[0] == self._question:
            change(self.shop, {LEARNING.name: "off" if self._is_on else "on"})
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


_STYLES: dict[SaidKind, str] = {
    "plain": "", "strong": "bold", "caution": "bold $state-caution", "faint": "$ink-faint",
}  # fmt: skip
_NONE = (
    "Only one way to measure each number here. With a second depth, tail or length method "
    "the offset between the two can be learned here."
)


class OffsetScreen(UnitList[offsets.PairLine]):
    """The pairs of two methods; what is offered from rounds is below them, marked ``?``."""

    TITLE_WORDS = "Method offsets, learned"
    KEYS = (
        "n adds a pair · r converts a number · + takes the one offered · t takes all · "
        "x strikes out · o other way · m other methods · * in/mm · Esc closes"
    )

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(shop, state)
        self._choices = offsets.choices(shop, self.view)
        self._chosen = 0
        self._turned = False
        self._typed: tuple[float, Restatement] | None = None
        self._study: offsets.OffsetStudy | None = None
        self._load()

    @property
    def two(self) -> offsets.Two:
        """The two methods looked at, the one that is restated first."""
        if not self._choices:
            raise InputError("methods", "(none)", "a blade with two methods of one quantity")
        two = self._choices[self._chosen]
        return two.turned if self._turned else two

    def _load(self) -> None:
        if self._choices:
            self._study = offsets.study(self.shop, self.view, self.two)
            self.items = self._study.every

    # -- what is shown ---------------------------------------------------------------------------

    def head(self, width: int) -> Sequence[Content]:
        """The two methods and what their pairs say."""
        if self._study is None:
            return paragraph(_NONE, width, "bold")
        two = self.two
        room = max((width - 22) // 2, 8)
        title = f"{visible(two.first.name, room)} → {visible(two.second.name, room)}"
        out = [styled((title, "bold $accent"), (f"  {self._chosen + 1} of {len(self._choices)}",
                                                 "$ink-faint"))]  # fmt: skip
        for said in summary(self._study, self.unit):
            out += told(width, said.label, said.text, _STYLES[said.kind])
        names = (two.first.name, two.second.name)
        if self._study.now is not None:
            out += told(width, "now", restated_words(*self._study.now, names, self.unit), "bold")
        if self._typed is not None:
            out += told(width, "typed", restated_words(*self._typed, names, self.unit), "bold")
        head = f"  {'by the first':>14} {'by the second':>14} {f'difference {self.unit}':>14}  ski"
        return [*out, styled((visible(head, width), "bold $accent"))]

    def rows(self, width: int) -> Sequence[Row]:
        """The pairs that were kept, then those offered."""
        none = [styled("  no pair yet: n types one")] if self._study is not None else []
        return super().rows(width) or none

    def row(self, line: offsets.PairLine, here: bool, width: int) -> Content:
        """A pair and its difference."""
        glyph, word = pair_state(line)
        first, second = (_typed(n) for n in (line.first, line.second))
        step = FINE[self.unit]
        difference = change_text(line.difference_mm, self.unit, step)
        mark = "▸" if here else " "
        name = visible(line.ski_name, 20)
        text = f"{mark}{glyph}{first:>14} {second:>14} {difference:>14}  {name}  {word}"
        style = "bold" if here else "" if line.counts else "$ink-faint"
        return styled((visible(text, width), style))

    # -- what is done ----------------------------------------------------------------------------

    def plus(self) -> None:
        """Keep the marked pair out of a round."""
        line = self._pair()
        if line.row is not None:
            raise InputError("pair", _typed(line.first), "one that is offered, marked ?")
        self._take((line,))

    def acts(self) -> dict[str, Callable[[], None]]:
        """Type a pair, restate a number, take all, strike out, or choose other methods."""
        study = self._study
        acts: dict[str, Callable[[], None]] = {
            "n": lambda: self.ask(self._pair_form(), self._kept),
            "r": lambda: self.ask(self._restate_form(), self._show_restated),
            "x": lambda: self._strike(self._pair()),
        }
        if study is not None:
            acts["t"] = lambda: self._take(study.offered)
            acts["o"] = lambda: self._other(not self._turned, self._chosen)
            acts["m"] = lambda: self._other(self._turned, self._chosen + 1)
        return acts

    def _other(self, turned: bool, chosen: int) -> None:
        self._turned, self._chosen = turned, chosen % len(self._choices)
        self.at, self._typed = 0, None
        self._load()
        self.say("")

    def _pair(self) -> offsets.PairLine:
        if self.marked is None:
            raise InputError("pair", "(none)", "a pair: n types one")
        return self.marked

    def _take(self, offered: Sequence[offsets.PairLine]) -> None:
        if not offered:
            raise InputError("pairs", "(none offered)", "rounds in which both methods were read")
        count = offsets.take_offered(self.shop, self.two, offered)
        self._load()
        self.say(f"{count} kept from rounds; never counted twice", "done")

    def _strike(self, line: offsets.PairLine) -> None:
        if not line.counts:
            raise InputError("pair", _typed(line.first), "a pair that counts, marked ✓")
        title = f"Strike out the pair {_typed(line.first)}, {_typed(line.second)}"

        self._ask_why(title, lambda reason: offsets.strike_pair(self.shop, line, reason))

    def _kept(self, result: object, said: str = "kept") -> None:
        if result:
            self._typed = None
        super()._kept(result, said)

    def _show_restated(self, result: object) -> None:
        if isinstance(result, tuple):
            self._typed = result
            self.say("")

    def _pair_form(self) -> Form:
        two, unit = self.two, self.unit
        return Form(
            "One fin by both methods", offsets.PAIR,
            by_view(self.view, lambda v, texts: offsets.add_pair(self.shop, v, two, texts, unit)),
            more={
                "first": f", {visible(two.first.name, 40)} ({unit})",
                "second": f": {visible(two.second.name, 40)} ({unit})",
            },
        )  # fmt: skip

    def _restate_form(self) -> Form:
        two, unit = self.two, self.unit
        return Form(
            "Convert a number", (offsets.RESTATED,),
            lambda texts: offsets.restate_typed(self.shop, self.view, two, texts["number"], unit),
            more={"number": f": {visible(two.first.name, 40)} ({unit})"},
        )  # fmt: skip


def _typed(number: offsets.Number) -> str:
    """Return a number as typed, with its unit."""
    text = visible(number.text, 14)
    return text if number.text.strip()[-1:].isalpha() else f"{text} {number.unit}"
