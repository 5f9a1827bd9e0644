"""Setting card and day sheet as PDF, A4 or letter: the card on one page, the sheet across it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.frame import Point
from workbench.measure.units import MM_PER_INCH
from workbench.work.drawing.layout import picture_of
from workbench.work.paper.cards import Card, CardNumber, code_rows, has_codes
from workbench.work.paper.day_sheet import HEADS, SHARES, DayRow, DaySheet, pair_words
from workbench.work.paper.pdf_page import MARGIN_MM, STRANGE, Paper, PdfPage

_CARD_SIZES_PT = (8.6, 8.2, 7.8, 7.4, 7.0, 6.6, 6.2, 5.8, 5.4)
"""Heights of the words, tried from the largest until the card fits its page."""

_DRAWN = (60.0, 29.0)
_SIDE = (88.0, 37.0)
GAP = 3.0
_LABEL = 16.0
_SMALL = 0.88
_BOX = 3.4
_CODE = 24.0
"""The side of the QR code, as wide as on the other pages."""

MOST_ACROSS = 4
"""Numbers side by side at the top."""


def card_pdf(card: Card, paper: Paper = "a4") -> bytes:
    """Return a card as a PDF of one page.

    Raises:
        InputError: reportlab is not installed; says how to get it.
    """
    for size in _CARD_SIZES_PT:
        page = PdfPage(card.title, paper, size)
        if _card_laid(page, card) <= page.height - MARGIN_MM:
            break
    return page.finished()


def _card_laid(page: PdfPage, card: Card) -> float:
    """Lay the card out and return where it ends."""
    y = _top(page, card, MARGIN_MM)
    for number in card.numbers:
        y = _number(page, number, y)
    page.rule(MARGIN_MM, y, page.width - MARGIN_MM, y)
    if card.means:
        y = page.block(MARGIN_MM, y + 1.0, card.means, page.inner, scale=_SMALL)
    y = _foot(page, card, y + 1.5)
    return page.block(MARGIN_MM, y, STRANGE, page.inner, scale=_SMALL) if page.strange else y


def _top(page: PdfPage, card: Card, y: float) -> float:
    right = page.width - MARGIN_MM
    page.words((MARGIN_MM, y + 5.0), "Setting card", scale=1.75, strong=True)
    page.words((right, y + 5.0), card.when, anchor="end")
    left = MARGIN_MM + 48.0
    room = right - left - 38.0
    page.words((left, y + 5.0), page.shortened(card.shop, room))
    y += 7.0
    page.rule(MARGIN_MM, y, right, y, 0.5)
    y = _status(page, card, _whose(page, card, y + 1.2))
    y = _glance(page, card, y)
    wide = page.inner - _SIDE[0] - GAP
    end = y
    for label, words in card.more_facts:
        end = _labelled(page, end, label, words, wide)
    page.picture(picture_of(card.side, *_SIDE), right - _SIDE[0], y)
    caption = page.block(right - _SIDE[0], y + _SIDE[1], card.side_caption, _SIDE[0], scale=_SMALL)
    return max(end, caption) + 1.5


def _whose(page: PdfPage, card: Card, y: float) -> float:
    """Write the ski's name large with its rider beside it, or below where there is no room."""
    end = page.block(MARGIN_MM, y, card.ski, page.inner, scale=1.9, strong=True)
    one_line = end < y + 1.5 * 1.9 * page.line
    x = MARGIN_MM + page.measure(page.drawable(card.ski), 1.9, strong=True) + 4.0
    if one_line and x + page.measure(page.drawable(card.rider), 1.2) <= page.width - MARGIN_MM:
        page.words((x, y + 0.78 * 1.9 * page.line), card.rider, scale=1.2)
        return end + 1.0
    return page.block(MARGIN_MM, end, card.rider, page.inner, scale=1.2) + 1.0


def _status(page: PdfPage, card: Card, y: float) -> float:
    """Write whether the ski is released; white on black where it is not."""
    lines = page.folded(card.status, page.inner - 4.0, 1.1, strong=True)
    step = page.line * 1.1
    page.box(MARGIN_MM, y, page.inner, step * len(lines) + 1.6, fill=not card.released)
    colour = "#000000" if card.released else "#ffffff"
    for i, line in enumerate(lines):
        base = y + 0.8 + (i + 0.78) * step
        page.words((MARGIN_MM + 2.0, base), line, scale=1.1, strong=True, colour=colour)
    return y + step * len(lines) + 3.2


def _glance(page: PdfPage, card: Card, y: float) -> float:
    """Write the numbers as they are looked for: name, both units, method; and the wing."""
    angle, how = card.wing_glance
    cells = [
        (n.quantity.capitalize(), *n.in_units(card.unit), n.method, n.warning) for n in card.numbers
    ]
    cells.append(("Wing", angle, "", how, ""))
    across = min(len(cells), MOST_ACROSS)
    wide = page.inner / across
    for row in range(0, len(cells), across):
        ends = []
        for i, (name, first, second, small, warning) in enumerate(cells[row : row + across]):
            x = MARGIN_MM + i * wide
            end = page.block(x, y, name, wide - GAP)
            end = page.block(x, end, first, wide - GAP, scale=1.75, strong=True)
            end = page.block(x, end, second, wide - GAP, scale=1.3) if second else end
            end = page.block(x, end, small, wide - GAP, scale=_SMALL) if small else end
            ends.append(page.block(x, end, warning, wide - GAP, strong=True) if warning else end)
        for i in range(1, across):
            x = MARGIN_MM + i * wide - GAP / 2.0
            page.rule(x, y + 0.5, x, max(ends), 0.2)
        y = max(ends) + 1.0
    page.rule(MARGIN_MM, y, page.width - MARGIN_MM, y, 0.5)
    return y + 1.5


def _labelled(
    page: PdfPage, y: float, label: str, words: str, width: float, strong: bool = False
) -> float:
    x = MARGIN_MM
    page.words((x, y + 0.78 * page.line), label, colour="#333333")
    return page.block(x + _LABEL, y, words, width - _LABEL, strong=strong)


def _number(page: PdfPage, number: CardNumber, y: float) -> float:
    right = page.width - MARGIN_MM
    page.rule(MARGIN_MM, y, right, y)
    y += 1.2
    page.picture(picture_of(number.scene, *_DRAWN, label=number.both), right - _DRAWN[0], y)
    caption = page.block(right - _DRAWN[0], y + _DRAWN[1], number.caption, _DRAWN[0], scale=_SMALL)
    wide = page.inner - _DRAWN[0] - GAP
    head = f"{number.quantity.capitalize()}: {number.both}"
    page.words((MARGIN_MM, y + 0.78 * 1.1 * page.line), head, scale=1.1, strong=True)
    if number.good_to:
        beside = MARGIN_MM + page.measure(f"{head}   ", 1.1, strong=True)
        page.words((beside, y + 0.78 * 1.1 * page.line), f"± {number.good_to}")
    end = y + 1.1 * page.line
    end = _labelled(page, end, "method", number.method, wide)
    for words, scale in ((number.where, 1.0), (" ".join(number.how), _SMALL)):
        end = page.block(MARGIN_MM + _LABEL, end, words, wide - _LABEL, scale=scale)
    for label, words in number.rows:
        end = _labelled(page, end, label, words, wide, strong=label == "result")
    return max(end, caption) + 1.0


def _foot(page: PdfPage, card: Card, y: float) -> float:
    """Write what to mind, what to check again and, where it can be drawn, the QR code beside it."""
    code = code_rows(card.code) if card.code and has_codes() else []
    wide = page.inner - (_CODE + GAP if code else 0.0)
    half = (wide - 5.0) / 2.0
    left = MARGIN_MM
    end = _list(page, left, y, "Take care", card.cautions, half)
    end = max(end, _boxes(page, left + half + 5.0, y, card.recheck, half))
    if code:
        page.code(code, left + page.inner - _CODE, y, _CODE)
        end = max(end, y + _CODE)
    end += 1.0
    return _list(page, left, end, "Notes", card.notes, page.inner) if card.notes else end


def _list(
    page: PdfPage, x: float, y: float, title: str, texts: Iterable[str], width: float
) -> float:
    y = page.block(x, y, title, width, strong=True)
    for text in texts:
        page.words((x, y + 0.78 * page.line), "•")
        y = page.block(x + 3.0, y, text, width - 3.0)
    return y


def _boxes(page: PdfPage, x: float, y: float, texts: Iterable[str], width: float) -> float:
    """Write what is to be ticked, each with its box and room for date and initials."""
    y = page.block(x, y, "Check again", width, strong=True)
    for text in texts:
        page.box(x, y + 0.3, _BOX, _BOX)
        y = page.block(x + _BOX + 1.6, y, text, width - _BOX - 1.6)
        y = page.block(x + _BOX + 1.6, y + 1.0, "date ____________ initials ______", width)
    return y


# -- day sheet -------------------------------------------------------------------------------------


_DAY_SIZES_PT = (8.6, 8.4, 8.0, 7.6, 7.2, 6.8, 6.4, 6.0)
"""Heights of the words, tried from the largest until the day fits one page."""

_PAD = 2.2
"""Room (mm) that stays free between two columns."""
_BOLD_COLUMN = 1


def day_pdf(sheet: DaySheet, paper: Paper = "a4") -> bytes:
    """Return a day sheet as a PDF across the page; more pages only where one cannot hold the day.

    Raises:
        InputError: reportlab is not installed; says how to get it.
    """
    for size in _DAY_SIZES_PT:
        page = PdfPage(sheet.title, paper, size, landscape=True)
        if _day_laid(page, sheet) == 1:
            break
    return page.finished()


def _day_laid(page: PdfPage, sheet: DaySheet) -> int:
    """Lay the day out and return how many pages it takes."""
    count, y = 1, _day_head(page, sheet, 1)
    lowest = page.height - MARGIN_MM - page.line
    for row in sheet.rows:
        cells = [
            [
                line
                for part in text.split("\n")
                for line in page.folded(part, room - _PAD, strong=i == _BOLD_COLUMN)
            ]
            for i, (text, room) in enumerate(zip(_day_cells(row), _day_widths(page), strict=True))
        ]
        high = page.line * max(len(lines) for lines in cells) + 0.8
        if y + high > lowest:
            page.next_page()
            count += 1
            y = _day_head(page, sheet, count)
        _day_row(page, cells, y)
        y += high
        page.rule(MARGIN_MM, y, page.width - MARGIN_MM, y, 0.1)
    if page.strange:
        page.words((MARGIN_MM, page.height - MARGIN_MM), STRANGE, scale=0.9)
    return count


def _day_cells(row: DayRow) -> Sequence[str]:
    """Return the texts of a row's cells."""
    numbers = [pair_words(pair, "\n") for pair in row.numbers]
    return (
        str(row.order), row.ski, row.rider, row.due, row.stage, *numbers, row.wing, row.initials,
        str(row.passes), row.said,
    )  # fmt: skip


def _day_widths(page: PdfPage) -> list[float]:
    return [page.inner * share / sum(SHARES) for share in SHARES]


def _day_head(page: PdfPage, sheet: DaySheet, number: int) -> float:
    right, y = page.width - MARGIN_MM, MARGIN_MM + 5.0
    title = sheet.title if number == 1 else f"{sheet.title}, page {number}"
    page.words((MARGIN_MM, y), title, scale=1.7, strong=True)
    page.words((MARGIN_MM + page.inner * 0.45, y), page.shortened(sheet.shop, 0.25 * page.inner))
    page.words((right, y), sheet.summary, anchor="end")
    y += 2.0
    page.rule(MARGIN_MM, y, right, y, 0.5)
    _day_row(page, [[head] for head in HEADS], y + 0.6, strong=True)
    y += page.line + 1.6
    page.rule(MARGIN_MM, y, right, y, 0.3)
    return y + 0.4


def _day_row(page: PdfPage, cells: Sequence[Sequence[str]], y: float, strong: bool = False) -> None:
    x = MARGIN_MM
    for i, (lines, room) in enumerate(zip(cells, _day_widths(page), strict=True)):
        for k, line in enumerate(lines):
            base = y + (k + 0.85) * page.line
            page.words((x, base), line, strong=strong or i == _BOLD_COLUMN)
        x += room


# -- a blade's outline -----------------------------------------------------------------------------


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
