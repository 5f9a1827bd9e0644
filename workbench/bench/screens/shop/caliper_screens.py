"""The calipers: which is in hand, how far each is to be trusted, and the quick check.

Digits and Enter are a reading of the check here, by hand or off a caliper's cable, and nothing
else: they choose no caliper and close nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Literal

from textual.content import Content

from workbench.bench.bases.forms import Form
from workbench.bench.bases.number_screen import NumberScreen
from workbench.bench.draw.text import count_line, in_sight, lines, said, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.frozen import dataclass
from workbench.measure.calipers import CheckResult, State
from workbench.measure.lengths import Length
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.roster import calipers

Step = Literal["zero", "size", "block", "done"]

_SIGNS: dict[State, tuple[str, str, str]] = {
    "good": ("✓", "good", "$state-within"),
    "overdue": ("!", "overdue", "$state-caution"),
    "failed": ("✗", "failed", "$state-outside"),
}
"""Sign, word and colour of a standing; the colour is never alone."""

MESSAGE_LINES = 3
_FRAME_LINES = 12
"""Lines of the screen that are not the register: border, titles, check, message and keys."""


@dataclass(frozen=True, slots=True)
class Check:
    """Where the quick check is; ``block`` is the size typed."""

    step: Step = "zero"
    block: Length | None = None


class CaliperScreen(NumberScreen[None]):
    """The register and the quick check. ``unit`` is what a block's bare size is typed in."""

    DEFAULT_CSS = """
    CaliperScreen #register { height: auto; text-wrap: nowrap; }
    CaliperScreen #check { height: 4; border-top: solid $secondary; text-wrap: nowrap; }
    CaliperScreen #said { height: 3; }
    """
    KEYS = "↑ ↓ choose · number, Enter takes it · + or space takes in hand · n adds · Esc closes"
    ENTRY_SIGNS = "-−"

    CHOOSES = True
    PARTS = ("caliper-title", "register", "check", "said")

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(state.unit)
        self.shop = shop
        self._register: tuple[calipers.Registered, ...] = ()
        self._at = 0
        self._check = Check()

    def on_mount(self) -> None:
        """Show the register, the caliper in hand marked."""
        self._load()
        self._at = next((i for i, c in enumerate(self._register) if c.in_hand), 0)
        if self._register and self._register[self._at].standing.state != "good":
            self.message = (self._register[self._at].standing.words, "warn")
        super().on_mount()

    # -- what is shown ---------------------------------------------------------------------------

    def _load(self) -> None:
        try:
            self._register = calipers.register(self.shop)
        except BenchError as why:
            self.message = (f"✗ {why}", "warn")
        self._at = min(self._at, max(len(self._register) - 1, 0))

    @property
    def chosen(self) -> rows.Caliper | None:
        """The caliper that the mark is at."""
        return self._register[self._at].row if self._register else None

    def parts(self, width: int) -> Sequence[Content]:
        """Return the title, the register, the check and what was said."""
        register, check = self._register_lines(width), self._check_lines(width)
        return Content("Calipers"), register, check, said(self.message, width, MESSAGE_LINES)

    def _register_lines(self, width: int) -> Content:
        if not self._register:
            return styled(("no caliper yet: n adds one", "bold"))
        room = max(self.size.height - _FRAME_LINES - 1, 1)
        out = [self._line(c, here, width) for here, c in in_sight(self._register, self._at, room)]
        if len(self._register) > room:
            out.append(count_line(self._at, len(self._register)))
        return lines(out)

    @staticmethod
    def _line(each: calipers.Registered, marked: bool, width: int) -> Content:
        sign, word, colour = _SIGNS[each.standing.state]
        name_room = max(min(28, width // 3), 8)
        name = visible(each.row.name, name_room)
        pad = " " * (name_room - styled(name).cell_length)
        hand = "● in hand" if each.in_hand else ""
        head = f"{'▸' if marked else ' '} {name}{pad} {each.row.unit:<2} {hand:<9} "
        rest = width - styled(head).cell_length - 10
        words = "" if each.standing.state == "good" else visible(each.standing.words, rest)
        style = "bold" if marked else ""
        return styled((head, style), (f"{sign} {word:<8}", colour), (words, style))

    def _check_lines(self, width: int) -> Content:
        row = self.chosen
        if row is None:
            return Content("")
        title = styled((visible(f"Quick check of {row.name}", width), "bold $accent"))
        return lines([title, styled(self._asks(row, width)), self.entry_line()])

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

    # -- keys ------------------------------------------------------------------------------------

    def acts(self) -> dict[str, Callable[[], None]]:
        """Take in hand, or add."""
        return {" ": self._take_in_hand, "n": self._add}

    def _add(self) -> None:
        self.app.push_screen(caliper_form(self.shop, self.unit), self._added)

    def plus(self, time: float) -> None:
        """Take the marked caliper in hand."""
        self._take_in_hand()

    def type(self, char: str, time: float) -> None:
        """Add a character; behind a finished check it begins the next one."""
        if self._check.step == "done":
            self._check = Check()
        super().type(char, time)

    def rub_out(self) -> None:
        """Take the last character back; without one, go back to the block's size."""
        if not self.entry and self._check.step == "block":
            self._check = Check("size")
        super().rub_out()

    def choose(self, step: int) -> None:
        """Move the mark."""
        if not self._register:
            return
        self._at = (self._at + step) % len(self._register)
        self._check = Check()
        self.say(self._register[self._at].standing.words)

    def _take_in_hand(self) -> None:
        row = self.chosen
        if row is None:
            self.say("no caliper yet: n adds one", "warn")
        elif self.attempt(lambda: calipers.take_in_hand(self.shop, row.id)):
            self._load()
            self.say(f"in hand: {visible(row.name)}", "done")

    # -- the quick check -------------------------------------------------------------------------

    def take(self, time: float) -> None:
        """Take the entry as what the quick check asks for."""
        row = self.chosen
        if row is None:
            self.say("no caliper yet: n adds one, then check it", "warn")
        elif self._check.step == "size":
            self._take_size(self.entry, self.pace.is_burst(time))
        else:
            self.attempt(lambda: self._take_reading(row, self._check))

    def _take_size(self, text: str, off_the_cable: bool) -> None:
        if off_the_cable:
            self.entry = ""
            self.say(
                f"{text} came off the caliper: type the block's own size first, then measure it",
                "warn",
            )
        elif self.attempt(lambda: self._keep_size(text)):
            self.say("")

    def _keep_size(self, text: str) -> None:
        self._check = Check("block", calipers.block_size(text, self.unit))
        self.entry = ""

    def _take_reading(self, row: rows.Caliper, at: Check) -> None:
        text = self.entry
        if at.block is None:
            result = calipers.check_zero(self.shop, row, text)
            after = Check("size") if result.passed else Check("zero")
        else:
            result = calipers.check_block(self.shop, row, at.block, text)
            after = Check("done") if result.passed else Check("block", at.block)
        self._check, self.entry = after, ""
        self._load()
        self._tell(result, text)

    def _tell(self, result: CheckResult, text: str) -> None:
        sign, word = ("✓", "passed") if result.passed else ("✗", "failed")
        self.say(f"{sign} {word}: {text} · {result.words}", "done" if result.passed else "warn")

    # -- a new caliper ---------------------------------------------------------------------------

    def _added(self, caliper_id: object) -> None:
        self._load()
        for i, each in enumerate(self._register):
            if each.row.id == caliper_id:
                self._at, self._check = i, Check()
                self.message = (f"added: {visible(each.row.name)}; check it now", "done")
        self.draw()


def _size(block: Length) -> str:
    text = block.text.strip()
    return text if block.named else f"{text} {block.unit}"


def caliper_form(shop: Shop, unit: Unit) -> Form:
    """Return the form that adds a caliper; its result is the caliper's id."""
    keep = partial(calipers.add_caliper, shop)
    return Form("Add a caliper", calipers.CALIPER, keep, now={"unit": unit})
