"""Somebody else's numbers as a target: three numbers, how each was measured, in our own methods.

What fixes the blade's place is read by their methods on this ski's blade; what our methods read
there is the target. Where pairs of the two methods were kept, the offset that they teach is taken
instead of the outline. A method of theirs that this blade does not have is stated by its band, or
by how much more it reads than one of ours.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from functools import partial

from workbench.errors import BenchError, InputError, MissingPartError
from workbench.fin.plan.guidance import COVERAGE
from workbench.fin.plan.uncertainty import u_after, u_by
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import QUANTITIES, TRAITS, Method, Quantity, Station
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.display import fine_text, length_text
from workbench.measure.learnt_offset import Restatement
from workbench.measure.lengths import parse_length, understand
from workbench.measure.units import Unit
from workbench.records.store.row_checks import keepable
from workbench.records.tables.roster import method_of
from workbench.work.job.entry import copied
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.setting_words import hold_words, place_words
from workbench.work.order.rigs import usual_range_mm
from workbench.work.study.offsets import learnt_restatement, rests_words
from workbench.work.text.fields import Field
from workbench.work.text.words import clean, error_words
from workbench.work.trust.job_reading import Line, readings_now
from workbench.work.trust.reading_budget import default_figures, reading_u_mm

OFFSET_U_MM = 0.1
"""Standard uncertainty of an offset that somebody states: 0.004 in (common practice, no source)."""

_ACCEPTED = (
    "a method of this blade by name or number; or 'depth deepest', 'depth hole 2 back', "
    "'tail tips', 'length flat', 'length 0.15..0.3' (heights over the base); an offset behind it, "
    "such as 'length tips +0.010', where theirs reads that much more"
)
HOW = Field("how", "How", _ACCEPTED, "HOW")
"""How somebody else measured a number."""

_OFFSET = re.compile(r"(.*\S)\s+([+\-−]\s*[0-9.,]\S*(?:\s*(?:in|mm|thou))?)\s*")
_NAMED = "|".join(QUANTITIES)
_BAND = re.compile(rf"({_NAMED})\s+([0-9.,]+\S*?)\s*\.\.\s*([0-9.,]+\S*)", re.IGNORECASE)
_HOLE = re.compile(r"depth\s+hole\s+(.+?)\s+(back|front)(?:\s+edge)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class HowRead:
    """How somebody measured: a method on this blade, and how much more theirs reads (mm)."""

    method: Method
    offset_mm: float = 0.0

    def words(self, unit: Unit) -> str:
        """Return the method's name, with the offset where there is one."""
        if not self.offset_mm:
            return self.method.name
        sign = "+" if self.offset_mm > 0 else "−"
        return f"{self.method.name} {sign}{fine_text(abs(self.offset_mm), unit)} {unit}"


@dataclass(frozen=True, slots=True)
class Theirs:
    """One of somebody else's numbers: how it was measured, the number as understood, and in mm."""

    how: HowRead
    number: str
    unit: Unit
    mm: float

    @property
    def u_mm(self) -> float:
        """The standard uncertainty of the number on this blade's method."""
        figures = default_figures(self.mm, method=self.how.method)
        u = reading_u_mm([self.mm], figures=figures)
        return math.hypot(u, OFFSET_U_MM) if self.how.offset_mm else u


@dataclass(frozen=True, slots=True)
class Ours:
    """What one of our methods reads where theirs puts the blade (mm), and what that rests on."""

    line: Line
    mm: float
    u_mm: float
    rests: str


# -- how it was measured -----------------------------------------------------------------------


def ways(shop: Shop, view: JobView, quantity: Quantity) -> tuple[HowRead, ...]:
    """Return the ways in which a quantity can be measured on this blade, the ski's own first."""
    known = _methods_of(shop, view)
    out = [HowRead(m) for m in known if m.quantity == quantity and not m.is_coarse]
    deepest = Method("depth, deepest", "depth")
    if quantity == "depth" and all(h.method.station is not None for h in out):
        out.append(HowRead(deepest))
    return tuple(out)


def how_meant(shop: Shop, view: JobView, text: str, unit: Unit) -> HowRead:
    """Return how somebody measured, as typed; see ``HOW``.

    Raises:
        InputError: none or several of the blade's methods are meant.
    """
    words = " ".join(text.split())
    if (found := _way(shop, view, words, unit)) is not None:
        return found
    split = _OFFSET.fullmatch(words)
    found = _way(shop, view, split[1], unit) if split is not None else None
    if split is None or found is None:
        raise InputError("as read by", text, HOW.words)
    offset = parse_length(split[2].replace(" ", ""), unit, "as read by: offset")
    return HowRead(found.method, offset.mm)


def _way(shop: Shop, view: JobView, words: str, unit: Unit) -> HowRead | None:
    every = [h for q in QUANTITIES for h in ways(shop, view, q)]
    folded = words.casefold()
    named = [h for h in every if h.method.name.casefold() == folded]
    if named:
        return named[0]
    if words.isdecimal() and len(words) < 4 and 1 <= int(words) <= len(view.lines):
        return HowRead(view.lines[int(words) - 1].method)
    if (band := _BAND.fullmatch(words)) is not None:
        return _by_band(words, band, unit)
    if (hole := _HOLE.fullmatch(words)) is not None:
        return _by_hole(view, every, hole[1], hole[2].lower())
    quantity, _, way = folded.partition(" ")
    of_it = [h for h in every if h.method.quantity == quantity]
    if way == "tips":
        of_it = [h for h in of_it if h.method.is_tips]
    elif way == "flat":
        of_it = [h for h in of_it if h.method.band_mm is not None and not h.method.is_tips]
    elif way == "deepest":
        of_it = [h for h in of_it if h.method.quantity == "depth" and h.method.station is None]
    elif way:
        return None
    if len(of_it) > 1:
        listed = " · ".join(clean(h.method.name) for h in of_it)
        raise InputError("as read by", words, f"one of these, by its name: {listed}")
    return of_it[0] if of_it else None


def _by_band(words: str, band: re.Match[str], unit: Unit) -> HowRead:
    quantity = next(q for q in QUANTITIES if q == band[1].lower())
    low, high = (parse_length(band[i], unit, "as read by: band").mm for i in (2, 3))
    if TRAITS[quantity].taken_at == "station":
        raise InputError("as read by", words, "no band for a depth: a hole, or deepest")
    name = f"{quantity}, {length_text(low, unit)} to {length_text(high, unit)} {unit}"
    return HowRead(Method(name, quantity, band_mm=(low, high)))


def _by_hole(view: JobView, every: Sequence[HowRead], hole: str, edge: str) -> HowRead:
    at = view.rig.blade.hole(hole.strip("'\"")).edge(edge)
    same = [h for h in every if h.method.station is not None and h.method.station.at_mm == at]
    if same:
        return same[0]
    side = "back" if edge == "back" else "front"
    return HowRead(Method(f"depth, hole {hole} {edge} edge", "depth", Station(at, hole, side)))


def shown_how(how: HowRead, unit: Unit) -> tuple[str, ...]:
    """Return in sentences where and how such a number is taken, for the voice on the phone."""
    return (place_words(how.method, unit), *hold_words(how.method))


def theirs_typed(view: JobView, how: HowRead, text: str, unit: Unit) -> Theirs:
    """Return one of their numbers as typed.

    Raises:
        InputError: no length, or one that can be meant in more than one way.
    """
    field = f"as read by: {how.method.name}"
    keepable(field, text)
    found = understand(text, unit, usual_range_mm(how.method, view.rig.blade), field)
    placing = found.placings[0]
    if not found.is_clear and not parse_length(text, unit, field).named:
        raise InputError(field, text, f"{found.question} Write its unit behind it: 6.9365 in")
    return Theirs(how, placing.number, placing.unit, placing.mm)


# -- in our methods ----------------------------------------------------------------------------


def in_our_methods(shop: Shop, view: JobView, theirs: Sequence[Theirs]) -> tuple[Ours, ...]:
    """Return what each of the ski's methods reads where their numbers put the blade.

    Of a blade whose outline is not known yet their numbers by the ski's own methods are taken, and
    those that pairs of readings carry over.

    Raises:
        InputError: a method twice.
        MissingPartError: a number that only the blade's outline would carry over.
        NoPoseError: fewer than three, or they fix no pose. OutOfReachError: ours meets no part.
    """
    readings = [Reading(t.how.method, t.mm - t.how.offset_mm, t.u_mm) for t in theirs]
    blade, base = view.rig.blade, view.rig.base
    fit = None
    if blade.is_traced or len({t.how.method.name for t in theirs}) < len(theirs):
        fit = fit_pose(blade, base, readings, start=view.pose, every=view.pose is None)
    out = []
    for line in view.lines:
        same = next((t for t in theirs if t.how.method == line.method), None)
        if same is not None:
            rests = "their own number, less the offset" if same.how.offset_mm else "their number"
            out.append(Ours(line, same.mm - same.how.offset_mm, same.u_mm, rests))
            continue
        if (by_pairs := _by_pairs(shop, view, line, theirs)) is not None:
            out.append(by_pairs)
            continue
        if fit is None:
            raise MissingPartError("blade")
        seen = view.rig.observe(line.method, fit.pose)
        rests = "through the blade's outline"
        if view.stand_in:
            rests += ", which is invented"
        out.append(Ours(line, seen.value_mm, u_by(fit, fit.gain, seen.gradient), rests))
    return tuple(out)


def _by_pairs(shop: Shop, view: JobView, line: Line, theirs: Sequence[Theirs]) -> Ours | None:
    for each in theirs:
        value = each.mm - each.how.offset_mm
        learnt = learnt_restatement(shop, view, each.how.method, line.method, value, each.u_mm)
        if learnt is not None:
            return Ours(line, learnt.value, learnt.u, rests_words(learnt))
    return None


def aim_as_read(
    shop: Shop, view: JobView, theirs: Sequence[Theirs], found: Sequence[Ours]
) -> JobView:
    """Make their numbers, in our methods, the target; a note keeps what they said.

    Raises:
        InputError: not at this stage, or a number that this blade cannot read; nothing is kept.
    """
    return shop.act(view, "aim", partial(_aim, shop, theirs, found))


def _aim(shop: Shop, theirs: Sequence[Theirs], found: Sequence[Ours], now: JobView) -> JobView:
    unit = now.ski.unit
    for ours in found:
        wanted = copied(ours.mm, unit)
        now = shop.aim_at(now, ours.line, wanted, "value", ours.line.tolerance_mm)
    said = "; ".join(f"{t.how.words(unit)} {t.number} {t.unit}" for t in theirs)
    shop.book.add_mark(now.job.id, shop.who, "note", text=f"target as read by others: {said}"[:900])
    return shop.view(now.job.id)


def ours_words(ours: Ours, unit: Unit) -> str:
    """Return one of our numbers with its expanded uncertainty and what it rests on."""
    expanded_mm = COVERAGE * ours.u_mm
    expanded, tolerance = (fine_text(mm, unit) for mm in (expanded_mm, ours.line.tolerance_mm))
    value = f"{fine_text(ours.mm, unit)} {unit} ±{expanded}"
    text = f"{clean(ours.line.method.name)}  {value}, {ours.rests}"
    if expanded_mm > ours.line.tolerance_mm and expanded != tolerance:
        text += f"; known less well than the tolerance of {tolerance}"
    return text


# -- by every method of the blade ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Restated:
    """What one method reads on the fin as it is (mm), and how far that is known.

    ``read``: whether it was read in this round. ``against`` is the method of the same quantity that
    was read and ``difference_mm`` this one minus that one, both None where none was. ``trouble``
    says why there is no value, and is empty where there is one.
    """

    method: Method
    value_mm: float | None
    u_mm: float | None
    read: bool
    against: Method | None = None
    difference_mm: float | None = None
    trouble: str = ""


def restated(shop: Shop, view: JobView, unit: Unit = "mm") -> tuple[Restated, ...]:
    """Return the readings of this round restated by every method of the blade.

    The ski's own methods come first, in its order; ``unit`` is that of any trouble in words.

    Raises:
        NoPoseError: readings are missing, or those of this round fix no pose.
    """
    return restate_all(view, _methods_of(shop, view), unit)


def _methods_of(shop: Shop, view: JobView) -> list[Method]:
    """Return every method of the ski's blade, the ski's own first."""
    own = [line.method for line in view.lines]
    names = {m.name for m in own}
    kept = shop.book.methods_of(view.ski.blade_id)
    return own + [method_of(row, view.rig.blade) for row in kept if row.name not in names]


def restate_all(view: JobView, methods: Sequence[Method], unit: Unit) -> tuple[Restated, ...]:
    """Return what each of ``methods`` reads at the pose that this round's readings fix.

    Raises:
        NoPoseError: readings are missing, or those of this round fix no pose.
    """
    readings = readings_now(view.lines)
    if len(readings) < 3:
        missing = ", ".join(f"'{x.method.name}'" for x in view.lines if x.now_mm is None)
        raise NoPoseError(
            f"{len(readings)} of {len(view.lines)} readings are taken in this round and three fix "
            f"the blade's place; missing: {missing or 'a third method for this ski'}"
        )
    start = view.pose
    fit = fit_pose(view.rig.blade, view.rig.base, readings, start=start, every=start is None)
    read = [r.method for r in readings]
    return tuple(_restate(view.rig, fit, method, read, unit) for method in methods)


def _restate(rig: Rig, fit: Fit, method: Method, read: Sequence[Method], unit: Unit) -> Restated:
    is_read = any(m.name == method.name for m in read)
    try:
        value = rig.observe(method, fit.pose).value_mm
        u = u_after(rig, fit, method, fit.pose)
    except BenchError as why:
        return Restated(method, None, None, is_read, trouble=error_words(why, unit))
    against = next((m for m in read if m.quantity == method.quantity), None)
    if is_read or against is None or method.is_coarse:  # a scale's zero lies anywhere
        return Restated(method, value, u, is_read)
    difference = value - rig.observe(against, fit.pose).value_mm
    return Restated(method, value, u, is_read, against, difference)


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
