"""A list about the ski in hand that ``*`` shows in the other unit."""

from __future__ import annotations

from textual.content import Content

from workbench.bench.bases.lists import ListScreen
from workbench.bench.draw.text import styled, wrapped
from workbench.measure.units import Unit
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop

_LABEL_CELLS = 9


def told(width: int, label: str, text: str, style: str = "") -> list[Content]:
    """Return a faint label and a text that hangs beside it."""
    first, *rest = wrapped(text, width - _LABEL_CELLS)
    out = [styled((f"{label:<{_LABEL_CELLS}}", "$ink-faint"), (first, style))]
    return out + [styled((" " * _LABEL_CELLS, ""), (part, style)) for part in rest]


class UnitList(ListScreen):
    """Holds the shop, the job and the unit; ``*`` exchanges inch and mm, here and on the bench."""

    def __init__(self, shop: Shop, view: JobView, unit: Unit) -> None:
        super().__init__()
        self.shop = shop
        self.view = view
        self.unit: Unit = unit

    def seen_anew(self, now: JobView) -> None:
        """Show the ski as it is now."""
        self.view = now
        self._load()

    def in_unit(self, unit: Unit) -> None:
        """Show lengths in another unit."""
        self.unit = unit
