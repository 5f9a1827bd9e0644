"""How each setting of the shop that is computed with is read, wherever its text came from.

The book takes any text under any name: by a form, a command, a file from another bench, or a book
put back. Everything that goes by a setting reads it here; a text that does not fit counts as not
set, and :func:`misfits` tells it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Generic, TypeVar

from workbench.errors import InputError
from workbench.fin.reading.method import QUANTITIES
from workbench.measure.calipers import BLOCK_DAYS
from workbench.measure.display import DIALS, Dial
from workbench.measure.lengths import check_finest, parse_length
from workbench.measure.units import MM_PER_INCH, Unit

_T = TypeVar("_T")

MOST_REPEATS = 10
LONGEST_INTERVAL_DAYS = 3650
_MOST_BACKUPS = 400

FAR_RECEIVED_MM, FAR_TARGET_MM = 0.030 * MM_PER_INCH, 0.060 * MM_PER_INCH
"""Beyond these a reading as received is asked about, and a target: a fin that was ridden seldom
moved farther, and is seldom set farther in one day (common practice, no source)."""

FAR_MM = (0.1, 25.0)
"""The least and the largest such distance that asks about anything and not about everything."""

TOLERANCES_MM = (0.001, 2.0)
"""The least and the largest tolerance that says anything about a fin (common practice, no
source)."""

LONGEST_NEAR_MM = 1000.0


class Declared(Generic[_T]):
    """A setting's type: what reads its text, and what it is where nobody set it.

    ``read`` takes the setting's name as messages say it and the text; it raises an InputError.
    """

    __slots__ = ("default", "read")

    def __init__(self, read: Callable[[str, str], _T], default: _T) -> None:
        self.read, self.default = read, default

    def of(self, text: str | None) -> _T:
        """Return what a kept text says; blank, or one that does not fit, is the default."""
        if text is None or not text.strip():
            return self.default
        try:
            return self.read("setting", text.strip())
        except InputError:
            return self.default


def count(least: int, most: int, what: str) -> Callable[[str, str], int]:
    """Return what reads a whole number within these ends."""

    def read(field: str, text: str) -> int:
        if not (text.isascii() and text.isdecimal() and len(text) < 7):
            raise InputError(field, text, f"{what}, {least} to {most}")
        if not least <= int(text) <= most:
            raise InputError(field, text, f"{what}, {least} to {most}")
        return int(text)

    return read


def on_off(field: str, text: str) -> bool:
    """Read on or off."""
    words = {"on": True, "yes": True, "y": True, "off": False, "no": False, "n": False}
    if text.lower() not in words:
        raise InputError(field, text, "on or off")
    return words[text.lower()]


def length(least: float, most: float, such: str) -> Callable[[str, str], float]:
    """Return what reads a length with its unit (mm) within these ends."""

    def read(field: str, text: str) -> float:
        found = parse_length(text, "in", field)
        if not found.named:
            raise InputError(field, text, f"a length with its unit, such as {such}")
        if not least <= found.mm <= most:
            raise InputError(field, text, f"{least:g} to {most:g} mm, such as {such}")
        return found.mm

    return read


def unit(field: str, text: str) -> Unit:
    """Read in or mm."""
    if text.lower() == "in":
        return "in"
    if text.lower() == "mm":
        return "mm"
    raise InputError(field, text, "in or mm")


def dial(field: str, text: str) -> Dial:
    """Read what turns are also told in."""
    found = next((d for d in DIALS if d == text.lower()), None)
    if found is None:
        raise InputError(field, text, "turns, degrees or hours")
    return found


def _number(least: float, most: float, what: str) -> Callable[[str, str], float]:
    def read(field: str, text: str) -> float:
        try:
            number = float(text) if len(text) <= 40 else math.nan
        except ValueError:
            number = math.nan
        if not least <= number <= most:
            raise InputError(field, text, f"{what}, {least:g} to {most:g}")
        return number

    return read


def _finest(field: str, text: str) -> float | None:
    return check_finest(_number(0.0, 1.0, "turns")(field, text), field, text)


_tolerance = length(*TOLERANCES_MM, "0.002 in or 0.05 mm")
_far = length(*FAR_MM, "0.030 in or 0.8 mm")

REPEATS = Declared(count(1, MOST_REPEATS, "how often each reading is taken"), 1)
INTERVAL = Declared(count(0, LONGEST_INTERVAL_DAYS, "days between two checks"), BLOCK_DAYS)
BACKUPS = Declared(count(1, _MOST_BACKUPS, "how many backups are kept"), 14)
OFF = Declared(on_off, False)
ON = Declared(on_off, True)
UNIT: Declared[Unit] = Declared(unit, "in")
DIAL: Declared[Dial] = Declared(dial, "turns")
TOLERANCE: Declared[float | None] = Declared(_tolerance, None)
FAR_RECEIVED = Declared(_far, FAR_RECEIVED_MM)
FAR_TARGET = Declared(_far, FAR_TARGET_MM)
FINEST: Declared[float | None] = Declared(_finest, None)
NEAR: Declared[float | None] = Declared(_number(0.0, LONGEST_NEAR_MM, "mm"), None)

NEAR_BEGINS = "study near mm "
"""Before a study's id: the setting that holds about what it will read, in mm."""

_DECLARED: Mapping[str, Declared[Any]] = {
    "repeats": REPEATS, "check_interval_days": INTERVAL, "backups_kept": BACKUPS, "unit": UNIT,
    **{f"tolerance_{quantity}": TOLERANCE for quantity in QUANTITIES},
    "guard_band": OFF, "second_eyes": OFF, "after_lock": OFF, "learning": OFF, "dial": DIAL,
    "mouse": ON, "bell": ON, "flash": ON, "far_received": FAR_RECEIVED,
    "far_target": FAR_TARGET, "finest_turn": FINEST,
}  # fmt: skip


def read(name: str, text: str) -> None:
    """Raise an InputError for a text that does not fit the setting of this name."""
    declared = NEAR if name.startswith(NEAR_BEGINS) else _DECLARED.get(name)
    if declared is not None and text.strip():
        declared.read(name.replace("_", " "), text.strip())


def misfits(kept: Mapping[str, str]) -> Iterator[tuple[str, InputError]]:
    """Yield what is wrong with the settings in force that do not fit, each with its name."""
    for name, text in sorted(kept.items()):
        try:
            read(name, text)
        except InputError as why:
            yield name, why
