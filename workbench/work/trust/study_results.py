"""What a study says: its cells, its variation by source, and the change that is no chance."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.repeats import LEVEL, Repeats, Scatter, mean_of, summarise
from workbench.measure.stats.gauge_study import Gauge, GaugeAnova, by_anova
from workbench.measure.stats.smallest_change import by_anyone, by_one_person
from workbench.measure.stats.study import (
    MixedUnitsError,
    Study,
    StudyReading,
    collect,
)
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.trust.study_view import StudyView

NO_SCATTER_MM = 1e-9
"""Below this a standard deviation is what arithmetic left behind, not scatter."""

__all__ = [
    "LEVEL",
    "Bar",
    "Cell",
    "Source",
    "Spread",
    "StudyResult",
    "bars",
    "missing_words",
    "result_of",
]


@dataclass(frozen=True, slots=True)
class Cell:
    """One person's readings (mm) of one part; ``repeats`` is None before the first."""

    part: str
    person: str
    repeats: Repeats | None


@dataclass(frozen=True, slots=True)
class Source:
    """One line of the table: a standard deviation (mm) and its share of the whole variance.

    ``of_reading`` is its share of one reading's variance; None for what is not in a reading.
    """

    key: str
    sd_mm: float
    share: float
    of_reading: float | None = None


@dataclass(frozen=True, slots=True)
class StudyResult:
    """A study's readings by cell and, once it is complete, what they say, in mm.

    ``trouble`` says why there is no analysis. ``one``: scatter of a reading by one person;
    ``anyone``: whoever reads.
    """

    view: StudyView
    cells: tuple[Cell, ...]
    trouble: str = ""
    study: Study | None = None
    analysis: GaugeAnova | None = None
    one: Scatter | None = None
    anyone: Scatter | None = None

    @property
    def mixed(self) -> bool:
        """Whether readings of another unit than the study's stand in it."""
        return any(r.unit != self.view.study.unit for r in self.view.live)

    @property
    def without_scatter(self) -> bool:
        """Whether one person's readings of one part always agreed to the last digit."""
        return self.one is not None and self.one.sd < NO_SCATTER_MM

    def sources(self) -> tuple[Source, ...]:
        """The variation by source; empty without an analysis."""
        if self.analysis is None:
            return ()
        g = self.analysis.gauge
        found = [("ev", g.ev), ("av", g.av), ("interaction", g.interaction), ("grr", g.grr)]
        found += [("pv", g.pv)] if g.pv is not None else []
        found.append(("tv", g.tv))
        return tuple(_source(g, key, sd) for key, sd in found)


def _source(gauge: Gauge, key: str, sd: float) -> Source:
    kept = 0.0 if sd < NO_SCATTER_MM else sd
    inside = key in ("ev", "av", "interaction", "grr") and gauge.grr >= NO_SCATTER_MM
    of_reading = (sd / gauge.grr) ** 2 if inside else None
    return Source(key, kept, gauge.contribution(kept) / 100, of_reading)


def result_of(view: StudyView) -> StudyResult:
    """Return what a study says as it is; while it is incomplete, its cells alone.

    Struck readings do not count. Nothing is raised for what a study lacks: ``trouble`` tells it.
    """
    live = view.live
    cells = tuple(_cells(view, live))
    try:
        study = _collected(view, live)
        analysis = by_anova(study)
    except InputError as why:
        return StudyResult(view, cells, str(why))
    return StudyResult(
        view, cells, "", study, analysis, by_one_person(analysis), by_anyone(analysis, study)
    )


def _cells(view: StudyView, live: Sequence[rows.StudyReading]) -> Iterable[Cell]:
    for part in view.study.parts:
        for person in view.study.people:
            values = [r.mm for r in live if (r.part, r.person) == (part, person)]
            yield Cell(part, person, summarise(values) if values else None)


def _collected(view: StudyView, live: Sequence[rows.StudyReading]) -> Study:
    """Return the readings as the kernel's study, in the plan's order of parts and people."""
    _check_units(view.study.unit, live)
    if not live:
        raise InputError("study", "no reading yet", "readings of every person on every part")
    if view.missing:
        raise InputError("study", f"{view.done} of {view.total} readings", missing_words(view))
    parts, people = view.study.parts, view.study.people
    order = sorted(live, key=lambda r: (_place(parts, r.part), _place(people, r.person), r.trial))
    return collect(StudyReading(r.part, r.person, r.mm, "mm", view.study.what) for r in order)


def _place(names: Sequence[str], name: str) -> int:
    return names.index(name) if name in names else len(names)


def _check_units(unit: Unit, live: Sequence[rows.StudyReading]) -> None:
    odd = [r for r in live if r.unit != unit]
    if odd:
        first = f"{odd[0].person} on {odd[0].part}, {odd[0].text} {odd[0].unit}"
        more = f" and {len(odd) - 1} more" if len(odd) > 1 else ""
        raise MixedUnitsError(
            "units of the test", f"{first}{more}", f"every reading in {unit}, as planned"
        )


def missing_words(view: StudyView, shown: int = 4) -> str:
    """Name the cells that lack readings, each with how many of its trials are there."""
    lacking: dict[tuple[str, str], int] = {}
    for turn in view.missing:
        key = (turn.part, turn.person)
        lacking[key] = lacking.get(key, 0) + 1
    named = [
        f"{person} on {part} ({view.study.trials - n} of {view.study.trials})"
        for (part, person), n in sorted(
            lacking.items(), key=lambda item: (view.study.parts.index(item[0][0]), item[0][1])
        )
    ]
    more = f" and {len(named) - shown} more" if len(named) > shown else ""
    return f"still to read: {', '.join(named[:shown])}{more}"


# -- what the picture draws ------------------------------------------------------------------------

Spread = Literal["s", "U"]
"""Error bars: a cell's own standard deviation, or the expanded uncertainty of its mean."""


@dataclass(frozen=True, slots=True)
class Bar:
    """A cell as the picture shows it, in mm: mean, half the error bar, the readings themselves."""

    part: int
    person: int
    mean_mm: float
    half_mm: float
    values_mm: tuple[float, ...]


def bars(result: StudyResult, spread: Spread, relative: bool) -> tuple[Bar, ...]:
    """Return the cells that were read; ``relative`` counts from each part's own mean.

    A cell's U is k s_r / sqrt(n) with the study's repeatability s_r and Student's t for its degrees
    of freedom (JCGM 100:2008, 4.2.3 and G.3); without an analysis it has none.
    """
    out = []
    for index, cell in enumerate(result.cells):
        part, person = divmod(index, len(result.view.study.people))
        if cell.repeats is None:
            continue
        zero = _part_mean(result, cell.part) if relative else 0.0
        values = tuple(v - zero for v in cell.repeats.values)
        half = _half(result, cell.repeats, spread)
        out.append(Bar(part, person, cell.repeats.mean - zero, half, values))
    return tuple(out)


def _part_mean(result: StudyResult, part: str) -> float:
    means = [c.repeats.mean for c in result.cells if c.part == part and c.repeats is not None]
    return mean_of(means)


def _half(result: StudyResult, repeats: Repeats, spread: Spread) -> float:
    if spread == "s":
        return repeats.sd or 0.0
    return 0.0 if result.one is None else result.one.k * result.one.sd / math.sqrt(repeats.n)
