"""Taking a study's readings: whose turn it is at what, large, and the number as it is typed.

A caliper's burst is a reading here, by hand or off a cable, and nothing else. Nothing that was read
is shown again, so that every reading is blind.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from textual.content import Content
from textual.events import Key

from workbench.bench.bases.bursts import BURST_WINDOW_S, ENTRY_START
from workbench.bench.bases.number_screen import NumberScreen
from workbench.bench.draw.bigtext import LETTERS, big
from workbench.bench.draw.canvas import Mode
from workbench.bench.draw.text import lines, said, styled, visible, wrapped
from workbench.errors import BenchError
from workbench.measure.lengths import Entry, Placing
from workbench.work.job.shop import Shop
from workbench.work.roster.calipers import standing_words
from workbench.work.study import studies
from workbench.work.study.study_words import sentence, study_state, whose_words
from workbench.work.trust.study_results import StudyView, Turn, result_of

_MESSAGE_LINES = 2
BIG_ROWS, WHO_ROWS = 4, 3
DONE_KEYS = "r result · u takes the last back · Esc closes"


class TakeScreen(NumberScreen[bool]):
    """The readings of one study, one turn after the other. Its result: whether to show results."""

    DEFAULT_CSS = """
    TakeScreen > Vertical { width: 100%; max-width: 100; height: 100%; max-height: 28; }
    TakeScreen #take-turn { height: 1fr; text-wrap: nowrap; }
    TakeScreen #take-said { height: 2; }
    TakeScreen #take-keys { height: 1; color: $text-muted; }
    TakeScreen KeyLine { display: none; }
    """
    TITLE_WORDS = "Readings of a repeatability test"
    PARTS = ("take-turn", "take-said", "take-keys")
    KEYS = "Enter keeps it · u takes the last back · Esc closes, to go on here later"

    def __init__(self, shop: Shop, view: StudyView, mode: Mode = "braille") -> None:
        super().__init__()
        self.shop = shop
        self.view = view
        self._mode = mode
        self._question: Entry | None = None
        self._offered = 0
        self._burst_s = float("-inf")

    def on_mount(self) -> None:
        """Show whose turn it is; a caliper that is not to be trusted is named first."""
        warning = standing_words(self.shop)
        if warning:
            self.message = (warning, "warn")
        super().on_mount()

    # -- what is shown ---------------------------------------------------------------------------

    @property
    def inner_width(self) -> int:
        """The cells of a line inside the frame."""
        return max(min(self.size.width, 100) - 4, 20)

    def parts(self, width: int) -> Sequence[Content]:
        """Return the turn, what was said and the keys, which are others once all is read."""
        keys = self.KEYS if self.view.due is not None else DONE_KEYS
        told = said(self.message, width, _MESSAGE_LINES)
        return self._turn_lines(width), told, styled(visible(keys, width))

    def _turn_lines(self, width: int) -> Content:
        study, due = self.view.study, self.view.due
        head = visible(
            f"{study.name} · {study.what} · read in {studies.UNIT_WORDS[study.unit]}", width
        )
        out = [styled((head, "bold $accent")), self._progress(width), styled("")]
        if due is None:
            out += [styled((f"● {study_state(self.view)}", "bold $state-within")), styled("")]
            return lines([*out, *self._outcome(width)])
        out += [*self._who(due, width), styled(""), *self._number(width), styled("")]
        after = self.view.missing[1:2]
        then = f"then: {after[0].words}" if after else "then: complete"
        out.append(styled((visible(then, width), "$ink-faint")))
        return lines([*out, *[styled((p, "$ink-faint")) for p in wrapped(studies.BLIND, width)]])

    def _outcome(self, width: int) -> list[Content]:
        """Return what the finished study says; nothing is left to be blind for."""
        if self.view.study.struck is not None:
            return []
        words = sentence(result_of(self.view), self.view.study.unit)
        return [styled((part, "bold")) for part in wrapped(words, width)]

    def _progress(self, width: int) -> Content:
        done, total = self.view.done, self.view.total
        room = max(min(width - 22, 50), 4)
        full = done * room // total
        bar = ("#", ".") if self._mode == "ascii" else ("█", "░")
        words = f"  {done} of {total} readings"
        return styled((bar[0] * full, "$accent"), (bar[1] * (room - full), "$ink-faint"), words)

    def _who(self, due: Turn, width: int) -> list[Content]:
        """Return the initials large, and beside them the part and the trial."""
        written = due.person.upper()
        rows = [written] if self._mode == "ascii" else big(written, width // 2, more=LETTERS)
        if len(rows) == 1:
            rows = [visible(due.person, width // 2)]
        rows += [""] * (WHO_ROWS - len(rows))
        left = max(len(row) for row in rows) + 3
        beside = [
            ("reads", "$ink-faint"),
            (visible(due.part, width - left), "bold $due-foreground on $due-background"),
            (f"trial {due.trial} of {self.view.study.trials}", "bold"),
        ]
        beside += [("", "")] * (len(rows) - len(beside))
        return [
            styled((row.ljust(left), "bold $big-digits"), text)
            for row, text in zip(rows, beside, strict=True)
        ]

    def _number(self, width: int) -> list[Content]:
        """Return the entry large, or the question about it; always as many rows."""
        style = "bold $big-digits"
        if self._question is not None:
            asked = [f"? {self._question.question}"]
            for i, placing in enumerate(self._question.placings):
                key = "+ takes" if i == self._offered else "- shows"
                asked.append(f"  {key}  {placing.number} {placing.unit}")
            shown = [part for text in asked for part in wrapped(text, width)]
            out = [styled((f"  {self.entry}", style))]
            out += [styled((part, "bold $state-caution")) for part in shown]
        else:
            rows = big(self.entry or "_", width, self._mode == "ascii")
            out = [styled((row, style)) for row in rows]
            out += [styled("")] * (BIG_ROWS - len(out))
            out.append(styled((self._preview(), "$ink-faint")))
        return out + [styled("")] * (BIG_ROWS + 1 - len(out))

    def _preview(self) -> str:
        """Return what the entry would be taken as."""
        unit = self.view.study.unit
        if not self.entry:
            return f"type what the caliper shows ({unit}), then Enter"
        try:
            found = studies.understood(self.view, self.entry)
        except BenchError:
            return ""
        placing = found.placings[0]
        return f"reads as {placing.number} {placing.unit}" if found.is_clear else ""

    # -- keys ------------------------------------------------------------------------------------

    def belongs(self, char: str) -> bool:
        """Tell whether a character is of the entry now; one that is asked about has its end."""
        return char in ENTRY_START or (self._question is None and super().belongs(char))

    def acts(self) -> dict[str, Callable[[], object]]:
        """Take back, or go on to the result."""
        if self.view.due is None:
            return {"u": self._take_back, "r": lambda: self.dismiss(True)}
        return {"u": self._take_back}

    def take_key(self, event: Key) -> None:
        """Offer the next answer to a question, else as wherever numbers are taken."""
        if self._question is not None and event.character in ("-", "−"):
            self._offered = (self._offered + 1) % len(self._question.placings)
            self.draw()
        else:
            super().take_key(event)

    def flip(self) -> None:
        """Keep the unit of the test."""
        if self._question is None and not self.entry:
            unit = studies.UNIT_WORDS[self.view.study.unit]
            self.say(f"this test is read in {unit}, whatever the bench shows")

    def leave(self) -> None:
        """Drop the entry, or leave the study to be gone on with later."""
        if self.entry:
            self._clear()
            self.say("entry dropped")
        else:
            self.dismiss(False)

    def _clear(self) -> None:
        self.entry, self._question, self._offered = "", None, 0
        self.pace.clear()

    def rub_out(self) -> None:
        """Go back from a question to its entry, or take the last character back."""
        if self._question is None:
            super().rub_out()
            return
        self.pace.clear()
        self._question = None
        self.draw()

    def type(self, char: str, time: float) -> None:
        """Add a character; a number behind one that is asked about takes its place."""
        dropped = self.entry if self._question is not None else ""
        if dropped:
            self._clear()
        self.message = (f"{dropped} was not taken" if dropped else "", "warn")
        super().type(char, time)

    def plus(self, time: float) -> None:
        """Take the answer that is offered, on purpose."""
        if self._question is None:
            return
        if time - self._burst_s < BURST_WINDOW_S:
            self.say("a caliper was sending just now: press + again on purpose", "warn")
        else:
            self._keep(self._question.placings[self._offered])

    # -- readings --------------------------------------------------------------------------------

    def take(self, time: float) -> None:
        """Keep the entry as the reading due, or ask about it."""
        if self.pace.is_burst(time):
            self._burst_s = time
        if self._question is not None:
            self.say("+ takes it, Backspace goes back", "warn")
            return
        if self.view.due is None:
            entry = self.entry
            self._clear()
            self.say(f"{entry} was not taken: no reading is due", "warn")
            return
        try:
            found = studies.understood(self.view, self.entry)
        except BenchError as why:
            self._clear()
            self.say(f"✗ {why}", "warn")
            return
        if found.is_clear:
            self._keep(found.placings[0])
        else:
            self._question, self._offered = found, 0
            self.say("")

    def _keep(self, placing: Placing) -> None:
        """Keep it; what is said after it does not repeat the number."""
        due, entry = self.view.due, self.entry
        assert due is not None
        try:
            self.view = studies.keep_reading(self.shop, self.view, entry, placing.mm)
        except BenchError as why:  # such as another bench that was quicker
            self._clear()
            self.attempt(self._look_again)
            self.say(f"✗ {why}", "warn")
            return
        self._clear()
        warning = standing_words(self.shop)
        kept = f"✓ kept: {due.words}"
        self.say(f"{kept}. {warning}" if warning else kept, "warn" if warning else "done")

    def _look_again(self) -> None:
        self.view = studies.view_of(self.shop, self.view.study.id)

    def _take_back(self) -> None:
        self.view, last = studies.take_back(self.shop, self.view)
        if last is None:
            self.say("nothing to take back", "warn")
        else:
            self.say(f"taken back: {whose_words(last)}; read it again", "done")
