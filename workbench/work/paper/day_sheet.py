"""What a day sheet says, as values: every ski of a day with its stage, numbers and open points."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from workbench.errors import BenchError
from workbench.fin.plan.plan import is_within
from workbench.fin.reading.method import NEEDED, TRAITS, Quantity
from workbench.measure.display import length_text
from workbench.records.store import rows
from workbench.work.job.job_view import JobView, RosterLine
from workbench.work.job.shop import Shop
from workbench.work.job.stages import LOOSE, MID_PASS, NOT_RELEASED
from workbench.work.job_text.setting_words import both
from workbench.work.job_text.tasks import TASKS
from workbench.work.job_text.view_words import (
    stage_words,
    stand_in_words,
    trouble_words,
    unreleased_words,
)
from workbench.work.order.round_records import last_of
from workbench.work.text.safe_text import visible

NAME, POINT, WHY = 40, 90, 240
"""Columns that a name, an open point and what a ski is unfit by may take on a day sheet."""

UNREAD = "—"

HEADS = (
    "#", "ski", "rider", "due", "stage", *(TRAITS[q].words for q in NEEDED), "wing", "by",
    "rounds", "open points",
)  # fmt: skip
SHARES = (2.0, 8.9, 7.2, 4.2, 8.3, 5.4, 6.8, 5.6, 3.2, 3.4, 4.2, 9.8)
"""How the width of a page is shared among the columns of :data:`HEADS`."""


@dataclass(frozen=True, slots=True)
class DayRow:
    """One ski of the day; ``numbers`` are (inch, mm) of depth, tail distance and length.

    ``unfit`` says why a ski cannot be worked out; then this is what its line in the
    queue says.
    """

    order: int
    ski: str
    rider: str
    due: str
    glyph: str
    stage: str
    numbers: tuple[tuple[str, str], ...]
    wing: str
    initials: str
    passes: int
    points: tuple[str, ...]
    unfit: str = ""

    @property
    def said(self) -> str:
        """Return the open points on one line."""
        return "; ".join(self.points)


@dataclass(frozen=True, slots=True)
class DaySheet:
    """All skis of a day in the order of its queue, and the day in a line."""

    shop: str
    day: str
    summary: str
    rows: tuple[DayRow, ...]

    @property
    def title(self) -> str:
        """Return the sheet's heading."""
        return f"Day sheet {self.day}"

    @property
    def unfit(self) -> tuple[str, ...]:
        """Return a line for each ski that cannot be worked out: its name and why."""
        return tuple(f"{row.ski} {row.unfit}" for row in self.rows if row.unfit)


def pair_words(pair: tuple[str, str], gap: str) -> str:
    """Return a number in inch and mm with a gap between, or that it is not read."""
    inch, mm = pair
    return UNREAD if inch == UNREAD else f"{inch} in{gap}{mm} mm"


def day_sheet(shop: Shop) -> DaySheet:
    """Return the sheet of the day that the shop is at."""
    roster = shop.roster()
    made = tuple(_row_of(shop, i, line) for i, line in enumerate(roster, 1))
    name = visible(shop.book.setting("shop", "") or "", NAME)
    return DaySheet(name, visible(shop.day, 10), _summary(roster), made)


def _summary(roster: Sequence[RosterLine]) -> str:
    done = sum(line.is_done for line in roster)
    not_so = sum(bool(line.unreleased) for line in roster)
    aside = sum(line.stage == "set aside" for line in roster)
    count = "1 ski" if len(roster) == 1 else f"{len(roster)} skis"
    more = f", {not_so} {NOT_RELEASED}" if not_so else ""
    still = len(roster) - done - aside - not_so
    return f"{count}: {done} signed off{more}, {aside} set aside, {still} open"


def _row_of(shop: Shop, order: int, line: RosterLine) -> DayRow:
    try:
        return _row(order, line, shop.view(line.job_id))
    except BenchError as why:
        return _unfit_row(order, line, str(why))


def _unfit_row(order: int, line: RosterLine, why: str) -> DayRow:
    words = visible(f"cannot be worked out: {why}", WHY)
    numbers = ((UNREAD, UNREAD),) * len(NEEDED)
    return DayRow(
        order, visible(line.ski_name, NAME), visible(line.rider, NAME), visible(line.due, 12),
        line.glyph, line.stage_words, numbers, UNREAD, "", line.pass_number, (words,), words,
    )  # fmt: skip


def _row(order: int, line: RosterLine, view: JobView) -> DayRow:
    stage = f"{'re-check, ' if view.job.kind == 'recheck' else ''}{stage_words(view)}"
    numbers = tuple(_numbers(view, quantity) for quantity in NEEDED)
    wing = f"{view.wing_set.angle_deg:g}°" if view.wing_set is not None else UNREAD
    return DayRow(
        order, visible(view.ski.name, NAME), visible(view.ski.rider, NAME),
        visible(view.job.due, 12), line.glyph, stage, numbers,
        wing if view.ski.has_wing else "none", visible(last_initials(view), 12),
        view.progress.pass_number, tuple(_points(view)),
    )  # fmt: skip


def _numbers(view: JobView, quantity: Quantity) -> tuple[str, str]:
    """Return the ski's number of a quantity in both units, by its first method for it."""
    for line in view.lines:
        if line.method.quantity == quantity and line.now_mm is not None:
            return length_text(line.now_mm, "in"), length_text(line.now_mm, "mm")
    return UNREAD, UNREAD


def last_initials(view: JobView) -> str:
    """Return who signed off, else who did the last thing."""
    last = last_of(view.facts, rows.SignOff) or next(
        (f for f in reversed(view.facts) if f.struck is None), None
    )
    return last.who if last else ""


def _points(view: JobView) -> Iterable[str]:
    """Yield what is still open, in words."""
    if view.stage == "set aside":
        yield visible(f"set aside: {view.progress.reason}", POINT)
    for words in (stand_in_words(view), unreleased_words(view), view.progress.state.elsewhere):
        if words:
            yield visible(words, POINT)
    for line in view.lines:
        off = line.off_mm
        if off is not None and not is_within(off, line.tolerance_mm):
            side = "over" if off > 0 else "under"
            yield f"{TRAITS[line.method.quantity].words} {side} by {both(abs(off))}"
    if trouble := trouble_words(view):
        yield visible(trouble, POINT)
    if view.progress.loose:
        yield f"{MID_PASS}: {LOOSE}"
    if open_point := TASKS[view.stage].open_point:
        yield open_point
    if not last_initials(view).strip() and any(f.struck is None for f in view.facts):
        yield "no initials"
