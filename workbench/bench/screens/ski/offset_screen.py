"""Method offsets, learnt: two methods' numbers on the same fins, what they say, and restating."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from workbench.bench.bases.forms import Field, Form, by_view
from workbench.bench.bases.lists import UnitList, told
from workbench.bench.draw.text import paragraph, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import InputError
from workbench.measure.display import FINE, change_text
from workbench.measure.learnt_offset import Restatement
from workbench.work.job.shop import Shop
from workbench.work.offsets import offsets, pairs
from workbench.work.offsets.offset_words import SaidKind, pair_state, restated_words, summary

_STYLES: dict[SaidKind, str] = {
    "plain": "", "strong": "bold", "caution": "bold $state-caution", "faint": "$ink-faint",
}  # fmt: skip
_NONE = (
    "Only one way to measure each number here. With a second depth, tail or length method "
    "the offset between the two can be learned here."
)


class OffsetScreen(UnitList):
    """The pairs of two methods; what is offered from rounds is below them, marked ``?``."""

    TITLE_WORDS = "Method offsets, learned"
    KEYS = (
        "n adds a pair · r converts a number · + takes the one offered · t takes all · "
        "x strikes out · o other way · m other methods · * in/mm · Esc closes"
    )

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(shop, state)
        self._choices = pairs.choices(shop, self.view)
        self._chosen = 0
        self._turned = False
        self._typed: tuple[pairs.Number, Restatement] | None = None
        self._now: Restatement | None = None
        self._study: offsets.OffsetStudy | None = None
        self._load()

    @property
    def two(self) -> pairs.Two:
        """The two methods looked at, the one that is restated first."""
        if not self._choices:
            raise InputError("methods", "(none)", "a blade with two methods of one quantity")
        two = self._choices[self._chosen]
        return two.turned if self._turned else two

    def _load(self) -> None:
        if self._choices:
            self._study = offsets.study(self.shop, self.view, self.two)
            self._now = offsets.restate_current(self.shop, self.view, self.two)

    @property
    def _lines(self) -> tuple[pairs.PairLine, ...]:
        return (*self._study.pairs, *self._study.offered) if self._study is not None else ()

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
        if self._now is not None:
            number = self._number_now()
            out += told(width, "now", restated_words(number, self._now, names, self.unit), "bold")
        if self._typed is not None:
            out += told(width, "typed", restated_words(*self._typed, names, self.unit), "bold")
        head = f"  {'by the first':>14} {'by the second':>14} {f'difference {self.unit}':>14}  ski"
        return [*out, styled((visible(head, width), "bold $accent"))]

    def _number_now(self) -> pairs.Number:
        line = next(x for x in self.view.lines if x.method_id == self.two.first.id)
        assert line.now_mm is not None
        return pairs.Number("", self.unit, line.now_mm)

    def rows(self, width: int) -> Sequence[Content]:
        """The pairs that were kept, then those offered."""
        if self._study is None:
            return ()
        out = [self._row(i, line, width) for i, line in enumerate(self._lines)]
        return out or [styled("  no pair yet: n types one")]

    def _row(self, i: int, line: pairs.PairLine, width: int) -> Content:
        glyph, word = pair_state(line)
        first, second = (_typed(n) for n in (line.first, line.second))
        step = FINE[self.unit]
        difference = change_text(line.difference_mm, self.unit, step)
        mark = "▸" if i == self.at else " "
        name = visible(line.ski_name, 20)
        text = f"{mark}{glyph}{first:>14} {second:>14} {difference:>14}  {name}  {word}"
        style = "bold" if i == self.at else "" if line.counts else "$ink-faint"
        return styled((visible(text, width), style))

    # -- what is done ----------------------------------------------------------------------------

    def plus(self) -> None:
        """Keep the marked pair out of a round."""
        line = self._marked()
        if line.row is not None:
            raise InputError("pair", _typed(line.first), "one that is offered, marked ?")
        self._take((line,))

    def letter(self, char: str) -> None:
        """Type a pair, restate a number, take all, strike out, or choose other methods."""
        if char == "n":
            self.app.push_screen(self._pair_form(), self._kept)
        elif char == "r":
            self.app.push_screen(self._restate_form(), self._show_restated)
        elif char == "t" and self._study is not None:
            self._take(self._study.offered)
        elif char == "x":
            self._strike(self._marked())
        elif char in "om" and self._choices:
            self._other(char)

    def _other(self, char: str) -> None:
        if char == "o":
            self._turned = not self._turned
        else:
            self._chosen = (self._chosen + 1) % len(self._choices)
        self.at, self._typed = 0, None
        self._load()
        self.say("")

    def _marked(self) -> pairs.PairLine:
        if not self._lines:
            raise InputError("pair", "(none)", "a pair: n types one")
        return self._lines[min(self.at, len(self._lines) - 1)]

    def _take(self, offered: Sequence[pairs.PairLine]) -> None:
        if not offered:
            raise InputError("pairs", "(none offered)", "rounds in which both methods were read")
        count = pairs.take_offered(self.shop, self.two, offered)
        self._load()
        self.say(f"{count} kept from rounds; never counted twice", "done")

    def _strike(self, line: pairs.PairLine) -> None:
        if not line.counts:
            raise InputError("pair", _typed(line.first), "a pair that counts, marked ✓")
        title = f"Strike out the pair {_typed(line.first)}, {_typed(line.second)}"

        self._ask_why(title, lambda reason: pairs.strike_pair(self.shop, line, reason))

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
        fields = (
            Field("first", "First", f"the number by {visible(two.first.name, 40)} ({unit})"),
            Field(
                "second", "Second", f"by {visible(two.second.name, 40)} on the same fin ({unit})"
            ),
        )
        return Form(
            "One fin by both methods", fields,
            by_view(self.view, lambda v, texts: pairs.add_pair(self.shop, v, two, texts, unit)),
        )  # fmt: skip

    def _restate_form(self) -> Form:
        two, unit = self.two, self.unit
        hint = f"a number by {visible(two.first.name, 40)} ({unit})"
        return Form(
            "Convert a number", (Field("number", "Number", hint),),
            lambda texts: offsets.restate_typed(self.shop, self.view, two, texts["number"], unit),
        )  # fmt: skip


def _typed(number: pairs.Number) -> str:
    """Return a number as typed, with its unit."""
    text = visible(number.text, 14)
    return text if number.text.strip()[-1:].isalpha() else f"{text} {number.unit}"
