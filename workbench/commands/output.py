"""All that a command prints, in whatever letters the terminal has: nothing else prints.

Text goes through :func:`say`, which cannot fail on a letter; a file that is sent to standard output
goes through :func:`send` as it is, byte for byte.
"""

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


def say_page(text: str) -> None:
    """Print an HTML or SVG page; what the encoding lacks is written as a reference to it."""
    encoding = sys.stdout.encoding or "ascii"
    say([text.encode(encoding, "xmlcharrefreplace").decode(encoding)])


def say_json(value: object) -> None:
    """Print a value as one line of JSON."""
    import json  # 3 ms, which only --json pays

    say([json.dumps(value, ensure_ascii=True, allow_nan=False)])


def send(chunks: Iterable[bytes]) -> None:
    """Send a file to standard output, byte for byte."""
    sys.stdout.flush()
    for chunk in chunks:
        sys.stdout.buffer.write(chunk)
    sys.stdout.buffer.flush()


def complained(unfit: Iterable[str]) -> int:
    """Name on standard error each ski that was passed over; return the exit status."""
    lines = [f"quarterturn: {shown(line, sys.maxsize)[1:-1]}" for line in unfit]
    if lines:
        say(lines, sys.stderr)
    return FAILED if lines else 0
