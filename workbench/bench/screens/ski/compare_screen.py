"""Any two settings of a ski side by side, the turns between them, and one of them as the target."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rich.cells import cell_len
from textual.content import Content

from workbench.bench.bases.view_only import DrawnCloser
from workbench.bench.draw.text import first_seen, lines, padded, styled, visible, wrapped
from workbench.bench.screens.ski.history_lines import Past
from workbench.errors import BenchError
from workbench.measure.display import change_between, fine_text, length_text
from workbench.measure.units import UNITS, Unit
from workbench.work.history.compare import (
    Beside,
    Between,
    Comparison,
    between_words,
    compare,
    exposed_lines,
    finest_turn_in,
    go_back,
)
from workbench.work.history.history import Setting
from workbench.work.job.shop import Shop
from workbench.work.text.words import error_words

LEAST_LIST = 4
"""Rows of the list of settings that stay, however small the screen."""

BOTH_UNITS_FROM = 73
"""Cells from which a value is in inch and mm; else in the unit of the bench."""

_NAME_CELLS = 22
SETTING_CELLS = 23
HEAD_CELLS = 4 + SETTING_CELLS + 1 + 4
"""Cells of a setting's marks, name and initials."""

LEAST_COLUMN, MOST_COLUMN = 8, 26
MOST_LINES = 3
"""Lines that the name of a method may take above its column."""

WING_CELLS, RIDE_CELLS = 6, 4

FINE: dict[Unit, str] = {"in": "0.0001", "mm": "0.001"}


def made_target(shop: Shop, job_id: str, setting: Setting, unit: Unit) -> str:
    """Make a setting the target of the job in hand; return what was done, or why it was not."""
    if not job_id:
        return "no ski in hand: take one in hand to go back to a setting"
    try:
        go_back(shop, shop.view(job_id), setting)
    except BenchError as why:
        return error_words(why, unit)
    wing = f"; its wing was {setting.wing.angle_deg:g}°" if setting.wing is not None else ""
    return f"{setting.name} is the target now{wing}; u on the bench takes it back"


Column = tuple[int, list[str]]
"""Cells of one method in the list of settings, and its name in lines."""


class CompareScreen(DrawnCloser):
    """Two settings side by side. ``changed`` is called after one was made the target."""

    DEFAULT_CSS = """
    CompareScreen > Vertical { max-width: 100%; max-height: 100%; padding: 0 1; }
    CompareScreen #closer-foot { height: auto; max-height: 3; }
    """
    TITLE_WORDS = "Two settings side by side"
    KEYS = "↑ ↓ choose · a first · b second · g makes it target · PgDn more · Esc closes"

    def __init__(
        self,
        shop: Shop,
        past: Past,
        from_job: str,
        job_id: str,
        unit: Unit,
        changed: Callable[[], None] = lambda: None,
    ) -> None:
        """Compare settings; ``from_job`` is the job to begin with, ``job_id`` the one in hand."""
        super().__init__("c", unit)
        self._shop, self._past, self._job_id = shop, past, job_id
        self._changed = changed
        settings = past.settings
        of_job = [i for i, s in enumerate(settings) if s.job_id == from_job]
        last = max(len(settings) - 1, 0)
        self.first, self.second = (of_job[0], of_job[-1]) if of_job else (max(last - 1, 0), last)
        if self.first == self.second and self.first > 0:
            self.first -= 1
        self.at = self.second
        self._found: tuple[int, int, Comparison] | None = None
        self._top = self._page = 0

    def in_unit(self, unit: Unit) -> None:
        """Show the list in another unit; the comparison is in both."""
        self._found = None
        super().in_unit(unit)

    @property
    def comparison(self) -> Comparison:
        """The two settings chosen, side by side."""
        if self._found is None or self._found[:2] != (self.first, self.second):
            a, b = (self._past.settings[i] for i in (self.first, self.second))
            finest = finest_turn_in(self._past.history, b)
            made = compare(self._past.history, a, b, self.unit, finest)
            self._found = (self.first, self.second, made)
        return self._found[2]

    def drawn(self, width: int, height: int) -> Content:
        """Return the list of settings above the comparison, in width x height cells."""
        if not self._past.settings:
            return styled(("this ski was not read yet: there is nothing to compare", "bold"))
        has_wing = self._past.history.ski.has_wing
        table = comparison_rows(self.comparison, has_wing, width, self.unit)
        room = max(height - len(table) - 1, LEAST_LIST)
        above = self._list(width, room)
        self._page = max(height - len(above) - 1, 1)
        self._top = min(self._top, max(len(table) - self._page, 0))
        shown = table[self._top : self._top + self._page]
        rows = [*above, _rule(self._top, len(table) - self._top - len(shown), width), *shown]
        return lines(rows[: max(height, 1)])

    def _list(self, width: int, room: int) -> list[Content]:
        """Return the settings around the one marked, below the names of the methods."""
        settings = self._past.settings
        methods = [i for i in self._past.history.methods if any(s.value(i) for s in settings)]
        named = methods if width >= BOTH_UNITS_FROM else []  # the table below has them
        columns = columns_for([self._past.history.method_name(i) for i in named], width)
        head = self._heads(columns, len(methods), width)
        room -= len(head)
        first = first_seen(self.at, len(settings), room)
        shown = range(first, min(first + room, len(settings)))
        return [*head, *(self._line(i, settings[i], methods, columns, width) for i in shown)]

    def _heads(self, columns: Sequence[Column], count: int, width: int) -> list[Content]:
        """Return the names above the columns, the last line of each at the foot."""
        high = max((len(names) for _, names in columns), default=1)
        out = []
        for i in range(high):
            last = i == high - 1
            text = " " * HEAD_CELLS
            if last:
                text = f"    {padded(f'setting ({self.unit})', SETTING_CELLS)} who "
            for cells, names in columns:
                above = high - len(names)
                text += f" {padded(names[i - above] if i >= above else '', cells, right=True)}"
            if last:
                text += f" {'wing':>{WING_CELLS}} {'ride':>{RIDE_CELLS}}"
                text += f"  +{count - len(columns)} below" if count > len(columns) else ""
            out.append(styled((visible(text, width), "bold $accent")))
        return out

    def _line(
        self,
        index: int,
        setting: Setting,
        methods: Sequence[str],
        columns: Sequence[Column],
        width: int,
    ) -> Content:
        here = index == self.at
        a, b = ("A" if index == self.first else " "), ("B" if index == self.second else " ")
        text = (
            f"{'▸' if here else ' '}{a}{b} {setting.name:<{SETTING_CELLS}} {padded(setting.who, 4)}"
        )
        for method_id, (cells, _) in zip(methods, columns, strict=False):
            value = setting.value(method_id)
            text += (
                f" {padded(length_text(value.mm, self.unit) if value else '—', cells, right=True)}"
            )
        wing = f"{setting.wing.angle_deg:g}°" if setting.wing is not None else "—"
        ride = f"{setting.rating}/5" if setting.rating is not None else "—"
        text += f" {wing:>{WING_CELLS}} {ride:>{RIDE_CELLS}}"
        return styled((visible(text, width), "bold" if here else ""))

    def acts(self) -> dict[str, Callable[[], None]]:
        """Mark a setting as the first or the second, go back to it, or turn pages."""
        pages = {
            "pageup": lambda: self._turn_page(-self._page),
            "pagedown": lambda: self._turn_page(self._page),
        }
        if not self._past.settings:
            return pages
        return pages | {
            "a": lambda: self._choose(self.at, self.second),
            "b": lambda: self._choose(self.first, self.at),
            "g": self._go_back,
        }

    def _turn_page(self, by: int) -> None:
        self._top = max(self._top + by, 0)
        self.draw()

    def _choose(self, first: int, second: int) -> None:
        self.first, self.second = first, second
        self.draw()

    def _go_back(self) -> None:
        said = made_target(self._shop, self._job_id, self._past.settings[self.at], self.unit)
        self._changed()
        self.say(said)

    def step(self, by: int) -> None:
        """Mark the next or the previous setting."""
        self.at = min(max(self.at + by, 0), max(len(self._past.settings) - 1, 0))
        self.draw()


def columns_for(names: Sequence[str], width: int) -> list[Column]:
    """Return each method's cells and the lines of its name, as few lines as the width allows.

    Where there is no room for all methods the last are left out: the table below has them.
    """
    room = width - HEAD_CELLS - WING_CELLS - RIDE_CELLS - 2
    for lines_high in range(1, MOST_LINES + 1):
        columns = [_column(name, lines_high) for name in names]
        if sum(cells + 1 for cells, _ in columns) <= room:
            return columns
    shown = max(min(len(names), room // (LEAST_COLUMN + 1)), 1)
    cells = max(min(room // shown - 1, MOST_COLUMN), LEAST_COLUMN)
    return [(cells, _cut(wrapped(name, cells))) for name in names[:shown]]


def _column(name: str, lines_high: int) -> Column:
    """Return the least cells in which a name takes ``lines_high`` lines, and the lines."""
    for cells in range(LEAST_COLUMN, MOST_COLUMN):
        found = wrapped(name, cells)
        if len(found) <= lines_high:
            return cells, found
    return MOST_COLUMN, _cut(wrapped(name, MOST_COLUMN), lines_high)


def _cut(found: list[str], most: int = MOST_LINES) -> list[str]:
    """Return the first lines of a name, the last ending in … where more followed."""
    return found if len(found) <= most else [*found[: most - 1], f"{found[most - 1][:-1]}…"]


# -- the table ---------------------------------------------------------------------------------


def _rule(above: int, below: int, width: int) -> Content:
    """Return the line between list and table; it says where more of the table is."""
    more = f" {below} more: PgDn " if below else f" {above} above: PgUp " if above else ""
    return styled(("─" * (width - len(more) - 2), "$ink-faint"), more, ("──", "$ink-faint"))


def comparison_rows(found: Comparison, has_wing: bool, width: int, unit: Unit) -> list[Content]:
    """Return the two settings by method, their wings, and the turns between.

    Values stand in inch and mm; where there is too little room for both, in ``unit``.
    """
    units = UNITS if width >= BOTH_UNITS_FROM else (unit,)
    name = min(max(width - (51 if len(units) > 1 else 26), _NAME_CELLS), 40)
    a = f"A  {found.first.name}"
    b = f"B  {found.second.name}"
    out = [
        styled((visible(f"{a}   {b}", width), "bold")),
        styled((visible(_head(name, units), width), "bold $accent")),
    ]
    for line in found.lines:
        out += _line_rows(line, name, width, units)
    more = _more(found, has_wing)
    out += [styled(visible(more, width))] if more else []
    out += [styled(part) for line in exposed_lines(found, unit) for part in wrapped(line, width)]
    return [*out, *_turn_rows(found.turns, found.trouble, width)]


def _more(found: Comparison, has_wing: bool) -> str:
    """Return wing and ride of both settings in words."""
    out = []
    for k, setting in (("A", found.first), ("B", found.second)):
        if setting.beside or has_wing:
            out.append(f"{k}  {', '.join(setting.beside) or 'wing not read'}")
    return "   ".join(out)


CHANGE_CELLS: dict[Unit, int] = {"in": 9, "mm": 8}


def _head(name: int, units: Sequence[Unit]) -> str:
    head = f"{'method':<{name}}"
    for word in (f"{k} {unit}" for k in "AB" for unit in units):
        head += f" {word:>7}"
    return head + "".join(f" {f'B−A {unit}':>{CHANGE_CELLS[unit]}}" for unit in units)


def _line_rows(line: Beside, name: int, width: int, units: Sequence[Unit]) -> list[Content]:
    text = padded(line.method.name, name)
    for value in (line.first, line.second):
        for each in units:
            shown = length_text(value.mm, each) if value is not None else "—"
            text += f" {shown:>7}"
    if line.change is None or line.first is None or line.second is None:
        return [styled(visible(text, width)), styled(("    not read in both", "$ink-faint"))]
    for each in units:
        by = change_between(line.first.mm, line.second.mm, each)
        text += f" {by:>{CHANGE_CELLS[each]}}"
    sign, ink = ("≠", "$state-within") if line.change.clear else ("≈", "$state-caution")
    expanded = " ".join(f"±{fine_text(line.change.expanded_mm, unit)} {unit}" for unit in units)
    said = f"U {expanded}  {sign} "
    return [
        styled((visible(text, width), "bold")),
        styled((f"    {said}", "$ink-faint"), (line.change.glance, ink)),
    ]


def _turn_rows(turns: Sequence[Between], trouble: str, width: int) -> list[Content]:
    if trouble:
        return [styled((p, "$state-caution")) for p in wrapped(f"! no turns: {trouble}", width)]
    out = [styled(("From A to B, each stud:", "bold $accent"))]
    for each in turns:
        short = cell_len(f"  {between_words(each)}") > width
        out.append(styled(visible(f"  {between_words(each, short)}", width)))
    return out
