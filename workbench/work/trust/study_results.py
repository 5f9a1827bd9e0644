"""A repeatability study as kept, and what it says: its cells, its variation by source."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache
from typing import Literal

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure.gauge_study import GaugeAnova, by_anova
from workbench.measure.repeats import Repeats, mean_of, summarise
from workbench.records.book import Book
from workbench.records.store import rows
from workbench.work.text.local_time import local
from workbench.work.text.words import clean
from workbench.work.trust.reading_budget import StudyScatter
from workbench.work.trust.shop_policy import near_of

NO_SCATTER_MM = 1e-9
"""Below this a standard deviation is what arithmetic left behind, not scatter."""

REACH = 1.5
"""How many times smaller or larger than what was read so far a reading still is nothing odd: the
parts of a study differ, and a narrower range would tell what was read before."""

State = Literal["planned", "under way", "complete", "struck out"]


@dataclass(frozen=True, slots=True)
class Turn:
    """Whose turn it is to read what, for which time (from 1)."""

    part: str
    person: str
    trial: int

    @property
    def words(self) -> str:
        """The turn in words; names as typed."""
        return f"{self.person} on {self.part}, trial {self.trial}"


@dataclass(frozen=True, slots=True)
class StudyView:
    """A study as it is: its plan, all its readings and what is still to read.

    ``number`` counts the book's studies from 1, oldest first. ``readings`` holds the struck ones
    too. ``missing`` are the turns to come in their order; ``near_mm`` is about what will be read.
    """

    number: int
    study: rows.Study
    readings: tuple[rows.StudyReading, ...]
    missing: tuple[Turn, ...]
    near_mm: float | None = None

    @property
    def live(self) -> tuple[rows.StudyReading, ...]:
        """The readings that stand, oldest first."""
        return tuple(r for r in self.readings if r.struck is None)

    @property
    def total(self) -> int:
        """How many readings the plan has."""
        return len(self.study.sequence)

    @property
    def done(self) -> int:
        """How many turns of the plan have their reading."""
        return self.total - len(self.missing)

    @property
    def due(self) -> Turn | None:
        """The turn that comes now; None where none does."""
        return self.missing[0] if self.missing and self.study.struck is None else None

    @property
    def state(self) -> State:
        """Where the study is, in a word."""
        if self.study.struck is not None:
            return "struck out"
        if not self.missing:
            return "complete"
        return "under way" if self.done else "planned"

    @property
    def usual_mm(self) -> tuple[float, float] | None:
        """The range (mm) in which a reading is nothing odd; None before anything is known."""
        known = [r.mm for r in self.live if r.mm > 0.0]
        known += [self.near_mm] if self.near_mm else []
        return (min(known) / REACH, max(known) * REACH) if known else None


def study_as_is(book: Book, number: int, study: rows.Study) -> StudyView:
    """Return the study of this number as it is."""
    readings = book.study_readings(study.id)
    read = {(r.part, r.person, r.trial) for r in readings if r.struck is None}
    missing = tuple(
        Turn(study.parts[i], study.people[j], k + 1)
        for i, j, k in study.sequence
        if (study.parts[i], study.people[j], k) not in read
    )
    return StudyView(number, study, readings, missing, near_of(study.id).kept_in(book))


# -- what it says ----------------------------------------------------------------------------------


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

    ``trouble`` says why there is no analysis.
    """

    view: StudyView
    cells: tuple[Cell, ...]
    trouble: str = ""
    analysis: GaugeAnova | None = None

    @property
    def mixed(self) -> bool:
        """Whether readings of another unit than the study's stand in it."""
        return any(r.unit != self.view.study.unit for r in self.view.live)

    @property
    def without_scatter(self) -> bool:
        """Whether one person's readings of one part always agreed to the last digit."""
        return self.analysis is not None and self.analysis.one_person.sd < NO_SCATTER_MM

    def sources(self) -> tuple[Source, ...]:
        """The variation by source; empty without an analysis."""
        if self.analysis is None:
            return ()
        g = self.analysis.gauge
        inside = {"ev": g.ev, "av": g.av, "interaction": g.interaction, "grr": g.grr}
        out = []
        for key, sd in (inside | ({} if g.pv is None else {"pv": g.pv}) | {"tv": g.tv}).items():
            kept = 0.0 if sd < NO_SCATTER_MM else sd
            told = key in inside and g.grr >= NO_SCATTER_MM
            part = (sd / g.grr) ** 2 if told else None
            out.append(Source(key, kept, g.contribution(kept) / 100, part))
        return tuple(out)


def result_of(view: StudyView) -> StudyResult:
    """Return what a study says as it is; while it is incomplete, its cells alone.

    Struck readings do not count. Nothing is raised for what a study lacks: ``trouble`` tells it.
    """
    cells = tuple(_cells(view))
    try:
        _check_complete(view)
        people = len(view.study.people)
        values = [c.repeats.values for c in cells if c.repeats is not None]
        analysis = by_anova([values[i : i + people] for i in range(0, len(values), people)])
    except InputError as why:
        return StudyResult(view, cells, str(why))
    return StudyResult(view, cells, "", analysis)


def _cells(view: StudyView) -> Iterable[Cell]:
    for part in view.study.parts:
        for person in view.study.people:
            values = [r.mm for r in view.live if (r.part, r.person) == (part, person)]
            yield Cell(part, person, summarise(values) if values else None)


def _check_complete(view: StudyView) -> None:
    """Raise an InputError unless every cell of the plan has its trials, all in the study's unit."""
    study, live = view.study, view.live
    odd = [r for r in live if r.unit != study.unit]
    if odd:
        first = f"{odd[0].person} on {odd[0].part}, {odd[0].text} {odd[0].unit}"
        more = f" and {len(odd) - 1} more" if len(odd) > 1 else ""
        accepted = f"every reading in {study.unit}, as planned"
        raise InputError("units of the test", f"{first}{more}", accepted)
    if not live:
        raise InputError("study", "no reading yet", "readings of every person on every part")
    if view.missing:
        raise InputError("study", f"{view.done} of {view.total} readings", still_to_read(view))
    count = Counter((r.part, r.person) for r in live)
    for part, person in count - Counter(
        {(p, q): study.trials for p in study.parts for q in study.people}
    ):
        # As another program, or two benches apart, may leave them.
        found = f"{count[part, person]} of {study.trials} trials"
        accepted = f"{study.trials} trials in every cell of the plan"
        raise InputError(f"study, {person} on {part}", found, accepted)


def still_to_read(view: StudyView, shown: int = 4) -> str:
    """Name the cells that lack readings, each with how many of its trials are there."""
    lacking = Counter((turn.part, turn.person) for turn in view.missing)
    named = [
        f"{person} on {part} ({view.study.trials - lacking[part, person]} of {view.study.trials})"
        for part, person in sorted(lacking, key=lambda c: (view.study.parts.index(c[0]), c[1]))
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
    if result.analysis is None:
        return 0.0
    one = result.analysis.one_person
    return one.k * one.sd / math.sqrt(repeats.n)


# -- the shop's own scatter of a reading, as its finished studies measured it ---------------------


@lru_cache(maxsize=1024)
def scatter_of_study(book: Book, study_id: str, _mark: str) -> StudyScatter | None:
    """Return what a study says; None for one that is not finished, or shows no scatter at all: the
    display hides it.

    What was worked out is kept by the study and the mark of its readings, since every look at a job
    asks.
    """
    view = study_as_is(book, 0, book.study(study_id))
    if view.missing or view.study.struck is not None:
        return None
    result = result_of(view)
    if result.analysis is None or result.without_scatter:
        return None
    last = max(view.live, key=lambda r: r.id)
    when = f"{local(last.at):%Y-%m-%d}, {len(view.live)} readings"
    source = f"repeatability test '{clean(view.study.name)}' ({when})"
    of = view.study.what.strip().casefold()
    return StudyScatter(of, result.analysis.one_person, source, last.id)
