"""What became of the stud whose turn is being taken back: asked in letters, which no cable types.

Closing leaves the record as it is: then the stud counts as turned.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from textual.content import Content

from workbench.bench.bases.lists import ListScreen
from workbench.bench.draw.text import paragraphs, styled, wrapped
from workbench.work.job.entry_words import described

if TYPE_CHECKING:
    from workbench.bench.app import Bench
    from workbench.records.store.rows import AnyFact
    from workbench.work.order.round_records import TurnAnswer

_ANSWERS: dict[str, tuple[TurnAnswer, str]] = {
    "b": ("turned_back", "the stud was turned back by hand, just as far"),
    "n": ("not_turned", "the stud was never turned: this was entered by mistake"),
}
_STAYS = "Esc: neither. The record stays: finish the round, and measure."


class TurnBackScreen(ListScreen):
    """Two answers by their letters; both take the record back and say why in the book."""

    KEYS = "b turned back by hand · n never turned · Esc leaves the record as it is"
    TITLE_WORDS = "Take back a turn"

    def __init__(self, fact: AnyFact) -> None:
        super().__init__()
        self._fact = fact

    def head(self, width: int) -> Sequence[Content]:
        """Return what is recorded, and the question."""
        said = wrapped(f"The record says: {described(self._fact)}.", width)
        said += wrapped("Striking it out turns nothing back. Where is that stud now?", width)
        return [*(styled((part, "bold")) for part in said), Content("")]

    def rows(self, width: int) -> Sequence[Content]:
        """Return the answers with their letters, the one that changes nothing last."""
        listed = [f"{key}: {words}" for key, (_, words) in _ANSWERS.items()]
        return paragraphs((*listed, _STAYS), width)

    def letter(self, char: str) -> None:
        """Take the record back with what is said of the stud."""
        if char not in _ANSWERS:
            self.say("b or n answers; Esc leaves the record as it is", "warn")
            return
        self.bench.hands.take_back_turn(_ANSWERS[char][0])
        self.end()


def open_on(bench: Bench) -> None:
    """Ask about the turn that is the last entry of the ski in hand."""
    view = bench.hands.state.view
    fact = bench.shop.turn_to_take_back(view) if view is not None else None
    if fact is not None:
        bench.push_screen(TurnBackScreen(fact))
