"""A page of HTML that needs nothing else: style inside, no script, nothing fetched.

Text from people goes through :func:`said` and stays text; it is in a ``bdi``, so that letters
written from right to left turn nothing beside them around.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import Literal

Paper = Literal["a4", "letter"]

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


def page(title: str, style: str, body: Iterable[str], paper: str = "") -> str:
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


def said(text: str) -> str:
    """Return text from people as an element of its own."""
    return f"<bdi>{escape(text)}</bdi>"
