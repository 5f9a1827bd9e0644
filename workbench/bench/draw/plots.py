"""Plots in terminal cells: a ski's numbers over time, and what the turns of a stud really moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from textual.content import Content

from workbench.bench.draw.canvas import HALF, Area, Canvas, Mode
from workbench.bench.draw.text import styled, visible
from workbench.measure.units import MM_PER, Unit
from workbench.work.history.series import Point, PointMark, Series
from workbench.work.learn.what_learnt import LearntStud
from workbench.work.text.local_time import local_at

LEAST_WIDTH, LEAST_HEIGHT = 24, 6
LEAST_SPAN_MM, LEAST_SPAN_DEG = 0.08, 1.0
"""A series that never changed is not blown up to show its noise alone."""

DAY_S, HOUR_S = 86400.0, 3600.0
LABEL_CELLS = 12
"""Cells from one date to the next, at least."""

NOW, WANTED, READING, FAINT = "now", "wanted", "reading", "faint"

GLYPHS: dict[PointMark, tuple[str, str, str]] = {
    "received": ("○", "o", READING), "left": ("●", "@", NOW), "in hand": ("◆", "#", NOW),
    "reading": ("•", "*", NOW), "struck": ("×", "x", WANTED),
}  # fmt: skip
"""Sign, sign in ASCII and ink of each kind of point; the legend has the words."""

_ORDER: tuple[PointMark, ...] = ("struck", "received", "reading", "in hand", "left")


@dataclass(frozen=True, slots=True)
class Frame:
    """Maps time and value to dots, and holds what is at the axes."""

    start: float
    end: float
    low: float
    high: float
    across: float
    down: float

    def x(self, when: float) -> float:
        """Return the column of dots of a moment."""
        return self.across * (when - self.start) / (self.end - self.start)

    def y(self, value: float) -> float:
        """Return the row of dots of a value."""
        return self.down * (self.high - value) / (self.high - self.low)


def plot_rows(
    series: Series,
    span: tuple[float, float],
    unit: Unit,
    area: Area,
    marked: float | None = None,
    chosen: bool = False,
) -> list[Content]:
    """Draw one series over ``span`` (seconds since 1970) into an area.

    Its method is above it, the unit's numbers at the left, dates below; ``marked`` is a moment
    to point at, ``chosen`` sets a pointer before its title. In too little room it says so.
    """
    width, height, mode = area.width, area.height, area.mode
    if width < LEAST_WIDTH or height < LEAST_HEIGHT:
        words = visible(f"{series.title}: no room to draw", max(width, 1))
        return [styled((words, "$ink-faint"))]
    per = 1.0 if series.angle else MM_PER[unit]
    low, high = extent(series)
    ticks, decimals = ticks_of(low / per, high / per, max((height - 3) // 2, 2))
    labels = [f"{t:.{decimals}f}".replace("-", "−") for t in ticks]
    gutter = max([len(label) for label in labels] + [4]) + 1
    rated = any(p.rating is not None for p in series.points)
    canvas = Canvas(width - gutter, height - 2 - rated, mode)
    frame = framed(span, low, high, canvas)
    if marked is not None:
        _point_at(canvas, frame.x(marked))
    _draw(canvas, frame, series)
    rows = dict(zip((canvas.cell((0.0, frame.y(t * per)))[1] for t in ticks), labels, strict=True))
    pointer = (">" if mode == "ascii" else "▸") if chosen else ""
    title = f"{pointer}{series.title} ({'degrees' if series.angle else unit})"
    out = [styled((visible(title, width), "bold"))]
    if rated:
        out.append(_ratings(canvas, frame, series, gutter))
    axis, tick = ("│", "┤") if mode != "ascii" else ("|", "+")
    for i, row in enumerate(canvas.contents()):
        label = rows.get(i, "")
        edge = f"{label:>{gutter - 1}}{tick if label else axis}"
        out.append(styled((edge, "$ink-faint"), row))
    out.append(_dates(canvas, frame, gutter))
    return out


def extent(series: Series) -> tuple[float, float]:
    """Return the lowest and highest value to show: points with their bars, and target bands.

    Struck-out points do not stretch it: a wrong one by an inch would flatten all others.
    """
    shown = series.live or series.points
    lows = [p.value - p.expanded for p in shown] + [b.low for b in series.bands]
    highs = [p.value + p.expanded for p in shown] + [b.high for b in series.bands]
    low, high = min(lows), max(highs)
    least = LEAST_SPAN_DEG if series.angle else LEAST_SPAN_MM
    lacking = max(least - (high - low), 0.0) / 2.0
    margin = 0.04 * max(high - low, least)
    return low - lacking - margin, high + lacking + margin


def ticks_of(low: float, high: float, most: int) -> tuple[list[float], int]:
    """Return round numbers from ``low`` to ``high``, at most ``most`` of them, and their decimals.

    Their step is 1, 2 or 5 times a power of ten.
    """
    raw = (high - low) / max(most, 1)
    power = math.floor(math.log10(raw))
    step = next(s for s in (1.0, 2.0, 5.0, 10.0) if s * 10.0**power >= raw * (1.0 - 1e-9))
    if step == 10.0:
        step, power = 1.0, power + 1
    size = step * 10.0**power
    first, last = math.ceil(low / size - 1e-9), math.floor(high / size + 1e-9)
    return [i * size for i in range(first, last + 1)], max(-power, 0)


def framed(span: tuple[float, float], low: float, high: float, canvas: Canvas) -> Frame:
    """Return the frame of a plot; a cell is left free at either side, as in the time."""
    start, end = span
    if end - start < 60.0:
        start, end = start - 1800.0, end + 1800.0
    margin = 1.5 * (end - start) / max(canvas.width - 3, 1)
    return Frame(
        start - margin, end + margin, low, high, canvas.dots_wide - 1.0, canvas.dots_high - 1.0
    )


def _draw(canvas: Canvas, frame: Frame, series: Series) -> None:
    for band in series.bands:
        left = frame.x(band.start)
        right = frame.x(band.end) if band.end is not None else canvas.dots_wide - 1.0
        for value in (band.low, band.high):
            canvas.dashed(left, frame.y(value), max(right, left + 3.0), frame.y(value), WANTED)
    points = sorted(series.points, key=lambda p: _ORDER.index(p.mark))
    for (x, ink), reaches in _bars(frame, points).items():
        for top, bottom in _joined(reaches):
            canvas.line(x, top, x, bottom, ink, "|")
    for (col, row), mark in _signs(canvas, frame, points).items():
        sign, plain, ink = GLYPHS[mark]
        canvas.text(col, row, plain if canvas.mode == "ascii" else sign, ink)


def _bars(
    frame: Frame, points: Sequence[Point]
) -> dict[tuple[int, str], list[tuple[float, float]]]:
    """Return how far the error bars reach, up and down, by column of dots and ink."""
    out: dict[tuple[int, str], list[tuple[float, float]]] = {}
    for point in points:
        if point.expanded > 0.0:
            key = (math.floor(frame.x(point.when) + HALF), GLYPHS[point.mark][2])
            top, bottom = point.value + point.expanded, point.value - point.expanded
            out.setdefault(key, []).append((frame.y(top), frame.y(bottom)))
    return out


def _joined(reaches: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return these reaches with those that overlap made one: a decade has many in a column."""
    out: list[tuple[float, float]] = []
    for top, bottom in sorted(reaches):
        if out and top <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], bottom))
        else:
            out.append((top, bottom))
    return out


def _signs(
    canvas: Canvas, frame: Frame, points: Sequence[Point]
) -> dict[tuple[int, int], PointMark]:
    """Return the sign of each cell, the last of several; one beyond the frame is at its edge."""
    out: dict[tuple[int, int], PointMark] = {}
    for point in points:
        col, row = canvas.cell((frame.x(point.when), frame.y(point.value)))
        out[col, min(max(row, 0), canvas.height - 1)] = point.mark
    return out


def _point_at(canvas: Canvas, x: float) -> None:
    """Draw a line from top to bottom at a moment."""
    if canvas.mode == "ascii":
        canvas.line(x, 0.0, x, canvas.dots_high - 1.0, FAINT, ":")
    else:
        canvas.dashed(x, 0.0, x, canvas.dots_high - 1.0, FAINT)


def _ratings(canvas: Canvas, frame: Frame, series: Series, gutter: int) -> Content:
    """Return a line with each ride's rating above its point."""
    cells = [" "] * canvas.width
    for point in series.points:
        col = canvas.cell((frame.x(point.when), 0.0))[0]
        if point.rating is not None and 0 <= col < canvas.width:
            cells[col] = str(point.rating)
    return styled((f"{'ride':>{gutter - 1}} ", "$ink-faint"), ("".join(cells), "bold $accent"))


def _dates(canvas: Canvas, frame: Frame, gutter: int) -> Content:
    """Return the line of local days, or of times where it all happened within two days."""
    span = frame.end - frame.start
    pattern = "%Y-%m-%d" if span > 2 * DAY_S else "%H:%M" if span > 2 * HOUR_S else "%H:%M:%S"
    count = max(canvas.width // LABEL_CELLS, 1)
    cells = [" "] * canvas.width
    for i in range(count):
        when = frame.start + span * (i + 0.5) / count
        label = local_at(when).strftime(pattern)
        at = canvas.cell((frame.x(when), 0.0))[0] - len(label) // 2
        at = min(max(at, 0), max(canvas.width - len(label), 0))
        for j, char in enumerate(label[: canvas.width - at]):
            cells[at + j] = char
    return styled((" " * gutter + "".join(cells), "$ink-faint"))


def grid(
    series: Sequence[Series],
    span: tuple[float, float],
    unit: Unit,
    area: Area,
    marked: float | None = None,
    chosen: int = 0,
) -> list[Content]:
    """Draw up to four series, two beside each other, into an area.

    ``chosen`` is the index of the one that has the pointer.
    """
    half, down = (area.width - 2) // 2, area.height // ((len(series) + 1) // 2)
    each = Area(half, down, area.mode)
    out: list[Content] = []
    for i in range(0, len(series), 2):
        pair = [
            plot_rows(s, span, unit, each, marked, i + k == chosen)
            for k, s in enumerate(series[i : i + 2])
        ]
        for k in range(down):
            rows = [rows[k] if k < len(rows) else styled("") for rows in pair]
            out.append(styled(*_apart(rows, half + 2)))
    return out


def _apart(rows: Sequence[Content], cells: int) -> list[Content | str]:
    out: list[Content | str] = []
    for row in rows:
        out += [row, " " * max(cells - row.cell_length, 0)]
    return out[:-1]


def legend(series: Sequence[Series], mode: Mode, width: int) -> Content:
    """Return what the signs of these plots mean, those that are in them."""
    at = 1 if mode == "ascii" else 0
    seen = {p.mark for s in series for p in s.points}
    parts = [f"{glyph[at]} {mark}" for mark, glyph in GLYPHS.items() if mark in seen]
    if any(p.expanded > 0.0 for s in series for p in s.points):
        parts.append("| +/-U (k=2)" if at else "│ ±U (k=2)")
    if any(s.bands for s in series):
        parts.append(".. target +/-tol." if at else "╌╌ target ±tol.")
    if any(p.rating is not None for s in series for p in s.points):
        parts.append("ride 1-5")
    text = "  ".join(parts)
    text = text if styled(text).cell_length <= width else " ".join(parts)
    return styled((visible(text, width), "$ink-faint"))


_LEAST_SPAN = 0.1
"""Turns: a stud that moves just as its thread says is not blown up to show its noise alone."""

_GUTTER = 7
_NONE = "no turn of it was measured yet"
_TITLE = "moved more or less than turned (up), by turns asked for (across; in is right)"
_SHORT = "moved more or less (up), by turns (across)"
_LEGEND = "• a round · dashes: its thread · line: as learned"


def learned_plot(stud: LearntStud, width: int, height: int, mode: Mode) -> list[Content]:
    """Draw the commanded turns against moved ones, as the difference, which a straight plot hides.

    The dashes are what the thread says; the line is what was learnt, for turns on in the same
    direction. One that reverses takes up the backlash first and lies nearer to no move.
    """
    title = _TITLE if len(_TITLE) <= width else _SHORT
    head = styled((visible(title, width), "$ink-faint"))
    if not stud.moves:
        return [head, styled((visible(f"  {_NONE}", width), "$ink-faint"))]
    reach = 1.1 * max(abs(m.turns) for m in stud.moves)
    offs = [m.moved - m.turns for m in stud.moves]
    span = max(1.1 * max(map(abs, offs)), _LEAST_SPAN)
    canvas = Canvas(max(width - _GUTTER, 8), max(height - 3, 3), mode)

    def x(turns: float) -> float:
        return (turns + reach) / (2.0 * reach) * (canvas.dots_wide - 1)

    def y(off: float) -> float:
        return (span - off) / (2.0 * span) * (canvas.dots_high - 1)

    canvas.dashed(x(-reach), y(0.0), x(reach), y(0.0), "faint")
    slope = stud.ratio - 1.0
    canvas.line(x(-reach), y(-reach * slope), x(reach), y(reach * slope), "wanted", "-")
    glyph = "*" if mode == "ascii" else "•"
    across, down = canvas.dots_wide / canvas.width, canvas.dots_high / canvas.height
    for move, off in zip(stud.moves, offs, strict=True):
        canvas.text(int(x(move.turns) / across), int(y(off) / down), glyph, "now")
    ticks, places = ticks_of(-span, span, max(canvas.height // 2, 2))
    labels = {int(y(t) / down): f"{t:+.{places}f}".replace("-", "−") for t in ticks}
    bar = "|" if mode == "ascii" else "│"
    out = [head]
    for i, row in enumerate(canvas.contents()):
        out.append(styled((f"{labels.get(i, ''):>{_GUTTER - 1}}{bar}", "$ink-faint"), row))
    ends = f"{-reach:.2f}".replace("-", "−")
    gap = max(canvas.width - len(ends) - 6, 1)
    middle = "0".center(gap)
    out.append(styled((visible(f"{'':>{_GUTTER}}{ends}{middle}+{reach:.2f}", width), "$ink-faint")))
    words = _LEGEND.replace("•", glyph)
    out.append(styled((visible(f"{'':>{_GUTTER}}{words}", width), "$ink-faint")))
    return out
