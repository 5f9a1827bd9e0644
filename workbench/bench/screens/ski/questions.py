"""Questions about the ski in hand that are answered in letters, which no caliper types.

Among them which repeat of a reading to strike out, and why.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from textual import events
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Static

from workbench.bench.bases.forms import BOX
from workbench.bench.bases.lists import ListScreen
from workbench.bench.bases.prompts import ASIDE_REASONS, Prompt
from workbench.bench.draw.text import lines, paragraphs, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.measure.display import length_text
from workbench.work.job.shop import Shop
from workbench.work.job.stages import refusal
from workbench.work.order.round_records import described
from workbench.work.text.fields import NOTE, REASON, SECOND, WHO

if TYPE_CHECKING:
    from workbench.bench.app import Bench
    from workbench.records.store.rows import AnyFact
    from workbench.work.order.round_records import TurnAnswer


def initials(bench: Bench) -> None:
    """Ask whose hands these are."""
    bench.show(Prompt("Initials", WHO, bench.hands.state.who, bench.acts.set_who))


def second_eyes(bench: Bench) -> None:
    """Ask who else looked at the ski in hand."""
    hint = f"{SECOND}; then + signs off"
    bench.show(Prompt("Second pair of eyes", hint, "", bench.acts.second_eyes))


def aside(bench: Bench) -> None:
    """Ask why the ski in hand is set aside."""
    bench.show(Prompt("Set aside", REASON.words, "", bench.acts.set_aside, ASIDE_REASONS))


def note(bench: Bench) -> None:
    """Ask for a note to the job in hand."""
    bench.show(Prompt("Note", NOTE, "", bench.acts.write_note))


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


class TurnBackScreen(ListScreen[str]):
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

    def do_key(self, key: str, char: str = "") -> bool:
        """Take the record back with what is said of the stud; another letter answers nothing."""
        if not char.isalpha():
            return super().do_key(key, char)
        answer = _ANSWERS.get(char.lower())
        if answer is None:
            self.say("b or n answers; Esc leaves the record as it is", "warn")
        else:
            self.bench.acts.take_back_turn(answer[0])
            self.end()
        return True


_SHOWN = 8
"""Repeats shown at a time: the box must leave room for the line and the keys at 80x24."""

ROW = 70


class StrikeScreen(Prompt):
    """A prompt for the reason below the repeats; up and down choose the repeat.

    The reading is the one just doubted, else the marked one; what is done with the reason and the
    id of the repeat is ``acts.strike_reading``.

    Raises:
        BenchError: no reading of this round is there to strike out.
    """

    DEFAULT_CSS = f"""
    StrikeScreen {{{BOX}
        LineInput {{ width: 100%; }}
        #repeats {{ height: auto; }}
    }}
    """
    KEYS = "↑ ↓ choose · Enter strikes it out · Esc closes, what is typed stays"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__("Strike out one repeat", REASON.words, "", self._strike)
        view, line = state.view, state.line_to_strike
        if view is None or line is None or not line.latest:
            raise BenchError("no reading of this round to strike out here")
        self._line, self._unit = line, state.unit
        self._why_not = refusal(view.progress, "strike")
        doubtful = line.doubts.indices
        self.at = doubtful[0] if doubtful else len(line.latest) - 1

    def on_mount(self) -> None:
        """Put the repeats under the title, and begin in the line."""
        super().on_mount()
        self.query_one(Vertical).mount(Static(id="repeats", markup=False), after=0)
        self.call_after_refresh(self._draw)
        if self._why_not:  # told before a reason is typed; letters stay in the line
            self.say(f"✗ {self._why_not}")

    def _draw(self) -> None:
        self.query_one("#repeats", Static).update(self.repeats())

    def repeats(self) -> Content:
        """Return the repeats, numbered as taken, the chosen one marked."""
        line, count = self._line, len(self._line.latest)
        first = min(max(self.at - _SHOWN // 2, 0), max(count - _SHOWN, 0))
        out = [styled((visible(line.method.name, ROW), "bold"))]
        for i in range(first, min(first + _SHOWN, count)):
            out.append(self._row(i))
        if line.doubts.indices:
            out.append(styled((visible(f"Test: {line.doubts.test}.", ROW), "$ink-faint")))
        return lines(out)

    def _row(self, i: int) -> Content:
        kept = self._line.latest[i]
        mark = "▸" if i == self.at else " "
        value = length_text(kept.mm, self._unit)
        typed = visible(kept.text, 14)
        doubtful = i in self._line.doubts.indices
        return styled(
            (f"{mark} {i + 1}) {value} {self._unit}", "bold" if i == self.at else ""),
            (f"  as typed {typed} {kept.unit}", "$ink-faint"),
            ("  ? doubtful" if doubtful else "", "bold $state-caution"),
        )

    def on_key(self, event: events.Key) -> None:
        """Up and down choose; the line takes everything else."""
        if event.key in ("up", "down"):
            event.stop()
            step = 1 if event.key == "down" else -1
            self.at = (self.at + step) % len(self._line.latest)
            self._draw()

    def _strike(self, reason: str) -> None:
        bench: Any = self.app
        bench.acts.strike_reading(reason, self._line.latest[self.at].id, self._line)
