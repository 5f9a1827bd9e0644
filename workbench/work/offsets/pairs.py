"""Pairs: one fin's numbers by two methods, typed or found in rounds, each kept once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from workbench.errors import InputError
from workbench.measure.display import length_text
from workbench.measure.lengths import parse_length, understand
from workbench.measure.repeats import mean_of
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.records.tables.roster import method_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.order.rigs import usual_range_mm
from workbench.work.roster.calipers import in_hand


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
        for fact in past.facts:
            if isinstance(fact, rows.Reading) and fact.struck is None:
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
    return Number(length_text(mm, unit, "0.00001" if unit == "in" else "0.0001"), unit, mm)


# -- keeping and striking ----------------------------------------------------------------------


def add_pair(
    shop: Shop, view: JobView, two: Two, fields: Mapping[str, str], unit: Unit
) -> rows.Pair:
    """Keep a pair as typed: fields ``first`` and ``second``, both on the fin of the ski in hand.

    Raises:
        InputError: no length, or one that this blade cannot read and whose unit is not written.
    """
    first = number_of(view, two.first, fields.get("first", ""), unit, "first")
    second = number_of(view, two.second, fields.get("second", ""), unit, "second")
    line = PairLine(view.ski.id, view.ski.name, first, second)
    return shop.act(view, None, lambda _: _keep(shop, two, line))


def take_offered(shop: Shop, two: Two, offered: Sequence[PairLine]) -> int:
    """Keep the pairs offered, all or none; return how many.

    Raises:
        InputError: one whose readings were struck out since, or that was kept meanwhile.
    """
    shop.book.batch(_keep_all, shop, two, tuple(offered))
    return len(offered)


def strike_pair(shop: Shop, line: PairLine, reason: str) -> None:
    """Strike a pair out with a reason; it stays readable.

    Raises:
        InputError: no reason, or nothing there to strike.
    """
    if line.row is None or line.row.struck is not None:
        raise InputError("pair", line.first.text, "a pair that is kept and not struck out")
    shop.book.strike(line.row.id, reason.strip(), shop.who)


def _keep_all(shop: Shop, two: Two, offered: Sequence[PairLine]) -> None:
    for line in offered:
        read = (p for p in _passes(shop, shop.book.ski(line.ski_id), two) if _key(p) == _key(line))
        kept = [p for p in pairs_of(shop, two) if _key(p) == _key(line)]
        if len(list(read)) <= len(kept):
            accepted = "a pair that is still offered: its readings were struck out or kept since"
            raise InputError("pair", f"{line.first.text} and {line.second.text}", accepted)
        _keep(shop, two, line)


def _keep(shop: Shop, two: Two, line: PairLine) -> rows.Pair:
    caliper = in_hand(shop) if not line.where else None
    return shop.book.add_entry(
        shop.who,
        rows.Pair(
            ski_id=line.ski_id,
            method_id=two.first.id,
            text=line.first.text,
            unit=line.first.unit,
            mm=line.first.mm,
            other_method_id=two.second.id,
            other_text=line.second.text,
            other_unit=line.second.unit,
            other_mm=line.second.mm,
            caliper_id=caliper.id if caliper is not None else None,
        ),
    )


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
