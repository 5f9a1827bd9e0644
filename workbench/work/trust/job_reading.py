"""One reading of a job: its repeats, how sure they are and what they mean."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Literal

from workbench.errors import InputError
from workbench.fin.plan.guidance import COVERAGE
from workbench.fin.plan.plan import is_within
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.method import Method
from workbench.frozen import dataclass
from workbench.measure.budget import ASSUMED, RESOLUTION_MM
from workbench.measure.display import FINE, change_between, change_text, fine_text
from workbench.measure.doubtful import Doubts, doubtful_repeats
from workbench.measure.repeats import Repeats, Scatter, summarise
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.trust.reading_budget import Taken

CLEAR = "real change"
TOO_SMALL = "below what we can measure"

Nearness = Literal["sure", "unsure", "out"]

NEARNESS_SIGNS: dict[Nearness, tuple[str, str]] = {
    "sure": ("=", "within"),
    "unsure": ("≈", "unsure"),
    "out": ("!", "out"),
}
"""Sign and short word for each state of a reading against its tolerance."""

WITHIN: dict[Nearness, str] = {
    "sure": "on target",
    "unsure": "on target, within caliper doubt",
    "out": "out",
}
"""The same states in words."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One value less another (mm), its expanded uncertainty (k = 2) and if it is a real change.

    ``ends_mm`` are the value that it begins at and the one it leads to, where both are shown.
    """

    mm: float
    expanded_mm: float
    clear: bool
    ends_mm: tuple[float, float] | None = None

    @property
    def glance(self) -> str:
        """Whether it means anything, in as few words as will do."""
        return CLEAR if self.clear else TOO_SMALL

    @property
    def short(self) -> str:
        """The same for a narrow panel."""
        return CLEAR if self.clear else "not measurable"

    def figures(self, unit: Unit) -> str:
        """Return the difference with its expanded uncertainty."""
        if self.ends_mm is None:
            off = change_text(self.mm, unit, FINE[unit])
        else:
            off = change_between(*self.ends_mm, unit)
        return f"{off} {unit} (U {fine_text(self.expanded_mm, unit)})"

    def words(self, unit: Unit) -> str:
        """Return figures and glance in one sentence without its full stop."""
        return f"{self.figures(unit)}, {self.glance}"


def change_of(
    change_mm: float, u_mm: float, ends_mm: tuple[float, float] | None = None
) -> Difference:
    """Return a change wanted of a reading, against the expanded uncertainty of that reading.

    ``u_mm`` is the reading's standard uncertainty, more than 0; the target itself is exact. Raises
    InputError for one that is not.
    """
    expanded_mm = _expanded_mm(u_mm)
    return Difference(change_mm, expanded_mm, abs(change_mm) > expanded_mm, ends_mm)


def _expanded_mm(u_mm: float) -> float:
    if not 0.0 < u_mm < math.inf:
        raise InputError("standard uncertainty", u_mm, "a finite number more than 0")
    return COVERAGE * u_mm


def difference_of(a_mm: float, u_a_mm: float, b_mm: float, u_b_mm: float) -> Difference:
    """Return a less b, each with its standard uncertainty (mm, more than 0), taken as independent.

    What both share, such as one caliper's error, would make the difference better known than this.
    Raises InputError for an uncertainty that is not more than 0.
    """
    return change_of(a_mm - b_mm, math.hypot(u_a_mm, u_b_mm), (b_mm, a_mm))


def nearness(off_mm: float, tolerance_mm: float, u_mm: float) -> Nearness:
    """Return how a reading meets its tolerance: on target, on it within caliper doubt, or out.

    It is sure where it lies inside by its expanded uncertainty or more (JCGM 106:2012, 8.3.2).
    """
    if not is_within(off_mm, tolerance_mm):
        return "out"
    return "sure" if tolerance_mm - abs(off_mm) >= _expanded_mm(u_mm) else "unsure"


def accepted_mm(tolerance_mm: float, guarded_u_mm: float | None) -> float:
    """Return how far off a reading may be and be accepted (mm); less than 0: no reading can be.

    With a guard band, whose reading has the standard uncertainty ``guarded_u_mm``, the tolerance is
    drawn in by its expanded uncertainty (JCGM 106:2012, 8.3.2.2); None is no guard band (8.2).
    """
    if guarded_u_mm is None:
        return tolerance_mm
    return tolerance_mm - COVERAGE * guarded_u_mm


LEAST_GOAL_MM = 0.001
"""Less than this is nothing to aim within: a guard band fills the tolerance."""


@dataclass(frozen=True, slots=True)
class Line:
    """One reading of the job as the bench shows it (mm), at 20 degrees where one was stated.

    ``latest``: this round's repeats as kept, ``taken`` what they come to, ``struck`` those of this
    round that were struck out with a reason. ``guard``: whether a guard band is on. ``seen_mm``:
    the least and the largest this shop read so on this blade, where nothing else tells what to
    expect. ``locked_mm``: what was read once the clamp bolts were tight for good. ``left_mm``: in a
    re-check, the reading that the ski left with.
    """

    method_id: str
    method: Method
    usual_mm: tuple[float, float]
    received_mm: float | None
    latest: tuple[rows.Reading, ...]
    now_mm: float | None
    u_mm: float | None
    target_mm: float | None
    tolerance_mm: float
    target: rows.Target | None
    taken: Taken | None = None
    received_u_mm: float | None = None
    struck: tuple[rows.Reading, ...] = ()
    guard: bool = False
    seen_mm: tuple[float, float] | None = None
    locked_mm: float | None = None
    left_mm: float | None = None

    @property
    def final_mm(self) -> float | None:
        """The number the ski leaves with: as locked where that was read, else the last reading."""
        return self.now_mm if self.locked_mm is None else self.locked_mm

    @property
    def moved_by_lock_mm(self) -> float | None:
        """As locked less the reading before it; None without both.

        That is what clamping for good moved or, in a re-check, what moved since the ski left.
        """
        if self.locked_mm is None or self.before_lock_mm is None:
            return None
        return self.locked_mm - self.before_lock_mm

    @property
    def before_lock_mm(self) -> float | None:
        """What a reading with the clamp bolts tight is held against; None where nothing is."""
        return self.now_mm if self.left_mm is None else self.left_mm

    @property
    def repeats(self) -> Repeats | None:
        """The repeats of this round with mean, scatter and spread; None before the first."""
        return summarise(self.taken.values_mm) if self.taken is not None else None

    @property
    def corrections_mm(self) -> tuple[float, ...]:
        """What was added to each repeat, as kept, to bring it to 20 degrees."""
        values = self.taken.values_mm if self.taken is not None else ()
        return tuple(v - r.mm for v, r in zip(values, self.latest, strict=True))

    @property
    def doubts(self) -> Doubts:
        """Which repeats are doubtful (by their place), and by which test.

        Two are held against the shop's own scatter where a study measured it; a method that states
        its whole uncertainty scatters by no more than that.
        """
        if self.taken is None:
            return Doubts((), "no reading yet")
        figures, u = self.taken.figures, self.taken.u_mm
        step = figures.resolution.mm if figures else RESOLUTION_MM
        study = figures.scatter if figures else None
        scatter = study.scatter if study is not None else ASSUMED
        scatter = Scatter(u, math.inf) if u is not None else scatter
        return doubtful_repeats(self.taken.values_mm, resolution=step, scatter=scatter)

    @property
    def since_received(self) -> Difference | None:
        """Now less as received, once there was a round; None before that or without both."""
        if self.received_mm is None or self.now_mm is None:
            return None
        if not self.received_u_mm or not self.u_mm:
            return None
        return difference_of(self.now_mm, self.u_mm, self.received_mm, self.received_u_mm)

    @property
    def change_wanted(self) -> Difference | None:
        """Target less now, against the uncertainty of now; None without both."""
        if self.off_mm is None or not self.u_mm:
            return None
        ends = None
        if self.now_mm is not None and self.target_mm is not None:
            ends = (self.now_mm, self.target_mm)
        return change_of(-self.off_mm, self.u_mm, ends)

    @property
    def nearness(self) -> Nearness | None:
        """How the reading compares with its tolerance; None without a target or a reading."""
        if self.off_mm is None or not self.u_mm:
            return None
        return nearness(self.off_mm, self.tolerance_mm, self.u_mm)

    @property
    def accepted_mm(self) -> float:
        """How far off the reading may be: its tolerance, less its guard band where one is on."""
        return accepted_mm(self.tolerance_mm, self.u_mm if self.guard else None)

    @property
    def aimed_within_mm(self) -> float:
        """How near the turns are to bring it; the tolerance where a guard band leaves nothing."""
        return self.accepted_mm if self.accepted_mm > LEAST_GOAL_MM else self.tolerance_mm

    @property
    def off_mm(self) -> float | None:
        """Now minus target, or None where one of them is missing."""
        if self.now_mm is None or self.target_mm is None:
            return None
        return self.now_mm - self.target_mm


def readings_now(lines: Iterable[Line]) -> list[Reading]:
    """Return what was read in this round, as a pose is fitted to it."""
    return [
        Reading(line.method, line.now_mm, line.u_mm)
        for line in lines
        if line.now_mm is not None and line.u_mm is not None
    ]
