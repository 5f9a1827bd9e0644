"""The picture of a study: every person's readings of every part, with error bars."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from workbench.bench.draw.canvas import DOTS, Area, Canvas, Mode
from workbench.bench.draw.text import visible
from workbench.measure.display import FINE, change_text
from workbench.measure.units import Unit
from workbench.work.study.study_words import sd_text
from workbench.work.trust.study_results import (
    Bar,
    Spread,
    StudyResult,
    bars,
)

MARKS: dict[Mode, str] = {
    "braille": "●○▲△■□◆◇★☆",
    "block": "●○▲△■□◆◇★☆",
    "ascii": "ox*#@+%&$=",
}
"""A person's sign, so that no colour is needed to tell them apart."""

INKS = ("now", "wanted", "stud", "base")
LABEL_ROWS = 2
WIDEST_COLUMN = 10
DOTS_FROM = 3
"""Cells between two columns from which the readings themselves have room beside the bar."""

PAD = 0.06
LEAST_SPAN_MM = 0.002
LEAST_ROWS, LEAST_ROOM = 3, 8


@dataclass(frozen=True, slots=True)
class StudyPicture:
    """The drawing; ``first`` and ``last`` say which parts it shows (from 0, last one past)."""

    canvas: Canvas
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where the columns stand, in cells."""

    left: int
    pitch: int
    gap: int
    people: int
    first: int
    shown: int

    def group(self, part: int) -> tuple[int, int]:
        """Return where a part begins and how wide it is."""
        wide = self.people * self.pitch
        return self.left + (part - self.first) * (wide + self.gap), wide

    def at(self, part: int, person: int) -> int:
        """Return the cell column of a bar."""
        return self.group(part)[0] + person * self.pitch + self.pitch // 2


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
    columns = _columns(parts, people, left, canvas.width, first)
    rows = canvas.height - LABEL_ROWS
    last = min(columns.first + columns.shown, parts)
    if rows < LEAST_ROWS or canvas.width - left < LEAST_ROOM or not drawn:
        return StudyPicture(canvas, columns.first, last)
    down = DOTS[mode][1]
    scale = (rows * down - 1) / (high - low)

    def y(value: float) -> float:
        return (high - value) * scale

    _draw_axis(canvas, labels, left, (0, int((y((low + high) / 2) + 0.5) // down), rows - 1))
    if relative:
        right = columns.group(last - 1)
        end = (right[0] + right[1]) * DOTS[mode][0] - 1
        canvas.dashed(left * DOTS[mode][0], y(0.0), end, y(0.0), "faint")
    for bar in drawn:
        if columns.first <= bar.part < last:
            _draw_bar(canvas, bar, columns, y)
    for part in range(columns.first, last):
        start, wide = columns.group(part)
        _label(canvas, result.view.study.parts[part], start, wide + columns.gap - 1, rows)
    return StudyPicture(canvas, columns.first, last)


def legend(people: Sequence[str], mode: Mode) -> list[tuple[str, str]]:
    """Return each person's sign with the initials, and the ink."""
    marks = MARKS[mode]
    return [
        (f"{marks[i % len(marks)]} {visible(name, 12)}", f"$ink-{INKS[i % len(INKS)]}")
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
    pad = max(PAD * (high - low), (LEAST_SPAN_MM - (high - low)) / 2, 0.0)
    return low - pad, high + pad


def _axis(unit: Unit, relative: bool) -> Callable[[float], str]:
    step = FINE[unit]
    if relative:
        return lambda value: change_text(value, unit, step)
    return lambda value: sd_text(value, unit)[:-1]


def _columns(parts: int, people: int, left: int, width: int, first: int) -> _Columns:
    room = width - left
    pitch = WIDEST_COLUMN
    while pitch > 1 and parts * (people * pitch + _gap(pitch)) > room:
        pitch -= 1
    gap = _gap(pitch)
    fit = max(room // (people * pitch + gap), 1)
    return _Columns(left, pitch, gap, people, min(first, max(parts - fit, 0)), fit)


def _gap(pitch: int) -> int:
    return 2 if pitch >= DOTS_FROM else 1


def _draw_axis(canvas: Canvas, labels: Sequence[str], left: int, rows: Sequence[int]) -> None:
    for label, row in zip(labels, rows, strict=True):
        written = label.replace("\N{MINUS SIGN}", "-") if canvas.mode == "ascii" else label
        canvas.text(left - 1 - len(label), row, written, "faint")


def _draw_bar(canvas: Canvas, bar: Bar, columns: _Columns, y: Callable[[float], float]) -> None:
    across, down = DOTS[canvas.mode]
    column = columns.at(bar.part, bar.person)
    x, ink = column * across, INKS[bar.person % len(INKS)]
    top, bottom = y(bar.mean_mm + bar.half_mm), y(bar.mean_mm - bar.half_mm)
    if bar.half_mm > 0.0:
        canvas.line(x, top, x, bottom, ink, "|")
        for end in (top, bottom):
            for k in range(across):
                canvas.dot(x + k, end, ink, "-")
    if columns.pitch >= DOTS_FROM:
        for value in bar.values_mm:
            canvas.dot(x + across, y(value), "reading", ".")
    marks = MARKS[canvas.mode]
    row = int((y(bar.mean_mm) + 0.5) // down)
    canvas.text(column, row, marks[bar.person % len(marks)], ink)


def _label(canvas: Canvas, name: str, start: int, width: int, row: int) -> None:
    """Write a part's name under its columns, its last word on the second line where it is long."""
    shown = visible(name, 200)
    head, _, tail = shown.rpartition(" ")
    pair = (shown, "") if len(shown) <= width or not head else (head, tail)
    for k, text in enumerate(pair):
        canvas.text(start, row + k, text[: max(width, 1)], "reading")
