"""The calipers: which is in hand, how far each is to be trusted, and the quick check.

Digits and Enter are a reading of the check here, by hand or off a caliper's cable, and nothing
else: they choose no caliper and close nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import Literal

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.events import Key, Paste, Resize
from textual.screen import ModalScreen
from textual.timer import Timer
from textual.widgets import Static

from workbench.bench.forms import Field, Form
from workbench.bench.hands import ENTRY_MORE, ENTRY_START, GAUGE_GAP_S, LONGEST_ENTRY
from workbench.bench.sheet import PLUS_WAIT_S
from workbench.bench.state import Tone
from workbench.bench.text import lines, literal, styled, visible
from workbench.errors import BenchError
from workbench.measure.calipers import CheckResult, State
from workbench.measure.lengths import Length
from workbench.measure.units import Unit
from workbench.records import rows
from workbench.work import calipers
from workbench.work.shop import Shop

Step = Literal["zero", "size", "block", "done"]

SIGNS: dict[State, tuple[str, str, str]] = {
    "good": ("✓", "good", "$state-within"),
    "overdue": ("!", "overdue", "$state-caution"),
    "failed": ("✗", "failed", "$state-outside"),
}
"""Sign, word and colour of a standing; the colour never stands alone."""

TONES: dict[Tone, str] = {"say": "", "done": "bold $state-within", "warn": "bold $state-caution"}
SHORTEST_BURST = 3
MESSAGE_LINES = 3
FRAME_LINES = 12
"""Lines of the screen that are not the register: border, titles, check, message and keys."""

KEYS = "↑ ↓ choose · + or space takes in hand · Enter takes the entry · n add · Esc closes"


@dataclass(frozen=True, slots=True)
class Check:
    """Where the quick check stands; ``block`` is the size typed, ``entry`` what is being typed."""

    step: Step = "zero"
    block: Length | None = None
    entry: str = ""


class CaliperScreen(ModalScreen[None]):
    """The register and the quick check. ``unit`` is what a block's bare size is typed in."""

    DEFAULT_CSS = """
    CaliperScreen { align: center middle; }
    CaliperScreen > Vertical {
        width: 92%; max-width: 110; height: auto; max-height: 100%;
        padding: 0 1; background: $surface; color: $foreground; border: round $primary;
    }
    CaliperScreen #register { height: auto; text-wrap: nowrap; }
    CaliperScreen #check { height: 4; border-top: solid $secondary; text-wrap: nowrap; }
    CaliperScreen #said { height: 3; }
    CaliperScreen #caliper-keys { height: auto; color: $text-muted; }
    """
    AUTO_FOCUS = None

    def __init__(self, shop: Shop, unit: Unit) -> None:
        super().__init__()
        self.shop = shop
        self.unit: Unit = unit
        self._register: tuple[calipers.Registered, ...] = ()
        self._at = 0
        self._check = Check()
        self._message: tuple[str, Tone] = ("", "say")
        self._times: list[float] = []
        self._waiting: Timer | None = None
        self._closed = False

    def compose(self) -> ComposeResult:
        """Lay out the register, the check, what was said and the keys."""
        with Vertical():
            yield Static(literal("Calipers"), id="caliper-title")
            yield Static(id="register", markup=False)
            yield Static(id="check", markup=False)
            yield Static(id="said", markup=False)
            yield Static(literal(KEYS, 200), id="caliper-keys", markup=False)

    def on_mount(self) -> None:
        """Show the register, the caliper in hand marked."""
        self._load()
        self._at = next((i for i, c in enumerate(self._register) if c.in_hand), 0)
        if self._register and self._register[self._at].standing.state != "good":
            self._message = (self._register[self._at].standing.words, "warn")
        self._draw()

    def on_resize(self, event: Resize) -> None:
        """Show as much of the register as there is room for."""
        self._draw()

    # -- what is shown ---------------------------------------------------------------------------

    def _load(self) -> None:
        try:
            self._register = calipers.register(self.shop)
        except BenchError as why:
            self._message = (f"✗ {why}", "warn")
        self._at = min(self._at, max(len(self._register) - 1, 0))

    @property
    def chosen(self) -> rows.Caliper | None:
        """The caliper that the mark stands at."""
        return self._register[self._at].row if self._register else None

    def _draw(self) -> None:
        if not self.is_mounted:
            return
        width = max(min(self.size.width * 92 // 100, 110) - 4, 20)
        self.query_one("#register", Static).update(self._register_lines(width))
        self.query_one("#check", Static).update(self._check_lines(width))
        words, tone = self._message
        said = visible(words, MESSAGE_LINES * width - width // 4)
        self.query_one("#said", Static).update(styled((said, TONES[tone])))

    def _register_lines(self, width: int) -> Content:
        if not self._register:
            return styled(("no caliper yet: n adds one", "bold"))
        room = max(self.size.height - FRAME_LINES - 1, 1)
        first = min(max(self._at - room // 2, 0), max(len(self._register) - room, 0))
        out = [
            self._line(c, first + i == self._at, width)
            for i, c in enumerate(self._register[first : first + room])
        ]
        if len(self._register) > room:
            out.append(styled((f"  {self._at + 1} of {len(self._register)}", "$ink-faint")))
        return lines(out)

    @staticmethod
    def _line(each: calipers.Registered, marked: bool, width: int) -> Content:
        sign, word, colour = SIGNS[each.standing.state]
        name_room = max(min(28, width // 3), 8)
        name = visible(each.row.name, name_room)
        pad = " " * (name_room - styled(name).cell_length)
        hand = "in hand" if each.in_hand else ""
        head = f"{'▸' if marked else ' '} {name}{pad} {each.row.unit:<2} {hand:<7} "
        rest = width - styled(head).cell_length - 10
        words = "" if each.standing.state == "good" else visible(each.standing.words, rest)
        style = "bold" if marked else ""
        return styled((head, style), (f"{sign} {word:<8}", colour), (words, style))

    def _check_lines(self, width: int) -> Content:
        row = self.chosen
        if row is None:
            return Content("")
        at = self._check
        title = visible(f"Quick check of {row.name}", width)
        typed = at.entry or "type it, then Enter"
        entry = styled(("▏ ", "$accent"), (typed, "bold" if at.entry else "$ink-faint"))
        return lines([styled((title, "bold $accent")), styled(self._asks(row, width)), entry])

    def _asks(self, row: rows.Caliper, width: int) -> str:
        at = self._check
        if at.step == "zero":
            asks = f"1 of 3  wipe and close the jaws, type the zero ({row.unit})"
        elif at.step == "size":
            asks = f"2 of 3  take a gauge block, type its size ({self.unit})"
        elif at.step == "block" and at.block is not None:
            asks = f"3 of 3  measure the block {_size(at.block)}, type the reading ({row.unit})"
        else:
            asks = f"done; a number starts again with the zero ({row.unit})"
        return visible(asks, width)

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
            self._closed = True
            self.dismiss(None)
        elif key == "backspace":
            self._rub_out()
        elif char and self._belongs(char):
            self._type(char, event.time)
        elif not self._check.entry:
            self._command(key, char)
        elif key in ("up", "down", "plus", "n"):
            self.say("Enter takes the entry first, or rub it out with Backspace", "warn")

    def on_paste(self, event: Paste) -> None:
        """Take pasted text as if it had been typed; it is never taken without an Enter."""
        event.stop()
        for char in event.text.strip():
            if self._belongs(char) or (char == "+" and not self._check.entry):
                self._type(char, 0.0)
        self._times.clear()

    def _belongs(self, char: str) -> bool:
        return char in ENTRY_START or char in "-−" or bool(self._check.entry and char in ENTRY_MORE)

    def _command(self, key: str, char: str) -> None:
        if key in ("up", "down"):
            self._choose(1 if key == "down" else -1)
        elif char == "+":
            self._waiting = self.set_timer(PLUS_WAIT_S, self._plus_alone)
        elif key == "space":
            self._take_in_hand()
        elif char.lower() == "n":
            self._add()

    def _settle_plus(self, char: str, time: float) -> None:
        """A + with digits on its heels is the sign of a reading; alone it takes in hand."""
        if char and char in ENTRY_START:
            assert self._waiting is not None
            self._waiting.stop()
            self._waiting = None
            self._type("+", time)
        else:
            self._plus_alone()

    def _plus_alone(self) -> None:
        if self._waiting is not None:
            self._waiting.stop()
            self._waiting = None
            self._take_in_hand()

    def _type(self, char: str, time: float) -> None:
        at = self._check
        if len(at.entry) >= LONGEST_ENTRY:
            self.say(f"an entry has at most {LONGEST_ENTRY} characters", "warn")
            return
        if not at.entry:
            self._times.clear()
        self._times.append(time)
        step: Step = "zero" if at.step == "done" else at.step
        self._check = Check(step, at.block, at.entry + char)
        self._draw()

    def _rub_out(self) -> None:
        at = self._check
        self._times.clear()
        if at.entry:
            self._check = Check(at.step, at.block, at.entry[:-1])
        elif at.step == "block":
            self._check = Check("size")
        self._draw()

    def _choose(self, step: int) -> None:
        if not self._register:
            return
        self._at = (self._at + step) % len(self._register)
        self._check = Check()
        self.say(self._register[self._at].standing.words)

    def _take_in_hand(self) -> None:
        row = self.chosen
        if row is None:
            self.say("no caliper yet: n adds one", "warn")
        elif self._did(lambda: calipers.take_in_hand(self.shop, row.id)):
            self._load()
            self.say(f"in hand: {visible(row.name)}", "done")

    def _did(self, act: Callable[[], object]) -> bool:
        """Do it; a refusal is said and what was typed stays."""
        try:
            act()
        except BenchError as why:
            self.say(f"✗ {why}", "warn")
            return False
        return True

    # -- the quick check -------------------------------------------------------------------------

    def _enter(self, time: float) -> None:
        at, row = self._check, self.chosen
        if not at.entry:
            return
        if row is None:
            self.say("no caliper yet: n adds one, then check it", "warn")
        elif at.step == "size":
            self._take_size(at.entry, time)
        else:
            self._did(lambda: self._take_reading(row, at))

    def _take_size(self, text: str, time: float) -> None:
        if self._off_the_cable(time):
            self._check = Check("size")
            self.say(
                f"{text} came off the caliper: type the block's own size first, then measure it",
                "warn",
            )
        elif self._did(lambda: calipers.block_size(text, self.unit)):
            self._check = Check("block", calipers.block_size(text, self.unit))
            self.say("")

    def _off_the_cable(self, time: float) -> bool:
        gaps = [b - a for a, b in pairwise((*self._times, time))]
        return len(gaps) >= SHORTEST_BURST and median(gaps) < GAUGE_GAP_S

    def _take_reading(self, row: rows.Caliper, at: Check) -> None:
        if at.block is None:
            result = calipers.check_zero(self.shop, row, at.entry)
            after = Check("size") if result.passed else Check("zero")
        else:
            result = calipers.check_block(self.shop, row, at.block, at.entry)
            after = Check("done") if result.passed else Check("block", at.block)
        self._check = after
        self._load()
        self._tell(result, at.entry)

    def _tell(self, result: CheckResult, text: str) -> None:
        sign, word = ("✓", "passed") if result.passed else ("✗", "failed")
        self.say(f"{sign} {word}: {text} · {result.words}", "done" if result.passed else "warn")

    # -- a new caliper ---------------------------------------------------------------------------

    def _add(self) -> None:
        form = caliper_form(self.shop, self.unit)
        self.app.push_screen(form, self._added)

    def _added(self, caliper_id: object) -> None:
        self._load()
        for i, each in enumerate(self._register):
            if each.row.id == caliper_id:
                self._at, self._check = i, Check()
                self._message = (f"added: {visible(each.row.name)}; check it now", "done")
        self._draw()


def _size(block: Length) -> str:
    text = block.text.strip()
    return text if block.named else f"{text} {block.unit}"


def caliper_form(shop: Shop, unit: Unit) -> Form:
    """Return the form that adds a caliper; its result is the caliper's id."""
    fields = (
        Field("name", "Caliper", "a name of its own, as it is marked"),
        Field("unit", "Unit", "in or mm: what it shows, and what is typed in below", unit),
        Field("resolution", "Resolution", "its last digit's step; blank: 0.0005 in or 0.01 mm"),
        Field("mpe", "Error allowed", "its permissible error; blank: DIN 862's table"),
        Field("jaw_height", "Jaw height", "of the flat jaws above their tips; blank: not known"),
        Field(
            "reference_line", "Reference line",
            "height of the line held to the base, above the tips; blank: not known",
        ),
    )  # fmt: skip
    return Form("Add a caliper", fields, lambda texts: calipers.add_caliper(shop, texts))
