"""The outline of a blade: traced by calipers, distance by distance, and drawn with its numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from textual.containers import Vertical
from textual.content import Content

from workbench.bench.bases.forms import Form
from workbench.bench.bases.number_screen import ENTRY_FIRST, NumberScreen
from workbench.bench.bases.view_only import DrawnCloser
from workbench.bench.draw.canvas import CELL_ASPECT, DOTS, Canvas
from workbench.bench.draw.text import lines, paragraph, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.ski.ski_forms import offer
from workbench.errors import BenchError
from workbench.fin.frame import Point
from workbench.measure.display import length_text
from workbench.measure.lengths import Placing
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of
from workbench.work.job.shop import Shop
from workbench.work.paper.printing import outline_document
from workbench.work.trace.by_calipers import (
    CAUTION,
    Tracing,
    check_words,
    contradiction_words,
    draft_of,
    keep_by_calipers,
    keep_draft,
)
from workbench.work.trace.look import ASKED
from workbench.work.trace.outline import outline_lines

if TYPE_CHECKING:
    from workbench.bench.app import Bench

OTHER_LINES = 13
"""Lines of the screen that are not the drawing: border, step, entry, what was said, keys."""

OUTLINE, LIT, NUMBER, HOLE = "outline", "lit", "number", "hole"
_STYLES = {OUTLINE: "$foreground", LIT: "bold $accent", NUMBER: "bold", HOLE: "$ink-faint"}


class TraceScreen(NumberScreen[rows.Blade]):
    """Takes the distances one by one; its result is the blade that was kept."""

    DEFAULT_CSS = """
    TraceScreen #trace-shape { height: auto; text-wrap: nowrap; }
    TraceScreen #trace-step { height: auto; border-top: solid $secondary; text-wrap: nowrap; }
    TraceScreen #trace-said { height: auto; max-height: 4; text-wrap: nowrap; }
    """
    KEYS = "number, Enter · u takes back · + keeps · * in/mm · Esc leaves, kept as draft"

    TITLE_WORDS = "Trace a blade by calipers"
    PARTS = ("trace-shape", "trace-step", "trace-said")

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(state.unit)
        self.shop, self.mode = shop, state.drawing
        self.tracing: Tracing = draft_of(shop, state.unit)
        self._asked: tuple[str, Placing] | None = None
        """What the others contradict, as typed and understood: ``+`` keeps it."""
        count = len(self.tracing.entries)
        if count:
            self.message = (f"going on with {count} numbers taken before", "say")

    def on_mount(self) -> None:
        """Show the first step, and the caution."""
        self.query_one(Vertical).border_subtitle = CAUTION
        super().on_mount()

    def after(self, bench: Bench, result: rows.Blade | None) -> None:
        """Offer the blade that was kept to the ski in hand, where it has none yet."""
        super().after(bench, result)
        if result is not None:
            bench.hands.say(f"blade kept: {visible(result.name, 40)}", "done")
            offer(bench, "blade", result.name, "traced by calipers")

    # -- what is shown ---------------------------------------------------------------------------

    def parts(self, width: int) -> Sequence[Content]:
        """Return the shape, the step with its entry, and what was said."""
        height = max(min(self.size.height - OTHER_LINES, width // 4), 3)
        return self._shape(width, height), self._step_lines(width), lines(self.said(width, 4))

    def _shape(self, width: int, height: int) -> Content:
        frame = self.tracing.frame
        if frame is None:
            text = "Lay the top edge along a straight edge and the back edge against a square."
            return lines(paragraph(text, width))
        canvas = Canvas(width, height, self.mode)
        across, down = DOTS[self.mode]
        per = min(
            (canvas.dots_wide - 4 * across) / (1.1 * frame.top_mm),
            (canvas.dots_high - 2 * down) / frame.height_mm * down / across / CELL_ASPECT,
        )
        squash = canvas.squash

        def at(p: Point) -> tuple[float, float]:
            # The top edge lies below: as on the ski, base up, the blade points upward.
            return (across * 2 + p[0] * per, canvas.dots_high - down - p[1] * per / squash)

        sides = [
            (0.0, frame.back_mm),
            (0.0, 0.0),
            (frame.top_mm, 0.0),
            (frame.top_mm, frame.front_mm),
        ]
        canvas.polyline([at(p) for p in sides], OUTLINE)
        curve = self.tracing.curve
        if curve:
            canvas.polyline(
                [at(k.at_mm) for k in curve], OUTLINE, dashed=self.tracing.blade is None
            )
        step = self.tracing.step
        for hole in self.tracing.holes:
            canvas.letters(at(hole.at_mm), "o", HOLE)
        if step is not None and step.place is not None:
            ends = (
                ((step.place.at_mm, 0.0), (step.place.at_mm, frame.height_mm))
                if step.place.edge == "outer"
                else ((0.0, step.place.at_mm), (frame.top_mm, step.place.at_mm))
            )
            if step.place.edge == "trailing":
                ends = (ends[0], (0.4 * frame.top_mm, step.place.at_mm))
            canvas.dashed(*at(ends[0]), *at(ends[1]), LIT)
            canvas.letters(at(ends[1]), str(step.place.number), LIT)
        return lines(canvas.contents(lambda ink: _STYLES.get(str(ink), "")))

    def _step_lines(self, width: int) -> Content:
        tracing, unit = self.tracing, self.tracing.unit
        step = tracing.step
        out: list[Content] = []
        for check in tracing.checks:
            style = "$state-within" if check.agrees else "bold $state-caution"
            out.append(styled((visible(check_words(check, unit), width), style)))
        if step is None:
            blade = tracing.blade
            known = length_text(blade.outline_u_mm, unit, "0.0001") if blade is not None else ""
            text = f"All taken; outline known to {known} {unit}. + keeps the blade"
            out.append(styled((visible(text, width), "bold $accent")))
        else:
            out += paragraph(f"{step.words} ({unit})", width, "bold $accent")
        out.append(self.entry_line())
        return lines(out)

    # -- keys ------------------------------------------------------------------------------------

    def in_unit(self, unit: Unit) -> None:
        """Ask for what comes next in another unit; what was taken stays."""
        self.tracing = replace(self.tracing, unit=unit)
        super().in_unit(unit)

    def take(self, time: float) -> None:
        """Take the entry for the next step, unless the others contradict it."""
        text, self.entry, self._asked = self.entry, "", None
        try:
            placings = self.tracing.understood(text)
            if len(placings) > 1:
                which = " or ".join(f"{p.number} {p.unit}" for p in placings)
                self.say(f"? {visible(text, 12)}: the point is missing: {which}", "warn")
                return
            found = self.tracing.contradicted(placings[0].mm)
        except BenchError as why:
            self.say(f"✗ {why}", "warn")
            return
        if found is None:
            self._keep(text, placings[0])
            return
        self._asked = text, placings[0]
        said = contradiction_words(found, self.tracing.unit)
        self.say(f"? {said}. Measure it again, or + keeps {placings[0].number} as read", "warn")

    def _keep(self, text: str, placing: Placing, *, insisted: bool = False) -> None:
        def keep() -> None:
            new = self.tracing.taken(text, placing.mm, insisted=insisted)
            keep_draft(self.shop, new)
            self.tracing, self._asked = new, None

        if self.attempt(keep):
            typed = "" if text == placing.number else f"{visible(text, 20)} → "
            self.say(f"✓ {typed}{placing.number} {placing.unit} taken", "done")

    def plus(self, time: float) -> None:
        """Keep what was contradicted, or ask for the name and keep the blade."""
        if self.entry:
            self.say(ENTRY_FIRST, "warn")
        elif self._asked is not None:
            self._keep(*self._asked, insisted=True)
        elif self.tracing.blade is None:
            self.say("not yet: all numbered distances are needed", "warn")
        else:
            self.app.push_screen(self._name_form(), self._kept)

    def acts(self) -> dict[str, Callable[[], None]]:
        """Take the last number back."""
        return {"u": self._take_back}

    def _take_back(self) -> None:
        if self.tracing.entries:
            last, back = self.tracing.entries[-1].text, self.tracing.back()
            if self.attempt(lambda: keep_draft(self.shop, back)):
                self.tracing, self._asked = back, None
                self.say(f"taken back: {visible(last, 20)}", "done")

    def _name_form(self) -> Form:
        fields = [replace(ASKED[-1], label="Name", blank=None)]

        def save(texts: dict[str, str]) -> object:
            return keep_by_calipers(self.shop, self.tracing, texts["name"])[0]

        return Form("Keep the traced blade", fields, save)

    def _kept(self, blade: object) -> None:
        if isinstance(blade, rows.Blade):
            self.dismiss(blade)


LEAST_APART = 3
"""Cells between two numbers that are written."""


class OutlineScreen(DrawnCloser):
    """Draws the outline; the arrows go through the numbers of its points below."""

    TITLE_WORDS = "The blade's outline"
    KEYS = "↑ ↓ through the points · F2 writes it at 1:1 · * in/mm · Enter or Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        super().__init__(unit=state.unit)
        self._shop, self._row = shop, shop.book.blade(state.view.ski.blade_id)
        if not self._row.outline_mm:
            raise BenchError("no blade yet, so no outline: trace one, then choose it")
        self._mode = state.drawing
        self._lines = outline_lines(shop, self._row, self.unit)
        self._first = 0

    def in_unit(self, unit: Unit) -> None:
        """Show the points in another unit."""
        self._lines = outline_lines(self._shop, self._row, unit)
        super().in_unit(unit)

    def acts(self) -> dict[str, Callable[[], None]]:
        """Write it to the shop's folder on F2."""
        return {"f2": self._write}

    def _write(self) -> None:
        try:
            self.say(outline_document(self._shop, self._row).write(self._shop).words)
        except BenchError as why:
            self.say(f"not written: {why}")

    def step(self, by: int) -> None:
        """Go through the lines below the drawing."""
        self._first = min(max(self._first + by, 0), len(self._lines) - 1)
        self.draw()

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
            canvas.line(*at(edge[0]), *at(edge[1]), LIT)
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
