"""Lengths as hands type them and calipers send them.

A strict grammar of our own reads the number; nothing is ever dropped or guessed in silence. The
unit comes from the text where it is given, else from the bench.

    number   = [sign] (decimal | fraction | whole fraction | whole-fraction)
    decimal  = digits with at most one point or comma
    length   = number [unit]
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.units import MM_PER, SPELLINGS, Unit, mm_per, other

if TYPE_CHECKING:  # loaded when first needed: a work order of plain numbers never does
    from fractions import Fraction

LONGEST = 40
"""More characters than any length needs; longer input is refused before it is looked at."""

_ACCEPTED = 'a length such as 2.4505, .728, 62.23 mm, 2,4505, 2 7/16, 728 thou or 2.45"'

_VULGAR = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_UNITS = "|".join(sorted((re.escape(s) for s in SPELLINGS), key=len, reverse=True))
_LENGTH = re.compile(
    r"(?P<sign>[+\-−])?\s*"
    r"(?:(?P<whole>[0-9]+)(?:\s+|\s*-\s*))??"
    r"(?:(?P<top>[0-9]+)\s*/\s*(?P<under>[0-9]+)|(?P<decimal>[0-9]+[.,]?[0-9]*|[.,][0-9]+))"
    rf"\s*(?P<unit>{_UNITS})?",
    re.IGNORECASE,
)

_TINY = re.compile(r"[+-]?[0-9](\.[0-9]{1,20})?e-[0-9]{1,2}")
"""How programs write a turn next to nothing; no hand does."""


@dataclass(frozen=True, slots=True)
class Length:
    """A length as typed: its text, its value in mm, the unit it was in, and what its form says.

    ``unit`` is the bench unit nearest to what was typed (thou counts as inch). ``signed``: a sign
    was written. ``pointless``: bare digits, whose point may still have to be placed. ``named``: the
    unit was written out; ``is_rare``: it is none of the bench's two, such as thou. ``number`` is
    the text without its unit.
    """

    text: str
    mm: float
    unit: Unit
    signed: bool = False
    pointless: bool = False
    named: bool = False
    is_rare: bool = False
    number: str = ""

    @property
    def in_bench_unit(self) -> str:
        """The number as typed, or what it is in the bench's unit where a rarer one was typed."""
        return f"{self.mm / MM_PER[self.unit]:.10g}" if self.is_rare else self.number

    def with_point(self, places: int) -> str:
        """Return bare digits with so many of them behind the point."""
        digits = self.number.lstrip("+ ")
        return f"{digits[:-places] or '0'}.{digits[-places:]}" if places else digits


def parse_length(text: str, unit: Unit, field: str = "length") -> Length:
    """Read one length; a bare number is in ``unit``.

    Raises:
        InputError: anything but a number with at most a unit; a zero denominator; absurd size.
    """
    match = _match(text, field)
    number = _number(match, text, field)
    spelling = (match["unit"] or unit).lower()
    factor = mm_per(spelling)
    exact = number * Fraction(str(factor))
    if abs(exact) > 1_000_000_000:
        raise InputError(field, text, "a length of a sane size")
    name, named = SPELLINGS[spelling], match["unit"] is not None
    typed_unit: Unit = unit if not named else "in" if name in ("inch", "thou") else "mm"
    return Length(
        text,
        float(exact),
        typed_unit,
        signed=match["sign"] is not None,
        pointless=match["decimal"] is not None
        and match["decimal"].isdigit()
        and match["whole"] is None
        and match["sign"] in (None, "+"),
        named=named,
        is_rare=named and name not in ("inch", "millimeter"),
        number=match.string[: match.start("unit")].strip() if named else text.strip(),
    )


def parse_turn(text: str, field: str = "turns") -> float:
    """Read a number of turns: ``1/4``, ``+1 1/4``, ``-0.125``, ``2e-7``; no unit.

    Raises:
        InputError: anything else, or more than 100 turns.
    """
    if _TINY.fullmatch(text):
        return float(text)
    match = _match(text, field, "turns such as 1/4, +1 1/2 or -0.125")
    if match["unit"] is not None:
        raise InputError(field, text, "turns without a unit, such as 1/4 or -0.125")
    turns = float(_number(match, text, field))
    if abs(turns) > 100.0:
        raise InputError(field, text, "at most 100 turns")
    return turns


@dataclass(frozen=True, slots=True)
class Placing:
    """One way to understand an entry: its value and the unit and digits it is taken to mean."""

    mm: float
    unit: Unit
    number: str


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry understood against the range that is plausible for it.

    ``placings`` holds every plausible understanding, best first. One and no ``question``: it is
    clear. Otherwise ``question`` says what to ask, and ``placings`` are the answers offered.
    """

    text: str
    placings: tuple[Placing, ...]
    question: str = ""

    @property
    def is_clear(self) -> bool:
        """Whether there is just one understanding and nothing to ask."""
        return len(self.placings) == 1 and not self.question


def understand(
    text: str, unit: Unit, window_mm: tuple[float, float], field: str = "reading"
) -> Entry:
    """Read an entry for a number that is plausible between the ends of ``window_mm``.

    Bare digits are placed (2450 for 2.450 in); a value that is plausible only in the other unit, in
    two ways or not at all comes back with a question.

    Raises:
        InputError: not a length at all, or a negative one.
    """
    length = parse_length(text, unit, field)
    if length.signed and length.mm < 0.0:
        raise InputError(field, text, "a reading, which is never negative")
    units: Sequence[Unit] = (length.unit,) if length.named else (unit, other(unit))
    for i, trial in enumerate(units):
        placings = _placings(length, trial, window_mm)
        if placings:
            return Entry(text, placings, _question(text, placings, i > 0, (trial, unit), window_mm))
    as_typed = Placing(length.mm, length.unit, length.in_bench_unit)
    return Entry(text, (as_typed,), outside_words(*window_mm, length.unit))


def outside_words(low_mm: float, high_mm: float, unit: Unit) -> str:
    """Return the question about a value that is outside the usual range."""
    low, high = (w / MM_PER[unit] for w in (low_mm, high_mm))
    return f"outside the usual {low:.3g} to {high:.3g} {unit}: take it as it is?"


def _question(
    text: str,
    placings: tuple[Placing, ...],
    exchanged: bool,
    units: tuple[Unit, Unit],
    window_mm: tuple[float, float],
) -> str:
    """Return what to ask; ``units`` are the one that the value is plausible in, and the bench's."""
    trial, unit = units
    if exchanged:
        low, high = (w / MM_PER[unit] for w in window_mm)
        return f"{text.strip()}: {unit} or {trial}? {low:.3g} to {high:.3g} {unit} is usual"
    if len(placings) > 1:
        return "the point can go in more than one place: which?"
    return ""


FINEST_TURN = 1 / 64
"""The finest part of a turn that a hand works in (common practice, no source)."""


def check_finest(
    turn: float, field: str = "finest turn", typed: object = None, least: float = FINEST_TURN
) -> float:
    """Return the finest turn that is worked in: 0, which means exact turns, or 1/64 to 1 turn.

    ``typed`` is what an error shows in its place; ``least`` is less than 1/64 where no hand works
    by it or where it was kept once.

    Raises:
        InputError: anything else, no number among it.
    """
    if turn == 0.0 or least <= turn <= 1.0:
        return turn
    shortest = "1/64" if least == FINEST_TURN else f"{least:g}"
    accepted = f"a part of a turn from 0 (exact) to 1, none finer than {shortest}, such as 1/8"
    raise InputError(field, turn if typed is None else typed, accepted)


def kept_as(text: str, unit: Unit, field: str = "length") -> tuple[float, ...]:
    """Return every value (mm) that an entry of this text can have been kept as under ``unit``.

    First as typed, then bare digits with their point placed.

    Raises:
        InputError: not a length at all, or one with another unit written out.
    """
    length = parse_length(text, unit, field)
    if length.unit != unit:
        raise InputError(field, text, f"a length in {unit}, as its row says")
    if not length.pointless or length.is_rare:
        return (length.mm,)
    placed = map(length.with_point, range(1, len(length.with_point(0)) + 1))
    return (length.mm, *(parse_length(n, unit).mm for n in placed if len(n) <= LONGEST))


def _placings(length: Length, trial: Unit, window_mm: tuple[float, float]) -> tuple[Placing, ...]:
    """Return the plausible understandings of an entry in the unit ``trial``."""
    low, high = window_mm
    if not length.pointless or length.is_rare:
        mm = length.mm if trial == length.unit else parse_length(length.number, trial).mm
        return (Placing(mm, trial, length.in_bench_unit),) if low <= mm <= high else ()
    out: list[Placing] = []
    for number in map(length.with_point, range(len(length.with_point(0)) + 1)):
        mm = parse_length(number, trial).mm
        if low <= mm <= high and all(p.mm != mm for p in out):
            out.append(Placing(mm, trial, number))
    return tuple(out)


def _plain(text: str) -> str:
    """Return the text with vulgar fractions written out (``2½`` becomes ``2 1/2``)."""
    out = text.strip()
    for sign, written in _VULGAR.items():
        out = out.replace(sign, f" {written}")
    return out.strip()


def _match(text: str, field: str, accepted: str = _ACCEPTED) -> re.Match[str]:
    if len(text) > LONGEST:
        raise InputError(field, text, f"{accepted}; at most {LONGEST} characters")
    match = _LENGTH.fullmatch(_plain(text))
    if match is None or (match["whole"] is not None and match["top"] is None):
        raise InputError(field, text, accepted)
    return match


def _number(match: re.Match[str], text: str, field: str) -> Fraction:
    if match["top"] is not None:
        under = int(match["under"])
        if under == 0 or under > 1024:
            raise InputError(field, text, "a fraction with a denominator from 1 to 1024")
        if match["whole"] is not None and int(match["top"]) >= under:
            raise InputError(field, text, "a fraction smaller than 1 after the whole number")
        value = Fraction(int(match["whole"] or 0)) + Fraction(int(match["top"]), under)
    else:
        decimal = match["decimal"].replace(",", ".")
        value = Fraction(f"0{decimal}0" if "." in decimal else decimal)
    return -value if match["sign"] in ("-", "−") else value
