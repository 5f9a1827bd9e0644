"""How sure a reading is: its budget by what it was taken with, the jaw's height included."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import assert_never

from workbench.errors import BenchError
from workbench.fin.plan.uncertainty import reading_outline_u
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import TRAITS, Method
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.budget import (
    REPEATABILITY_MM,
    RESOLUTION_MM,
    TEMPERATURE_HALF_WIDTH_C,
    Budget,
    CaliperFigures,
    Contribution,
    reading_budget_mm,
)
from workbench.measure.calipers import DEPTH_AND_INSIDE_MM, LONGEST_MM, din862_mpe_mm
from workbench.measure.repeats import Repeats, Scatter, mean_of, scatter_of

CONTACT_HEIGHT_U_MM = 0.01
"""Standard uncertainty of the height at which a jaw meets a slanting edge: our default (common
practice, no source)."""

STEEPEST_SLOPE = 5.0
"""Reading per height beyond which a straight-line estimate from one pose says nothing: an edge that
lies almost along the base."""

STATED = "stated for this method"
"""The one part of a budget where the method itself says how sure a reading is."""


@dataclass(frozen=True, slots=True)
class StudyScatter:
    """What a finished study found: the scatter (mm) of one reading by one person of one part.

    ``of`` is what it read, in small letters, ``source`` names it in words, and ``done`` is the id
    of its last reading: it says nothing about what was read before.
    """

    of: str
    scatter: Scatter
    source: str
    done: str


def scatter_for(
    known: Sequence[StudyScatter], method: Method, until: str = ""
) -> StudyScatter | None:
    """Return what the newest study says of readings by this method; None where there is none.

    A study of the method itself goes before one of its quantity, which says nothing of marks read
    by eye. ``until`` is the id of the reading: a study finished after it does not count, so that
    the uncertainty of a reading never changes later. Blank is a reading taken now.
    """
    if not known:  # as in most books: nothing to look through for a million readings
        return None
    before = [s for s in known if not until or s.done < until]
    exact = [s for s in before if s.of == method.name.casefold()]
    if not exact and not method.is_coarse:
        whole = (method.quantity, TRAITS[method.quantity].words)  # of all its methods
        exact = [s for s in before if s.of in whole]
    return max(exact, key=lambda s: s.done, default=None)


def origin_words(measured: StudyScatter | None, repeats: Repeats) -> str:
    """Return where the scatter of these repeats comes from."""
    found = scatter_of(repeats, None if measured is None else measured.scatter)
    these = f"these {repeats.n} repeats"
    if found is None:
        return f"default: {REPEATABILITY_MM:g} mm; no repeatability test of this reading before it"
    if measured is None:
        return these
    if found[1] == "unlike":
        return f"{these}: they scatter more than {measured.source} explains"
    return measured.source if found[1] == "study" else f"{measured.source}, with {these}"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a budget (mm) and where it comes from, in words."""

    mm: float
    origin: str


@dataclass(frozen=True, slots=True)
class Figures:
    """What a reading's budget takes from the caliper, the temperature and the shop's own studies.

    ``caliper`` names it, in words. ``zero_mm`` is a half width. ``warmth`` are the parts that
    remain after the correction to 20 degrees; None takes the default half width instead.
    ``scatter`` is what a study found before the reading, if there was one.
    """

    caliper: str
    resolution: Figure
    mpe: Figure
    zero_mm: Figure
    warmth: tuple[Contribution, ...] | None = None
    warmth_origin: str = f"nobody looked: within {TEMPERATURE_HALF_WIDTH_C:g} °C of 20 °C"
    scatter: StudyScatter | None = None

    @property
    def origins(self) -> tuple[tuple[str, str], ...]:
        """By the name of the budget's part: where its figure comes from."""
        return (
            ("resolution", self.resolution.origin),
            ("caliper error", self.mpe.origin),
            ("zero and gauge block", self.zero_mm.origin),
            ("temperature", self.warmth_origin),
        )


def default_figures(
    length_mm: float, caliper: str = "no caliper named", method: Method | None = None
) -> Figures:
    """Return the figures of a reading that no caliper of the register is known for.

    ``method`` tells with which part of the caliper it is read; left out it is the jaws.
    """
    mpe = Figure(din862_mpe_mm(min(abs(length_mm), LONGEST_MM)), "default: DIN 862, digital")
    return Figures(
        caliper,
        Figure(RESOLUTION_MM, "default: 0.0005 in"),
        by_part(mpe, method),
        Figure(RESOLUTION_MM / 2, "default: half a step"),
    )


def by_part(outside: Figure, method: Method | None) -> Figure:
    """Return the permissible error of the caliper's part that a method is read with.

    ``outside`` is that of an outside measurement, with the jaws.
    """
    if method is None or method.is_coarse:
        return outside
    part = method.read_with
    if part == "tips" or part == "flat":
        return outside
    if part == "rod" or part == "step":
        words = "the depth rod" if part == "rod" else "the step"
        added = f"{DEPTH_AND_INSIDE_MM:g} mm more with {words}"
        return Figure(outside.mm + DEPTH_AND_INSIDE_MM, f"{outside.origin}, {added}")
    assert_never(part)


def worst_of(each: Sequence[Figures]) -> Figures:
    """Return the figures of a mean of repeats taken with several calipers: the worst of each kind.

    Honest and simple: what averages out between calipers is not known, so nothing is taken to.
    A repeat without a temperature takes the default half width for all of them. The scatter is that
    of the study that was known to the last.
    """
    if len(each) == 1:
        return each[0]
    names = list(dict.fromkeys(f.caliper for f in each))
    warmest = max(each, key=_warmth_u)
    return Figures(
        " and ".join(names),
        max((f.resolution for f in each), key=_mm),
        max((f.mpe for f in each), key=_mm),
        max((f.zero_mm for f in each), key=_mm),
        warmest.warmth,
        warmest.warmth_origin,
        each[-1].scatter,
    )


def _mm(figure: Figure) -> float:
    return figure.mm


def _warmth_u(figures: Figures) -> float:
    if figures.warmth is None:
        return math.inf
    return math.hypot(*(part.component for part in figures.warmth))


@dataclass(frozen=True, slots=True)
class Taken:
    """Repeats (mm) taken with one method; ``u_mm`` is their standard uncertainty where given.

    ``figures`` are those of what they were taken with; None is the default budget.
    """

    method: Method
    values_mm: tuple[float, ...]
    u_mm: float | None = None
    figures: Figures | None = None

    @property
    def known_figures(self) -> Figures:
        """The figures, or the default ones of the method."""
        return self.figures or default_figures(mean_of(self.values_mm), method=self.method)


def budget_of(
    values_mm: Sequence[float], height_slope: float = 0.0, figures: Figures | None = None
) -> Budget:
    """Return the budget of the mean of these repeats (mm).

    ``height_slope`` is how much the reading changes per mm of contact height (mm/mm); it is 0 for a
    depth and where the jaw meets a corner. Without ``figures`` it is the default budget of the
    jaws.
    """
    slope = min(abs(height_slope), STEEPEST_SLOPE)
    if figures is None:
        return reading_budget_mm(values_mm, contact_height_u_mm=CONTACT_HEIGHT_U_MM, slope=slope)
    return reading_budget_mm(
        values_mm,
        CaliperFigures(figures.resolution.mm, figures.mpe.mm, figures.zero_mm.mm),
        scatter=figures.scatter.scatter if figures.scatter is not None else None,
        contact_height_u_mm=CONTACT_HEIGHT_U_MM,
        slope=slope,
        warmth=figures.warmth,
    )


def reading_u_mm(
    values_mm: Sequence[float], height_slope: float = 0.0, figures: Figures | None = None
) -> float:
    """Return the standard uncertainty (mm) of the mean of these repeats: see ``budget_of``."""
    return budget_of(values_mm, height_slope, figures).u


def budgets_of(taken: Sequence[Taken], rig: Rig) -> tuple[Budget, ...]:
    """Return a budget for each of ``taken``; a given u is the whole of it, however many repeats.

    The jaw's height counts by the slope of the edges it meets, at the pose that the readings' own
    means give; where they give none, it does not count.
    """
    return _budgets(tuple(taken), rig)


@lru_cache(maxsize=64)
def _budgets(taken: tuple[Taken, ...], rig: Rig) -> tuple[Budget, ...]:
    """Work the budgets out; kept, since every look at a job asks for those of its rounds."""
    plain = tuple(_budget(t, 0.0) for t in taken)
    if all(t.u_mm is not None or t.method.quantity == "depth" for t in taken):
        return plain
    slopes = _height_slopes(rig, tuple(map(_reading, taken, plain)))
    return tuple(
        budget if t.u_mm is not None else _budget(t, slope)
        for t, budget, slope in zip(taken, plain, slopes, strict=True)
    )


def _budget(taken: Taken, slope: float) -> Budget:
    if taken.u_mm is not None:
        return Budget((Contribution(STATED, taken.u_mm),))
    return budget_of(taken.values_mm, slope, taken.known_figures)


def readings_of(taken: Sequence[Taken], rig: Rig) -> tuple[Reading, ...]:
    """Return a reading for each of ``taken``, with the u of its budget."""
    return tuple(map(_reading, taken, budgets_of(taken, rig)))


def _reading(taken: Taken, budget: Budget) -> Reading:
    # A given u passes as it is: through a budget its last digit could change.
    u = budget.u if taken.u_mm is None else taken.u_mm
    return Reading(taken.method, mean_of(taken.values_mm), u)


OUTLINE = "outline"
"""The part of a budget that comes from how well the blade's outline is known."""


def with_outline(budget: Budget, u_mm: float) -> Budget:
    """Return a budget with the outline's part, where there is one.

    It is no error of the caliper's: it counts where a reading tells the blade's place, and cancels
    where the reading is compared with its own target or with itself before.
    """
    return Budget((*budget.parts, Contribution(OUTLINE, u_mm))) if u_mm > 0.0 else budget


def outline_u_mm(taken: Sequence[Taken], rig: Rig) -> tuple[float, ...]:
    """Return by how much (mm, standard) each of these readings can be off for the outline's sake.

    0 where the outline is taken for exact, or the readings give no pose.
    """
    if rig.blade.outline_u_mm == 0.0:
        return (0.0,) * len(taken)
    try:
        fit = fit_pose(rig.blade, rig.base, readings_of(taken, rig))
    except BenchError:  # said in full when the plan is made
        return (0.0,) * len(taken)
    return tuple(
        reading_outline_u(t.method, seen, rig.blade, fit.pose)
        for t, seen in zip(taken, fit.observations, strict=True)
    )


def _height_slopes(rig: Rig, readings: tuple[Reading, ...]) -> tuple[float, ...]:
    """Return the slopes at the pose of these readings."""
    try:
        fit = fit_pose(rig.blade, rig.base, readings)
    except BenchError:  # said in full when the plan is made
        return (0.0,) * len(readings)
    return tuple(seen.height_slope for seen in fit.observations)
