"""Lines of a command's answer, in whatever letters the terminal has."""

from __future__ import annotations

import sys
from collections.abc import Iterable

PLAIN_SIGNS = {"—": "-", "…": "...", "✗": "x", "±": "+/-", "\N{MINUS SIGN}": "-", "°": " deg"}


def say(lines: Iterable[str]) -> None:
    """Print lines, with plain letters for signs that standard output's encoding lacks."""
    text = "\n".join(lines)
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        for sign, plain in PLAIN_SIGNS.items():
            text = text.replace(sign, plain)
        text = text.encode("ascii", "backslashreplace").decode("ascii")
    print(text, flush=True)
