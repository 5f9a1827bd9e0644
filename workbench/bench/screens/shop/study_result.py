"""The result of a study: one plain sentence, the variation by source, and the picture.

It asks nothing, so that a burst from a caliper's cable is held and changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.content import Content
from textual.events import Resize

from workbench.bench.bases.view_only import TableScreen
from workbench.bench.draw.canvas import DOTS, Area, Canvas, Mode
from workbench.bench.draw.text import lines, styled, visible, wrapped
from workbench.measure.display import FINE, change_text, finer_text
from workbench.measure.units import Unit
from workbench.work.study.study_words import (
    SOURCE_NAMES,
    notes,
    sentence,
    struck_words,
    study_state,
)
from workbench.work.trust.study_results import Bar, Spread, StudyResult, bars

if TYPE_CHECKING:
    from workbench.bench.app import Bench

LEAST_PICTURE, MOST_PICTURE = 9, 16
SHARE_CELLS = 9

MARKS: dict[Mode, str] = {"braille": "●○▲△■□◆◇★☆", "block": "●○▲△■□◆◇★☆", "ascii": "ox*#@+%&$="}
"""A person's sign, so that no colour is needed to tell them apart."""

_INKS = ("now", "wanted", "stud", "base")
LABEL_ROWS = 2
WIDEST_COLUMN = 10
DOTS_FROM = 3
"""Cells between two columns from which the readings themselves have room beside the bar."""

_MARGIN = 0.06
LEAST_SPAN_MM = 0.002
LEAST_ROWS, LEAST_ROOM = 3, 8


class ResultScreen(TableScreen):
    """What a study says; letters change how it is drawn, ``*`` the unit."""

    TITLE_WORDS = "Repeatability tests"
    KEYS = "↑ ↓ scroll · e bars · o offsets or values · d drawing · * in/mm · Esc closes"

    def __init__(self, bench: Bench, result: StudyResult) -> None:
        super().__init__("r", bench.hands.state.unit)
        self._bench, self._result = bench, result
        self._spread: Spread = "s"
        self._relative = True
        self._first = 0

    def acts(self) -> dict[str, Callable[[], None]]:
        """Change what is shown."""
        return {
            "left": lambda: self._go_on(-1),
            "right": lambda: self._go_on(1),
            "e": self._other_bars,
            "o": self._other_zero,
            "d": self._bench.hands.next_drawing,
        }

    def do_key(self, key: str, char: str) -> bool:
        """Change what is shown, and show it."""
        done = super().do_key(key, char)
        if done:
            self.draw()
        return done

    def _go_on(self, by: int) -> None:
        last = len(self._result.view.study.parts) - 1
        self._first = min(max(self._first + by, 0), last)

    def _other_bars(self) -> None:
        self._spread = "U" if self._spread == "s" else "s"

    def _other_zero(self) -> None:
        self._relative = not self._relative

    def on_resize(self, event: Resize) -> None:
        """Draw for the room there is."""
        self.call_after_refresh(self.draw)

    # -- what it says ----------------------------------------------------------------------------

    def table(self, width: int) -> Content:
        """Return the sentence, the table and the picture for a width in cells."""
        result, unit = self._result, self.unit
        out = [self._head(width), *_sentence(result, unit, width)]
        table = source_table(result, unit, width)
        below = [styled((p, "$ink-faint")) for n in notes(result) for p in wrapped(n, width)]
        below += _struck(result, width)
        room = self.query_one("#closer-body").size.height - len(out) - len(table) - 3
        drawn = self._picture(width, min(max(room, LEAST_PICTURE), MOST_PICTURE))
        return lines([*out, *table, *drawn, *below])

    def _head(self, width: int) -> Content:
        study = self._result.view.study
        text = f"{study.name} · {study.what} · {study_state(self._result.view)}"
        return styled((visible(text, width), "bold $accent"))

    def _picture(self, width: int, height: int) -> list[Content]:
        result = self._result
        area = Area(width, height, self._bench.hands.state.drawing)
        picture = study_picture(result, self.unit, area, self._spread, self._relative, self._first)
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
            for text, ink in people_signs(study.people, self._bench.hands.state.drawing)
            for part in ((text, f"bold {ink}"), ("  ", ""))
        ]
        bar = "mean, bar +/- s" if self._spread == "s" else "mean, bar +/- U (95 %)"
        if self._spread == "U" and self._result.analysis is None:
            bar = "mean; no U before the test is complete"
        zero = f", {self.unit} from each part's mean" if self._relative else f", {self.unit}"
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
        text = f"{name:<16}{finer_text(source.sd_mm, unit):>10}  {source.share:>6.1%}"
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
    return "" if part is None else f"{part:>6.1%} {'#' * round(part * SHARE_CELLS)}"


def _struck(result: StudyResult, width: int) -> list[Content]:
    found = struck_words(result.view)
    if not found:
        return []
    head = styled((f"✗ struck out, not counted: {len(found)}", "$state-caution"))
    return [head, *[styled((f"  {visible(text, width - 2)}", "$ink-faint")) for text in found]]


# -- the picture -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StudyPicture:
    """The drawing; ``first`` and ``last`` say which parts it shows (from 0, last one past)."""

    canvas: Canvas
    first: int
    last: int


def study_picture(
    result: StudyResult,
    unit: Unit,
    area: Area,
    spread: Spread = "s",
    relative: bool = True,
    first: int = 0,
) -> StudyPicture:
    """Draw the cells that were read, from part ``first`` on as many as there is room for."""
    canvas, mode = Canvas(max(area.width, 1), max(area.height, 1), area.mode), area.mode
    drawn = bars(result, spread, relative)
    low, high = _range(drawn, relative)
    text = _axis(unit, relative)
    labels = [text(high), text((low + high) / 2), text(low)]
    left = max(len(label) for label in labels) + 1
    parts, people = len(result.view.study.parts), len(result.view.study.people)
    room = canvas.width - left
    pitch = WIDEST_COLUMN
    while pitch > 1 and parts * (people * pitch + _gap(pitch)) > room:
        pitch -= 1
    wide, gap = people * pitch, _gap(pitch)
    fit = max(room // (wide + gap), 1)
    first = min(first, max(parts - fit, 0))
    last = min(first + fit, parts)
    rows = canvas.height - LABEL_ROWS
    if rows < LEAST_ROWS or room < LEAST_ROOM or not drawn:
        return StudyPicture(canvas, first, last)
    across, down = DOTS[mode]
    scale = (rows * down - 1) / (high - low)
    starts = {part: left + (part - first) * (wide + gap) for part in range(first, last)}

    def y(value: float) -> float:
        return (high - value) * scale

    for label, row in zip(labels, (0, _row(y((low + high) / 2), down), rows - 1), strict=True):
        written = label.replace("\N{MINUS SIGN}", "-") if mode == "ascii" else label
        canvas.text(left - 1 - len(label), row, written, "faint")
    if relative:
        end = (starts[last - 1] + wide) * across - 1
        canvas.dashed(left * across, y(0.0), end, y(0.0), "faint")
    for bar in drawn:
        if bar.part in starts:
            column = starts[bar.part] + bar.person * pitch + pitch // 2
            _draw_bar(canvas, bar, column, pitch >= DOTS_FROM, y)
    for part, start in starts.items():
        _label(canvas, result.view.study.parts[part], start, wide + gap - 1, rows)
    return StudyPicture(canvas, first, last)


def people_signs(people: Sequence[str], mode: Mode) -> list[tuple[str, str]]:
    """Return each person's sign with the initials, and the ink."""
    marks = MARKS[mode]
    return [
        (f"{marks[i % len(marks)]} {visible(name, 12)}", f"$ink-{_INKS[i % len(_INKS)]}")
        for i, name in enumerate(people)
    ]


def _range(drawn: Sequence[Bar], relative: bool) -> tuple[float, float]:
    """Return the ends of the axis; what is counted from a mean lies about 0."""
    ends = [bar.mean_mm + side * bar.half_mm for bar in drawn for side in (-1, 1)]
    ends += [value for bar in drawn for value in bar.values_mm]
    low, high = (min(ends), max(ends)) if ends else (0.0, 0.0)
    if relative:
        high = max(high, -low)
        low = -high
    pad = max(_MARGIN * (high - low), (LEAST_SPAN_MM - (high - low)) / 2, 0.0)
    return low - pad, high + pad


def _axis(unit: Unit, relative: bool) -> Callable[[float], str]:
    step = FINE[unit]
    if relative:
        return lambda value: change_text(value, unit, step)
    return lambda value: finer_text(value, unit)[:-1]


def _gap(pitch: int) -> int:
    return 2 if pitch >= DOTS_FROM else 1


def _row(y: float, down: int) -> int:
    """Return the row of cells that a height in dots lies in."""
    return int((y + 0.5) // down)


def _draw_bar(
    canvas: Canvas, bar: Bar, column: int, dots: bool, y: Callable[[float], float]
) -> None:
    """Draw a cell in its column; ``dots``: with room for the readings themselves beside it."""
    across, down = DOTS[canvas.mode]
    x, ink = column * across, _INKS[bar.person % len(_INKS)]
    top, bottom = y(bar.mean_mm + bar.half_mm), y(bar.mean_mm - bar.half_mm)
    if bar.half_mm > 0.0:
        canvas.line(x, top, x, bottom, ink, "|")
        for end in (top, bottom):
            for k in range(across):
                canvas.dot(x + k, end, ink, "-")
    if dots:
        for value in bar.values_mm:
            canvas.dot(x + across, y(value), "reading", ".")
    marks = MARKS[canvas.mode]
    canvas.text(column, _row(y(bar.mean_mm), down), marks[bar.person % len(marks)], ink)


def _label(canvas: Canvas, name: str, start: int, width: int, row: int) -> None:
    """Write a part's name under its columns, its last word on the second line where it is long."""
    shown = visible(name, 200)
    head, _, tail = shown.rpartition(" ")
    pair = (shown, "") if len(shown) <= width or not head else (head, tail)
    for k, text in enumerate(pair):
        canvas.text(start, row + k, text[: max(width, 1)], "reading")
