"""Coarse marks: the scale and the lines on the blade, read once against a scribe on the ski.

Digits and Enter are a number for the marked line here, by hand or off a cable, and nothing else:
they close nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from textual.content import Content

from workbench.bench.bases.forms import Form
from workbench.bench.bases.number_screen import NumberScreen
from workbench.bench.draw.text import count_line, in_sight, lines, paragraph, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.work.job.coarse_marks import (
    MARK,
    add_mark,
    mark_place,
    off_words,
    suspect_words,
    take_mark,
)
from workbench.work.job.job_view import CoarseMark, JobView
from workbench.work.job.shop import Shop
from workbench.work.job.stages import refusal

_SIGNS: dict[bool | None, tuple[str, str]] = {
    True: ("✓", "$state-within"),
    False: ("?", "$state-caution"),
    None: ("·", "$ink-faint"),
}
"""Sign and colour by whether a mark bears the readings out; the words stand beside them."""

_FRAME_LINES = 15
"""Lines of the screen that are not the marks: border, titles, entry, warnings and keys."""

_SAID_LINES = 4
NONE_YET = "no coarse mark on this blade yet: n adds one"


class MarksScreen(NumberScreen[None]):
    """The blade's coarse marks beside what the readings of this round would give for each."""

    DEFAULT_CSS = """
    MarksScreen #marks { height: auto; text-wrap: nowrap; }
    MarksScreen #mark-entry { height: auto; border-top: solid $secondary; text-wrap: nowrap; }
    MarksScreen #mark-said { height: auto; max-height: 4; text-wrap: nowrap; }
    """
    KEYS = "↑ ↓ choose · number, Enter takes it · n adds · * in/mm · Esc closes"
    ENTRY_SIGNS = "+-−"

    TITLE_WORDS = "Coarse marks: scale and lines"
    CHOOSES = True
    PARTS = ("marks", "mark-entry", "mark-said")

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(state.unit)
        assert state.view is not None
        self.shop, self.view = shop, state.view
        self._at = next((i for i, m in enumerate(self.view.marks) if not m.latest), 0)

    # -- what is shown ---------------------------------------------------------------------------

    @property
    def marked(self) -> CoarseMark | None:
        """The coarse mark that a number goes to."""
        marks = self.view.marks
        return marks[min(self._at, len(marks) - 1)] if marks else None

    def parts(self, width: int) -> Sequence[Content]:
        """Return the marks, the entry, and what was said."""
        return self._mark_lines(width), self._entry_lines(width), self._said_lines(width)

    def _mark_lines(self, width: int) -> Content:
        marks, unit = self.view.marks, self.unit
        if not marks:
            return styled((NONE_YET, "bold"))
        name_room = max(width - 41, 10)
        head = f"  {'mark':<{name_room}} {'by readings':>11} {f'read ({unit})':>9}"
        room = max(self.size.height - _FRAME_LINES, 2)
        out = [styled((visible(head, width), "bold $accent"))]
        out += [self._line(m, here, name_room) for here, m in in_sight(marks, self._at, room)]
        if len(marks) > room:
            out.append(count_line(self._at, len(marks)))
        return lines(out)

    def _line(self, mark: CoarseMark, here: bool, name_room: int) -> Content:
        name = visible(mark.method.name, name_room)
        pad = " " * (name_room - styled(name).cell_length)
        expected, reading = mark.expected_mm, mark.reading
        foreseen = "—" if expected is None else length_text(expected, self.unit)
        read = "—" if reading is None else length_text(reading.value_mm, self.unit)
        head = f"{'▸' if here else ' '} {name}{pad} {foreseen:>11} {read:>9}  "
        sign, colour = _SIGNS[mark.agrees]
        return styled(
            (head, "bold" if here else ""), (f"{sign} {off_words(mark, self.unit)}", colour)
        )

    def _entry_lines(self, width: int) -> Content:
        mark = self.marked
        if mark is None:
            words = "A mark is a scribed point on the ski, read on a scale or lines on the blade."
            return lines(paragraph(words, width))
        title = visible(f"Read at the scribe: {mark.method.name} ({self.unit})", width)
        place = paragraph(mark_place(mark.method, self.unit), width, "$ink-faint")
        why = refusal(self.view.progress, "mark")
        if why and not self.entry:  # else it would invite what is refused
            waits = paragraph(f"✗ {why}", width, "$state-caution")
            return lines([styled((title, "bold $accent")), *place, *waits])
        return lines([styled((title, "bold $accent")), *place, self.entry_line()])

    def _said_lines(self, width: int) -> Content:
        out = self.said(width, _SAID_LINES)
        for sentence in suspect_words(self.view, self.unit):
            out += paragraph(f"? {sentence}", width, "bold $state-caution")
        return lines(out[:_SAID_LINES])

    # -- keys ------------------------------------------------------------------------------------

    def choose(self, step: int) -> None:
        """Move the mark."""
        if self.view.marks:
            self._at = (self._at + step) % len(self.view.marks)
            self.say("")

    def acts(self) -> dict[str, Callable[[], None]]:
        """Add a mark."""
        return {"n": self._add}

    def _add(self) -> None:
        self.app.push_screen(mark_form(self.shop, self.view, self.unit), self._added)

    def seen_anew(self, now: JobView) -> None:
        """Show the ski as it is now."""
        self.view = now

    def take(self, time: float) -> None:
        """Keep the entry as the reading of the marked line."""
        mark, text = self.marked, self.entry
        if mark is None:
            self.entry = ""
            self.say(f"{visible(text, 20)} not taken: {NONE_YET}", "warn")
            return
        taken = partial(take_mark, self.shop, self.view, mark, text, self.unit)
        if not self.attempt(lambda: self.seen_anew(taken())):
            return
        self.entry = ""
        agrees = self.view.marks[self._at].agrees
        kept = f"kept: {visible(mark.method.name, 40)} {visible(text, 20)}"
        self._at = next((i for i, m in enumerate(self.view.marks) if not m.latest), self._at)
        if agrees is False:
            self.say(f"? {kept}; it disagrees with the readings", "warn")
        else:
            self.say(f"✓ {kept}", "done")

    # -- a new mark ------------------------------------------------------------------------------

    def _added(self, method_id: object) -> None:
        self.view = self.shop.view(self.view.job.id)
        for i, mark in enumerate(self.view.marks):
            if mark.method_id == method_id:
                self._at = i
                self.message = (f"added: {visible(mark.method.name)}", "done")
        self.draw()


def mark_form(shop: Shop, view: JobView, unit: Unit) -> Form:
    """Return the form that adds a coarse mark to the ski's blade; its result is its method's id."""
    keep = partial(add_mark, shop, view)
    return Form("Add a coarse mark", MARK, keep, now={"unit": unit})
