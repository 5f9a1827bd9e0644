"""Setting card and day sheet as plain text, at most so many columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from workbench.work.drawing.layout import PLAIN_LEGEND, plain_picture
from workbench.work.paper.cards import Card, CardNumber
from workbench.work.paper.day_sheet import UNREAD, DayRow, DaySheet
from workbench.work.text.safe_text import cells_of, visible

WIDTH = 80
_NARROWEST = 50
LABEL, GLANCE = 10, 14
_RULE = "-"

WIDE_NUMBERS = 70
"""Columns from which the three numbers of a ski stand below their heads."""


def card_text(card: Card, width: int = WIDTH, *, drawing: bool = True) -> str:
    """Return a card as lines of at most ``width`` columns (not below 50).

    ``drawing``: with the side view in ASCII, which says nothing to those who listen.
    """
    width = max(width, _NARROWEST)
    out = [*_head(card, width), "", *_at_a_glance(card, width), ""]
    for label, words in card.facts:
        out += _labelled(label, words, width)
    for number in card.numbers:
        out += ["", *_number(number, width)]
    if drawing:
        out += ["", *plain_picture(card.side, width), "", *_folded(card.side_caption, width)]
        out += _folded(PLAIN_LEGEND, width)
    out += ["", *_folded(card.means, width)] if card.means else []
    out += _listed("Notes", card.notes, "- ", width)
    out += _listed("Take care", card.cautions, "! ", width)
    boxes = [f"{text}. Date __________ initials ____" for text in card.recheck]
    out += _listed("Check again", boxes, "[ ] ", width)
    return "\n".join(line.rstrip() for line in out) + "\n"


def _head(card: Card, width: int) -> list[str]:
    sign = "* " if card.released else "! "
    return [
        _RULE * width,
        *_beside(f"SETTING CARD  {card.ski}", card.when, width),
        *_folded(card.shop, width),
        *_folded(f"{sign}{card.status}", width),
        _RULE * width,
    ]


def _at_a_glance(card: Card, width: int) -> list[str]:
    """Return the setting at the top, a number a line."""
    out = []
    for number in card.numbers:
        name = number.quantity.upper()
        warning = f"  {number.warning}" if number.warning else ""
        words = f"{number.both}{warning}  ({number.method})"
        out += _labelled(name, words, width, GLANCE)
    return out + _labelled("WING", card.wing, width, GLANCE)


def _number(number: CardNumber, width: int) -> list[str]:
    good_to = f"± {number.good_to}" if number.good_to else ""
    out = _beside(f"{number.quantity.upper()}  {number.both}", good_to, width)
    out += _labelled("  method", number.method, width)
    for sentence in (number.where, *number.how[:1]):
        out += _folded(sentence, width, " " * (LABEL + 1))
    for label, words in number.rows:
        out += _labelled(f"  {label}", words, width)
    return out


def _listed(title: str, texts: Iterable[str], sign: str, width: int) -> list[str]:
    lines = [line for text in texts for line in _folded(text, width, sign)]
    return ["", title, *lines] if lines else []


# -- day sheet -------------------------------------------------------------------------------------


def day_text(sheet: DaySheet, width: int = WIDTH) -> str:
    """Return a day sheet as lines of at most ``width`` columns (56 to 80), two or more to a ski."""
    out = [
        *_beside(sheet.title.upper(), sheet.shop, width),
        *_folded(sheet.summary, width),
        _RULE * width,
        _columns(("#", "ski", "rider", "due", "stage", "by"), width),
        *_second(("depth in / mm", "tail in / mm", "length in / mm", "wing", "rounds"), width),
        _RULE * width,
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
        *(_folded(row.said, width, "   ! ") if row.points else ()),
    ]


def _second(cells: Sequence[str], width: int) -> list[str]:
    """Return the numbers of a ski in columns, or one after the other where those are too wide."""
    if width < WIDE_NUMBERS:
        return _folded("  ".join(cells), width, "   ")
    return [f"   {cells[0]:<16} {cells[1]:<16} {cells[2]:<17} {cells[3]:<7} {cells[4]}"]


def _columns(cells: Sequence[str], width: int) -> str:
    """Return the six cells of a ski's first line, each cut to its column."""
    short = max(WIDTH - width, 0)
    rooms = (2, 21 - short // 2, 18 - (short + 1) // 2, 7, 20, 7)
    shown = [visible(text, room) for text, room in zip(cells, rooms, strict=True)]
    padded = [text + " " * (room - cells_of(text)) for text, room in zip(shown, rooms, strict=True)]
    return " ".join(padded)


# -- lines -----------------------------------------------------------------------------------------


def _folded(text: str, width: int, first: str = "") -> list[str]:
    """Return text broken at spaces into lines of at most ``width`` columns."""
    follow = " " * len(first)
    wrap = textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=follow, break_on_hyphens=False
    )
    return [part for line in wrap for part in _split(line, width, follow)] or [first]


def _split(line: str, width: int, follow: str) -> Iterable[str]:
    """Break a line once more where wide letters make it too long."""
    part, used = "", 0
    for char in line:
        wide = cells_of(char)
        if used + wide > width:
            yield part
            part, used = follow, len(follow)
        part, used = part + char, used + wide
    yield part


def _labelled(label: str, words: str, width: int, room: int = LABEL) -> list[str]:
    """Return words with a label to their left."""
    return _folded(words, width, f"{label:<{room}} ")


def _beside(left: str, right: str, width: int) -> list[str]:
    """Return two texts on one line, the second at its end, or on two where that is too narrow."""
    gap = width - cells_of(left) - cells_of(right)
    if gap < 2:
        return [*_folded(left, width), *_folded(right, width)]
    return [left + " " * gap + right]
