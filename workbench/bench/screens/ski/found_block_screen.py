"""Where the studs are, found from the rounds of the ski in hand; kept as a version of the block."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from textual.content import Content

from workbench.bench.bases.lists import UnitList
from workbench.bench.bases.prompts import Prompt
from workbench.bench.draw.text import paragraph, paragraphs, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError, InputError
from workbench.fin.plan.found_block import FoundBlock
from workbench.work.job.shop import Shop
from workbench.work.roster.measured_block import (
    figure_words,
    found_from,
    found_lines,
    good_moves_words,
    keep_found,
    moves_words,
)
from workbench.work.text.words import error_words

HOW = (
    "Turns of known size, read before and after, tell where each stud is. Turn them by hand and "
    "enter the turns as made; five rounds that tell most and end where they began:"
)
REASON = "found from rounds of known turns"


class FoundBlockScreen(UnitList):
    """What the rounds tell of each stud, and whether it is well fixed."""

    TITLE_WORDS = "The block, found from the rounds"
    KEYS = "↑ ↓ choose · + keeps it in the block · * in/mm · Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(shop, state)
        self._found: FoundBlock | None = None
        self._why = ""
        self._load()

    def _load(self) -> None:
        self._found, self._why = None, ""
        try:
            self._found = found_from(self.shop, self.view)
        except BenchError as why:
            self._why = error_words(why, self.unit)

    # -- what is shown ---------------------------------------------------------------------------

    def head(self, width: int) -> Sequence[Content]:
        """Return which block it is, what is missing, and what contradicts."""
        out = [styled((visible(self.view.block_name, width), "bold $accent"))]
        if self._found is None:
            out += paragraph(f"? {self._why}", width, "$state-caution")
            out += paragraph(HOW, width)
        elif not self._found.agree:
            why = found_lines(self._found, self.unit)[-1]
            out += paragraph(why, width, "bold $state-caution")
        return out

    def rows(self, width: int) -> Sequence[Content]:
        """Return a row for each figure found, else the five rounds that tell most."""
        if self._found is None:
            return [
                styled((visible(f"{'▸' if i == self.at else ' '} {text}", width), ""))
                for i, text in enumerate(good_moves_words(self.view))
            ]
        out = []
        for i, text in enumerate(self._figures(self._found)):
            well = self._found.figures[i].well and self._found.agree
            said = f"{'✓ well fixed' if well else '? not well':<12} {text.partition(';')[0]}"
            out.append(self.marked_row(i, said, width))
        return out

    def foot(self, width: int) -> Sequence[Content]:
        """Return the marked figure in full, and the rounds that there are."""
        out = [Content("")]
        if self._found is not None:
            figures = self._figures(self._found)
            marked = figures[min(self.at, len(figures) - 1)]
            out += paragraph(marked, width, "bold")
        made = moves_words(self.view)
        head = f"{len(made)} round{'' if len(made) == 1 else 's'} made and read:"
        rounds = (head, *made) if made else ("No round is made yet.",)
        return [*out, *paragraphs(rounds, width, "$ink-faint")]

    def _figures(self, found: FoundBlock) -> list[str]:
        return [figure_words(f, self.unit, found.agree) for f in found.figures]

    # -- what is done ----------------------------------------------------------------------------

    def plus(self) -> None:
        """Ask for the reason, then keep what was found as a version of the block."""
        found = self._found
        if found is None:
            raise InputError("rounds", "too few", "the rounds above first")
        if not found.agree:
            keep_found(self.shop, self.view, found, REASON)  # says why not
        keep = partial(keep_found, self.shop, self.view, found)
        title = f"Keep in block {visible(self.view.block_name, 40)}: the one before stays readable"
        self.app.push_screen(Prompt(title, "why: a word or two", REASON, keep), self._after)

    def _after(self, kept: object) -> None:
        if kept:
            self.view = self.shop.view(self.view.job.id)
            self._try(self._load)
            self.say("kept: the block has a new version, turns go by it", "done")
