"""A day sheet as plain text, HTML and PDF."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from workbench.work.paper.card_text import (
    RULE,
    WIDTH,
    beside,
    folded,
)
from workbench.work.paper.day_sheet import UNREAD, DayRow, DaySheet
from workbench.work.paper.html_page import Paper, page, said
from workbench.work.paper.pdf_page import MARGIN_MM, STRANGE, PdfPage
from workbench.work.text.safe_text import cells_of, visible

HEADS = (
    "#", "ski", "rider", "due", "stage", "depth", "tail distance", "length", "wing", "by",
    "rounds", "open points",
)  # fmt: skip
SHARES = (2.0, 8.9, 7.2, 4.2, 8.3, 5.4, 6.8, 5.6, 3.2, 3.4, 4.2, 9.8)
"""How the width of a page is shared among the columns of :data:`HEADS`."""

_SIZES_PT = (8.6, 8.4, 8.0, 7.6, 7.2, 6.8, 6.4, 6.0)
"""Heights of the words, tried from the largest until the day fits one page."""

WIDE_NUMBERS = 70
"""Columns from which the three numbers of a ski stand below their heads."""

_PAD = 2.2
"""Room (mm) that stays free between two columns."""
BOLD_COLUMN = 1

_STYLE = """
body { max-width: 297mm; }
th { border-bottom: 0.4mm solid #000; }
td { border-bottom: 0.15mm solid #888; padding-top: 0.6mm; }
.n { white-space: nowrap; font-variant-numeric: tabular-nums; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
"""


def day_text(sheet: DaySheet, width: int = WIDTH) -> str:
    """Return a day sheet as lines of at most ``width`` columns (56 to 80), two or more to a ski."""
    out = [
        *beside(sheet.title.upper(), sheet.shop, width),
        *folded(sheet.summary, width),
        RULE * width,
        _columns(("#", "ski", "rider", "due", "stage", "by"), width),
        *_second(("depth in / mm", "tail in / mm", "length in / mm", "wing", "rounds"), width),
        RULE * width,
    ]
    for row in sheet.rows:
        out += _row_text(row, width)
    return "\n".join(line.rstrip() for line in out) + "\n"


def _row_text(row: DayRow, width: int) -> list[str]:
    stage = f"{row.glyph} {row.stage}"
    first = (str(row.order), row.ski, row.rider, row.due, stage, row.initials)
    pairs = [inch if inch == UNREAD else f"{inch} / {mm}" for inch, mm in row.numbers]
    return [
        _columns(first, width),
        *_second((*pairs, row.wing, str(row.passes)), width),
        *(folded(row.said, width, "   ! ") if row.points else ()),
    ]


def _second(cells: Sequence[str], width: int) -> list[str]:
    """Return the numbers of a ski in columns, or one after the other where those are too wide."""
    if width < WIDE_NUMBERS:
        return folded("  ".join(cells), width, "   ")
    return [f"   {cells[0]:<16} {cells[1]:<16} {cells[2]:<17} {cells[3]:<7} {cells[4]}"]


def _columns(cells: Sequence[str], width: int) -> str:
    """Return the six cells of a ski's first line, each cut to its column."""
    short = max(WIDTH - width, 0)
    rooms = (2, 21 - short // 2, 18 - (short + 1) // 2, 7, 20, 7)
    shown = [visible(text, room) for text, room in zip(cells, rooms, strict=True)]
    padded = [text + " " * (room - cells_of(text)) for text, room in zip(shown, rooms, strict=True)]
    return " ".join(padded)


def _pair(pair: tuple[str, str], gap: str) -> str:
    inch, mm = pair
    return UNREAD if inch == UNREAD else f"{inch} in{gap}{mm} mm"


def day_html(sheet: DaySheet) -> str:
    """Return a day sheet as a whole page, to be printed across."""
    heads = "".join(f"<th>{escape(head)}</th>" for head in HEADS)
    columns = "".join(f'<col style="width:{100 * s / sum(SHARES):.1f}%">' for s in SHARES)
    body = (
        f"<header><h1>{escape(sheet.title)}</h1><div>{said(sheet.shop)}</div>"
        f"<div>{escape(sheet.summary)}</div></header>",
        f"<table><colgroup>{columns}</colgroup><thead><tr>{heads}</tr></thead><tbody>",
        *(_row_html(row) for row in sheet.rows),
        "</tbody></table>",
    )
    return page(sheet.title, _STYLE, body, paper="landscape")


def _row_html(row: DayRow) -> str:
    plain = "".join(f'<td class="n">{_pair(pair, "<br>")}</td>' for pair in row.numbers)
    return (
        f"<tr><td>{row.order}</td><td><b>{said(row.ski)}</b></td><td>{said(row.rider)}</td>"
        f"<td>{said(row.due)}</td><td>{escape(row.glyph)} {escape(row.stage)}</td>{plain}"
        f"<td>{escape(row.wing)}</td><td>{said(row.initials)}</td><td>{row.passes}</td>"
        f"<td>{said(row.said)}</td></tr>"
    )


def day_pdf(sheet: DaySheet, paper: Paper = "a4") -> bytes:
    """Return a day sheet as a PDF across the page; more pages only where one cannot hold the day.

    Raises:
        InputError: reportlab is not installed; says how to get it.
    """
    for size in _SIZES_PT:
        page_ = PdfPage(sheet.title, paper, size, landscape=True)
        if _laid(page_, sheet) == 1:
            break
    return page_.finished()


def _laid(page_: PdfPage, sheet: DaySheet) -> int:
    """Lay the day out and return how many pages it takes."""
    count, y = 1, _head_pdf(page_, sheet, 1)
    lowest = page_.height - MARGIN_MM - page_.line
    for row in sheet.rows:
        cells = [
            [
                line
                for part in text.split("\n")
                for line in page_.folded(part, room - _PAD, strong=i == BOLD_COLUMN)
            ]
            for i, (text, room) in enumerate(_cells(page_, row))
        ]
        high = page_.line * max(len(lines) for lines in cells) + 0.8
        if y + high > lowest:
            page_.next_page()
            count += 1
            y = _head_pdf(page_, sheet, count)
        _row_pdf(page_, cells, y)
        y += high
        page_.rule(MARGIN_MM, y, page_.width - MARGIN_MM, y, 0.1)
    if page_.strange:
        page_.words(MARGIN_MM, page_.height - MARGIN_MM, STRANGE, scale=0.9)
    return count


def _cells(page_: PdfPage, row: DayRow) -> list[tuple[str, float]]:
    """Return the texts of a row's cells with the widths of their columns."""
    numbers = [_pair(pair, "\n") for pair in row.numbers]
    texts = (
        str(row.order), row.ski, row.rider, row.due, row.stage, *numbers, row.wing, row.initials,
        str(row.passes), row.said,
    )  # fmt: skip
    return list(zip(texts, _widths(page_), strict=True))


def _widths(page_: PdfPage) -> list[float]:
    return [page_.inner * share / sum(SHARES) for share in SHARES]


def _head_pdf(page_: PdfPage, sheet: DaySheet, number: int) -> float:
    right, y = page_.width - MARGIN_MM, MARGIN_MM + 5.0
    title = sheet.title if number == 1 else f"{sheet.title}, page {number}"
    page_.words(MARGIN_MM, y, title, scale=1.7, strong=True)
    page_.words(MARGIN_MM + page_.inner * 0.45, y, page_.shortened(sheet.shop, 0.25 * page_.inner))
    page_.words(right, y, sheet.summary, anchor="end")
    y += 2.0
    page_.rule(MARGIN_MM, y, right, y, 0.5)
    _row_pdf(page_, [[head] for head in HEADS], y + 0.6, strong=True)
    y += page_.line + 1.6
    page_.rule(MARGIN_MM, y, right, y, 0.3)
    return y + 0.4


def _row_pdf(
    page_: PdfPage, cells: Sequence[Sequence[str]], y: float, strong: bool = False
) -> None:
    x = MARGIN_MM
    for i, (lines, room) in enumerate(zip(cells, _widths(page_), strict=True)):
        for k, line in enumerate(lines):
            base = y + (k + 0.85) * page_.line
            page_.words(x, base, line, strong=strong or i == BOLD_COLUMN)
        x += room
