"""Which slip of hand or eye most likely lies behind a reading that cannot be right."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.lengths import parse_length
from workbench.measure.numerics.distributions import normal_sf, t_quantile
from workbench.measure.units import MM_PER_INCH, Unit

Slip = Literal["graduation", "digits", "method", "unseated"]

GRADUATIONS_IN = (0.025, 0.050, 0.100, 0.200)
"""Steps between marked lines of an inch caliper or of its dial: a line misread is off by one of
these (common practice, no source)."""

LINE_FIRST_MM = 0.0005 * MM_PER_INCH
"""Within a caliper's step of a line's distance a number is that line misread, whatever digits might
have been exchanged (common practice, no source)."""

CRITICAL = 2.95
"""A reading further from its prediction than this many standard uncertainties is called out: 3 in
1,000 right ones are, so that three readings together give a false alarm in less than 1 % of rounds
(normal distribution; Student's t of the same chance where a standard uncertainty rests on few
degrees of freedom)."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """A reading that is too far from what it should be.

    ``off_mm``: read minus expected; ``normalised``: that over its standard uncertainty; ``slip``:
    the likeliest cause, with ``detail`` naming the line, the digits or the method; ``digits``: the
    number meant where digits exchanged explain a line misread too.
    """

    off_mm: float
    normalised: float
    slip: Slip
    detail: str = ""
    digits: str = ""


def doubt(
    read_mm: float,
    expected_mm: float,
    u_mm: float,
    typed: tuple[str, Unit] = ("", "in"),
    others_mm: Mapping[str, float] | None = None,
    dof: float = math.inf,
) -> Doubt | None:
    """Return a doubt where a reading disagrees with its expectation, else None.

    ``u_mm`` is the standard uncertainty of the difference and ``dof`` its degrees of freedom.
    ``typed`` is the text and the unit it was typed in, to look for exchanged digits; ``others_mm``
    is what other methods would read here, by their names.
    """
    text, unit = typed
    if not u_mm > 0.0:
        raise InputError("uncertainty of the difference", u_mm, "more than 0")
    off = read_mm - expected_mm
    normalised = off / u_mm
    critical = _critical(dof)
    if abs(normalised) <= critical:
        return None
    near = critical * u_mm
    for name, other_mm in (others_mm or {}).items():
        if abs(read_mm - other_mm) <= near:
            return Doubt(off, normalised, "method", name)
    found: list[tuple[float, Slip, str]] = [
        (abs(_mm(meant, unit, read_mm, text) - expected_mm), "digits", meant)
        for meant in _exchanged(text)
    ]
    step = min(GRADUATIONS_IN, key=lambda step: abs(abs(off) - step * MM_PER_INCH))
    found.append((abs(abs(off) - step * MM_PER_INCH), "graduation", f"{step:.3f} in"))
    # The cause that explains the number best; of two as good the line, which is misread more often.
    near_enough = [cause for cause in found if cause[0] <= near]
    if near_enough:
        _, slip, detail = min(near_enough, key=_unlikeliness)
        meant = min((cause for cause in near_enough if cause[1] == "digits"), default=(0.0, "", ""))
        return Doubt(off, normalised, slip, detail, meant[2] if slip == "graduation" else "")
    return Doubt(off, normalised, "unseated")


def _unlikeliness(cause: tuple[float, Slip, str]) -> tuple[float, bool]:
    left, slip, _ = cause
    if slip == "graduation":
        left = max(left - LINE_FIRST_MM, 0.0)
    return left, slip != "graduation"


def same_digits(one: str, two: str) -> bool:
    """Whether two entries show the same number: leading and trailing zeros, point and sign aside.

    Fewer than three figures tell nothing.
    """
    first, second = (re.sub(r"[^0-9]", "", text).strip("0") for text in (one, two))
    return len(first) > 2 and first == second


def _critical(dof: float) -> float:
    return CRITICAL if math.isinf(dof) else -t_quantile(normal_sf(CRITICAL), max(dof, 1.0))


def _exchanged(text: str) -> list[str]:
    """Return the text with each pair of unlike neighbouring digits exchanged."""
    out = []
    for i in range(len(text) - 1):
        if text[i].isdigit() and text[i + 1].isdigit() and text[i] != text[i + 1]:
            out.append(text[:i] + text[i + 1] + text[i] + text[i + 2 :])
    return out


def _mm(meant: str, unit: Unit, read_mm: float, text: str) -> float:
    """Return a changed text's length on the scale on which ``text`` meant ``read_mm``."""
    try:
        typed, changed = parse_length(text, unit).mm, parse_length(meant, unit).mm
    except InputError:
        return float("inf")
    return changed / typed * read_mm if typed else float("inf")
