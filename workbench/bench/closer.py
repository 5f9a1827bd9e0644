"""Screens that look closer at a reading: how to hold it, by other methods, and its budget.

None of them asks anything, so that a burst from a caliper's cable is held and changes nothing.
"""

from __future__ import annotations

import math
from typing import ClassVar

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.events import Key
from textual.screen import ModalScreen
from textual.widget import Widget
from textual.widgets import Static

from workbench.advice.holds import SOURCE
from workbench.bench.canvas import Mode
from workbench.bench.drawing import method_view
from workbench.bench.text import lines, styled, visible, wrapped
from workbench.errors import BenchError
from workbench.measure.budget import Row
from workbench.measure.display import change_text, fine_text, length_text
from workbench.measure.units import Unit
from workbench.work.closer import (
    LEVEL,
    Restated,
    Worth,
    hold_words,
    improve_words,
    place_words,
    restated,
    worth_of,
)
from workbench.work.jobs import JobView
from workbench.work.shop import Shop
from workbench.work.words import error_words

BURST = "0123456789.,+-/"
SHORTEST_BURST = 3
AFTER_BURST_S = 0.15
"""An Enter this soon after a burst's own is its line feed, not a hand."""

SHOWN = 20
BAR_CELLS = 12
NARROWEST = 56
KIND_FROM = 66
"""Width from which the kind of each contribution stands beside it."""

LEAST_DRAWN = 3
"""Rows below which a drawing says nothing."""


class Closer(ModalScreen[None]):
    """A screen to look at; Esc, an Enter pressed on purpose or its own key closes it.

    Digits and Enter as a caliper sends them go to the app's ``hold_burst(text)``; the screen stays.
    """

    DEFAULT_CSS = """
    Closer { align: center middle; }
    Closer > Vertical {
        width: 100%; max-width: 112; height: 100%; max-height: 34;
        border: round $primary; background: $surface; padding: 0 1;
    }
    Closer #closer-body { height: 1fr; width: 100%; }
    Closer #closer-foot { height: 1; width: 100%; }
    """
    TITLE_WORDS: ClassVar[str] = ""
    KEYS: ClassVar[str] = "Enter or Esc closes"

    def __init__(self, key: str) -> None:
        super().__init__()
        self._own_key = key
        self._typed = ""
        self._burst_s = -math.inf

    def compose(self) -> ComposeResult:
        """Lay out the body and the line of keys below it."""
        box = Vertical()
        box.border_title = self.TITLE_WORDS
        with box:
            yield self.body()
            yield Static(styled((self.KEYS, "$ink-faint")), id="closer-foot", markup=False)

    def body(self) -> Widget:
        """Return what is looked at, named ``closer-body``."""
        raise NotImplementedError

    def move(self, by: int) -> None:
        """Do what an arrow means here; ``by`` is 1 for down."""

    def on_key(self, event: Key) -> None:
        """Close on purpose, move, or hold a burst; nothing goes on to the bench."""
        event.stop()
        event.prevent_default()
        char = event.character or ""
        if event.key in ("enter", "ctrl+j"):
            self._enter(event.time)
        elif event.key == "escape" or (not self._typed and char.lower() == self._own_key):
            self.dismiss(None)
        elif event.key in ("up", "down"):
            self._typed = ""
            self.move(1 if event.key == "down" else -1)
        elif event.key == "backspace":
            self._typed = self._typed[:-1]
        elif char and (char in BURST or (self._typed and char.isprintable())):
            self._typed += char  # a unit behind digits belongs to them

    def _enter(self, time: float) -> None:
        text, self._typed = self._typed, ""
        if sum(c.isdigit() for c in text) >= SHORTEST_BURST:
            self._burst_s = time
            self._hold(text)
        elif text:
            self._say(f"'{visible(text, SHOWN)}' is no reading, not taken")
        elif time - self._burst_s > AFTER_BURST_S:
            self.dismiss(None)

    def _hold(self, text: str) -> None:
        hold = getattr(self.app, "hold_burst", None)
        if hold is None:
            self._say(f"{visible(text, SHOWN)} came in, not taken")
            return
        hold(text)
        self._say(f"{visible(text, SHOWN)} came in, held as a note")

    def _say(self, text: str) -> None:
        foot = styled(
            (f"! {text}", "bold $state-caution"), (" · Enter or Esc closes", "$ink-faint")
        )
        self.query_one("#closer-foot", Static).update(foot)


class Held(Widget):
    """The hold of one method, drawn into whatever room there is."""

    can_focus = False

    def __init__(self, view: JobView, unit: Unit, mode: Mode) -> None:
        super().__init__(id="closer-body")
        self._view, self._unit, self._mode = view, unit, mode
        self.index = 0

    def render(self) -> Content:
        """Return the words and the drawing at the present size."""
        size = self.content_size
        return hold(self._view, self.index, self._unit, self._mode, size.width, size.height)


class HoldScreen(Closer):
    """How to take a reading: words, and a drawing of this very blade; arrows change the method."""

    TITLE_WORDS = "How to hold it"
    KEYS = "up down: another reading · Enter or Esc closes"

    def __init__(
        self, view: JobView, line_index: int, unit: Unit, drawing_mode: Mode, key: str = "m"
    ) -> None:
        super().__init__(key)
        self._count = len(view.lines)
        self._held = Held(view, unit, drawing_mode)
        self._held.index = min(max(line_index, 0), max(self._count - 1, 0))

    def body(self) -> Widget:
        """Return the words and the drawing."""
        return self._held

    def move(self, by: int) -> None:
        """Show the next or the previous of the ski's methods."""
        if self._count:
            self._held.index = (self._held.index + by) % self._count
            self._held.refresh()


class Rows(Widget):
    """Rows made for the width there is."""

    DEFAULT_CSS = "Rows { height: auto; width: 100%; }"
    can_focus = False

    def __init__(self, screen: TableScreen) -> None:
        super().__init__()
        self._from = screen

    def render(self) -> Content:
        """Return the table at the present width."""
        return self._from.table(max(self.content_size.width, NARROWEST))

    def get_content_height(self, container: object, viewport: object, width: int) -> int:
        """Return how many rows the table takes."""
        return self._from.table(max(width, NARROWEST)).plain.count("\n") + 1


class TableScreen(Closer):
    """A screen of rows; arrows scroll where there is more of them than room."""

    KEYS = "up down: scroll · Enter or Esc closes"

    def table(self, width: int) -> Content:
        """Return the rows for a width in cells."""
        raise NotImplementedError

    def body(self) -> Widget:
        """Return the rows in a scroll."""
        scroll = VerticalScroll(Rows(self), id="closer-body")
        scroll.can_focus = False
        return scroll

    def move(self, by: int) -> None:
        """Scroll by a row."""
        self.query_one("#closer-body").scroll_relative(y=by, animate=False)


class RestateScreen(TableScreen):
    """The readings of this pass by every method of the blade, in both units."""

    TITLE_WORDS = "By every method"

    def __init__(self, shop: Shop, view: JobView, unit: Unit, key: str = "r") -> None:
        super().__init__(key)
        self._unit = unit
        self._rows: tuple[Restated, ...] = ()
        self._why = ""
        try:
            self._rows = restated(shop, view, unit)
        except BenchError as why:
            self._why = error_words(why, unit)

    def table(self, width: int) -> Content:
        """Return the table, or why there is none."""
        if self._why:
            return trouble(self._why, width)
        return restate_table(self._rows, self._unit, width)


class BudgetScreen(TableScreen):
    """What one reading is worth, part by part, with its repeats."""

    TITLE_WORDS = "What this reading is worth"

    def __init__(self, view: JobView, line_index: int, unit: Unit, key: str = "g") -> None:
        super().__init__(key)
        self._unit = unit
        self._worth: Worth | None = None
        self._why = "this ski has no reading"
        if not view.lines:
            return
        line = view.lines[min(max(line_index, 0), len(view.lines) - 1)]
        if not line.latest:
            self._why = f"'{line.method.name}' is not read yet in this pass: take it first"
            return
        try:
            self._worth = worth_of(view, line)
        except BenchError as why:
            self._why = error_words(why, unit)

    def table(self, width: int) -> Content:
        """Return the table, or why there is none."""
        if self._worth is None:
            return trouble(self._why, width)
        return budget_table(self._worth, self._unit, width)


# -- what they say -----------------------------------------------------------------------------


def trouble(why: str, width: int) -> Content:
    """Return why there is nothing to show."""
    return lines(styled((part, "bold $state-caution")) for part in wrapped(f"! {why}", width))


def hold(view: JobView, index: int, unit: Unit, mode: Mode, width: int, height: int) -> Content:
    """Return how to hold the caliper for one of the ski's methods, filling width x height cells."""
    if not view.lines or width < 1 or height < 1:
        return styled("this ski has no reading")
    method = view.lines[index].method
    out = [styled((visible(f"{method.name}  ({index + 1} of {len(view.lines)})", width), "bold"))]
    out += [styled((part, "$accent")) for part in wrapped(place_words(method, unit), width)]
    for sentence in hold_words(method):
        first, *rest = wrapped(sentence, width - 2)
        out += [styled(f"· {first}"), *[styled(f"  {part}") for part in rest]]
    stands = "as it stands now" if view.pose is not None else "at a made-up place: not read yet"
    foot = styled((visible(f"This blade, {stands}; {SOURCE}.", width), "$ink-faint"))
    caption = wrapped(method_view(view.rig, view.pose, method, 1, 1, mode).caption, width)
    room = height - len(out) - len(caption) - 1
    if room < LEAST_DRAWN:
        return lines([*out, foot][:height])
    picture = method_view(view.rig, view.pose, method, width, room, mode)
    for row in picture.canvas.rows():
        out.append(styled(*[(text, f"$ink-{ink}" if ink else "") for text, ink in row]))
    return lines([*out, *[styled((part, "$ink-faint")) for part in caption], foot])


def restate_table(found: tuple[Restated, ...], unit: Unit, width: int) -> Content:
    """Return every method with its reading in both units, its worth and its difference."""
    room = min(max(width - 47, 9), 48)
    beside = f"difference ({unit})"
    head = f"  {'method':<{room}} {'in':>8} {'mm':>8}  {f'u ({unit})':>8}  {beside:>15}"
    out = [styled((visible(head, width), "bold $accent"))]
    for row in found:
        out += _restated_row(row, unit, room, width)
    notes = (
        "● read in this pass. The others are what the blade, where these readings put it, would "
        "read; difference: less the method read of the same quantity.",
        "u is the standard uncertainty, carried from the readings of this pass; how well the "
        "blade's outline is known is not in it.",
    )
    out.append(styled(""))
    out += [styled((part, "$ink-faint")) for note in notes for part in wrapped(note, width)]
    return lines(out)


def _restated_row(row: Restated, unit: Unit, room: int, width: int) -> list[Content]:
    mark = "●" if row.read else " "
    name = visible(row.method.name, room)
    name += " " * max(room - styled(name).cell_length, 0)
    if row.value_mm is None or row.u_mm is None:
        why = wrapped(f"! {row.trouble}", width - 4)
        head = styled(f"{mark} {name} {'—':>8} {'—':>8}")
        return [head, *[styled((f"    {part}", "$state-caution")) for part in why]]
    inch, mm = length_text(row.value_mm, "in"), length_text(row.value_mm, "mm")
    if row.difference_mm is None:
        beside = "as read" if row.read else "none read"
    else:
        beside = change_text(row.difference_mm, unit)
    text = f"{mark} {name} {inch:>8} {mm:>8}  {fine_text(row.u_mm, unit):>8}  {beside:>15}"
    return [styled((text, "bold" if row.read else ""))]


def budget_table(worth: Worth, unit: Unit, width: int) -> Content:
    """Return the budget's parts and sums, what would improve it, and the repeats."""
    budget = worth.budget
    kind = 12 if width >= KIND_FROM else 0
    room = min(max(width - 32 - kind, 20), 30)
    title = f"{worth.method.name}  {length_text(worth.repeats.mean, unit)} {unit}"
    out = [styled((visible(title, width), "bold"))]
    head = (
        f"{'from':<{room}} {'kind'.ljust(kind)[:kind]}{f'u ({unit})':>8}  {'share':<17} {'dof':>3}"
    )
    out.append(styled((visible(head, width), "bold $accent")))
    out += [_budget_row(row, unit, room, kind) for row in budget.rows]
    u, k = budget.u, budget.coverage(LEVEL)
    sums = (
        ("combined u", u, f"effective dof {_dof(budget.dof)}"),
        (f"expanded U, {LEVEL:.0%}", k * u, f"coverage factor {k:.2f}"),
    )
    for name, value, beside in sums:
        text = f"{name:<{room + kind}} {_finer(value, unit):>8}"
        fits = len(text) + 2 + len(beside) <= width
        out.append(styled((text, "bold"), f"  {beside}" if fits else ""))
        out += [] if fits else [styled(f"  {beside}")]
    out += [styled(part) for part in wrapped(improve_words(worth, unit), width)]
    return lines([*out, *_repeats(worth, unit, width)])


def _budget_row(row: Row, unit: Unit, room: int, kind: int) -> Content:
    part = row.contribution
    bar = "#" * round(row.share * BAR_CELLS)
    return styled(
        f"{visible(part.name, room):<{room}} {part.kind.ljust(kind)[:kind]}"
        f"{_finer(row.component, unit):>8}  "
        f"{row.share:>4.0%} {bar:<{BAR_CELLS}} {_dof(part.dof):>3}"
    )


def _repeats(worth: Worth, unit: Unit, width: int) -> list[Content]:
    """Return the repeats with their figures; a doubtful one is marked and stays in the mean."""
    repeats, doubts = worth.repeats, worth.doubts
    count = f"{repeats.n} reading{'s' if repeats.n > 1 else ''}"
    figures = f"{count}: mean {_finer(repeats.mean, unit)} {unit}"
    if repeats.sd is None or repeats.spread is None:
        figures += "; one reading shows no scatter"
    else:
        figures += f", sd {_finer(repeats.sd, unit)}, spread {_finer(repeats.spread, unit)}"
    out = [styled((part, "bold")) for part in wrapped(figures, width)]
    out += _listed(worth, unit, width)
    said = f"Test: {doubts.test}."
    if doubts.indices:
        said += " Doubtful ones still count: strike one out (x) or keep it."
    elif repeats.n >= 3:
        said += " None is doubtful."
    return [*out, *[styled((part, "$ink-faint")) for part in wrapped(said, width)]]


def _listed(worth: Worth, unit: Unit, width: int) -> list[Content]:
    """Return every repeat in columns, numbered in the order taken."""
    texts = [
        f"{i}) {fine_text(v, unit)}" + (" ? doubtful" if i - 1 in worth.doubts.indices else "")
        for i, v in enumerate(worth.repeats.values, 1)
    ]
    cells = max(map(len, texts)) + 2
    per = max(width // cells, 1)
    marked = [(t.ljust(cells), "bold $state-caution" if "?" in t else "") for t in texts]
    return [styled(*marked[i : i + per]) for i in range(0, len(marked), per)]


def _finer(value_mm: float, unit: Unit) -> str:
    return length_text(value_mm, unit, "0.00001" if unit == "in" else "0.0001")


def _dof(dof: float) -> str:
    return "∞" if math.isinf(dof) else f"{dof:.0f}"
