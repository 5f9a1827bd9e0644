"""Lines of a command's answer, in whatever letters the terminal has."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TextIO

from workbench.errors import shown

FAILED = 1

PLAIN_SIGNS = {
    "\N{MINUS SIGN}": "-", "±": "+/-", "°": " deg", "—": "-", "…": "...", "→": "->", "·": "|",
    "✗": "x",
}  # fmt: skip
"""Signs as they are printed where the terminal's encoding lacks them."""


def plain(text: str, encoding: str | None) -> str:
    """Return text that the encoding has: signs in plain letters, what else it lacks written out."""
    try:
        text.encode(encoding or "ascii")
    except UnicodeEncodeError:
        for sign, letters in PLAIN_SIGNS.items():
            text = text.replace(sign, letters)
        return text.encode("ascii", "backslashreplace").decode("ascii")
    return text


def say(lines: Iterable[str], stream: TextIO | None = None) -> None:
    """Print lines on standard output, or on another stream."""
    out = sys.stdout if stream is None else stream
    print(plain("\n".join(lines), out.encoding), file=out, flush=True)


def complained(unfit: Iterable[str]) -> int:
    """Name on standard error each ski that was passed over; return the exit status."""
    lines = [f"quarterturn: {shown(line, sys.maxsize)[1:-1]}" for line in unfit]
    if lines:
        say(lines, sys.stderr)
    return FAILED if lines else 0
