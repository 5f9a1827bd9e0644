"""Keys of a TOML file with more parts than any of ours has, found before the file is read.

The time that reading takes grows with the square of a key's parts: a few dozen kilobytes of them
would keep a command for minutes.
"""

from __future__ import annotations

import re

from workbench.errors import InputError

MOST_PARTS = 20
"""More parts with dots between than any key of ours has."""

_PIECE = re.compile(
    r"""(?P<passed>[ \t]++)
    |(?P<dot>\.)
    |(?P<long>\"{3}|'{3})
    |(?P<part>[A-Za-z0-9_-]++|"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+')
    |(?P<open>["'])
    |(?P<comment>\#[^\n]*+)
    |[^ \t."'\#A-Za-z0-9_-]++""",
    re.VERBOSE,
)
_LONG_ENDS = {
    '"""': re.compile(r'(?:[^"\\]++|\\.|"(?!""))*+"{3,5}', re.DOTALL),
    "'''": re.compile(r"(?:[^']++|'(?!''))*+'{3,5}"),
}


def check_keys(text: str) -> None:
    """Raise an ``InputError`` for a key of more than :data:`MOST_PARTS` parts with dots between.

    What is in texts and comments is passed over. A text without an end is left to the reader,
    which comes no farther than there.
    """
    if not any(line.count(".") >= MOST_PARTS for line in text.split("\n")):
        return
    at = start = parts = 0
    dotted = False
    while at < len(text):
        piece = _PIECE.match(text, at)
        assert piece is not None
        kind, end = piece.lastgroup, piece.end()
        if kind == "open":
            return
        if kind == "long":
            found = _LONG_ENDS[piece[0]].match(text, end)
            if found is None:
                return
            end = found.end()
        if kind == "part":
            parts, start = (parts + 1, start) if dotted else (1, at)
            dotted = False
        elif kind == "dot":
            dotted = parts > 0
        elif kind != "passed":
            parts, dotted = 0, False
        if parts > MOST_PARTS:
            line = text.count("\n", 0, start) + 1
            accepted = f"a key of at most {MOST_PARTS} parts with dots between"
            raise InputError(f"file, line {line}", text[start:end], accepted)
        at = end
