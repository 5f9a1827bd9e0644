"""A setting card as one page of HTML with its drawings inside."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from workbench.measure.units import Unit
from workbench.work.drawing.layout import picture_of, svg_inline
from workbench.work.paper.cards import Card, Number
from workbench.work.paper.html_page import page, said
from workbench.work.paper.label import code_svg, has_codes
from workbench.work.text.safe_text import cells_of

_DRAWN = (60.0, 29.0)
"""Width and height of a number's drawing, in its own units (mm on the page where there is room)."""

_SIDE = (92.0, 37.0)

_MUCH = 500
"""Columns of names and notes beyond which the page is set in smaller letters."""

TIGHT = """
body { font-size: 7.4pt; } .small { font-size: 6.6pt; } h2 { font-size: 8.4pt; }
.whose { font-size: 12pt; } .whose span { font-size: 9pt; }
.number svg { max-height: 24mm; } .top svg { max-height: 30mm; }
"""
"""Smaller letters and drawings; the numbers at a glance stay as large as they are."""

_STYLE = """
body { max-width: 190mm; }
.whose { font-size: 15pt; font-weight: bold; margin: 1.2mm 0 0.6mm; line-height: 1.1; }
.whose span { font-size: 10.5pt; font-weight: normal; margin-left: 3mm; }
.status { font-weight: bold; padding: 0.8mm 2mm; margin: 1mm 0; border: 0.4mm solid #000; }
.glance { display: grid; grid-template-columns: repeat(auto-fit, minmax(40mm, 1fr));
  border-bottom: 0.5mm solid #000; margin-bottom: 1.5mm; }
.glance div { padding: 0.6mm 2mm 1mm; border-left: 0.25mm solid #000; }
.glance div:first-child { border-left: none; padding-left: 0; }
.glance b { display: block; font-size: 15pt; line-height: 1.15; white-space: nowrap; }
.glance .warning { display: block; font-weight: bold; }
.glance .mm { display: block; font-size: 11pt; }
.status.held { background: #000; color: #fff; }
.top { display: grid; grid-template-columns: 1fr 92mm; gap: 4mm; margin-bottom: 1mm;
  align-items: start; }
.facts th { width: 17mm; font-weight: normal; color: #333; }
.number { display: grid; grid-template-columns: 1fr 60mm; gap: 3mm; break-inside: avoid;
  border-top: 0.25mm solid #000; padding: 0.8mm 0; }
.number h2 .good { font-weight: normal; white-space: nowrap; }
.number th { width: 14mm; font-weight: normal; color: #333; }
.foot { display: grid; grid-template-columns: 1fr 1fr; gap: 5mm; border-top: 0.25mm solid #000;
  padding-top: 1.2mm; }
.boxes { list-style: none; padding-left: 0; }
.boxes li { padding-left: 6mm; text-indent: -6mm; margin-bottom: 0.6mm; }
.box { display: inline-block; width: 3.6mm; height: 3.6mm; border: 0.35mm solid #000;
  vertical-align: -0.6mm; margin-right: 2.4mm; text-indent: 0; }
.code { width: 24mm; }
.sign { color: #333; white-space: nowrap; }
@media screen and (max-width: 170mm) { .top, .number, .foot { grid-template-columns: 1fr; } }
"""


def card_html(card: Card) -> str:
    """Return a card as a whole page, to be looked at or printed on A4 or letter."""
    body = (*_head(card), *map(_number, card.numbers), *_foot(card))
    return page(card.title, _STYLE + (TIGHT if _is_long(card) else ""), body)


def _is_long(card: Card) -> bool:
    """Tell whether names and notes are so long that only smaller letters keep to one page."""
    texts = (words for _, words in card.facts)
    names = (number.method for number in card.numbers)
    return sum(map(cells_of, (*texts, *names, *card.notes, card.status))) > _MUCH


def _head(card: Card) -> Iterable[str]:
    held = "" if card.released else " held"
    side = svg_inline(picture_of(card.side, *_SIDE), card.side_caption)
    glance = "".join(_glance(number, card.unit) for number in card.numbers)
    facts = "\n".join(_row(label, said(words)) for label, words in card.more_facts)
    return (
        f"<header><h1>Setting card</h1><div>{said(card.shop)}</div>"
        f"<div>{said(card.when)}</div></header>",
        f'<p class="whose">{said(card.ski)} <span>{said(card.rider)}</span></p>',
        f'<p class="status{held}">{said(card.status)}</p>',
        f'<section class="glance">{glance}{_wing(card)}</section>',
        f'<section class="top"><table class="facts">{facts}</table>',
        f'<figure style="margin:0">{side}'
        f'<figcaption class="small">{escape(card.side_caption)}</figcaption></figure></section>',
    )


def _glance(number: Number, unit: Unit) -> str:
    """Return a number as it is looked for: its name, both units, its method, and a warning."""
    first, second = number.in_units(unit)
    warning = f'<span class="warning">{number.warning}</span>' if number.warning else ""
    return (
        f"<div>{escape(number.quantity.capitalize())}<b>{escape(first)}</b>"
        f'<span class="mm">{escape(second)}</span>'
        f'<span class="small">{said(number.method)}</span>{warning}</div>'
    )


def _wing(card: Card) -> str:
    angle, how = card.wing_glance
    return f'<div>Wing<b>{said(angle)}</b><span class="small">{said(how)}</span></div>'


def _row(label: str, cell: str) -> str:
    return f"<tr><th>{escape(label)}</th><td>{cell}</td></tr>"


def _number(number: Number) -> str:
    good_to = f'<span class="good">± {escape(number.good_to)}</span>' if number.good_to else ""
    how = f'<div class="small">{escape(" ".join(number.how))}</div>'
    rows = (
        _row("method", f"{said(number.method)}<br>{said(number.where)}{how}"),
        _row("target", escape(number.target)),
        _row("result", f"<b>{escape(number.result)}</b>"),
        _row("received", escape(number.came_in)),
    )
    drawing = svg_inline(picture_of(number.scene, *_DRAWN, label=number.both), number.caption)
    return (
        f'<section class="number"><div><h2>{escape(number.quantity.capitalize())}: '
        f"{escape(number.both)} {good_to}</h2>"
        f"<table>{''.join(rows)}</table></div>"
        f'<figure style="margin:0">{drawing}'
        f'<figcaption class="small">{escape(number.caption)}</figcaption></figure></section>'
    )


def _foot(card: Card) -> Iterable[str]:
    notes = f"<h2>Notes</h2>{_items(card.notes)}" if card.notes else ""
    boxes = "".join(
        f'<li><span class="box"></span>{escape(text)} '
        '<span class="sign">date ________ initials ______</span></li>'
        for text in card.recheck
    )
    return (
        f'<p class="small">{escape(card.means)}</p>',
        f'<section class="foot"><div><h2>Take care</h2>{_items(card.cautions)}</div>',
        f'<div><h2>Check again</h2><ul class="boxes">{boxes}</ul></div></section>',
        f"<section>{notes}</section>",
        f'<div class="code">{code_svg(card.code, "QR code of the setting")}</div>'
        if card.code and has_codes()
        else "",
    )


def _items(texts: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{said(text)}</li>' for text in texts)}</ul>"
