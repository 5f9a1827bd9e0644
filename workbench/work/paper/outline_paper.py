"""A blade's outline at 1:1 on paper, to lay the blade on: one page of PDF."""

from __future__ import annotations

import math
from collections.abc import Callable

from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.frame import Point
from workbench.measure.units import MM_PER_INCH
from workbench.work.paper.pdf_page import MARGIN_MM, STRANGE, Paper, PdfPage

SIZE_PT = 8.0
THIN, EDGE, BAR = 0.12, 0.5, 0.3
"""Widths of lines (mm): the outline, the top and back edge, the lines that check the printer."""

BARS_MM = ((100.0, "100 mm"), (4.0 * MM_PER_INCH, "4 in"))
TICK, NUMBER = 1.5, 0.55
"""Half a tick at a line's end (mm); the height of a point's number, in the page's words."""

APART_MM = 2.2
"""Points nearer to each other than this share one number: the others would lie over it."""

HEAD, FOOT = 14.0, 24.0
_WORDS = (
    "Print at 100 %, not 'fit to page'. Measure both lines, across the paper and up: a printer "
    "that is off by a thousandth is off by 0.007 in over a blade. Bold dashed: top and back edge. "
    "The blade is sharp: hold it by its faces."
)


def outline_pdf(blade: Blade, title: str, how: str, paper: Paper = "a4") -> bytes:
    """Return a blade's outline at 1:1 as a PDF of one page, the longer side across.

    ``how`` says how it was traced. Points carry their numbers as in ``outline``; lines of 100 mm
    across and 4 in up tell whether the page was printed at its size.

    Raises:
        InputError: reportlab is not installed, or a blade larger than the paper.
    """
    page = PdfPage(title, paper, SIZE_PT, landscape=True)
    us, vs = zip(*blade.outline_mm, strict=True)
    wide, high = max(us) - min(us), max(vs) - min(vs)
    room = page.inner - 12.0, page.height - 2.0 * MARGIN_MM - HEAD - FOOT
    if wide > room[0] or high > room[1]:
        size = f"{wide:.0f} x {high:.0f} mm"
        accepted = f"at most {room[0]:.0f} x {room[1]:.0f} mm at 1:1 on this paper; --svg has room"
        raise InputError("blade", size, accepted)
    page.words((MARGIN_MM, MARGIN_MM + 5.0), page.shortened(title, page.inner), strong=True)
    page.words((MARGIN_MM, MARGIN_MM + 10.0), page.shortened(how, page.inner))
    left, top = MARGIN_MM + 12.0 - min(us), MARGIN_MM + HEAD - min(vs)

    def at(p: Point) -> Point:
        return (left + p[0], top + p[1])

    page.path([at(p) for p in blade.outline_mm], THIN, closed=True)
    for edge in (blade.top_edge_mm, blade.back_edge_mm):
        page.path([at(p) for p in edge], EDGE, "#1a4f9c", dashed=True)
    for hole in blade.holes:
        page.circle(at(hole.at_mm), hole.diameter_mm / 2.0, THIN)
        page.words(at(hole.at_mm), hole.name, anchor="middle")
    _numbers(page, blade, at)
    _bars(page)
    if page.strange:
        page.words((MARGIN_MM, page.height - MARGIN_MM), STRANGE, scale=0.8)
    return page.finished()


def _numbers(page: PdfPage, blade: Blade, at: Callable[[Point], Point]) -> None:
    """Mark each point, and number those that have room."""
    last: Point | None = None
    for number, p in enumerate(blade.outline_mm, 1):
        x, y = at(p)
        page.path([(x - 0.4, y), (x + 0.4, y)], 0.15, "#b00020")
        if last is None or math.dist(last, p) >= APART_MM:
            page.words((x + 0.6, y - 0.5), str(number), scale=NUMBER)
            last = p


def _bars(page: PdfPage) -> None:
    """Draw a line of known length across the paper and one up it."""
    foot = page.height - MARGIN_MM - FOOT + 8.0
    (across, said), (up, said_up) = BARS_MM
    x, y = MARGIN_MM + 12.0, foot
    page.rule(x, y, x + across, y, BAR)
    for end in (x, x + across):
        page.rule(end, y - TICK, end, y + TICK, BAR)
    page.words((x, y + 4.5), said)
    page.block(x + across + 6.0, y - 3.0, _WORDS, page.inner - across - 18.0)
    x, y = MARGIN_MM + 3.0, MARGIN_MM + HEAD
    page.rule(x, y, x, y + up, BAR)
    for end in (y, y + up):
        page.rule(x - TICK, end, x + TICK, end, BAR)
    page.words((x - 2.0, y + up + 4.0), said_up)
