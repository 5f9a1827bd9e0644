"""The wing: its angle and gauge, the base's curve, and what each hold of the straightedge reads."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from textual.content import Content
from textual.widgets import Static

from workbench.bench.bases.forms import Form
from workbench.bench.bases.lists import UnitList, told
from workbench.bench.draw.canvas import CELL_ASPECT, DOTS, XY, Canvas, Mode
from workbench.bench.draw.text import paragraph, paragraphs, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.bench.panels.turns_panel import steps_lines, steps_short
from workbench.errors import BenchError, InputError
from workbench.measure.display import degrees_text, length_text
from workbench.measure.units import Unit
from workbench.records.store.rows import CurveKind
from workbench.work.job import base_curve
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text import wing_report
from workbench.work.job_text.wing_report import HoldLine, WingReport
from workbench.work.text.fields import Field, Texts
from workbench.work.trust.wing_setup import (
    STRAIGHTEDGE,
    WingSetup,
    change_hold,
    change_setup,
    wing_setup,
)

_LEAST_DRAWN = 4
"""Rows below which a drawing says nothing."""

_MOST_DRAWN = 16

_ROOMY = 22
"""Rows of the list from which every sentence has its line."""


class WingScreen(UnitList[wing_report.HoldLine]):
    """The three holds, the shop's own marked; curve, gauge set and drawing around them."""

    TITLE_WORDS = "Wing"
    KEYS = (
        "↑ ↓ choose · + the shop's hold · c curve by feeler · d by three depths · "
        "b as the ski's base · x strikes out · s gauges · * in/mm · Esc closes"
    )

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(shop, state)
        self._mode: Mode = state.drawing
        self._report: wing_report.WingReport | None = None
        self._why = ""
        self._load()
        if self._report is not None:
            self.at = next(i for i, x in enumerate(self._report.holds) if x.shops)

    def _load(self) -> None:
        try:
            self._report, self._why = wing_report.wing_report(self.shop, self.view), ""
        except BenchError as why:
            self._report, self._why = None, str(why)
        self.items = self._report.holds if self._report is not None else ()

    # -- what is shown ---------------------------------------------------------------------------

    def head(self, width: int) -> Sequence[Content]:
        """The wing's angle and gauge, and the base."""
        report = self._report
        if report is None:
            return paragraph(self._why, width, "bold $state-caution")
        out = told(width, "wing", wing_text(report), "bold")
        if report.has_wing:
            out += told(width, "gauge", wing_report.gauge_words(report))
        out += told(width, "base", wing_report.curve_words(report, self.unit))
        if report.curve is not None and not report.curve_in_use:
            out += told(width, "", "! not the ski's base yet: b makes it so", "$state-caution")
        out += told(width, "read by", setup_text(report.setup, self.unit), "$ink-faint")
        head = f"  {'held at':<8} {'touches':>17} {'reference':>10} {'reads':>8} {'against':>8}  u"
        return [*out, styled((visible(head, width), "bold $accent"))]

    def row(self, line: wing_report.HoldLine, here: bool, width: int) -> Content:
        """A hold of the straightedge."""
        has_wing = self._report is not None and self._report.has_wing
        at = "·".join(length_text(x, self.unit) for x in line.held.touches_mm)
        reads = f"{line.reads_deg:.2f}°" if has_wing else "—"
        against = "shop's" if line.shops else degrees_text(line.off_deg) if has_wing else "—"
        u = "" if line.u_deg is None or line.shops else f"{line.u_deg:.2f}°"
        mark = "▸" if here else " "
        shops = "●" if line.shops else " "
        reference = degrees_text(math.degrees(line.held.angle_rad))
        text = (
            f"{mark}{shops}{line.held.hold:<8} {at:>17} {reference:>10} {reads:>8} "
            f"{against:>8}  {u}"
        )
        return styled((visible(text, width), "bold" if here else ""))

    def foot(self, width: int) -> Sequence[Content]:
        """What that means, the screws' order, and the drawing in what room is left."""
        report = self._report
        if report is None:
            return ()
        room = self.query_one("#list", Static).size.height
        told_here = wing_report.elsewhere_words(report) if report.has_wing else ()
        told_here = told_here if room >= _ROOMY else told_here[:1]
        words = paragraphs(told_here, width)
        steps = []
        if report.has_wing:
            steps = steps_lines(width) if room >= _ROOMY else steps_short(width)
        used = len(self.head(width)) + len(report.holds) + len(words) + len(steps)
        picture = self._picture(report, width, room - used)
        return [*words, *picture, *steps]

    def _picture(self, report: wing_report.WingReport, width: int, height: int) -> list[Content]:
        caption = wrapped(wing_picture(report, 1, 1, self._mode).caption, width)
        room = min(height - len(caption), _MOST_DRAWN)
        if room < _LEAST_DRAWN:
            return []
        drawn = wing_picture(report, width, room, self._mode)
        return [*drawn.canvas.contents(), *paragraph(drawn.caption, width, "$ink-faint")]

    # -- what is done ----------------------------------------------------------------------------

    def plus(self) -> None:
        """Make the marked hold the shop's own."""
        if self._report is None:
            return
        hold = self._report.holds[self.at].held.hold
        change_hold(self.shop.book, hold, self.shop.who)
        self._load()
        self.say(f"from now on this shop holds its straightedge at the {hold}", "done")

    def acts(self) -> dict[str, Callable[[], None]]:
        """Measure the curve, use it, strike it out, or name gauges and straightedge."""
        shop, view, unit = self.shop, self.view, self.unit
        return {
            "c": lambda: self.ask(curve_form(shop, view, "sagitta", unit), self._kept),
            "d": lambda: self.ask(curve_form(shop, view, "three depths", unit), self._kept),
            "b": self._use_curve,
            "s": lambda: self.ask(setup_form(shop, unit), self._kept),
            "x": self._strike,
        }

    def _use_curve(self) -> None:
        self.view = base_curve.use_curve(self.shop, self.view)
        self._load()
        words = "the measured curve is the ski's base now; every reading is worked out anew"
        self.say(words, "done")

    def _strike(self) -> None:
        curve = self._report.curve if self._report is not None else None
        if curve is None:
            raise InputError("curve", "(none)", "a curve that was measured")

        self._ask_why(
            "Strike out the curve measured last",
            lambda why: base_curve.strike_curve(self.shop, curve, why),
        )


# -- what it says ------------------------------------------------------------------------------


def wing_text(report: wing_report.WingReport) -> str:
    """Return the wing's angle now and the one wanted."""
    if not report.has_wing:
        return wing_report.NO_WING
    now = wing_report.when_words(report.setting) if report.setting is not None else "not set yet"
    if report.setting is not None and not report.setting.hold:
        now += "; taken as the shop's"
    wanted = ""
    if report.target_deg is not None:
        wanted = f"{report.target_deg:g}° {report.target_from}".rstrip()
    example = f"; below: {report.angle_deg:g}°, {report.angle_from}" if not report.setting else ""
    return f"{now}{f'; wanted {wanted}' if wanted else ''}{example}"


def setup_text(setup: WingSetup, unit: Unit) -> str:
    """Return how the shop reads a wing."""
    step = "0.01" if unit == "in" else "0.1"
    length, place = (length_text(x, unit, step) for x in (setup.straightedge_mm, setup.place_mm))
    assumed = " (assumed)" if STRAIGHTEDGE in setup.assumed else ""
    return (
        f"straightedge {length}, over the wing at {place} {unit}; "
        f"leading edge {setup.lead}{assumed}"
    )


# -- forms -------------------------------------------------------------------------------------


def curve_form(shop: Shop, view: JobView, kind: CurveKind, unit: Unit) -> Form:
    """Return the form that keeps a measurement of the base."""
    title = "The base's curve by feeler" if kind == "sagitta" else "The base's curve by depths"
    fields = base_curve.FIELDS[kind]
    lengths = {f.key: f" ({unit})" for f in fields if f.key != "shape"}

    def keep(texts: Texts) -> base_curve.KeptCurve:
        return base_curve.keep_curve(shop, view, kind, texts, unit)

    return Form(title, fields, keep, more=lengths)


def setup_form(shop: Shop, unit: Unit) -> Form:
    """Return the form that names gauges, hold and straightedge."""
    now = wing_setup(shop.book)
    shown = {x: length_text(v, unit) for x, v in (
        ("straightedge", now.straightedge_mm), ("place", now.place_mm))}  # fmt: skip
    gauges = " ".join(f"{g:g}" for g in now.gauges)
    fields = (
        Field("gauges", "Gauges", "the angles that the shop has: 7 7.5 8", "ANGLES", "none"),
        Field("hold", "Held at", "front, middle or rear end of the straightedge", "HOLD"),
        Field("straightedge", "Straightedge", f"its length ({unit})", "LENGTH"),
        Field("place", "Wing at", f"from the tail end to the wing ({unit})", "PLACE"),
        Field("lead", "Leading edge", "out or in: further out of the base or nearer to it", "WAY"),
    )
    return Form(
        "Gauges and straightedge",
        fields,
        lambda texts: change_setup(shop.book, texts, unit, shop.who),
        now={**shown, "gauges": gauges, "hold": now.hold, "lead": now.lead},
    )


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
