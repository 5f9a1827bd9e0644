"""What readings should be after known turns, and which turns they bear out.

The last readings fix the pose, the turns made since move the blade, and both ends are uncertain:
the readings by their budgets, the turns by the hand that made them. A hand that takes the wrong
stud, turns it the other way or forgets it leaves three readings that fit what was really done far
better than what was meant to be done.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Literal

from workbench.errors import BenchError
from workbench.fin.frame import inverse, multiply
from workbench.fin.parts.studs import Stud
from workbench.fin.plan.uncertainty import after_turns, gain_after
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.numerics.distributions import chi2_quantile

U_TURN = 0.01
"""Standard uncertainty of a turn made by hand against a mark, in turns (3.6 degrees): our
default (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Expected:
    """What a method should read (mm), the standard uncertainty of that (mm), and by how much the
    reading changes per mm of contact height."""

    method: Method
    value_mm: float
    u_mm: float
    height_slope: float = 0.0


def expected_after(
    rig: Rig, fit: Fit, turns: Sequence[float], methods: Sequence[Method], u_turn: float = U_TURN
) -> tuple[Expected, ...]:
    """Return what each of ``methods`` should read after ``turns`` (positive is in) from ``fit``.

    Each stud that was turned adds its hand's uncertainty through the seated blade (JCGM 100:2008,
    5.1.2); a stud that was left alone adds none.
    """
    after = rig.seated(fit.pose, turns)
    per_travel = rig.per_travel(after)
    out = []
    for method, there in zip(methods, after_turns(rig, fit, methods, after), strict=True):
        seen = there.seen
        squares = there.by_readings_mm**2 + there.by_outline_mm**2 + there.by_block_mm**2
        for j, (stud, turn) in enumerate(zip(rig.studs, turns, strict=True)):
            if turn:
                slope = sum(seen.gradient[k] * per_travel[k][j] for k in range(3))
                squares += (slope * stud.lead_mm * u_turn) ** 2
        out.append(Expected(method, seen.value_mm, math.sqrt(squares), seen.height_slope))
    return tuple(out)


# -- which turns were made -------------------------------------------------------------------------

Made = Literal["meant", "instead", "exchanged", "other way", "not turned", "twice"]

DOUBTED_FROM = 1.0 - 0.003
FITS_TO = 1.0 - 0.01
"""Levels of chi-square: beyond the first the turns told are doubted, within the second another
explanation fits (our choice: the first is the chance at which one reading is called out)."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """Turns that may have been made, and how well the readings after them fit.

    ``stud`` is the one meant and ``other`` the one turned in its place, None where there is none;
    ``turns`` are those really made, by stud (positive is in); ``back`` brings the stud that was
    turned back to where it was meant to be, 0 where two were exchanged. ``chi_square`` has as many
    degrees of freedom as there are readings; ``worst_mm`` is the reading that misses most.
    """

    made: Made
    turns: tuple[float, ...]
    chi_square: float
    worst_mm: float
    stud: Stud | None = None
    other: Stud | None = None
    back: float = 0.0


def explanations(
    rig: Rig, before: Fit, turns: Sequence[float], after: Sequence[Reading]
) -> tuple[Explanation, ...]:
    """Return the turns meant, and before them every other explanation that fits where they do not.

    The best is first; the turns meant are always the last. One alone: they are borne out, or
    nothing explains the readings. Turns by which the blade could not be read are left out.

    Raises:
        BenchError: the turns meant lead nowhere that can be read.
    """
    meant = _explanation(rig, before, "meant", tuple(turns), after)
    if meant.chi_square <= chi2_quantile(DOUBTED_FROM, len(after)):
        return (meant,)
    found = []
    for made, trial, stud, other, back in _slips(rig.studs, turns):
        try:
            one = replace(
                _explanation(rig, before, made, trial, after), stud=stud, other=other, back=back
            )
        except BenchError:
            continue
        if one.chi_square <= chi2_quantile(FITS_TO, len(after)):
            found.append(one)
    return (*sorted(found, key=lambda e: e.chi_square), meant)


def _slips(
    studs: Sequence[Stud], turns: Sequence[float]
) -> Iterator[tuple[Made, tuple[float, ...], Stud, Stud | None, float]]:
    """Yield what a hand may have done instead: turns by stud, the stud meant and the one turned,
    and how far that one is to be turned back."""
    for i, turn in enumerate(turns):
        if not turn:
            continue
        yield "not turned", _with(turns, {i: 0.0}), studs[i], None, turn
        yield "other way", _with(turns, {i: -turn}), studs[i], None, 2.0 * turn
        yield "twice", _with(turns, {i: 2.0 * turn}), studs[i], None, -turn
        for j, its in enumerate(turns):
            if j != i:
                yield "instead", _with(turns, {i: 0.0, j: its + turn}), studs[i], studs[j], -turn
            if j > i and its and its != turn:
                yield "exchanged", _with(turns, {i: its, j: turn}), studs[i], studs[j], 0.0


def _with(turns: Sequence[float], changed: dict[int, float]) -> tuple[float, ...]:
    return tuple(changed.get(i, turn) for i, turn in enumerate(turns))


def _explanation(
    rig: Rig, before: Fit, made: Made, turns: tuple[float, ...], after: Sequence[Reading]
) -> Explanation:
    """Return how well the readings fit these turns: chi-square of the misses with the covariance of
    what is predicted (JCGM 102:2011, 6.2): readings before and after, and the hand that turned."""
    pose = rig.seated(before.pose, turns)
    seen = [rig.observe(reading.method, pose) for reading in after]
    misses = [reading.value_mm - s.value_mm for reading, s in zip(after, seen, strict=True)]
    gradients = [s.gradient for s in seen]
    by_reading = multiply(gradients, gain_after(rig, before, pose))
    by_stud = multiply(gradients, rig.per_travel(pose))
    spread = [r.u_mm for r in before.readings]
    hand = [s.lead_mm * U_TURN if turn else 0.0 for s, turn in zip(rig.studs, turns, strict=True)]
    covariance = [
        [
            _along(by_reading[i], by_reading[k], spread)
            + _along(by_stud[i], by_stud[k], hand)
            + (after[i].u_mm ** 2 if i == k else 0.0)
            for k in range(len(after))
        ]
        for i in range(len(after))
    ]
    weights = inverse(covariance)
    chi_square = math.inf
    if weights is not None:
        (weighted,) = multiply([misses], weights)
        chi_square = math.fsum(w * m for w, m in zip(weighted, misses, strict=True))
    return Explanation(made, turns, chi_square, max(map(abs, misses)))


def _along(one: Sequence[float], two: Sequence[float], u: Sequence[float]) -> float:
    return math.fsum(a * b * s**2 for a, b, s in zip(one, two, u, strict=True))
