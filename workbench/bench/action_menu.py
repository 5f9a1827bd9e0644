"""The numbered sheet: everything else that can be done, for the keypad alone.

A digit moves the mark and ``+`` does it: no caliper's burst ends with ``+``. A burst that lands
here is held and answers nothing; the sheet stays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pkgutil import resolve_name
from typing import TYPE_CHECKING, Literal, TypeAlias, get_args

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.events import Click, Key, Resize
from textual.widgets import Static

from workbench.bench.bases.bursts import PLUS_WAIT_S, Heard
from workbench.bench.bases.overlay import KeyScreen
from workbench.bench.draw.text import first_seen, held_words, lines, literal, styled, visible
from workbench.frozen import dataclass
from workbench.work.roster.keys import AS_SHIPPED, Keys

if TYPE_CHECKING:
    from workbench.bench.app import Bench

COLUMN = 38


Group = Literal["this ski", "the day", "after the ride", "paper", "the workshop"]
GROUPS: tuple[Group, ...] = get_args(Group)
"""The groups of the sheet, in its order; what is not needed beside a ski is in the last."""

_SKI, _DAY, _RIDE, _PAPER, _SHOP = GROUPS


@dataclass(frozen=True, slots=True)
class Choice:
    """What the bench can do: its action, words and group; its key is in the table of keys.

    ``also``: other words that it is found by. ``screen``: what opens its screen, by its name in
    ``bench.screens``: a class with ``open_on(bench)``, or a function that is given the bench; it is
    imported when asked for. ``needs_ski``: that is opened only where a ski is in hand.
    """

    action: str
    words: str
    group: Group
    also: str = ""
    screen: str = ""
    needs_ski: bool = True


CHOICES: tuple[Choice, ...] = (
    Choice("take_back", "take the last entry back", _SKI, also="undo rub out mistake"),
    Choice("retarget", "change the target", _SKI, also="aim goal"),
    Choice("baseline", "the baseline as the target", _SKI, also="start numbers"),
    Choice("one_step_more", "one step more, as last time", _SKI, also="same change again wing"),
    Choice("undo_change", "undo the last ride's change", _SKI, also="back before wing"),
    Choice("finer", "finer turn, round and round", _SKI, also="eighth sixteenth quarter"),
    Choice("settled", "studs settled before reading", _SKI, also="learn backlash play"),
    Choice("without_learned", "with or without learning", _SKI, also="plain geometry turns learnt"),
    Choice("keep", "keep readings as they are", _SKI, also="accept enough good"),
    Choice("aside", "set this ski aside: reason", _SKI,
        also="stop wait broken", screen="ski.questions.aside"),
    Choice("strike", "strike out reading ▸: reason", _SKI,
        also="undo delete remove wrong", screen="ski.questions.StrikeScreen"),
    Choice("note", "write a note", _SKI, also="remark comment", screen="ski.questions.note"),
    Choice("hold", "how to take this reading", _SKI,
        also="method caliper measure", screen="ski.reading_screens.HoldScreen"),
    Choice("sure", "how sure is this reading?", _SKI,
        also="uncertainty budget trust sure", screen="ski.reading_screens.BudgetScreen"),
    Choice("restate", "convert between methods", _SKI,
        also="restate this fin by every method", screen="ski.reading_screens.RestateScreen"),
    Choice("last_setting", "last setting as the target", _SKI, also="put it back again"),
    Choice("second_eyes", "second pair of eyes", _SKI,
        also="witness initials sign", screen="ski.questions.second_eyes"),
    Choice("wing", "wing: gauge, hold, curve", _SKI,
        also="angle straightedge degrees", screen="ski.wing_screen.WingScreen"),
    Choice("correct_ski", "correct this ski's sheet", _SKI,
        also="name serial rider fix mistake", screen="shop.shop_forms.SheetForm"),
    Choice("wear", "another blade, block; read by", _SKI,
        also="swap new blade change methods carry setting part", screen="ski.ski_forms.WearForm"),
    Choice("as_read", "somebody else's numbers", _SKI,
        also="phone rider other shop target tips flat", screen="ski.as_read_screen.AsReadScreen"),
    Choice("next_ski", "next ski of the queue (PgDn)", _DAY, also="step forward"),
    Choice("ski_before", "the ski before (PgUp)", _DAY, also="step back"),
    Choice("unfinished", "next ski not finished", _DAY),
    Choice("add_ski", "add a ski to the queue", _DAY,
        also="new", screen="shop.shop_forms.AddSki", needs_ski=False),
    Choice("queue_ski", "queue a known ski again", _DAY,
        also="return back", screen="shop.shop_forms.QueueSki", needs_ski=False),
    Choice("large", "what matters now, in large", _DAY, also="big zoom full"),
    Choice("pad", "number pad for fingers, or none", _DAY, also="touch tablet tap"),
    Choice("initials", "initials", _DAY,
        also="who name hands", screen="ski.questions.initials", needs_ski=False),
    Choice("palette", "find what to do by typing", _DAY,
        also="search", screen="help_screens.Palette", needs_ski=False),
    Choice("help", "help: keys and words", _DAY, screen="help_screens.Help", needs_ski=False),
    Choice("quit", "leave; everything is kept", _DAY, also="exit close stop end"),
    Choice("queue", "the day's queue: order, find", _DAY, also="list carry tomorrow due skis",
        screen="shop.queue_screen.QueueScreen", needs_ski=False),
    Choice("history", "history, plots, compare", _RIDE,
        also="past earlier timeline go back setting", screen="ski.history_screen.HistoryScreen"),
    Choice("ride", "after the ride: notes, advice", _RIDE,
        also="feel felt rider rules of thumb", screen="ski.aim_screens.RideScreen"),
    Choice("baselines", "baselines: compare, keep", _RIDE,
        also="starting numbers", screen="ski.aim_screens.BaselineScreen"),
    Choice("copy", "copy what is shown", _PAPER, also="clipboard text file screen"),
    Choice("card", "setting card to a folder", _PAPER,
        also="print pdf owner", screen="shop.file_screens.CardScreen"),
    Choice("day_sheet", "day sheet to a folder", _PAPER,
        also="print pdf summary", screen="shop.file_screens.DaySheetScreen", needs_ski=False),
    Choice("calipers", "calipers: register, check", _SHOP,
        also="gauge block zero", screen="shop.caliper_screens.CaliperScreen", needs_ski=False),
    Choice("add_blade", "add a blade", _SHOP,
        also="new fin", screen="shop.shop_forms.AddBlade", needs_ski=False),
    Choice("add_block", "add a block", _SHOP,
        also="new box studs", screen="shop.shop_forms.AddBlock", needs_ski=False),
    Choice("side", "other panel at the side", _SHOP, also="view roster turns"),
    Choice("drawing", "draw: braille, blocks, ASCII", _SHOP, also="signs font"),
    Choice("theme", "theme: night, day, contrast", _SHOP, also="colour dark light"),
    Choice("tour", "first day: a walk-through", _SHOP, also="learn tutorial"),
    Choice("checks", "checks and torque notes", _SHOP,
        also="list bolts clamp items", screen="shop.checks_screen.ChecksScreen", needs_ski=False),
    Choice("settings", "settings of the shop", _SHOP,
        also="preferences options mouse keys tolerance unit",
        screen="shop.shop_forms.SettingsForm", needs_ski=False),
    Choice("learned", "what this bench has learned", _SHOP,
        also="lead backlash stud turn forget", screen="ski.learned_screens.LearnedScreen"),
    Choice("offsets", "method offsets, learned", _SHOP,
        also="pairs convert between methods", screen="ski.learned_screens.OffsetScreen"),
    Choice("marks", "coarse marks: scale, lines", _SHOP,
        also="scribe", screen="ski.marks_screen.MarksScreen"),
    Choice("temperature", "temperature: to 20 degrees", _SHOP,
        also="warm cold correction", screen="ski.ski_forms.TemperatureScreen"),
    Choice("study", "repeatability test", _SHOP,
        also="agree people scatter repeats", screen="shop.study_list.StudyList", needs_ski=False),
    Choice("correct_block", "correct this block's studs", _SHOP,
        also="thread tip fix mistake", screen="shop.shop_forms.BlockForm"),
    Choice("trace", "trace a blade by calipers", _SHOP,
        also="outline measure new blade", screen="shop.blade_screens.TraceScreen", needs_ski=False),
    Choice("trace_file", "trace a scan, photo, drawing", _SHOP,
        also="blade outline picture file png jpeg tiff svg dxf csv",
        screen="shop.scan_screen.TraceForm", needs_ski=False),
    Choice("measure_block", "measure a block by caliper", _SHOP, also="studs thread new add",
        screen="shop.block_screens.MeasureForm", needs_ski=False),
    Choice("found_block", "this block from known turns", _SHOP,
        also="find block studs place moves rounds well fixed",
        screen="shop.block_screens.FoundBlockScreen"),
    Choice("outline", "this blade's outline", _SHOP,
        also="blade drawing numbers traced", screen="shop.blade_screens.OutlineScreen"),
    Choice("exchange", "files: in, out, backup", _SHOP, also="export import restore copy book",
        screen="shop.file_screens.ExchangeScreen", needs_ski=False),
)  # fmt: skip
"""Everything that can be chosen, group by group, in the order of the sheet."""

_TURN_BACK = Choice("turn_back", "what became of the stud", _SKI, screen="ski.questions.turn_back")
"""Asked where the record of a turn is taken back, never chosen."""

BY_ACTION = {choice.action: choice for choice in (*CHOICES, _TURN_BACK)}


def _opener(choice: Choice) -> Callable[[Bench], None]:
    found = resolve_name(f"workbench.bench.screens.{choice.screen}")
    opener: Callable[[Bench], None] = getattr(found, "open_on", found)
    return opener


def open_screen(bench: Bench, action: str) -> None:
    """Open the screen of an action; without a ski in hand say so where it needs one."""
    choice = BY_ACTION[action]
    if choice.needs_ski and bench.hands.state.view is None:
        bench.hands.say("no ski in hand", "warn")
    else:
        _opener(choice)(bench)


def load_one_by_one() -> Iterator[None]:
    """Load the screens, one at each step, so that each is there at once when asked for."""
    for choice in CHOICES:
        if choice.screen:
            _opener(choice)
            yield


SheetRow: TypeAlias = "str | int"
"""A line of the sheet: the head of a group, or the index of a choice."""

ROWS: tuple[SheetRow, ...] = tuple(
    row
    for group in GROUPS
    for row in (group, *(i for i, c in enumerate(CHOICES) if c.group == group))
)


class Sheet(KeyScreen[str]):
    """Shows the choices; returns an action's name or nothing. A burst is held."""

    def __init__(self, keys: Keys = AS_SHIPPED) -> None:
        super().__init__()
        self._keys = keys
        self._heard = Heard()
        self._number = ""
        self._marked = 0
        self._held = ""
        self._first, self._deep = 0, len(ROWS)

    def after(self, bench: Bench, result: str | None) -> None:
        """Do what was chosen."""
        if result:
            bench.do_(result)

    def compose(self) -> ComposeResult:
        """Lay the sheet out."""
        with Vertical(id="sheet"):
            yield Static(id="sheet-lines", markup=False)

    def on_mount(self) -> None:
        """Show the choices."""
        self.draw()

    def on_resize(self, event: Resize) -> None:
        """Lay the columns out for the room there is."""
        self.draw()

    def draw(self) -> None:
        """Draw as many of the choices as there is room for, the marked one among them."""
        columns = min(max((self.size.width - 4) // COLUMN, 1), 3)
        deep = -(-len(ROWS) // columns)
        room = max(self.size.height - 2, 3)
        first = first_seen(ROWS.index(self._marked) % deep, deep, room)
        self._first, self._deep = first, deep
        out = []
        for i in range(first, min(first + room, deep)):
            row = [i + deep * column for column in range(columns)]
            out.append(styled(*(self._row(ROWS[n]) for n in row if n < len(ROWS))))
        sheet = self.query_one("#sheet", Vertical)
        sheet.styles.width = columns * COLUMN + 4
        sheet.border_title = literal(self._head(columns == 1, deep > room), columns * COLUMN)
        self.query_one("#sheet-lines", Static).update(lines(out))

    def _head(self, narrow: bool, cut: bool) -> str:
        """Return how to choose, or what arrived meanwhile."""
        if self._held:
            came = "" if narrow else "arrived here: "
            return f"! {visible(self._held, 12 if narrow else 24)} {came}held as a note"
        if narrow:
            return "Number or ↑ ↓, then + ; Esc closes"
        more = " ; more ↑ ↓" if cut else ""
        return f"Everything else: number or arrows, then + ; Esc closes{more}"

    def _row(self, row: SheetRow) -> Content:
        """Return the head of a group, or a choice, marked where it is the one; of one width."""
        if isinstance(row, str):
            return styled((f" {row.upper()}".ljust(COLUMN), "bold $accent"))
        index = row
        choice = CHOICES[index]
        mark = "▸" if index == self._marked else " "
        style = "bold" if index == self._marked else ""
        text = f"{mark}{index + 1:>2} {choice.words}"
        key = f" {self._keys.of(choice.action)} "
        return styled((text.ljust(COLUMN - len(key)), style), (key, "$ink-faint"))

    def on_click(self, event: Click) -> None:
        """Mark what is clicked on; a second click on it does it."""
        inside = self.query_one("#sheet-lines", Static).content_region
        at = event.screen_offset
        if not inside.contains_point(at):
            return
        column, y = (at.x - inside.x) // COLUMN, at.y - inside.y + self._first
        place = y + self._deep * column
        row = ROWS[place] if y < self._deep and place < len(ROWS) else ""
        if row == self._marked:
            self.dismiss(CHOICES[self._marked].action)
        elif isinstance(row, int):
            self._mark(row)

    def step(self, by: int) -> None:
        """Move the mark."""
        self._mark(self._marked + by)

    def take_key(self, event: Key) -> None:
        """Move the mark, do the marked thing on purpose, or hold a burst."""
        char, time = event.character or "", event.time
        if event.key in ("enter", "ctrl+j"):
            if reading := self._heard.complete():
                held_words(self.app, reading)
                self._held = reading
                self.draw()
        elif event.key in ("up", "down"):
            self.step(1 if event.key == "down" else -1)
        elif self._heard.belongs(char, time):
            self._type(char, time)
        elif char and char in "+-":
            self._heard.add(char, time)
            if char == "+":
                self.set_timer(PLUS_WAIT_S, self._choose)
        elif event.key in ("escape", "backspace", "slash"):
            self.dismiss("")
        elif action := self._keys.action(char or event.key):
            self.dismiss(action)

    def _mark(self, index: int) -> None:
        self._number = ""
        self._marked = index % len(CHOICES)
        self.draw()

    def _type(self, char: str, time: float) -> None:
        self._heard.add(char, time)
        if not char.isdigit():
            return
        number = self._number + char
        if not 1 <= int(number) <= len(CHOICES):
            number = char
        if 1 <= int(number) <= len(CHOICES):
            self._mark(int(number) - 1)
            self._number = number

    def _choose(self) -> None:
        if self._heard.text == "+":  # else digits on its heels: a signed reading
            self.dismiss(CHOICES[self._marked].action)
