"""How to take a reading: words, and a drawing of this very blade."""

from __future__ import annotations

from textual.content import Content

from workbench.advice.holds import SOURCE
from workbench.bench.bases.view_only import DrawnCloser
from workbench.bench.draw.canvas import Area, Mode
from workbench.bench.draw.side_view import method_view
from workbench.bench.draw.text import lines, paragraph, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.measure.units import Unit
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.how_to_hold import hold_words, place_words

LEAST_DRAWN = 3
"""Rows below which a drawing says nothing."""


class HoldScreen(DrawnCloser):
    """How to take a reading: words, and a drawing of this very blade; arrows change the method."""

    TITLE_WORDS = "How to hold it"
    KEYS = "↑ ↓ another reading · * in/mm · Enter or Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        assert state.view is not None
        super().__init__(state.keys.of("hold") or "escape")
        self._view, self._mode, self.unit = state.view, state.drawing, state.unit
        self._index = state.line_index

    def drawn(self, width: int, height: int) -> Content:
        """Return the words and the drawing."""
        return hold(self._view, self._index, self.unit, self._mode, width, height)

    def in_unit(self, unit: Unit) -> None:
        """Say lengths in another unit."""
        self.unit = unit
        self.redraw()

    def move(self, by: int) -> None:
        """Show the next or the previous of the ski's methods."""
        if self._view.lines:
            self._index = (self._index + by) % len(self._view.lines)
            self.redraw()


def hold(view: JobView, index: int, unit: Unit, mode: Mode, width: int, height: int) -> Content:
    """Return how to hold the caliper for one of the ski's methods, filling width x height cells."""
    if not view.lines or width < 1 or height < 1:
        return styled("this ski has no reading")
    method = view.lines[index].method
    out = [styled((visible(f"{method.name}  ({index + 1} of {len(view.lines)})", width), "bold"))]
    out += paragraph(place_words(method, unit), width, "$accent")
    for sentence in hold_words(method):
        first, *rest = wrapped(sentence, width - 2)
        out += [styled(f"· {first}"), *[styled(f"  {part}") for part in rest]]
    where = "as it is now" if view.pose is not None else "at a made-up place: not read yet"
    blade = f"This blade, {where}" if view.rig.blade.is_traced else "No blade yet"
    foot = styled((visible(f"{blade}; {SOURCE}.", width), "$ink-faint"))
    caption = wrapped(method_view(view.rig, view.pose, method, Area(1, 1, mode)).caption, width)
    room = height - len(out) - len(caption) - 1
    if room < LEAST_DRAWN:
        return lines([*out, foot][:height])
    picture = method_view(view.rig, view.pose, method, Area(width, room, mode))
    faint = [styled((part, "$ink-faint")) for part in caption]
    return lines([*out, *picture.canvas.contents(), *faint, foot])
