"""Doubtful readings: repeats flagged by published tests, and the likeliest slip behind one.

Nothing is ever dropped; whoever took the readings decides. Grubbs' test asks about the one repeat
farthest out; the generalised extreme Studentised deviate (Rosner) asks about several that may hide
each other; two alone are held against the repeatability limit (ISO 5725-6).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.distributions import normal_sf, t_quantile
from workbench.measure.lengths import parse_length
from workbench.measure.repeats import Scatter, checked, mean_of
from workbench.measure.units import MM_PER_INCH, Unit

# -- repeats ---------------------------------------------------------------------------------------

_ALPHA = 0.05
"""The chance at which right readings are doubted, before the display's step counts."""

ESD_LEAST = 15
"""Fewest readings for which Rosner's critical values hold well."""

_A_HAIR_MORE = 1 + 1e-6
"""Times a step, because steps are not exact in binary."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """One reading put to the test: its place, the statistic and the value it must not exceed."""

    index: int
    value: float
    statistic: float
    critical: float

    @property
    def doubtful(self) -> bool:
        """Whether the statistic exceeds its critical value."""
        return self.statistic > self.critical


@dataclass(frozen=True, slots=True)
class Doubts:
    """Which readings are doubtful (indices, the worst first), and by which test, in words.

    ``limit`` is how far two readings may differ; with two, both are doubtful or neither.
    """

    indices: tuple[int, ...]
    test: str
    limit: float | None = None

    @property
    def apart(self) -> bool:
        """Whether two readings differ by more than their limit, so that a third is wanted."""
        return self.limit is not None and bool(self.indices)


def grubbs_critical(n: int, alpha: float = _ALPHA) -> float:
    """Return the two-sided critical value of Grubbs' test for 3 readings or more (ASTM E178)."""
    if n < 3:
        raise InputError("number of readings", n, "3 or more for Grubbs' test")
    if not 0 < alpha < 1:
        raise InputError("alpha", alpha, "more than 0 and less than 1, such as 0.05")
    t = t_quantile(alpha / (2 * n), n - 2)
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))


def generalised_esd(
    values: Sequence[float], most: int, alpha: float = _ALPHA, resolution: float = 0.0
) -> tuple[tuple[Suspect, ...], int]:
    """Put up to ``most`` readings to the generalised ESD (B. Rosner, Technometrics 25(2) 1983).

    Each step is Grubbs' test of the farthest of those left: with one step it is that test. Gives
    the steps taken, in order, and how many of the first of them are doubtful: as many as the last
    step that exceeds its critical value, even where earlier ones, masked, do not. ``resolution``
    is the step that the readings are rounded to; without one the test is that which was published.
    """
    given = checked(values, least=3)
    if not 1 <= most <= len(given) - 2:
        raise InputError("most doubtful readings", most, f"1 to {len(given) - 2}")
    steps = []
    for step, (index, statistic) in enumerate(_one_by_one(given, most, resolution), 1):
        critical = grubbs_critical(len(given) - step + 1, alpha)
        steps.append(Suspect(index, given[index], statistic, critical))
    count = max((i for i, step in enumerate(steps, 1) if step.doubtful), default=0)
    return tuple(steps), count


def doubtful_repeats(
    values: Sequence[float], resolution: float = 0.0, scatter: Scatter | None = None
) -> Doubts:
    """Return the repeats to look at again: by Grubbs, from 15 readings on by generalised ESD.

    Two are doubted where ``scatter``, that of one reading, is known and they are too far apart; one
    never is. ``resolution`` is the step that the readings are rounded to. It counts in the
    deviation that they are tested by, and none is doubted that lies within one step of the mean of
    the rest: two alike and one a digit off is how a display reads. Right readings of normal scatter
    are then doubted in at most 5 of 100 sets of up to 14, whatever the step (simulated); the
    published test alone doubts up to 23 of 100 sets of three.
    """
    given = checked(values)
    n = len(given)
    if n == 2 and scatter is not None:
        return _far_apart(given, scatter, resolution)
    if n < 3:
        return Doubts((), "fewer than 3 readings: no test")
    most = 1 if n < ESD_LEAST else n // 5
    steps, count = generalised_esd(given, most, resolution=resolution)
    found = [step.index for step in steps[:count]]
    test = "Grubbs, two-sided" if n < ESD_LEAST else f"generalised ESD, up to {most}"
    test = f"{test}, {_ALPHA:g}"
    kept = [v for i, v in enumerate(given) if i not in found]
    centre = mean_of(kept)
    near = resolution * _A_HAIR_MORE
    return Doubts(tuple(i for i in found if abs(given[i] - centre) > near), test)


def _far_apart(given: Sequence[float], scatter: Scatter, resolution: float) -> Doubts:
    """Return both of two readings, the later first, where they differ by more than the limit.

    The limit is the repeatability limit (ISO 5725-6:1994, 5.2.1, from memory: a third reading is
    then called for), or one step of the display where that is more.
    """
    limit = max(scatter.change, resolution * _A_HAIR_MORE)
    far = abs(given[1] - given[0]) > limit
    return Doubts((1, 0) if far else (), "repeatability limit, 0.05", limit)


def _one_by_one(
    values: Sequence[float], most: int, resolution: float
) -> Iterator[tuple[int, float]]:
    """Yield the index of the value farthest out and its distance in standard deviations.

    Each time without those before. Rounding hides that readings differ by less than a step: its
    variance, a twelfth of the step's square (JCGM 100:2008, F.2.2.1), joins theirs.

    The farthest is the least or the largest of those left. Their sum and that of their squares are
    kept exact, as whole numbers of a common step of their binary fractions, so that each step costs
    the same and nothing cancels however far out the first was.
    """
    ratios = [value.as_integer_ratio() for value in values]
    scale = max(denominator for _, denominator in ratios)
    whole = [numerator * (scale // denominator) for numerator, denominator in ratios]
    total, squares, left = sum(whole), sum(w * w for w in whole), len(whole)
    ends = [iter(sorted(range(left), key=lambda i: sign * values[i])) for sign in (1.0, -1.0)]
    least, largest = (next(end) for end in ends)
    gone: set[int] = set()
    for _ in range(most):
        mean = total / (left * scale)
        variance = (left * squares - total * total) / (left * (left - 1) * scale * scale)
        sd = math.sqrt(variance + resolution**2 / 12.0)
        distance, first = max((abs(values[i] - mean), -i) for i in (least, largest))
        index = -first
        yield index, distance / sd if sd > 0 else 0.0
        gone.add(index)
        total, squares, left = total - whole[index], squares - whole[index] ** 2, left - 1
        least = next(i for i in chain((least,), ends[0]) if i not in gone)
        largest = next(i for i in chain((largest,), ends[1]) if i not in gone)


# -- slips of hand or eye --------------------------------------------------------------------------

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
    """Return whether two entries show the same number: outer zeros, point and sign aside.

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
