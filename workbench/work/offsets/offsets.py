"""Method offsets, learnt: what two methods read on the same fins, and what that says.

Where a blade's outline is only roughly known, geometry cannot restate a number by another method;
pairs of readings can. A pair is kept once, whoever typed it and wherever it came from.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from workbench.errors import BenchError, InputError
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import Observation
from workbench.measure.numerics.distributions import coverage_factor
from workbench.measure.repeats import LEVEL
from workbench.measure.stats.learnt_offset import LearntOffset, Restatement, learn_offset
from workbench.measure.units import Unit
from workbench.records.tables.roster import method_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.how_to_hold import Restated
from workbench.work.offsets.pairs import Number, PairLine, Two, number_of, offered, pairs_of
from workbench.work.text.words import error_words
from workbench.work.trust.reading_budget import (
    CONTACT_HEIGHT_U_MM,
    STEEPEST_SLOPE,
    default_figures,
    reading_u_mm,
)

NEEDS_THREE = "not known yet: three readings of this round fix where the blade is"


@dataclass(frozen=True, slots=True)
class Outline:
    """What the blade's outline says of the difference (mm), where it is now, against the pairs.

    ``learnt_mm`` is what the pairs say at that place and ``allowed_mm`` how far the two may be
    apart, 95 % of the time, were the outline right.
    """

    difference_mm: float
    u_mm: float
    learnt_mm: float
    allowed_mm: float

    @property
    def agrees(self) -> bool:
        """Whether pairs and outline agree within their uncertainty."""
        return abs(self.difference_mm - self.learnt_mm) <= self.allowed_mm


@dataclass(frozen=True, slots=True)
class OffsetStudy:
    """Everything known of two methods: pairs (struck ones too), pairs offered, what they teach.

    ``outline`` is None with the reason in ``outline_trouble``, or where nothing is learnt yet.
    """

    two: Two
    pairs: tuple[PairLine, ...]
    offered: tuple[PairLine, ...]
    learnt: LearntOffset | None
    outline: Outline | None
    outline_trouble: str = ""

    @property
    def n(self) -> int:
        """How many pairs count."""
        return sum(p.counts for p in self.pairs)


# -- what there is -----------------------------------------------------------------------------


def study(shop: Shop, view: JobView, two: Two) -> OffsetStudy:
    """Return what is known of two methods, from every ski that has this blade."""
    kept = pairs_of(shop, two)
    learnt = _learn(kept)
    outline, trouble = _outline(view, two, learnt)
    return OffsetStudy(two, kept, offered(shop, view, two, kept), learnt, outline, trouble)


def _learn(kept: Sequence[PairLine]) -> LearntOffset | None:
    counted = [p for p in kept if p.counts]
    if len(counted) < 2:
        return None
    return learn_offset([p.first.mm for p in counted], [p.second.mm for p in counted])


# -- restating ---------------------------------------------------------------------------------


def restate_typed(
    shop: Shop, view: JobView, two: Two, text: str, unit: Unit
) -> tuple[Number, Restatement]:
    """Return a typed number by the first method as the second would read it.

    Raises:
        InputError: no length, or fewer than two pairs.
    """
    number = number_of(view, two.first, text, unit, "number")
    learnt = _learn(pairs_of(shop, two))
    if learnt is None:
        raise InputError("pairs", "fewer than 2", "2 or more: one pair shows no scatter")
    method = method_of(two.first, view.rig.blade)
    figures = default_figures(number.mm, method=method)
    return number, learnt.restate(number.mm, reading_u_mm([number.mm], figures=figures))


def restate_current(shop: Shop, view: JobView, two: Two) -> Restatement | None:
    """Return this round's reading by the first method restated; None where there is none."""
    now = next((x for x in view.lines if x.method_id == two.first.id), None)
    learnt = _learn(pairs_of(shop, two))
    if now is None or now.now_mm is None or now.u_mm is None or learnt is None:
        return None
    return learnt.restate(now.now_mm, now.u_mm)


def learnt_restatement(
    shop: Shop, view: JobView, from_method: Method, to_method: Method, value_mm: float, u_mm: float
) -> Restatement | None:
    """Return a reading by one method as another would read it, through the learnt offset.

    None where the two are the same, are no methods of this ski's blade, take different quantities
    or have fewer than two pairs.
    """
    by_name = {row.name: row for row in shop.book.methods_of(view.ski.blade_id)}
    first, second = by_name.get(from_method.name), by_name.get(to_method.name)
    if first is None or second is None or first.id == second.id:
        return None
    if first.quantity != second.quantity:
        return None
    learnt = _learn(pairs_of(shop, Two(first, second)))
    return None if learnt is None else learnt.restate(value_mm, u_mm)


def learnt_beside(shop: Shop, view: JobView, found: Sequence[Restated]) -> dict[str, Restatement]:
    """Return, by method name, what the learnt offsets make of the readings of this round."""
    read = {line.method.name: line for line in view.lines}
    out: dict[str, Restatement] = {}
    for row in found:
        line = read.get(row.against.name) if row.against is not None else None
        if row.read or line is None or line.now_mm is None or line.u_mm is None:
            continue
        learnt = learnt_restatement(shop, view, line.method, row.method, line.now_mm, line.u_mm)
        if learnt is not None:
            out[row.method.name] = learnt
    return out


def rests_words(found: Restatement) -> str:
    """Return what a restated number rests on."""
    by = "by the line" if found.sloped else "by a constant"
    beyond = "" if found.within or not found.sloped else "; beyond what the pairs cover"
    return f"rests on {found.n} pairs, {by}{beyond}"


# -- against the outline -----------------------------------------------------------------------


def _outline(view: JobView, two: Two, learnt: LearntOffset | None) -> tuple[Outline | None, str]:
    if learnt is None:
        return None, ""
    readings = [
        Reading(x.method, x.now_mm, x.u_mm)
        for x in view.lines
        if x.now_mm is not None and x.u_mm is not None
    ]
    if len(readings) < 3:
        return None, NEEDS_THREE
    rig, start = view.rig, view.pose
    try:
        fit = fit_pose(rig.blade, rig.base, readings, start=start, every=start is None)
        first, second = (
            rig.observe(method_of(m, rig.blade), fit.pose) for m in (two.first, two.second)
        )
    except BenchError as why:
        return None, error_words(why, view.ski.unit)
    return _compared(first, second, fit.covariance, learnt), ""


def _compared(
    first: Observation,
    second: Observation,
    covariance: Sequence[Sequence[float]],
    learnt: LearntOffset,
) -> Outline:
    """Return the outline's difference against the pairs', each with its uncertainty.

    The pose's covariance and the height at which each jaw meets its edge are carried to the
    difference (JCGM 100:2008, 5.1.2 and 5.2.2).
    """
    change = [b - a for a, b in zip(first.gradient, second.gradient, strict=True)]
    by_pose = math.fsum(
        change[i] * covariance[i][j] * change[j] for i in range(3) for j in range(3)
    )
    slopes = (min(abs(o.height_slope), STEEPEST_SLOPE) for o in (first, second))
    u = math.hypot(math.sqrt(max(by_pose, 0.0)), *(s * CONTACT_HEIGHT_U_MM for s in slopes))
    said, u_said = learnt.difference_at(first.value_mm)
    both = math.hypot(u, u_said)
    dof = learnt.n - 1 if learnt.line is None else learnt.line.dof
    effective = math.inf if u_said == 0.0 else dof * (both / u_said) ** 4
    allowed = coverage_factor(LEVEL, effective) * both if both else 0.0
    return Outline(second.value_mm - first.value_mm, u, said, allowed)
