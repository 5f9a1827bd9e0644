"""Questions about the ski in hand that are answered in letters, which no caliper types."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from textual.content import Content

from workbench.bench.bases.lists import ListScreen
from workbench.bench.bases.prompts import ASIDE_REASONS, Prompt
from workbench.bench.draw.text import paragraphs
from workbench.work.order.round_records import described

if TYPE_CHECKING:
    from workbench.bench.app import Bench
    from workbench.records.store.rows import AnyFact
    from workbench.work.order.round_records import TurnAnswer

_EYES = "initials of somebody else, who looked at every item too; then + signs off"


def initials(bench: Bench) -> None:
    """Ask whose hands these are."""
    hint = "whose hands: 1 to 12 characters"
    bench.show(Prompt("Initials", hint, bench.hands.state.who, bench.acts.set_who))


def second_eyes(bench: Bench) -> None:
    """Ask who else looked at the ski in hand."""
    bench.show(Prompt("Second pair of eyes", _EYES, "", bench.acts.second_eyes))


def aside(bench: Bench) -> None:
    """Ask why the ski in hand is set aside."""
    why = "why: a word or two"
    bench.show(Prompt("Set aside", why, "", bench.acts.set_aside, ASIDE_REASONS))


def note(bench: Bench) -> None:
    """Ask for a note to the job in hand."""
    bench.show(Prompt("Note", "kept with this job", "", bench.acts.write_note))


def turn_back(bench: Bench) -> None:
    """Ask about the turn that is the last entry of the ski in hand."""
    view = bench.hands.state.view
    fact = bench.shop.turn_to_take_back(view) if view is not None else None
    if fact is not None:
        bench.show(TurnBackScreen(fact))


_ANSWERS: dict[str, tuple[TurnAnswer, str]] = {
    "b": ("turned_back", "the stud was turned back by hand, just as far"),
    "n": ("not_turned", "the stud was never turned: this was entered by mistake"),
}
_STAYS = "Esc: neither. The record stays: finish the round, and measure."


class TurnBackScreen(ListScreen):
    """Asks what became of the stud whose turn is taken back.

    Both answers, by their letters, take the record back and say why in the book; closing leaves
    it as it is: then the stud counts as turned.
    """

    KEYS = "b turned back by hand · n never turned · Esc leaves the record as it is"
    TITLE_WORDS = "Take back a turn"

    def __init__(self, fact: AnyFact) -> None:
        super().__init__()
        self._fact = fact

    def head(self, width: int) -> Sequence[Content]:
        """Return what is recorded, and the question."""
        said = (
            f"The record says: {described(self._fact)}.",
            "Striking it out turns nothing back. Where is that stud now?",
        )
        return [*paragraphs(said, width, "bold"), Content("")]

    def rows(self, width: int) -> Sequence[Content]:
        """Return the answers with their letters, the one that changes nothing last."""
        listed = [f"{key}: {words}" for key, (_, words) in _ANSWERS.items()]
        return paragraphs((*listed, _STAYS), width)

    def letter(self, char: str) -> None:
        """Take the record back with what is said of the stud."""
        if char not in _ANSWERS:
            self.say("b or n answers; Esc leaves the record as it is", "warn")
            return
        self.bench.acts.take_back_turn(_ANSWERS[char][0])
        self.end()
