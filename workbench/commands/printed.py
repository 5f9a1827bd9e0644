"""Printing for people and machines, whatever the terminal's encoding lacks."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable

from workbench.commands.spoken import plain


def print_lines(lines: Iterable[str]) -> None:
    """Print lines one by one; what the terminal's encoding lacks in plain letters."""
    for line in lines:
        print(plain(line, sys.stdout.encoding))


def print_json(value: object) -> None:
    """Print a value as one line of JSON."""
    print(json.dumps(value, ensure_ascii=True, allow_nan=False))
