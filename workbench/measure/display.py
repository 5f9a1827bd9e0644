"""Numbers for people: lengths at the caliper's resolution, limits rounded inward, parts of a turn.

Rounding is done on the decimal numeral, half to even, as NIST SP 811 (2008), B.7.1 gives it; a
tolerance limit is rounded toward the inside of its band, so that rounding never admits a value that
the limit does not (B.7.2: limits are rounded so that neither is exceeded).
"""

from __future__ import annotations

import math
from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_UP, Context, Decimal, localcontext
from functools import lru_cache
from typing import Literal, assert_never, get_args

from workbench.errors import InputError
from workbench.measure.units import MM_PER_INCH, Unit

STEP: dict[Unit, str] = {"in": "0.0005", "mm": "0.01"}
"""The resolution lengths are shown at by default: that of a common digital caliper."""

FINE: dict[Unit, str] = {"in": "0.0001", "mm": "0.001"}
"""A digit more: for uncertainties, and where two numbers and their difference stand together."""

_PER: dict[Unit, Decimal] = {"in": Decimal(str(MM_PER_INCH)), "mm": Decimal(1)}

MINUS = "\N{MINUS SIGN}"


_NOISE = Decimal("1e-10")
"""Digits below this are what binary arithmetic left behind; they would decide ties and limits."""


def convert(value_mm: float, unit: Unit) -> Decimal:
    """Return a length in mm as a decimal number of ``unit``, unrounded but for binary noise."""
    with localcontext() as context:
        context.prec = 40
        return (Decimal(repr(value_mm)) / _PER[unit]).quantize(_NOISE)


def round_to_step(value: Decimal, step: Decimal) -> Decimal:
    """Round a decimal to a multiple of ``step``, half to even."""
    with localcontext() as context:
        context.prec = 40
        count = (value / step).quantize(Decimal(1), rounding=ROUND_HALF_EVEN)
        return count * step


@lru_cache(maxsize=4096)
def length_text(value_mm: float, unit: Unit, step: str | None = None) -> str:
    """Return a length as the digits shown in ``unit``, without the unit's name."""
    size = Decimal(step or STEP[unit])
    return _plain(round_to_step(convert(value_mm, unit), size), size)


def change_text(value_mm: float, unit: Unit, step: str | None = None) -> str:
    """Return a difference with its sign always shown; a difference that rounds to 0 has none."""
    text = length_text(abs(value_mm), unit, step)
    if not text.strip("0."):
        return text
    return f"{'+' if value_mm > 0 else MINUS}{text}"


def change_between(from_mm: float, to_mm: float, unit: Unit, step: str | None = None) -> str:
    """Return the change from one length to another as the difference of the two as shown."""
    size = Decimal(step or STEP[unit])
    shown = [round_to_step(convert(mm, unit), size) for mm in (from_mm, to_mm)]
    return change_text(float((shown[1] - shown[0]) * _PER[unit]), unit, step)


def fine_text(value_mm: float, unit: Unit) -> str:
    """Return a small length (an uncertainty, a tolerance) with one digit more than shown."""
    return length_text(value_mm, unit, FINE[unit])


def finer_text(value_mm: float, unit: Unit) -> str:
    """Return a length to a digit more than an uncertainty has."""
    return length_text(value_mm, unit, "0.00001" if unit == "in" else "0.0001")


def _plain(value: Decimal, step: Decimal) -> str:
    places = -int(step.normalize().as_tuple().exponent)
    text = f"{value:.{max(places, 0)}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text.replace("-", MINUS)


def turn_text(turns: float) -> str:
    """Return turns without their sign as a hand counts them: ``1 1/4``, ``3/8``, ``0.37``.

    What is no turn at three decimals keeps its first digit.
    """
    size = abs(turns)
    for under in (1, 2, 4, 8, 16, 32, 64):
        count = round(size * under)
        if abs(size * under - count) < 1e-9:
            whole, part = divmod(count, under)
            if part == 0:
                return str(whole)
            return f"{whole} {part}/{under}" if whole else f"{part}/{under}"
    text = f"{size:.3f}".rstrip("0").rstrip(".")
    return text if text != "0" else f"{Decimal(f'{size:.1g}'):f}"


def turns_text(turns: float) -> str:
    """Return turns without their sign and with their word: ``3/8 turn``, ``1 1/4 turns``."""
    return f"{turn_text(turns)} turn{'' if 0.0 < abs(turns) <= 1.0 else 's'}"


Dial = Literal["turns", "degrees", "hours"]
"""What a turn is also told in: nothing else, a degree ring's marks, or a clock's hours."""

DIALS: tuple[Dial, ...] = get_args(Dial)


def dial_text(turns: float, dial: Dial) -> str:
    """Return turns without their sign as a ring or a clock shows them: ``135°``, ``4.5 h``.

    Nothing for a driver without either. A clock's hour is a twelfth of a turn.
    """
    match dial:
        case "turns":
            return ""
        case "degrees":
            return f"{360.0 * abs(turns):.0f}°"
        case "hours":
            return f"{12.0 * abs(turns):.1f}".removesuffix(".0") + " h"
        case _:
            assert_never(dial)


def degrees_text(angle_deg: float, places: int = 2) -> str:
    """Return an angle in degrees with its sign."""
    text = f"{abs(angle_deg):.{places}f}"
    if not text.strip("0."):
        return f"{text}°"
    return f"{'+' if angle_deg > 0 else MINUS}{text}°"


# -- a value and its uncertainty -------------------------------------------------------------------

_LEAST_CUT = 0.01


def round_to_uncertainty(value: float, u: float, digits: int = 2) -> tuple[str, str]:
    """Return ``value`` and ``u`` as decimal text: ``u`` to ``digits`` figures, ``value`` to match.

    ``u`` is rounded up rather than to nearest, unless what is cut off is less than 1 % of it
    (7.2.6 rounds 10.47 up to 11 but lets 28.05 be 28); halves of ``value`` go to the even digit.
    Raises :class:`InputError` for a value that is no number or a ``u`` that is not positive.
    """
    if not math.isfinite(value):
        raise InputError("value", value, "a finite number")
    if not 0 < u < math.inf:
        raise InputError("uncertainty", u, "a finite number more than 0")
    if digits < 1:
        raise InputError("digits", digits, "1 or more")
    # Decimal costs start-up time, and only a printed result needs it.
    exact_u, exact_value = Decimal(repr(float(u))), Decimal(repr(float(value)))
    context = Context(prec=2000)
    step = exact_u.adjusted() - digits + 1
    rounded_u = _round_up(exact_u, step)
    if rounded_u.adjusted() > exact_u.adjusted():
        step += 1
        rounded_u = rounded_u.quantize(Decimal(1).scaleb(step), context=context)
    rounded = exact_value.quantize(Decimal(1).scaleb(step), ROUND_HALF_EVEN, context)
    if rounded.is_zero():
        rounded = rounded.copy_abs()
    return f"{rounded:f}", f"{rounded_u:f}"


def _round_up(u: Decimal, step: int) -> Decimal:
    unit = Decimal(1).scaleb(step)
    down = u.quantize(unit, ROUND_DOWN)
    cut = u - down
    if cut * 2 < unit and cut <= u * Decimal(str(_LEAST_CUT)):
        return down
    return u.quantize(unit, ROUND_UP)
