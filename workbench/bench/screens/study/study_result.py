"""The result of a study: one plain sentence, the variation by source, and the picture.

It asks nothing, so that a burst from a caliper's cable is held and changes nothing.
"""

from __future__ import annotations

from textual.content import Content
from textual.events import Key, Resize

from workbench.bench.bases.view_only import TableScreen
from workbench.bench.draw.canvas import Area, Mode
from workbench.bench.draw.text import lines, styled, visible, wrapped
from workbench.bench.hand.state import DRAWINGS
from workbench.bench.screens.study.study_picture import legend, study_picture
from workbench.measure.units import Unit, other
from workbench.work.study.study_words import (
    SOURCE_NAMES,
    notes,
    sd_text,
    sentence,
    state_words,
    struck_words,
)
from workbench.work.trust.study_results import Spread, StudyResult

LEAST_PICTURE, MOST_PICTURE = 9, 16
BAR_CELLS = 9


class ResultScreen(TableScreen):
    """What a study says; letters change how it is drawn, ``*`` the unit."""

    TITLE_WORDS = "Repeatability tests"
    KEYS = "↑ ↓ scroll · e bars · o offsets or values · d drawing · * in/mm · Esc closes"

    def __init__(self, result: StudyResult, unit: Unit, mode: Mode, key: str = "r") -> None:
        super().__init__(key)
        self._result, self._unit, self._mode = result, unit, mode
        self._spread: Spread = "s"
        self._relative = True
        self._first = 0

    @property
    def unit(self) -> Unit:
        """The unit that the figures stand in."""
        return self._unit

    def on_key(self, event: Key) -> None:
        """Change what is shown, or leave the key to the screen that this one is."""
        char = (event.character or "").lower()
        if event.key in ("left", "right"):
            step = 1 if event.key == "right" else -1
            last = len(self._result.view.study.parts) - 1
            self._first = min(max(self._first + step, 0), last)
        elif self._typed or char not in ("e", "o", "d", "*"):
            super().on_key(event)
            return
        elif char == "e":
            self._spread = "U" if self._spread == "s" else "s"
        elif char == "o":
            self._relative = not self._relative
        elif char == "d":
            self._next_drawing()
        else:
            self._flip_unit()
        event.stop()
        event.prevent_default()
        self._show()

    def on_resize(self, event: Resize) -> None:
        """Draw for the room there is."""
        self.call_after_refresh(self._show)

    def _show(self) -> None:
        self.query_one("Rows").refresh(layout=True)

    def _next_drawing(self) -> None:
        hands = getattr(self.app, "hands", None)
        if hands is not None:
            hands.next_drawing()
            self._mode = hands.state.drawing
        else:
            self._mode = DRAWINGS[(DRAWINGS.index(self._mode) + 1) % len(DRAWINGS)]

    def _flip_unit(self) -> None:
        """Change inch and mm here, and so on the whole bench."""
        hands = getattr(self.app, "hands", None)
        if hands is not None:
            hands.flip_unit()
            self._unit = hands.state.unit
        else:
            self._unit = other(self._unit)

    # -- what it says ----------------------------------------------------------------------------

    def table(self, width: int) -> Content:
        """Return the sentence, the table and the picture for a width in cells."""
        result, unit = self._result, self._unit
        out = [self._head(width), *_sentence(result, unit, width)]
        table = source_table(result, unit, width)
        below = [styled((p, "$ink-faint")) for n in notes(result, unit) for p in wrapped(n, width)]
        below += _struck(result, width)
        room = self._height() - len(out) - len(table) - 3
        drawn = self._picture(width, min(max(room, LEAST_PICTURE), MOST_PICTURE))
        return lines([*out, *table, *drawn, *below])

    def _height(self) -> int:
        return self.query_one("#closer-body").size.height

    def _head(self, width: int) -> Content:
        study = self._result.view.study
        text = f"{study.name} · {study.what} · {state_words(self._result.view)}"
        return styled((visible(text, width), "bold $accent"))

    def _picture(self, width: int, height: int) -> list[Content]:
        result = self._result
        area = Area(width, height, self._mode)
        picture = study_picture(result, self._unit, area, self._spread, self._relative, self._first)
        self._first = picture.first
        out = [styled(""), self._caption(width, picture.first, picture.last)]
        for row in picture.canvas.rows():
            out.append(styled(*[(text, f"$ink-{ink}" if ink else "") for text, ink in row]))
        return out

    def _caption(self, width: int, first: int, last: int) -> Content:
        """Say who is who, what the bars are, and what is counted from where."""
        study = self._result.view.study
        people = [
            part
            for text, ink in legend(study.people, self._mode)
            for part in ((text, f"bold {ink}"), ("  ", ""))
        ]
        bar = "mean, bar +/- s" if self._spread == "s" else "mean, bar +/- U (95 %)"
        if self._spread == "U" and self._result.one is None:
            bar = "mean; no U before the test is complete"
        zero = f", {self._unit} from each part's mean" if self._relative else f", {self._unit}"
        count = len(study.parts)
        hidden = "" if last - first == count else f" · {first + 1} to {last} of {count}, ← → more"
        used = styled(*people).cell_length
        return styled(*people, (visible(bar + zero + hidden, width - used), "$ink-faint"))


def _sentence(result: StudyResult, unit: Unit, width: int) -> list[Content]:
    """Return the plain sentence; before there is one, why, and what looking now costs."""
    mark, style = ("▸", "bold") if result.analysis is not None else ("!", "bold $state-caution")
    first, *rest = wrapped(sentence(result, unit), width - 2)
    out = [styled((f"{mark} {first}", style)), *[styled((f"  {p}", style)) for p in rest]]
    if result.view.due is not None:
        said = "Whoever still has to read should not look here: the readings are to be blind."
        out += [styled((p, "$state-caution")) for p in wrapped(said, width)]
    return out


def source_table(result: StudyResult, unit: Unit, width: int) -> list[Content]:
    """Return the variation by source with its share of the whole variance."""
    if result.analysis is None:
        return []
    head = f"{'source':<16}{f's ({unit})':>10}  {'share':>6}  {'of one reading':<17} "
    out = [styled((visible(head, width), "bold $accent"))]
    pooled = result.analysis.gauge.pooled
    for source in result.sources():
        name, meaning = SOURCE_NAMES[source.key]
        text = f"{name:<16}{sd_text(source.sd_mm, unit):>10}  {source.share:>6.1%}"
        if source.key in ("av", "interaction") and len(result.view.study.people) == 1:
            meaning = "one person: not seen"
        elif source.key == "interaction" and pooled:
            meaning = "pooled, see below"
        beside = f"  {_part_words(source.of_reading):<17} {meaning}"
        style = "bold" if source.key in ("grr", "tv") else ""
        out.append(styled((text, style), visible(beside, width - len(text))))
    return out


def _part_words(part: float | None) -> str:
    """Return the share that a source has in one reading, as a bar and a figure."""
    return "" if part is None else f"{part:>6.1%} {'#' * round(part * BAR_CELLS)}"


def _struck(result: StudyResult, width: int) -> list[Content]:
    found = struck_words(result.view)
    if not found:
        return []
    head = styled((f"✗ struck out, not counted: {len(found)}", "$state-caution"))
    return [head, *[styled((f"  {visible(text, width - 2)}", "$ink-faint")) for text in found]]
