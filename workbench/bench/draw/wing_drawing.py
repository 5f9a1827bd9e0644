"""The base's curve with the straightedge at its three holds, heights enlarged.

The ski lies base up with its tail at the left: x runs to the right and y, out of the base, up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.bench.draw.canvas import CELL_ASPECT, DOTS, XY, Canvas, Mode
from workbench.work.job_text.wing_report import HoldLine, WingReport

_FACTORS = (1, 2, 3, 5, 7, 10, 20, 50, 100, 200, 500)
_BASE_STEPS = 60
WING_MM = 24.0
LEAST_WING_MM = 8.0
SIDE_MM = 12.0
LEAST_HEIGHT_MM = 0.5
INK_BASE, INK_SHOP, INK_OTHER, INK_WING, INK_FAINT = "base", "now", "wanted", "reading", "faint"


@dataclass(frozen=True, slots=True)
class WingPicture:
    """A drawing, how many times its heights are enlarged, and words to it."""

    canvas: Canvas
    factor: int
    caption: str


@dataclass(frozen=True, slots=True)
class _Scale:
    """Maps the ski frame (mm) to dots; heights are enlarged."""

    left_mm: float
    across: float
    top: float
    down: float

    def at(self, x_mm: float, y_mm: float) -> XY:
        return ((x_mm - self.left_mm) * self.across, self.top - y_mm * self.down)


def wing_picture(report: WingReport, width: int, height: int, mode: Mode) -> WingPicture:
    """Draw the base, the straightedge at each hold and, where there is one, the wing."""
    canvas = Canvas(max(width, 1), max(height, 1), mode)
    setup, arc = report.setup, report.arc
    left = min(setup.place_mm - setup.straightedge_mm / 2.0, 0.0) - SIDE_MM
    right = setup.place_mm + setup.straightedge_mm / 2.0 + SIDE_MM
    edges = [_edge(line, report) for line in report.holds]
    base = [(x, arc.y_mm(x)) for x in _spread(max(left, 0.0), right)]
    scale, factor = _fitted(canvas, (left, right), [p for e in [*edges, base] for p in e])
    canvas.line(*scale.at(0.0, arc.y_mm(0.0)), scale.at(0.0, 0.0)[0], canvas.dots_high, INK_FAINT)
    for line, edge in sorted(zip(report.holds, edges, strict=True), key=lambda x: x[0].shops):
        canvas.polyline(
            [scale.at(*p) for p in edge],
            INK_SHOP if line.shops else INK_OTHER,
            dashed=not line.shops,
        )
    canvas.polyline([scale.at(*p) for p in base], INK_BASE)
    for line in report.holds:
        _mark(canvas, scale, line, report)
    if report.has_wing:
        _draw_wing(canvas, scale, report, factor)
    return WingPicture(canvas, factor, _caption(report, factor))


def _spread(left: float, right: float) -> list[float]:
    return [left + (right - left) * i / _BASE_STEPS for i in range(_BASE_STEPS + 1)]


def _edge(line: HoldLine, report: WingReport) -> list[tuple[float, float]]:
    """Return the straightedge's ends where it is held."""
    at = line.held.touches_mm[0]
    y, slope = report.arc.y_mm(at), math.tan(line.held.angle_rad)
    half, middle = report.setup.straightedge_mm / 2.0, report.setup.place_mm
    return [(x, y + slope * (x - at)) for x in (middle - half, middle + half)]


def _fitted(
    canvas: Canvas, sides: tuple[float, float], points: list[tuple[float, float]]
) -> tuple[_Scale, int]:
    """Return the scale that shows all, heights enlarged by a round factor, room for the wing."""
    dots_wide, dots_high = DOTS[canvas.mode]
    across = max(canvas.dots_wide - 1, 1) / (sides[1] - sides[0])
    equal = across * dots_high / (CELL_ASPECT * dots_wide)
    ys = [y for _, y in points]
    low, high = min(ys), max(ys)
    room = max(canvas.dots_high - 1 - 2.0 * dots_high, 1.0)
    most = room / max(high - low, LEAST_HEIGHT_MM) / equal
    factor = max((f for f in _FACTORS if f <= most), default=1)
    down = equal * factor
    used = (high - low) * down
    top = dots_high + (room - used) / 2.0 + high * down
    return _Scale(sides[0], across, top, down), factor


def _mark(canvas: Canvas, scale: _Scale, line: HoldLine, report: WingReport) -> None:
    """Mark where the straightedge touches, with the hold's name below."""
    across, down = DOTS[canvas.mode]
    ink = INK_SHOP if line.shops else INK_OTHER
    rests = len(line.held.touches_mm) > 1
    if rests and not line.shops:
        return
    for at in line.held.touches_mm:
        x, y = scale.at(at, report.arc.y_mm(at))
        col, row = round(x / across), round(y / down)
        canvas.text(col, row, "o" if canvas.mode == "ascii" else "●", ink)
        word = "rests" if rests else line.held.hold
        start = min(max(col - len(word) // 2, 0), canvas.width - len(word))
        canvas.text(start, min(row + 1, canvas.height - 1), word, ink)


def _draw_wing(canvas: Canvas, scale: _Scale, report: WingReport, factor: int) -> None:
    """Draw the wing at its angle to the ski, enlarged as all heights are, above the base."""
    lead = 1.0 if report.setup.lead == "out" else -1.0
    shops = next(line for line in report.holds if line.shops)
    slope = math.tan(shops.held.angle_rad + lead * math.radians(shops.reads_deg))
    rise = abs(slope) * scale.down
    room = canvas.dots_high * 0.4
    half = min(WING_MM, max(room / rise if rise else WING_MM, LEAST_WING_MM)) / 2.0
    x, middle = report.setup.place_mm, canvas.dots_high * 0.3
    ends = [(x + k * half, middle - k * half * slope * scale.down) for k in (-1.0, 1.0)]
    (x0, y0), (x1, y1) = [(scale.at(at, 0.0)[0], y) for at, y in ends]
    canvas.line(x0, y0, x1, y1, INK_WING)
    across, down = DOTS[canvas.mode]
    canvas.text(round(x1 / across) + 2, max(round(y1 / down), 0), "wing", INK_WING)


def _caption(report: WingReport, factor: int) -> str:
    enlarged = f"Heights ×{factor}. " if factor > 1 else ""
    shops = next(line for line in report.holds if line.shops)
    if len(shops.held.touches_mm) > 1:
        return f"{enlarged}Solid: the straightedge, on both its ends. Tail left."
    return f"{enlarged}Solid: the shop's, {shops.held.hold}; dashed: the others. Tail left."
