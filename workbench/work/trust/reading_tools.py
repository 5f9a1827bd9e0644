"""What a reading was taken with: caliper, its checks until then, and the stated temperature.

A reading is kept as it was read. What it would be at 20 degrees (ISO 1) is worked out from the kept
row each time it is looked at, and only here, so that no correction can be applied twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field, replace
from datetime import date
from typing import cast

from workbench.errors import BenchError
from workbench.fin.reading.method import Method
from workbench.frozen import dataclass
from workbench.measure import calipers as measure
from workbench.measure.budget import Contribution
from workbench.measure.calipers import LONGEST_MM, CaliperScale
from workbench.measure.display import fine_text
from workbench.measure.temperature import at_reference, material, temperature_parts
from workbench.measure.units import TempUnit, degrees_in
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.store.database import UnknownRowError
from workbench.work.text.local_time import local
from workbench.work.text.words import clean
from workbench.work.trust.reading_budget import (
    Figure,
    Figures,
    StudyScatter,
    Taken,
    by_part,
    default_figures,
    scatter_for,
    worst_of,
)

IN_HAND = "caliper"
"""The setting that holds the id of the caliper in hand; blank is none."""

SHOWN_NAME = 24
"""Characters of a caliper's name that a line can spare."""


def shown_name(row: rows.Caliper) -> str:
    """Return a caliper's name, nothing hidden in it and short enough for a line."""
    name = clean(row.name)
    return name if len(name) <= SHOWN_NAME else name[: SHOWN_NAME - 1] + "…"


def measured(row: rows.Caliper) -> measure.Caliper:
    """Return the kernel's caliper of a row; raises InputError for one that cannot be."""
    by_table = row.din862_scale is not None
    return measure.Caliper(
        row.name,
        row.unit,
        row.resolution_mm,
        None if by_table else row.mpe_mm,
        cast("CaliperScale", row.din862_scale) if by_table else "digital",
    )


def judged(kept: rows.CaliperCheck) -> measure.Check:
    """Return a kept check with its day as hands count days: by the clock on the wall."""
    return measure.Check(kept.nominal_mm, kept.reading_mm, local(kept.at).date().toordinal())


def held_caliper(book: Book) -> rows.Caliper | None:
    """Return the caliper in hand; None where none was chosen, or it was struck out since."""
    held = book.setting(IN_HAND, "")
    if not held:
        return None
    try:
        row = book.caliper(held)
    except UnknownRowError:
        return None
    return row if row.struck is None else None


@dataclass(frozen=True, slots=True)
class Gauge:
    """A caliper with its checks that stand, in order."""

    row: rows.Caliper
    checks: tuple[rows.CaliperCheck, ...] = ()

    def figures(self, length_mm: float, until: str = "", method: Method | None = None) -> Figures:
        """Return what a budget takes from this caliper for a reading of this length (mm).

        ``until`` is the id of the reading: checks made after it say nothing about it, so that its
        uncertainty never changes later. Blank is a reading taken now. ``method`` tells with which
        part of the caliper it is read; left out it is the jaws.
        """
        name = shown_name(self.row)
        try:
            caliper = measured(self.row)
            mpe = caliper.mpe_at(min(abs(length_mm), LONGEST_MM))
        except BenchError:  # a row of other hands that no caliper has
            return default_figures(length_mm, f"{name} (its figures cannot be)", method)
        scale = self.row.din862_scale
        origin = "stated for it" if scale is None else f"DIN 862, {scale}"
        step = f"{fine_text(caliper.resolution_mm, caliper.unit)} {caliper.unit}"
        return Figures(
            name,
            Figure(caliper.resolution_mm, f"its step, {step}"),
            by_part(Figure(mpe, origin), method),
            self._zero(caliper, until),
        )

    def _zero(self, caliper: measure.Caliper, until: str) -> Figure:
        """Return how far zero and gauge block were off at most, and half a step that hides more.

        The newest check of each kind that passed counts; without one it is half a step.
        """
        half = caliper.resolution_mm / 2.0
        newest: dict[str, measure.Check] = {}
        for kept in self.checks:
            check = judged(kept)
            if (not until or kept.id < until) and measure.judge(caliper, check).passed:
                newest[check.kind] = check
        if not newest:
            return Figure(half, "no passing check: half a step")
        off = max(abs(check.error_mm) for check in newest.values())
        names = " and ".join(k for k in ("zero", "block") if k in newest)
        shown = f"{fine_text(off, caliper.unit)} {caliper.unit}"
        day = max(check.day for check in newest.values())
        return Figure(
            half + off, f"{names} checked {date.fromordinal(day)}: off {shown}, and half a step"
        )


@dataclass(frozen=True, slots=True)
class Tools:
    """What the readings of a job were taken with, by id, and what is in hand now.

    ``stated_u_mm`` holds, by method id, the whole standard uncertainty of one reading where the
    method states it. ``now`` is the temperature in force. ``studies`` are what the shop's own
    studies found.
    """

    gauges: Mapping[str, Gauge] = field(default_factory=dict)
    held: str | None = None
    temperatures: Mapping[str, rows.Temperature] = field(default_factory=dict)
    now: rows.Temperature | None = None
    stated_u_mm: Mapping[str, float] = field(default_factory=dict)
    studies: tuple[StudyScatter, ...] = ()

    def values_mm(self, kept: Sequence[rows.Reading]) -> tuple[float, ...]:
        """Return what kept readings say (mm): at 20 degrees where they name a temperature."""
        return values_mm(kept, self.temperatures)

    def taken(self, method_id: str, method: Method, kept: Sequence[rows.Reading]) -> Taken:
        """Return one or more kept repeats by one method with what their budget rests on.

        Repeats by several calipers take the worst resolution, permissible error and zero of them.
        A ``u`` stated for the method is that of the mean too: what it covers does not average
        out.
        """
        figures = worst_of([self._figures(method, r) for r in kept])
        u = self.stated_u_mm.get(method_id)
        return Taken(method, self.values_mm(kept), u, figures)

    def taken_in(
        self, methods: Iterable[tuple[str, Method]], kept: Mapping[str, Sequence[rows.Reading]]
    ) -> dict[str, Taken]:
        """Return what was taken by each method that has repeats in ``kept``, by method name."""
        return {
            method.name: self.taken(method_id, method, kept[method_id])
            for method_id, method in methods
            if kept.get(method_id)
        }

    def _figures(self, method: Method, kept: rows.Reading) -> Figures:
        at = self.temperatures.get(kept.temperature_id or "")
        return self._with(kept.caliper_id, at, method, kept.mm, kept.id)

    def about_to_take(
        self, method_id: str, method: Method, mm: float
    ) -> tuple[float, float | None, Figures]:
        """Return ``mm``, read now, at 20 degrees (mm), its stated u if any, and its figures."""
        stated = self.stated_u_mm.get(method_id)
        figures = self._with(self.held, self.now, method, mm)
        return value_mm(mm, self.now), stated, figures

    def _with(
        self,
        caliper_id: str | None,
        at: rows.Temperature | None,
        method: Method,
        mm: float,
        until: str = "",
    ) -> Figures:
        gauge = self.gauges.get(caliper_id or "")
        if gauge is None:
            found = default_figures(mm, method=method)
        else:
            found = gauge.figures(mm, until, method)
        scatter = scatter_for(self.studies, method, until)
        found = replace(found, scatter=scatter) if scatter is not None else found
        if at is None:
            return found
        words = at_words(at)
        stated = f"stated within {STATED_HALF_WIDTH_C:g} °C: {words}"
        return replace(found, warmth=parts_of(mm, at), warmth_origin=stated)


def tools_of(book: Book, facts: Iterable[rows.AnyFact], stated_u_mm: Mapping[str, float]) -> Tools:
    """Return what the readings among ``facts`` were taken with, and what is in hand now."""
    facts = tuple(facts)
    held = held_caliper(book)
    named = {f.caliper_id for f in facts if isinstance(f, rows.Reading) and f.caliper_id}
    if held is not None:
        named.add(held.id)
    return Tools(
        {caliper_id: gauge for caliper_id in named if (gauge := _gauge(book, caliper_id))},
        held.id if held is not None else None,
        known_temperatures(facts),
        temperature_in_force(facts),
        stated_u_mm,
        scatters_of(book),
    )


def scatters_of(book: Book) -> tuple[StudyScatter, ...]:
    """Return what every finished study of the book says, those struck out left aside."""
    read = book.studies_read()
    if not read:
        return ()
    from workbench.work.trust.study_results import scatter_of_study

    found = (scatter_of_study(book, study_id, mark) for study_id, mark in read)
    return tuple(s for s in found if s is not None)


def _gauge(book: Book, caliper_id: str) -> Gauge | None:
    try:
        row = book.caliper(caliper_id)
    except UnknownRowError:  # a reading from elsewhere may name what this book has not
        return None
    return Gauge(row, tuple(c for c in book.checks_of(caliper_id) if c.struck is None))


TEMPERATURE_OFF = "temperature_off"
"""The mark from which on readings are taken as they are again."""

STATED_HALF_WIDTH_C = 1.0
"""How well a temperature read off a thermometer beside the work is known (common practice, no
source)."""


def known_temperatures(facts: Iterable[rows.AnyFact]) -> dict[str, rows.Temperature]:
    """Return a job's temperatures that are not struck out and that can be, by id."""
    return {f.id: f for f in facts if isinstance(f, rows.Temperature) and _stands(f)}


def _stands(fact: rows.Temperature) -> bool:
    """Whether a temperature counts: a row of other hands may name a material nobody published."""
    if fact.struck is not None:
        return False
    try:
        value_mm(1.0, fact)
    except BenchError:
        return False
    return True


def temperature_in_force(facts: Iterable[rows.AnyFact]) -> rows.Temperature | None:
    """Return the temperature that a reading taken now is taken at; None where it is off."""
    last = None
    for fact in facts:
        if fact.struck is not None:
            continue
        if isinstance(fact, rows.Temperature):
            last = fact if _stands(fact) else last
        elif isinstance(fact, rows.Mark) and fact.kind == TEMPERATURE_OFF:
            last = None
    return last


def value_mm(mm: float, at: rows.Temperature | None) -> float:
    """Return what ``mm``, as read, is at 20 degrees; as read where no temperature was stated."""
    if at is None:
        return mm
    return at_reference(
        mm, at.blade_c, at.caliper_c, material(at.blade_material), material(at.caliper_material)
    ).length_mm


def values_mm(
    kept: Sequence[rows.Reading], known: Mapping[str, rows.Temperature]
) -> tuple[float, ...]:
    """Return what kept readings say (mm): at 20 degrees where they name a temperature.

    The one way from kept rows to values. A temperature that was struck out corrects nothing.
    """
    return tuple(value_mm(r.mm, known.get(r.temperature_id or "")) for r in kept)


def parts_of(mm: float, at: rows.Temperature) -> tuple[Contribution, ...]:
    """Return what stays uncertain of a reading (mm, as read) once it is at 20 degrees."""
    return temperature_parts(
        mm, at.blade_c, at.caliper_c, STATED_HALF_WIDTH_C,
        material(at.blade_material), material(at.caliper_material),
    )  # fmt: skip


def at_words(at: rows.Temperature) -> str:
    """Return a temperature as it was stated, with what it was stated of."""
    return (
        f"blade {_degrees(at.blade_c, at.unit)} ({at.blade_material}), "
        f"caliper {_degrees(at.caliper_c, at.unit)} ({at.caliper_material})"
    )


def _degrees(value_c: float, scale: TempUnit) -> str:
    return f"{degrees_in(value_c, 'C', scale):.1f} °{scale}".replace("-", "−").replace(".0 ", " ")
