"""A label for a ski: its setting and a QR code of it, on a page 62 mm wide."""

from __future__ import annotations

from html import escape
from importlib import import_module
from importlib.util import find_spec

from workbench.errors import InputError
from workbench.work.paper.cards import Card
from workbench.work.paper.html_page import page, said

WIDTH_MM = 62.0
"""The width of a common endless roll of labels."""

EXTRA = "segno, which is not installed: pip install '.[qr]'"

_STYLE = """
body { max-width: 62mm; padding: 2mm; font-size: 8pt; }
.top { display: grid; grid-template-columns: 1fr 24mm; gap: 2mm; align-items: start; }
h1 { font-size: 12pt; white-space: normal; line-height: 1.1; }
.status { font-weight: bold; border: 0.4mm solid #000; padding: 0.5mm 1mm; margin: 1mm 0; }
.status.held { background: #000; color: #fff; }
table b { font-size: 10.5pt; } td { white-space: nowrap; } td .small { white-space: normal; }
@page { size: 62mm 90mm; margin: 2mm; }
@media print { body { padding: 0; } }
"""


def has_codes() -> bool:
    """Tell whether QR codes can be drawn here."""
    try:
        return find_spec("segno") is not None
    except (ImportError, ValueError):
        return False


def code_svg(text: str, caption: str) -> str:
    """Return a QR code of a text (ISO/IEC 18004, error correction M) as SVG for a page.

    Raises:
        InputError: segno is not installed; says how to get it.
    """
    try:
        segno = import_module("segno")
    except ImportError:
        raise InputError("format", "label", EXTRA) from None
    code = segno.make(text, error="m", micro=False, boost_error=False)
    drawn = code.svg_inline(omitsize=True, border=4, title=caption)
    return str(drawn)


def label_html(card: Card) -> str:
    """Return a card's label as a whole page.

    Raises:
        InputError: segno is not installed; says how to get it.
    """
    if not card.code:
        raise InputError("serial", dict(card.facts)["Serial"], "one that a QR code can hold")
    code = code_svg(card.code, "QR code of the setting")
    held = "" if card.released else " held"
    rows = [
        f"<tr><th>{escape(number.quantity)}</th><td><b>{escape(first)}</b> {escape(second)}"
        f'<div class="small">{said(number.method)}</div></td></tr>'
        for number in card.numbers
        for first, second in (number.in_units(card.unit),)
    ]
    angle, _ = card.wing_glance
    body = (
        f'<div class="top"><div><h1>{said(card.ski)}</h1><p>{said(card.rider)}</p>'
        f"<p>{said(dict(card.facts)['Serial'])}</p><p>{said(card.when)}</p></div>{code}</div>",
        f'<p class="status{held}">{said(card.status)}</p>',
        f"<table>{''.join(rows)}<tr><th>wing</th><td><b>{said(angle)}</b></td></tr></table>",
        '<p class="small">Look at every clamp bolt before the ride. The makers\' instructions '
        "come first.</p>",
    )
    return page(f"Label: {card.ski}", _STYLE, body)
