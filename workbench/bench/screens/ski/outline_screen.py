"""The outline of the blade in hand: points with numbers, edges, holes, how it was traced."""

from __future__ import annotations

from textual.content import Content
from textual.events import Key

from workbench.bench.bases.view_only import DrawnCloser
from workbench.bench.draw.canvas import DOTS, Canvas
from workbench.bench.draw.text import lines, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.errors import BenchError
from workbench.fin.frame import Point
from workbench.measure.units import Unit
from workbench.records.tables.roster import blade_of
from workbench.work.job.shop import Shop
from workbench.work.paper.printing import outline_document
from workbench.work.trace.outline import outline_lines

OUTLINE, EDGE, NUMBER, HOLE = "outline", "edge", "number", "hole"
_STYLES = {OUTLINE: "$foreground", EDGE: "bold $accent", NUMBER: "bold", HOLE: "$ink-faint"}
LEAST_APART = 3
"""Cells between two numbers that are written."""


class OutlineScreen(DrawnCloser):
    """Draws the outline; the arrows go through the numbers of its points below."""

    TITLE_WORDS = "The blade's outline"
    KEYS = "↑ ↓ through the points · F2 writes it at 1:1 · * in/mm · Enter or Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        super().__init__("")
        self._shop, self._row = shop, shop.book.blade(state.view.ski.blade_id)
        if not self._row.outline_mm:
            raise BenchError("no blade yet, so no outline: trace one, then choose it")
        self._unit, self._mode = state.unit, state.drawing
        self._lines = outline_lines(shop, self._row, self._unit)
        self._first = 0

    def in_unit(self, unit: Unit) -> None:
        """Show the points in this unit."""
        self._unit = unit
        self._lines = outline_lines(self._shop, self._row, unit)
        self.redraw()

    def command(self, event: Key) -> bool:
        """Write it to the shop's folder on F2."""
        if event.key != "f2":
            return False
        try:
            self.say(outline_document(self._shop, self._row).write(self._shop).words)
        except BenchError as why:
            self.say(f"not written: {why}")
        return True

    def move(self, by: int) -> None:
        """Go through the lines below the drawing."""
        self._first = min(max(self._first + by, 0), len(self._lines) - 1)
        self.redraw()

    def drawn(self, width: int, height: int) -> Content:
        """Return the drawing with the first lines of the table below it."""
        said = max(min(height // 3, len(self._lines)), 1)
        out = self._picture(width, max(height - said, 3))
        shown = [part for line in self._lines[self._first :] for part in wrapped(line, width)]
        return lines([*out, *map(styled, shown[:said])])

    def _picture(self, width: int, height: int) -> list[Content]:
        blade = blade_of(self._row)
        canvas = Canvas(max(width, 1), height, self._mode)
        across, down = DOTS[self._mode]
        us, vs = zip(*blade.outline_mm, strict=True)
        squash = canvas.squash
        per = min(
            (canvas.dots_wide - 8 * across) / (max(us) - min(us)),
            (canvas.dots_high - 3 * down) * squash / (max(vs) - min(vs)),
        )

        def at(p: Point) -> tuple[float, float]:
            # Base up, as on the bench: the top edge lies below.
            u, v = p[0] - min(us), p[1] - min(vs)
            return (4 * across + u * per, canvas.dots_high - 1.5 * down - v * per / squash)

        canvas.polygon([at(p) for p in blade.outline_mm], OUTLINE)
        for edge in (blade.top_edge_mm, blade.back_edge_mm):
            canvas.line(*at(edge[0]), *at(edge[1]), EDGE)
        for hole in blade.holes:
            canvas.letters(at(hole.at_mm), visible(f"o{hole.name}", 6), HOLE)
        written: list[tuple[float, float]] = []
        for number, p in enumerate(blade.outline_mm, 1):
            x, y = at(p)
            col, row = x / across, y / down
            if all(abs(col - c) + 2 * abs(row - r) > LEAST_APART for c, r in written):
                written.append((col, row))
                canvas.letters((x, y), str(number), NUMBER)
        return canvas.contents(lambda ink: _STYLES.get(str(ink), ""))
