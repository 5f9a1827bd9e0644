"""A setting card as plain text, at most so many columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from workbench.work.drawing.layout import PLAIN_LEGEND, plain_picture
from workbench.work.paper.cards import Card, Number
from workbench.work.text.safe_text import cells_of

WIDTH = 80
_NARROWEST = 50
LABEL, GLANCE = 10, 14
RULE = "-"


def card_text(card: Card, width: int = WIDTH, *, drawing: bool = True) -> str:
    """Return a card as lines of at most ``width`` columns (not below 50).

    ``drawing``: with the side view in ASCII, which says nothing to those who listen.
    """
    width = max(width, _NARROWEST)
    out = [*_head(card, width), "", *_at_a_glance(card, width), ""]
    for label, words in card.facts:
        out += labelled(label, words, width)
    for number in card.numbers:
        out += ["", *_number(number, width)]
    if drawing:
        out += ["", *plain_picture(card.side, width), "", *folded(card.side_caption, width)]
        out += folded(PLAIN_LEGEND, width)
    out += ["", *folded(card.means, width)] if card.means else []
    out += _listed("Notes", card.notes, "- ", width)
    out += _listed("Take care", card.cautions, "! ", width)
    boxes = [f"{text}. Date __________ initials ____" for text in card.recheck]
    out += _listed("Check again", boxes, "[ ] ", width)
    return "\n".join(line.rstrip() for line in out) + "\n"


def folded(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    """Return text broken at spaces into lines of at most ``width`` columns."""
    follow = " " * len(first) if rest is None else rest
    wrap = textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=follow, break_on_hyphens=False
    )
    return [part for line in wrap for part in _split(line, width, follow)] or [first]


def _split(line: str, width: int, follow: str) -> Iterable[str]:
    """Break a line once more where wide letters make it too long."""
    room = width
    part, used = "", 0
    for char in line:
        wide = cells_of(char)
        if used + wide > room:
            yield part
            part, used = follow, len(follow)
        part, used = part + char, used + wide
    yield part


def labelled(label: str, words: str, width: int, room: int = LABEL) -> list[str]:
    """Return words with a label to their left."""
    return folded(words, width, f"{label:<{room}} ")


def beside(left: str, right: str, width: int) -> list[str]:
    """Return two texts on one line, the second at its end, or on two where that is too narrow."""
    gap = width - cells_of(left) - cells_of(right)
    return [left + " " * gap + right] if gap >= 2 else [*folded(left, width), *folded(right, width)]


def _head(card: Card, width: int) -> list[str]:
    sign = "* " if card.released else "! "
    return [
        RULE * width,
        *beside(f"SETTING CARD  {card.ski}", card.when, width),
        *folded(card.shop, width),
        *folded(f"{sign}{card.status}", width),
        RULE * width,
    ]


def _at_a_glance(card: Card, width: int) -> list[str]:
    """Return the setting at the top, a number a line."""
    out = []
    for number in card.numbers:
        name = number.quantity.upper()
        warning = f"  {number.warning}" if number.warning else ""
        words = f"{number.both}{warning}  ({number.method})"
        out += labelled(name, words, width, GLANCE)
    return out + labelled("WING", card.wing, width, GLANCE)


def _number(number: Number, width: int) -> list[str]:
    out = beside(f"{number.quantity.upper()}  {number.both}", _good_to(number), width)
    out += labelled("  method", number.method, width)
    for sentence in (number.where, *number.how[:1]):
        out += folded(sentence, width, " " * (LABEL + 1))
    out += labelled("  target", number.target, width)
    out += labelled("  result", number.result, width)
    out += labelled("  received", number.came_in, width)
    return out


def _good_to(number: Number) -> str:
    return f"± {number.good_to}" if number.good_to else ""


def _listed(title: str, texts: Iterable[str], sign: str, width: int) -> list[str]:
    lines = [line for text in texts for line in folded(text, width, sign)]
    return ["", title, *lines] if lines else []
