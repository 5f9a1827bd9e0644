"""A block measured stud by stud, or found from rounds of known turns."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from textual.content import Content

from workbench.bench.bases.forms import Form
from workbench.bench.bases.lists import UnitList, marked_row
from workbench.bench.bases.prompts import Prompt
from workbench.bench.bases.view_only import TableScreen
from workbench.bench.draw.text import lines, paragraph, paragraphs, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.ski.ski_forms import offer
from workbench.errors import BenchError, InputError
from workbench.fin.plan.found_block import FoundBlock
from workbench.frozen import dataclass
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.roster.measured_block import (
    ACCEPTED,
    MEASURED,
    STUD_NAMES,
    drawn_block,
    figure_words,
    found_from,
    found_lines,
    good_moves_words,
    keep_found,
    keep_measured,
    measured_block,
    moves_words,
)
from workbench.work.text.fields import REASON
from workbench.work.text.words import error_words

if TYPE_CHECKING:
    from workbench.bench.app import Bench


@dataclass(frozen=True, slots=True)
class Kept:
    """A block that was kept, and what is said of its studs."""

    block: rows.Block
    words: tuple[str, ...]


class MeasureForm(Form):
    """Measures a block; the ski in hand need not wear it. Its result is :class:`Kept`."""

    def __init__(self, shop: Shop, state: BenchState) -> None:
        unit = state.unit
        more = {
            f"{name}_{figure}": f"{f' ({unit})' if figure == 'at' else ''}: {accepted}"
            for name in STUD_NAMES
            for figure, accepted in ACCEPTED.items()
        }

        def save(texts: dict[str, str]) -> Kept:
            found = measured_block(texts, unit)
            return Kept(keep_measured(shop, found), found.words)

        super().__init__("Measure a block", MEASURED, save, more=more)

    def after(self, bench: Bench, result: object) -> None:
        """Show the block as it was measured."""
        super().after(bench, result)
        if isinstance(result, Kept):
            view = bench.hands.state.view
            blade = bench.shop.book.blade(view.ski.blade_id) if view is not None else None
            said = "block measured and kept; the ski gets it by 'another blade, block'"
            bench.hands.say(said, "done")
            bench.show(BlockScreen(result, blade))


class BlockScreen(TableScreen):
    """A block as it was measured: each stud in words, and the side view."""

    TITLE_WORDS = "The block as measured"
    KEYS = "↑ ↓ scroll · Enter or Esc closes"

    def __init__(self, kept: Kept, blade: rows.Blade | None) -> None:
        super().__init__()
        self._kept, self._blade = kept, blade

    def after(self, bench: Bench, result: None) -> None:
        """Offer the block to the ski in hand, where it has none yet."""
        offer(bench, "block", self._kept.block.name, "measured")

    def table(self, width: int) -> Content:
        """Return the studs in words, then drawn with the blade in hand."""
        out = [styled((visible(self._kept.block.name, width), "bold"))]
        out += paragraphs(self._kept.words, width)
        if self._blade is not None:
            out += [styled(""), *map(styled, drawn_block(self._kept.block, self._blade))]
        return lines(out)


HOW = (
    "Turns of known size, read before and after, tell where each stud is. Turn them by hand and "
    "enter the turns as made; five rounds that tell most and end where they began:"
)
_FOUND = "found from rounds of known turns"


class FoundBlockScreen(UnitList[str]):
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
                styled(visible(f"{'▸' if i == self.at else ' '} {text}", width))
                for i, text in enumerate(good_moves_words(self.view))
            ]
        out = []
        for i, text in enumerate(self._figures(self._found)):
            well = self._found.figures[i].well and self._found.agree
            said = f"{'✓ well fixed' if well else '? not well':<12} {text.partition(';')[0]}"
            out.append(marked_row(i == self.at, said, width))
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
            keep_found(self.shop, self.view, found, _FOUND)  # says why not
        keep = partial(keep_found, self.shop, self.view, found)
        title = f"Keep in block {visible(self.view.block_name, 40)}: the one before stays readable"
        self.app.push_screen(Prompt(title, REASON.words, _FOUND, keep), self._after)

    def _after(self, kept: object) -> None:
        if kept:
            self.view = self.shop.view(self.view.job.id)
            self.attempt(self._load)
            self.say("kept: the block has a new version, turns go by it", "done")
