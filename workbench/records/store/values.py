"""What SQLite can keep exactly, checked before it is given to it."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable
from datetime import date

from workbench.errors import InputError, shown
from workbench.records.store.faults import DamagedError

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_WIDEST = 1 << 63


def keepable(field: str, value: object) -> object:
    """``value`` as it will be kept; raises ``InputError`` for what SQLite would bend or drop.

    SQLite keeps a NaN as nothing at all, and cuts or refuses text with a NUL or half a surrogate
    pair in it.
    """
    if isinstance(value, bool):
        return int(value)
    if isinstance(value, str):
        return _text(field, value)
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError(field, value, "a finite number")
    if isinstance(value, int) and not -_WIDEST <= value < _WIDEST:
        raise InputError(field, value, "a whole number below 9.2e18")
    return value


def _text(field: str, value: str) -> str:
    if "\0" in value:
        raise InputError(field, value, "text without a NUL character")
    if not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value):
        raise InputError(field, value, "text of whole characters, no lone surrogates")
    return value


def day_text(field: str, value: str) -> str:
    """A day as YYYY-MM-DD, checked against the calendar."""
    try:
        if _DAY.fullmatch(value):
            date.fromisoformat(value)
            return value
    except ValueError:
        pass
    raise InputError(field, value, "a day as YYYY-MM-DD")


def points_text(field: str, points: Iterable[tuple[float, float]]) -> str:
    """Points as the text they are kept as; floats come back exactly."""
    kept = [[_coordinate(field, u), _coordinate(field, v)] for u, v in points]
    return json.dumps(kept, separators=(",", ":"))


def _coordinate(field: str, value: float) -> float:
    keepable(field, value)
    return float(value)


def points_of(text: str) -> tuple[tuple[float, float], ...]:
    """The points that :func:`points_text` wrote; raises ``DamagedError`` for anything else."""
    try:
        return tuple((float(u), float(v)) for u, v in json.loads(text))
    except (ValueError, TypeError) as error:
        raise DamagedError(f"points {shown(text)}") from error
