"""Taking a study's readings: whose turn it is at what, large, and the number as it is typed.

A caliper's burst is a reading here, by hand or off a cable, and nothing else. Nothing that was read
is shown again, so that every reading is blind.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.events import Key, Paste, Resize
from textual.screen import ModalScreen
from textual.timer import Timer
from textual.widgets import Static

from workbench.bench.big_letters import LETTERS
from workbench.bench.bigtext import big
from workbench.bench.canvas import Mode
from workbench.bench.hands import (
    BURST_WINDOW_S,
    ENTRY_MORE,
    ENTRY_START,
    GAUGE_GAP_S,
    LONGEST_ENTRY,
)
from workbench.bench.sheet import PLUS_WAIT_S, SHORTEST_BURST
from workbench.bench.state import Tone
from workbench.bench.text import lines, styled, visible, wrapped
from workbench.errors import BenchError
from workbench.measure.lengths import Entry, Placing
from workbench.work import studies
from workbench.work.calipers import standing_words
from workbench.work.shop import Shop
from workbench.work.study_results import result_of
from workbench.work.study_words import sentence, state_words

TONES: dict[Tone, str] = {"say": "", "done": "bold $state-within", "warn": "bold $state-caution"}
MESSAGE_LINES = 2
BIG_ROWS, WHO_ROWS = 4, 3
KEYS = "Enter keeps · u takes the last back · Esc leaves, to go on here later"
DONE_KEYS = "r shows the result · u takes the last back · Esc leaves"


class TakeScreen(ModalScreen[bool]):
    """The readings of one study, one turn after the other. Its result: whether to show results."""

    DEFAULT_CSS = """
    TakeScreen { align: center middle; }
    TakeScreen > Vertical {
        width: 100%; max-width: 100; height: 100%; max-height: 28;
        padding: 0 1; background: $surface; color: $foreground; border: round $primary;
    }
    TakeScreen #take-turn { height: 1fr; text-wrap: nowrap; }
    TakeScreen #take-said { height: 2; }
    TakeScreen #take-keys { height: 1; color: $text-muted; }
    """
    AUTO_FOCUS = None

    def __init__(self, shop: Shop, view: studies.StudyView, mode: Mode = "braille") -> None:
        super().__init__()
        self.shop = shop
        self.view = view
        self._mode = mode
        self._entry = ""
        self._question: Entry | None = None
        self._offered = 0
        self._message: tuple[str, Tone] = ("", "say")
        self._times: list[float] = []
        self._burst_s = float("-inf")
        self._waiting: Timer | None = None
        self._plus_s = 0.0
        self._closed = False

    def compose(self) -> ComposeResult:
        """Lay out the turn, what was said and the keys."""
        box = Vertical()
        box.border_title = "Readings of a study"
        with box:
            yield Static(id="take-turn", markup=False)
            yield Static(id="take-said", markup=False)
            yield Static(id="take-keys", markup=False)

    def on_mount(self) -> None:
        """Show whose turn it is; a caliper that is not to be trusted is named first."""
        warning = standing_words(self.shop)
        if warning:
            self._message = (warning, "warn")
        self._draw()

    def on_resize(self, event: Resize) -> None:
        """Draw for the room there is."""
        self._draw()

    # -- what is shown ---------------------------------------------------------------------------

    @property
    def _width(self) -> int:
        return max(min(self.size.width, 100) - 4, 20)

    def _draw(self) -> None:
        if not self.is_mounted:
            return
        width = self._width
        self.query_one("#take-turn", Static).update(self._turn_lines(width))
        words, tone = self._message
        said = visible(words, MESSAGE_LINES * width - width // 4)
        self.query_one("#take-said", Static).update(styled((said, TONES[tone])))
        keys = KEYS if self.view.due is not None else DONE_KEYS
        self.query_one("#take-keys", Static).update(styled(visible(keys, width)))

    def _turn_lines(self, width: int) -> Content:
        study, due = self.view.study, self.view.due
        head = visible(
            f"{study.name} · {study.what} · read in {studies.UNIT_WORDS[study.unit]}", width
        )
        out = [styled((head, "bold $accent")), self._progress(width), styled("")]
        if due is None:
            out += [styled((f"● {state_words(self.view)}", "bold $state-within")), styled("")]
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
        said = sentence(result_of(self.view), self.view.study.unit)
        return [styled((part, "bold")) for part in wrapped(said, width)]

    def _progress(self, width: int) -> Content:
        done, total = self.view.done, self.view.total
        room = max(min(width - 22, 50), 4)
        full = done * room // total
        bar = ("#", ".") if self._mode == "ascii" else ("█", "░")
        words = f"  {done} of {total} readings"
        return styled((bar[0] * full, "$accent"), (bar[1] * (room - full), "$ink-faint"), words)

    def _who(self, due: studies.Turn, width: int) -> list[Content]:
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
            out = [styled((f"  {self._entry}", style))]
            out += [styled((part, "bold $state-caution")) for part in shown]
        else:
            rows = big(self._entry or "_", width, self._mode == "ascii")
            out = [styled((row, style)) for row in rows]
            out += [styled("")] * (BIG_ROWS - len(out))
            out.append(styled((self._preview(), "$ink-faint")))
        return out + [styled("")] * (BIG_ROWS + 1 - len(out))

    def _preview(self) -> str:
        """Return what the entry would be taken as."""
        unit = self.view.study.unit
        if not self._entry:
            return f"type what the caliper shows ({unit}), then Enter"
        try:
            found = studies.understood(self.view, self._entry)
        except BenchError:
            return ""
        placing = found.placings[0]
        return f"reads as {placing.number} {placing.unit}" if found.is_clear else ""

    def say(self, words: str, tone: Tone = "say") -> None:
        """Show a message until the next one."""
        self._message = (words, tone)
        self._draw()

    # -- keys ------------------------------------------------------------------------------------

    def on_key(self, event: Key) -> None:
        """Take every key here, in the order they came."""
        event.stop()
        event.prevent_default()
        if self._closed:
            return
        key, char = event.key, event.character or ""
        if self._waiting is not None:
            self._settle_plus(char, event.time)
        if key in ("enter", "ctrl+j"):
            self._enter(event.time)
        elif key == "escape":
            self._escape()
        elif key == "backspace":
            self._rub_out()
        elif char and self._belongs(char):
            self._type(char, event.time)
        elif char == "+":
            self._plus_s = event.time
            self._waiting = self.set_timer(PLUS_WAIT_S, self._plus_alone)
        elif char in ("-", "−") and self._question is not None:
            self._offered = (self._offered + 1) % len(self._question.placings)
            self._draw()
        elif char and not self._entry:
            self._command(char.lower())

    def on_paste(self, event: Paste) -> None:
        """Take pasted text as if it had been typed; it is never kept without an Enter."""
        event.stop()
        for char in event.text.strip():
            if self._belongs(char) or (char == "+" and not self._entry):
                self._type(char, 0.0)
        self._times.clear()

    def _belongs(self, char: str) -> bool:
        going_on = bool(self._entry) and self._question is None
        return char in ENTRY_START or (going_on and char in ENTRY_MORE)

    def _command(self, char: str) -> None:
        if char == "u":
            self._take_back()
        elif char == "r" and self.view.due is None:
            self._leave(True)
        elif char == "*":
            unit = studies.UNIT_WORDS[self.view.study.unit]
            self.say(f"this study is read in {unit}, whatever the bench shows")

    def _leave(self, show_result: bool) -> None:
        self._closed = True
        self.dismiss(show_result)

    def _escape(self) -> None:
        if self._entry:
            self._clear()
            self.say("entry dropped")
        else:
            self._leave(False)

    def _clear(self) -> None:
        self._entry, self._question, self._offered = "", None, 0
        self._times.clear()

    def _rub_out(self) -> None:
        self._times.clear()
        if self._question is not None:
            self._question = None
        else:
            self._entry = self._entry[:-1]
        self._draw()

    def _type(self, char: str, time: float) -> None:
        dropped = self._entry if self._question is not None else ""
        if dropped:
            self._clear()
        if len(self._entry) >= LONGEST_ENTRY:
            self.say(f"an entry has at most {LONGEST_ENTRY} characters", "warn")
            return
        self._entry += char
        self._times.append(time)
        self.say(f"{dropped} was not taken" if dropped else "", "warn")

    def _settle_plus(self, char: str, time: float) -> None:
        """A + with digits on its heels is the sign of a reading; alone it answers."""
        if char and char in ENTRY_START:
            assert self._waiting is not None
            self._waiting.stop()
            self._waiting = None
            self._type("+", time)
        else:
            self._plus_alone()

    def _plus_alone(self) -> None:
        if self._waiting is None:
            return
        self._waiting.stop()
        self._waiting = None
        if self._question is None:
            return
        if self._plus_s - self._burst_s < BURST_WINDOW_S:
            self.say("a caliper was sending just now: press + again on purpose", "warn")
        else:
            self._keep(self._question.placings[self._offered])

    # -- readings --------------------------------------------------------------------------------

    def _enter(self, time: float) -> None:
        gaps = [b - a for a, b in pairwise((*self._times, time))]
        if len(gaps) >= SHORTEST_BURST and median(gaps) < GAUGE_GAP_S:
            self._burst_s = time
        if not self._entry:
            return
        if self._question is not None:
            self.say("+ takes it, Backspace goes back", "warn")
            return
        if self.view.due is None:
            entry = self._entry
            self._clear()
            self.say(f"{entry} was not taken: no reading is due", "warn")
            return
        try:
            found = studies.understood(self.view, self._entry)
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
        due, entry = self.view.due, self._entry
        assert due is not None
        try:
            self.view = studies.take(self.shop, self.view, entry, placing.mm)
        except BenchError as why:
            self._look_again()
            self._clear()
            self.say(f"✗ {why}", "warn")
            return
        self._clear()
        warning = standing_words(self.shop)
        kept = f"✓ kept: {due.words}"
        self.say(f"{kept}. {warning}" if warning else kept, "warn" if warning else "done")

    def _look_again(self) -> None:
        try:
            self.view = studies.view_of(self.shop, self.view.study.id)
        except BenchError as why:
            self.say(f"✗ {why}", "warn")

    def _take_back(self) -> None:
        try:
            self.view, last = studies.take_back(self.shop, self.view)
        except BenchError as why:
            self.say(f"✗ {why}", "warn")
            return
        if last is None:
            self.say("nothing to take back", "warn")
        else:
            words = f"{last.person} on {last.part}, trial {last.trial + 1}"
            self.say(f"taken back: {words}; read it again", "done")
