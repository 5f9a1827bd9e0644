"""How the queue's list shows a job, a re-check that is offered, and a ski the book knows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias, overload

from textual.content import Content

from workbench.bench.draw.text import look_of, padded, styled, visible
from workbench.records.store.rows import QueueItem
from workbench.records.tables.roster import KnownSki
from workbench.work.job.job_view import RosterLine
from workbench.work.job_text.view_words import Importance, Said
from workbench.work.roster.queue import ago
from workbench.work.text.words import LOOSE_SHORT

STAGE_CELLS = 17
DUE_CELLS = 8
_COLOURS = {"signed off": "$state-within", "set aside": "$state-caution"}


@dataclass(frozen=True, slots=True)
class Heading:
    """A line between the lists; nothing is done with it."""

    words: str


Thing: TypeAlias = RosterLine | QueueItem | KnownSki
Item: TypeAlias = Thing | Heading


class Drawn(Sequence[Content]):
    """Rows that are drawn only where they are seen: a day may have hundreds."""

    def __init__(self, items: Sequence[Item], draw: Callable[[int], Content]) -> None:
        self._items = items
        self._draw = draw

    def __len__(self) -> int:
        return len(self._items)

    @overload
    def __getitem__(self, index: int) -> Content: ...

    @overload
    def __getitem__(self, index: slice) -> Sequence[Content]: ...

    def __getitem__(self, index: int | slice) -> Content | Sequence[Content]:
        if isinstance(index, slice):
            return [self._draw(i) for i in range(*index.indices(len(self)))]
        return self._draw(index)


def row(item: Item, marked: bool, width: int, day: str) -> Content:
    """Return an item on one line of ``width`` cells; ``day`` is the one that is looked at."""
    if isinstance(item, Heading):
        return styled((visible(item.words, width), "bold $accent"))
    if isinstance(item, RosterLine):
        return _job(item, marked, width, day)
    if isinstance(item, QueueItem):
        when = ago(item.job.day, day)
        words = f"re-check offered: {item.ski_name}, signed off {when}: + adds it"
        return styled(_mark(marked), ("? ", "$accent"), (visible(words, width - 4), _bold(marked)))
    name, rider, rest = _rooms(width)
    more = " · ".join(part for part in (item.serial, item.note) if part)
    text = f"{padded(item.name, name)} {padded(item.rider, rider)} "
    return styled(
        _mark(marked), "  ", (text, _bold(marked)),
        (visible(more, rest + STAGE_CELLS + DUE_CELLS), "$ink-faint"),
    )  # fmt: skip


def _job(line: RosterLine, marked: bool, width: int, day: str) -> Content:
    name, rider, rest = _rooms(width)
    stage = f"{line.glyph} {line.stage_words}"
    more = [line.unreleased] if line.unreleased else []
    more += [line.reason] if line.reason else []
    more += ["re-check"] if line.kind == "recheck" and line.stage != "waiting" else []
    more += [ago(line.day, day)] if line.day != day else []
    more += [part for part in (line.note, line.ski_note, line.serial) if part]
    loose = Said(Importance.DANGER, LOOSE_SHORT).signed if line.loose else ""
    # What is dangerous takes the rider's room, and is never cut.
    short = max(len(loose) + 1 - rest, 0) if loose else 0
    rider, rest = max(rider - short, 0), rest + min(short, rider)
    text = f"{padded(line.ski_name, name)} {padded(line.rider, rider)} "
    return styled(
        _mark(marked),
        (padded(stage, STAGE_CELLS + 2), _colour(line) or _bold(marked)),
        (text, _bold(marked)),
        (padded(line.due, DUE_CELLS), "bold"),
        (loose, look_of(Importance.DANGER)),
        " " if loose else "",
        (visible(" · ".join(more), rest - len(loose) - (1 if loose else 0)), "$ink-faint"),
    )


def _colour(line: RosterLine) -> str:
    return "$state-caution" if line.unreleased else _COLOURS.get(line.stage, "")


def _rooms(width: int) -> tuple[int, int, int]:
    """Return the cells for a ski's name, its rider and the rest of a line."""
    left = width - STAGE_CELLS - DUE_CELLS - 6
    name, rider = min(max(left * 3 // 7, 12), 26), min(max(left * 2 // 7, 8), 18)
    return name, rider, max(left - name - rider, 0)


def _mark(marked: bool) -> str:
    return "▸ " if marked else "  "


def _bold(marked: bool) -> str:
    return "bold" if marked else ""
