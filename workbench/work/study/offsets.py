"""Pairs: one fin's numbers by two methods, typed or found in rounds, each kept once."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from workbench.errors import BenchError, InputError
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import Observation
from workbench.measure.display import finer_text
from workbench.measure.distributions import coverage_factor
from workbench.measure.learnt_offset import LearntOffset, Restatement, learn_offset
from workbench.measure.lengths import parse_length, understand
from workbench.measure.repeats import LEVEL, mean_of
from workbench.measure.units import Unit
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.records.tables.roster import method_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.order.rigs import usual_range_mm
from workbench.work.order.round_records import live
from workbench.work.text.fields import Field
from workbench.work.text.words import error_words
from workbench.work.trust.job_reading import readings_now
from workbench.work.trust.reading_budget import (
    CONTACT_HEIGHT_U_MM,
    STEEPEST_SLOPE,
    default_figures,
    reading_u_mm,
)
from workbench.work.trust.reading_tools import held_caliper

PAIR = (
    Field("first", "First", "the number by the first method", "FIRST"),
    Field("second", "Second", "by the second, on the same fin", "SECOND"),
)
RESTATED = Field(
    "number", "Number", "a number by the first method, as the second reads it", "NUMBER"
)
"""What is asked of a pair of two methods, and of a number that is converted."""


@dataclass(frozen=True, slots=True)
class Two:
    """Two methods of one blade and one quantity: a number by the first, restated by the second."""

    first: rows.Method
    second: rows.Method

    @property
    def turned(self) -> Two:
        """The same two the other way round."""
        return Two(self.second, self.first)


@dataclass(frozen=True, slots=True)
class Number:
    """A length as typed and in mm."""

    text: str
    unit: Unit
    mm: float


@dataclass(frozen=True, slots=True)
class PairLine:
    """One fin's number by the first method and by the second; ``row`` is None for one offered."""

    ski_id: str
    ski_name: str
    first: Number
    second: Number
    row: rows.Pair | None = None
    where: str = ""

    @property
    def difference_mm(self) -> float:
        """Second minus first."""
        return self.second.mm - self.first.mm

    @property
    def counts(self) -> bool:
        """Whether it is kept and not struck out."""
        return self.row is not None and self.row.struck is None


def choices(shop: Shop, view: JobView) -> tuple[Two, ...]:
    """Return every two methods of the ski's blade that take the same quantity."""
    every = shop.book.methods_of(view.ski.blade_id)
    methods = [m for m in every if m.scribe is None]  # a scale's zero lies anywhere
    return tuple(Two(a, b) for a, b in combinations(methods, 2) if a.quantity == b.quantity)


def pairs_of(shop: Shop, two: Two) -> tuple[PairLine, ...]:
    """Return the pairs of two methods, oldest first, struck ones too; either way round."""
    ids = (two.first.id, two.second.id)
    found = [p for p in shop.book.pairs() if {p.method_id, p.other_method_id} == set(ids)]
    names = {ski_id: shop.book.ski(ski_id).name for ski_id in {p.ski_id for p in found}}
    return tuple(_line_of(pair, ids[0], names) for pair in found)


def _line_of(pair: rows.Pair, first_id: str, names: Mapping[str, str]) -> PairLine:
    numbers = (
        Number(pair.text, pair.unit, pair.mm),
        Number(pair.other_text, pair.other_unit, pair.other_mm),
    )
    first, second = numbers if pair.method_id == first_id else numbers[::-1]
    return PairLine(pair.ski_id, names[pair.ski_id], first, second, pair)


# -- pairs out of rounds -----------------------------------------------------------------------


def offered(shop: Shop, view: JobView, two: Two, kept: Sequence[PairLine]) -> tuple[PairLine, ...]:
    """Return the rounds in which both methods were read and that no kept pair counts for.

    A struck pair counts for its round too: what was struck out is not offered again.
    """
    counted = Counter(_key(p) for p in kept)
    out = []
    for ski in shop.book.skis():
        if ski.blade_id != view.ski.blade_id or not {two.first.id, two.second.id} <= {*ski.methods}:
            continue
        for line in _passes(shop, ski, two):
            if counted[_key(line)] > 0:
                counted[_key(line)] -= 1
            else:
                out.append(line)
    return tuple(out)


def _key(line: PairLine) -> tuple[str, float, float]:
    return (line.ski_id, round(line.first.mm, 6), round(line.second.mm, 6))


def _passes(shop: Shop, ski: rows.Ski, two: Two) -> Iterator[PairLine]:
    for past in shop.book.history_of_ski(ski.id):
        taken: dict[int, dict[str, list[rows.Reading]]] = {}
        for fact in live(past.facts, rows.Reading):
            by_method = taken.setdefault(fact.pass_number, {})
            by_method.setdefault(fact.method_id, []).append(fact)
        for number, by_method in sorted(taken.items()):
            if two.first.id in by_method and two.second.id in by_method:
                where = f"{past.job.day}, {'received' if number == 0 else f'round {number}'}"
                first, second = (_mean(by_method[m.id]) for m in (two.first, two.second))
                yield PairLine(ski.id, ski.name, first, second, None, where)


def _mean(readings: Sequence[rows.Reading]) -> Number:
    """Return one reading as typed, or the mean of its repeats in the unit of the first."""
    if len(readings) == 1:
        return Number(readings[0].text, readings[0].unit, readings[0].mm)
    unit = readings[0].unit
    mm = mean_of([r.mm for r in readings])
    return Number(finer_text(mm, unit), unit, mm)


# -- keeping and striking ----------------------------------------------------------------------


def add_pair(
    shop: Shop, view: JobView, two: Two, fields: Mapping[str, str], unit: Unit
) -> rows.Pair:
    """Keep a pair as typed, of the fields ``PAIR``: both on the fin of the ski in hand.

    Raises:
        InputError: no length, or one that this blade cannot read and whose unit is not written.
    """
    first = number_of(view, two.first, fields.get("first", ""), unit, "first")
    second = number_of(view, two.second, fields.get("second", ""), unit, "second")
    line = PairLine(view.ski.id, view.ski.name, first, second)
    return shop.act(view, None, lambda _: _keep(shop, two, line))


@whole
def take_offered(shop: Shop, two: Two, offered: Sequence[PairLine]) -> int:
    """Keep the pairs offered, all or none; return how many.

    Raises:
        InputError: one whose readings were struck out since, or that was kept meanwhile.
    """
    for line in offered:
        read = (p for p in _passes(shop, shop.book.ski(line.ski_id), two) if _key(p) == _key(line))
        kept = [p for p in pairs_of(shop, two) if _key(p) == _key(line)]
        if len(list(read)) <= len(kept):
            accepted = "a pair that is still offered: its readings were struck out or kept since"
            raise InputError("pair", f"{line.first.text} and {line.second.text}", accepted)
        _keep(shop, two, line)
    return len(offered)


def strike_pair(shop: Shop, line: PairLine, reason: str) -> None:
    """Strike a pair out with a reason; it stays readable.

    Raises:
        InputError: no reason, or nothing there to strike.
    """
    if line.row is None or line.row.struck is not None:
        raise InputError("pair", line.first.text, "a pair that is kept and not struck out")
    shop.book.strike(line.row.id, reason.strip(), shop.who)


def _keep(shop: Shop, two: Two, line: PairLine) -> rows.Pair:
    caliper = held_caliper(shop.book) if not line.where else None
    (a, first), (b, second) = (two.first, line.first), (two.second, line.second)
    pair = rows.Pair(
        ski_id=line.ski_id, caliper_id=caliper.id if caliper is not None else None,
        method_id=a.id, text=first.text, unit=first.unit, mm=first.mm,
        other_method_id=b.id, other_text=second.text, other_unit=second.unit, other_mm=second.mm,
    )  # fmt: skip
    return shop.book.add_entry(shop.who, pair)


def number_of(view: JobView, row: rows.Method, text: str, unit: Unit, field: str) -> Number:
    """Read a number as the bench would; one outside the usual range must carry its unit."""
    method = method_of(row, view.rig.blade)
    length = parse_length(text, unit, field)
    found = understand(text, unit, usual_range_mm(method, view.rig.blade), field)
    if found.is_clear:
        placing = found.placings[0]
        return Number(text.strip(), placing.unit, placing.mm)
    if length.named and length.mm > 0.0:
        return Number(text.strip(), length.unit, length.mm)
    raise InputError(field, text, f"{found.question} Write its unit behind it: 6.9365 in, 62.2 mm")


# -- what pairs teach ------------------------------------------------------------------------------


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
    ``now`` is this round's reading by the first method (mm) and what the second would read, None
    where there is no such reading or nothing is learnt yet.
    """

    two: Two
    pairs: tuple[PairLine, ...]
    offered: tuple[PairLine, ...]
    learnt: LearntOffset | None
    outline: Outline | None
    outline_trouble: str = ""
    now: tuple[float, Restatement] | None = None

    @property
    def n(self) -> int:
        """How many pairs count."""
        return sum(p.counts for p in self.pairs)

    @property
    def every(self) -> tuple[PairLine, ...]:
        """The pairs that were kept, then those offered."""
        return (*self.pairs, *self.offered)


def study(shop: Shop, view: JobView, two: Two) -> OffsetStudy:
    """Return what is known of two methods, from every ski that has this blade."""
    kept = pairs_of(shop, two)
    learnt = _learn(kept)
    outline, trouble = _outline(view, two, learnt)
    line = next((x for x in view.lines if x.method_id == two.first.id), None)
    now = None
    if (
        learnt is not None
        and line is not None
        and line.now_mm is not None
        and line.u_mm is not None
    ):
        now = line.now_mm, learnt.restate(line.now_mm, line.u_mm)
    return OffsetStudy(two, kept, offered(shop, view, two, kept), learnt, outline, trouble, now)


def _learn(kept: Sequence[PairLine]) -> LearntOffset | None:
    counted = [p for p in kept if p.counts]
    if len(counted) < 2:
        return None
    return learn_offset([p.first.mm for p in counted], [p.second.mm for p in counted])


# -- restating ---------------------------------------------------------------------------------


def restate_typed(
    shop: Shop, view: JobView, two: Two, text: str, unit: Unit
) -> tuple[float, Restatement]:
    """Return a typed number by the first method (mm), and what the second would read.

    Raises:
        InputError: no length, or fewer than two pairs.
    """
    mm = number_of(view, two.first, text, unit, "number").mm
    learnt = _learn(pairs_of(shop, two))
    if learnt is None:
        raise InputError("pairs", "fewer than 2", "2 or more: one pair shows no scatter")
    method = method_of(two.first, view.rig.blade)
    figures = default_figures(mm, method=method)
    return mm, learnt.restate(mm, reading_u_mm([mm], figures=figures))


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


def rests_words(found: Restatement) -> str:
    """Return what a restated number rests on."""
    by = "by the line" if found.sloped else "by a constant"
    beyond = "" if found.within or not found.sloped else "; beyond what the pairs cover"
    return f"rests on {found.n} pairs, {by}{beyond}"


# -- against the outline -----------------------------------------------------------------------


def _outline(view: JobView, two: Two, learnt: LearntOffset | None) -> tuple[Outline | None, str]:
    if learnt is None:
        return None, ""
    readings = readings_now(view.lines)
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
