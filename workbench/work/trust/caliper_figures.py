"""What a reading was taken with: caliper, its checks until then, and the stated temperature."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field, replace
from datetime import date
from typing import cast

from workbench.errors import BenchError
from workbench.fin.reading.method import Method
from workbench.frozen import dataclass
from workbench.measure import calipers as measure
from workbench.measure.calipers import LONGEST_MM, CaliperScale
from workbench.measure.display import fine_text
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.records.store.faults import UnknownRowError
from workbench.work.text.local_time import local
from workbench.work.text.words import clean
from workbench.work.trust import temperature_correction
from workbench.work.trust.reading_budget import (
    Figure,
    Figures,
    Taken,
    by_part,
    default_figures,
    worst_of,
)
from workbench.work.trust.shop_scatter import StudyScatter, scatter_for, scatters_of

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
        step = f"{fine_text(caliper.resolution_mm, caliper.unit)} {caliper.unit}"
        return Figures(
            name,
            Figure(caliper.resolution_mm, f"its step, {step}"),
            by_part(Figure(mpe, _mpe_words(self.row)), method),
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
        return Figure(half + off, f"{names} checked {_day(day)}: off {shown}, and half a step")


def _mpe_words(row: rows.Caliper) -> str:
    return "stated for it" if row.din862_scale is None else f"DIN 862, {row.din862_scale}"


def _day(ordinal: int) -> str:
    return date.fromordinal(ordinal).isoformat()


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
        return temperature_correction.values_mm(kept, self.temperatures)

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
        return temperature_correction.value_mm(mm, self.now), stated, figures

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
        words = temperature_correction.at_words(at)
        stated = f"stated within {temperature_correction.STATED_HALF_WIDTH_C:g} °C: {words}"
        return replace(found, warmth=temperature_correction.parts_of(mm, at), warmth_origin=stated)


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
        temperature_correction.known_temperatures(facts),
        temperature_correction.temperature_in_force(facts),
        stated_u_mm,
        scatters_of(book),
    )


def _gauge(book: Book, caliper_id: str) -> Gauge | None:
    try:
        row = book.caliper(caliper_id)
    except UnknownRowError:  # a reading from elsewhere may name what this book has not
        return None
    return Gauge(row, tuple(c for c in book.checks_of(caliper_id) if c.struck is None))
