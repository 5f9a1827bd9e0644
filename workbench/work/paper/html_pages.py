"""Card, label and day sheet as HTML that needs nothing else: style inside, nothing fetched.

Text from people goes through :func:`_said` and stays text; it is in a ``bdi``, so that letters
written from right to left turn nothing beside them around.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from workbench.errors import InputError
from workbench.measure.units import Unit
from workbench.work.drawing.layout import picture_of, svg_inline
from workbench.work.paper.cards import Card, CardNumber, code_svg, has_codes
from workbench.work.paper.day_sheet import HEADS, SHARES, DayRow, DaySheet, pair_words
from workbench.work.text.safe_text import cells_of

POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
"""What a browser may do with the page: show it."""

STYLE = """
* { box-sizing: border-box; }
body { font: 8.6pt/1.25 system-ui, "Segoe UI", "Helvetica Neue", Arial, sans-serif;
  color: #000; background: #fff; margin: 0 auto; padding: 10mm; overflow-wrap: anywhere; }
h1 { font-size: 14pt; margin: 0; white-space: nowrap; }
header div:last-child { white-space: nowrap; }
h2 { font-size: 9.4pt; margin: 0 0 0.6mm; }
p { margin: 0.5mm 0; }
header { display: flex; justify-content: space-between; align-items: baseline; gap: 6mm;
  border-bottom: 0.5mm solid #000; padding-bottom: 1mm; }
ul { margin: 0; padding-left: 5mm; }
svg { width: 100%; height: auto; display: block; }
table { border-collapse: collapse; width: 100%; }
th { white-space: nowrap; overflow-wrap: normal; }
th, td { text-align: left; vertical-align: top; padding: 0.1mm 1.5mm 0.1mm 0; }
.small { font-size: 7.4pt; line-height: 1.2; color: #333; }
@media print { body { padding: 0; width: auto; max-width: none; } }
"""


def _page(title: str, style: str, body: Iterable[str], paper: str = "") -> str:
    """Return a whole page; ``paper`` is what CSS calls the sheet, such as ``A4 landscape``."""
    sheet = f"@page {{ {f'size: {paper}; ' if paper else ''}margin: 10mm; }}"
    return "\n".join(
        (
            "<!doctype html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{escape(title)}</title>",
            f"<style>{STYLE}{style}{sheet}</style>",
            "</head>",
            "<body>",
            *body,
            "</body>",
            "</html>",
            "",
        )
    )


def _said(text: str) -> str:
    """Return text from people as an element of its own."""
    return f"<bdi>{escape(text)}</bdi>"


# -- card ------------------------------------------------------------------------------------------


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

_CARD_STYLE = """
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
    return _page(card.title, _CARD_STYLE + (TIGHT if _is_long(card) else ""), body)


def _is_long(card: Card) -> bool:
    """Tell whether names and notes are so long that only smaller letters keep to one page."""
    texts = (words for _, words in card.facts)
    names = (number.method for number in card.numbers)
    return sum(map(cells_of, (*texts, *names, *card.notes, card.status))) > _MUCH


def _head(card: Card) -> Iterable[str]:
    held = "" if card.released else " held"
    side = svg_inline(picture_of(card.side, *_SIDE), card.side_caption)
    glance = "".join(_glance(number, card.unit) for number in card.numbers)
    facts = "\n".join(_row(label, _said(words)) for label, words in card.more_facts)
    return (
        f"<header><h1>Setting card</h1><div>{_said(card.shop)}</div>"
        f"<div>{_said(card.when)}</div></header>",
        f'<p class="whose">{_said(card.ski)} <span>{_said(card.rider)}</span></p>',
        f'<p class="status{held}">{_said(card.status)}</p>',
        f'<section class="glance">{glance}{_wing(card)}</section>',
        f'<section class="top"><table class="facts">{facts}</table>',
        f'<figure style="margin:0">{side}'
        f'<figcaption class="small">{escape(card.side_caption)}</figcaption></figure></section>',
    )


def _glance(number: CardNumber, unit: Unit) -> str:
    """Return a number as it is looked for: its name, both units, its method, and a warning."""
    first, second = number.in_units(unit)
    warning = f'<span class="warning">{number.warning}</span>' if number.warning else ""
    return (
        f"<div>{escape(number.quantity.capitalize())}<b>{escape(first)}</b>"
        f'<span class="mm">{escape(second)}</span>'
        f'<span class="small">{_said(number.method)}</span>{warning}</div>'
    )


def _wing(card: Card) -> str:
    angle, how = card.wing_glance
    return f'<div>Wing<b>{_said(angle)}</b><span class="small">{_said(how)}</span></div>'


def _row(label: str, cell: str) -> str:
    return f"<tr><th>{escape(label)}</th><td>{cell}</td></tr>"


def _number(number: CardNumber) -> str:
    good_to = f'<span class="good">± {escape(number.good_to)}</span>' if number.good_to else ""
    how = f'<div class="small">{escape(" ".join(number.how))}</div>'
    rows = (
        _row("method", f"{_said(number.method)}<br>{_said(number.where)}{how}"),
        *(
            _row(label, f"<b>{escape(words)}</b>" if label == "result" else escape(words))
            for label, words in number.rows
        ),
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
        f'<div class="code">{code_svg(card.code)}</div>' if card.code and has_codes() else "",
    )


def _items(texts: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{_said(text)}</li>' for text in texts)}</ul>"


# -- label -----------------------------------------------------------------------------------------


_LABEL_STYLE = """
body { max-width: 62mm; padding: 2mm; font-size: 8pt; }
.top { display: grid; grid-template-columns: 1fr 24mm; gap: 2mm; align-items: start; }
h1 { font-size: 12pt; white-space: normal; line-height: 1.1; }
.status { font-weight: bold; border: 0.4mm solid #000; padding: 0.5mm 1mm; margin: 1mm 0; }
.status.held { background: #000; color: #fff; }
table b { font-size: 10.5pt; } td { white-space: nowrap; } td .small { white-space: normal; }
@page { size: 62mm 90mm; margin: 2mm; }
@media print { body { padding: 0; } }
"""


def label_html(card: Card) -> str:
    """Return a card's label as a whole page.

    Raises:
        InputError: segno is not installed; says how to get it.
    """
    if not card.code:
        raise InputError("serial", dict(card.facts)["Serial"], "one that a QR code can hold")
    code = code_svg(card.code)
    held = "" if card.released else " held"
    rows = [
        f"<tr><th>{escape(number.quantity)}</th><td><b>{escape(first)}</b> {escape(second)}"
        f'<div class="small">{_said(number.method)}</div></td></tr>'
        for number in card.numbers
        for first, second in (number.in_units(card.unit),)
    ]
    angle, _ = card.wing_glance
    body = (
        f'<div class="top"><div><h1>{_said(card.ski)}</h1><p>{_said(card.rider)}</p>'
        f"<p>{_said(dict(card.facts)['Serial'])}</p><p>{_said(card.when)}</p></div>{code}</div>",
        f'<p class="status{held}">{_said(card.status)}</p>',
        f"<table>{''.join(rows)}<tr><th>wing</th><td><b>{_said(angle)}</b></td></tr></table>",
        '<p class="small">Look at every clamp bolt before the ride. The makers\' instructions '
        "come first.</p>",
    )
    return _page(f"Label: {card.ski}", _LABEL_STYLE, body)


# -- day sheet -------------------------------------------------------------------------------------


_DAY_STYLE = """
body { max-width: 297mm; }
th { border-bottom: 0.4mm solid #000; }
td { border-bottom: 0.15mm solid #888; padding-top: 0.6mm; }
.n { white-space: nowrap; font-variant-numeric: tabular-nums; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
"""


def day_html(sheet: DaySheet) -> str:
    """Return a day sheet as a whole page, to be printed across."""
    heads = "".join(f"<th>{escape(head)}</th>" for head in HEADS)
    columns = "".join(f'<col style="width:{100 * s / sum(SHARES):.1f}%">' for s in SHARES)
    body = (
        f"<header><h1>{escape(sheet.title)}</h1><div>{_said(sheet.shop)}</div>"
        f"<div>{escape(sheet.summary)}</div></header>",
        f"<table><colgroup>{columns}</colgroup><thead><tr>{heads}</tr></thead><tbody>",
        *(_row_html(row) for row in sheet.rows),
        "</tbody></table>",
    )
    return _page(sheet.title, _DAY_STYLE, body, paper="landscape")


def _row_html(row: DayRow) -> str:
    plain = "".join(f'<td class="n">{pair_words(pair, "<br>")}</td>' for pair in row.numbers)
    return (
        f"<tr><td>{row.order}</td><td><b>{_said(row.ski)}</b></td><td>{_said(row.rider)}</td>"
        f"<td>{_said(row.due)}</td><td>{escape(row.glyph)} {escape(row.stage)}</td>{plain}"
        f"<td>{escape(row.wing)}</td><td>{_said(row.initials)}</td><td>{row.passes}</td>"
        f"<td>{_said(row.said)}</td></tr>"
    )
