"""A setting as a line of text that a QR code carries, and the serial read back from such a line.

``QT;SERIAL;depth=2.4835 in;tail=...;wing=7.5;DAY``: a scanner that works as a keyboard types it
where a serial could be typed. In a serial, what is no plain letter, digit or sign is written as
``%3B``.
"""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import quote, unquote

MARK = "QT"
_LONGEST = 800
_PLAIN = " /-._~+:,()#*"


def code_text(serial: str, numbers: Iterable[tuple[str, str]], day: str) -> str:
    """Return the line of a setting: ``numbers`` are (what, value with its unit).

    Nothing where it would be longer than a code that a hand scanner reads.
    """
    said = (f"{_safe(what)}={_safe(value)}" for what, value in numbers)
    text = ";".join((MARK, _safe(serial), *said, _safe(day)))
    return text if len(text) <= _LONGEST else ""


def serial_in(text: str) -> str:
    """Return the serial that a setting's line names; any other text as it is."""
    mark, _, rest = text.strip().partition(";")
    serial = unquote(rest.partition(";")[0])
    return serial if mark.upper() == MARK and serial.strip() else text


def _safe(text: str) -> str:
    return quote(text.strip(), safe=_PLAIN, errors="replace")
