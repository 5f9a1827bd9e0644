"""Signs of plain letters, cell for cell, for a terminal whose encoding lacks the bench's own."""

from __future__ import annotations

import codecs
import sys
from typing import TextIO

from rich.cells import cell_len

ERRORS = "quarterturn-plain"

_SIGNS = (
    ("-", "─━═╌╍┄┅┈┉▁▔—−＿"),
    ("|", "│┃║╎┆┇┊┋▏▕‖"),
    ("+", "┌┍┎┏┐┑┒┓└┕┖┗┘┙┚┛├┝┞┟┠┡┢┣┤┥┦┧┨┩┪┫┬┭┮┯┰┱┲┳┴┵┶┷┸┹┺┻┼┽┾┿╀╂╋╭╮╯╰╞╡╪◆◇±"),
    (">", "→▸▶►"),
    ("<", "←◂◀◄"),
    ("^", "↑▲△"),
    ("v", "↓▼▽✓✔"),
    ("x", "✗✘×"),
    ("o", "○◎◯°"),
    ("*", "●•◐★☆■□·"),
    (".", "…"),
    ("~", "≈↺↻"),
    ("u", "µμ"),
    ('"', "″”“"),
    ("'", "’‘′"),
)
_PLAIN = {sign: plain for plain, signs in _SIGNS for sign in signs}


def plain(char: str) -> str:
    """Return what replaces a sign: as many plain letters as it takes cells."""
    if char in _PLAIN:
        return _PLAIN[char]
    if "\u2800" <= char <= "\u28ff":
        dots = (ord(char) - 0x2800).bit_count()
        return " " if not dots else "." if dots < 3 else ":" if dots < 6 else "#"
    if "\u2580" <= char <= "\u259f":
        return "#"
    return "?" * cell_len(char)


def _stand_in(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(plain, error.object[error.start : error.end])), error.end


def fit(stream: TextIO | None) -> None:
    """Let plain signs stand for those that a stream's encoding lacks."""
    codecs.register_error(ERRORS, _stand_in)
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors=ERRORS)


def bear_any_byte() -> None:
    """Let a byte on the keyboard's line that is no text become a sign without meaning.

    Textual's own reader would die of it, and the bench with it.
    """
    try:
        from textual.drivers import linux_driver
    except ImportError:  # not on this system; there the keyboard is read otherwise
        return

    def decoder(encoding: str) -> type[codecs.IncrementalDecoder]:
        class Bearing(codecs.getincrementaldecoder(encoding)):  # type: ignore[misc]
            def __init__(self, errors: str = "replace") -> None:
                super().__init__(errors)

        return Bearing

    linux_driver.getincrementaldecoder = decoder  # type: ignore[assignment, attr-defined]


def letters_fit() -> None:
    """Make both sure, before the screen is drawn."""
    fit(sys.__stderr__)
    bear_any_byte()
