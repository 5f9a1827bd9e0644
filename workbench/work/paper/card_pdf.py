"""A setting card as one page of PDF, A4 or letter."""

from __future__ import annotations

from collections.abc import Iterable

from workbench.work.drawing.layout import picture_of
from workbench.work.paper.cards import Card, Number
from workbench.work.paper.html_page import Paper
from workbench.work.paper.pdf_page import MARGIN_MM, STRANGE, PdfPage

_SIZES_PT = (8.6, 8.2, 7.8, 7.4, 7.0, 6.6, 6.2, 5.8, 5.4)
"""Heights of the words, tried from the largest until the card fits its page."""

_DRAWN = (60.0, 29.0)
_SIDE = (88.0, 37.0)
GAP = 3.0
_LABEL = 16.0
_SMALL = 0.88
_BOX = 3.4
MOST_ACROSS = 4
"""Numbers side by side at the top."""


def card_pdf(card: Card, paper: Paper = "a4") -> bytes:
    """Return a card as a PDF of one page.

    Raises:
        InputError: reportlab is not installed; says how to get it.
    """
    for size in _SIZES_PT:
        page = PdfPage(card.title, paper, size)
        if _laid(page, card) <= page.height - MARGIN_MM:
            break
    return page.finished()


def _laid(page: PdfPage, card: Card) -> float:
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
    page.words(MARGIN_MM, y + 5.0, "Setting card", scale=1.75, strong=True)
    page.words(right, y + 5.0, card.when, anchor="end")
    left = MARGIN_MM + 48.0
    room = right - left - 38.0
    page.words(left, y + 5.0, page.shortened(card.shop, room))
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
        page.words(x, y + 0.78 * 1.9 * page.line, card.rider, scale=1.2)
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
        page.words(MARGIN_MM + 2.0, base, line, scale=1.1, strong=True, colour=colour)
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
    page.words(x, y + 0.78 * page.line, label, colour="#333333")
    return page.block(x + _LABEL, y, words, width - _LABEL, strong=strong)


def _number(page: PdfPage, number: Number, y: float) -> float:
    right = page.width - MARGIN_MM
    page.rule(MARGIN_MM, y, right, y)
    y += 1.2
    page.picture(picture_of(number.scene, *_DRAWN, label=number.both), right - _DRAWN[0], y)
    caption = page.block(right - _DRAWN[0], y + _DRAWN[1], number.caption, _DRAWN[0], scale=_SMALL)
    wide = page.inner - _DRAWN[0] - GAP
    head = f"{number.quantity.capitalize()}: {number.both}"
    page.words(MARGIN_MM, y + 0.78 * 1.1 * page.line, head, scale=1.1, strong=True)
    if number.good_to:
        beside = MARGIN_MM + page.measure(f"{head}   ", 1.1, strong=True)
        page.words(beside, y + 0.78 * 1.1 * page.line, f"± {number.good_to}")
    end = y + 1.1 * page.line
    end = _labelled(page, end, "method", number.method, wide)
    for words, scale in ((number.where, 1.0), (" ".join(number.how), _SMALL)):
        end = page.block(MARGIN_MM + _LABEL, end, words, wide - _LABEL, scale=scale)
    end = _labelled(page, end, "target", number.target, wide)
    end = _labelled(page, end, "result", number.result, wide, strong=True)
    end = _labelled(page, end, "received", number.came_in, wide)
    return max(end, caption) + 1.0


def _foot(page: PdfPage, card: Card, y: float) -> float:
    half = (page.inner - 5.0) / 2.0
    left, right = MARGIN_MM, MARGIN_MM + half + 5.0
    end = _list(page, left, y, "Take care", card.cautions, half)
    other = _boxes(page, right, y, card.recheck, half)
    end = max(end, other) + 1.0
    return _list(page, left, end, "Notes", card.notes, page.inner) if card.notes else end


def _list(
    page: PdfPage, x: float, y: float, title: str, texts: Iterable[str], width: float
) -> float:
    y = page.block(x, y, title, width, strong=True)
    for text in texts:
        page.words(x, y + 0.78 * page.line, "•")
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
