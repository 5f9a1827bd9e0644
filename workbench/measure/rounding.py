"""An estimate and its uncertainty written with the digits they deserve (JCGM 100:2008, 7.2.6)."""

from __future__ import annotations

import math
from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_UP, Context, Decimal
from typing import TYPE_CHECKING

from workbench.errors import InputError

if TYPE_CHECKING:
    from decimal import Decimal

_LEAST_CUT = 0.01


def round_to_uncertainty(value: float, u: float, digits: int = 2) -> tuple[str, str]:
    """``value`` and ``u`` as plain decimal text: ``u`` to ``digits`` figures, ``value`` to match.

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
