"""Printing for people and machines, whatever the terminal's encoding lacks."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable


def print_lines(lines: Iterable[str]) -> None:
    """Print lines; a letter that the terminal's encoding lacks is written out."""
    encoding = sys.stdout.encoding or "ascii"
    for line in lines:
        print(line.encode(encoding, "backslashreplace").decode(encoding))


def print_json(value: object) -> None:
    """Print a value as one line of JSON."""
    print(json.dumps(value, ensure_ascii=True, allow_nan=False))
