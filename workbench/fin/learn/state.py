"""What is known of a bench: the studs' travels, their leads and backlash, the blade's edges.

The state is a mean and a covariance over

    travels (3, mm) | lead errors (3, shares) | backlash (3, turns) | edge offsets (mm)

and the last direction of each stud. Lists of floats, never changed in place. The covariance is kept
in two parts, since turns change that of the travels alone: theirs with every value, and the lower
half of the others', row after row in one list, which one pass updates.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import lru_cache
from operator import itemgetter
from typing import Literal

from workbench.errors import InputError
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.linalg import Three
from workbench.measure.units import MM_PER_INCH

# -- before anything is learnt ---------------------------------------------------------------------

PROBABILITIES = ("gap_p", "gap_again_p", "misread_p", "wrong_turn_p", "other_p")


@dataclass(frozen=True, slots=True)
class Imperfections:
    """Standard uncertainties and probabilities of one bench (common practice, no source).

    ``lead`` is a share of the lead and ``drift`` how much it changes from job to job; ``backlash``
    and ``turn`` are turns. ``vertex_mm`` is how well the outline's corners are known, ``seat_mm``
    how a blade pushed home scatters at each stud, ``take_mm`` a caliper's scatter. ``gap_p`` is how
    often a blade is not home at one stud, ``gap_mm`` by how much.

    Raises:
        InputError: a probability outside 0 to 1, or nothing left of them for a good seating.
    """

    lead: float = 0.0175
    backlash: float = 1 / 32
    u_backlash: float = 0.018
    vertex_mm: float = 0.01 * MM_PER_INCH
    turn: float = 1 / 48
    move_share: float = 0.01
    seat_mm: float = 0.0004 * MM_PER_INCH
    take_mm: float = 0.0007 * MM_PER_INCH
    gap_p: float = 0.10
    gap_again_p: float = 0.02
    gap_mm: float = 0.0065 * MM_PER_INCH
    u_gap_mm: float = 0.002 * MM_PER_INCH
    misread_p: float = 0.005
    misread_mm: float = 0.02 * MM_PER_INCH
    wrong_turn_p: float = 0.005
    wrong_turn: float = 0.125
    other_p: float = 0.001
    other_mm: float = 0.05 * MM_PER_INCH
    drift: float = 0.0005

    def __post_init__(self) -> None:
        for field in PROBABILITIES:
            p = getattr(self, field)
            if not (math.isfinite(p) and 0.0 <= p < 1.0):
                raise InputError(field, p, "a probability: 0 or more and below 1")
        for again in (False, True):
            self.all_well_p(again, 3, 3)

    def all_well_p(self, again: bool, turned: int, readings: int) -> float:
        """Return how likely a seating is good, after so many studs turned, read so many times.

        ``again``: the blade was pushed home on purpose.

        Raises:
            InputError: what may be the matter leaves nothing for it.
        """
        field, gap_p = ("gap_again_p", self.gap_again_p) if again else ("gap_p", self.gap_p)
        matters = [gap_p, self.other_p, *[self.wrong_turn_p] * turned, *[self.misread_p] * readings]
        well = 1.0 - math.fsum(matters)
        if well <= 0.0:
            raise InputError(
                field, gap_p,
                f"together with other_p, {turned} times wrong_turn_p and {readings} times "
                f"misread_p less than 1, not {math.fsum(matters):g}",
            )  # fmt: skip
        return well

    @property
    def is_exact(self) -> bool:
        """Whether the bench is just as it was told, and turned and seated without error."""
        return not (self.lead or self.u_backlash or self.vertex_mm or self.turn or self.seat_mm)


ORDINARY = Imperfections()
"""A bench of which nothing better is known."""


# -- the state -------------------------------------------------------------------------------------

Direction = Literal["in", "out"] | None
UNKNOWN: tuple[Direction, Direction, Direction] = (None, None, None)
SETTLED: tuple[Direction, Direction, Direction] = ("in", "in", "in")

TRAVELS, LEADS, BACKLASH, OFFSETS = 0, 3, 6, 9
"""Where each kind begins in the state."""

ANYWHERE_MM = 10.0
"""Standard uncertainty of a travel before the first reading of a job."""

Picked = Callable[[Sequence[float]], tuple[float, ...]]
"""Picks values out of a list."""


def _at(i: int, j: int) -> int:
    """Return the place of row i and column j, i >= j, in a lower half."""
    return i * (i + 1) // 2 + j


@lru_cache(maxsize=64)
def spread(count: int) -> tuple[Picked, Picked]:
    """Return what spreads so many values over a lower half: by its rows, and by its columns."""
    rows = [i for i in range(count) for _ in range(i + 1)]
    columns = [j for i in range(count) for j in range(i + 1)]
    return itemgetter(*rows), itemgetter(*columns)


@lru_cache(maxsize=256)
def _column(count: int, k: int) -> Picked:
    """Return what picks a whole column out of a lower half with so many rows."""
    return itemgetter(*[_at(max(i, k), min(i, k)) for i in range(count)])


@dataclass(frozen=True, slots=True)
class State:
    """Mean (n), covariance and the studs' last directions.

    ``by_travel`` (3 x n) is the covariance of each travel with every value, ``rest`` the lower half
    of the covariance of all values but the travels.
    """

    mean: list[float]
    by_travel: list[list[float]]
    rest: list[float]
    directions: tuple[Direction, ...]

    def column(self, place: int) -> list[float]:
        """Return the covariance (n) of one value with each."""
        one, two, three = self.by_travel
        if place < LEADS:
            return self.by_travel[place]
        own = _column(len(self.mean) - LEADS, place - LEADS)(self.rest)
        return [one[place], two[place], three[place], *own]

    def variance(self, place: int) -> float:
        """Return the variance of one value."""
        if place < LEADS:
            return self.by_travel[place][place]
        return self.rest[_at(place - LEADS, place - LEADS)]

    @property
    def cov(self) -> list[list[float]]:
        """The whole covariance (n x n)."""
        return [self.column(place) for place in range(len(self.mean))]

    @property
    def travels_mm(self) -> list[float]:
        """The studs' travels."""
        return self.mean[TRAVELS:LEADS]

    @property
    def offsets_mm(self) -> list[float]:
        """The edges' offsets from the outline."""
        return self.mean[OFFSETS:]


def prior(widths: Sequence[float], known: Imperfections) -> State:
    """Return what is known before anything is learnt.

    ``widths`` are the uncertainties of the edges' offsets over that of a corner.
    """
    variances = (
        [known.lead**2] * 3
        + [known.u_backlash**2] * 3
        + [(width * known.vertex_mm) ** 2 for width in widths]
    )
    mean = [0.0] * 6 + [known.backlash] * 3 + [0.0] * len(widths)
    rest = [0.0] * _at(len(variances), 0)
    for i, variance in enumerate(variances):
        rest[_at(i, i)] = variance
    return State(mean, _anywhere(len(mean)), rest, UNKNOWN)


def _anywhere(count: int) -> list[list[float]]:
    """Return the covariance of travels that may be anywhere with so many values."""
    rows = [[0.0] * count for _ in range(LEADS)]
    for i, row in enumerate(rows):
        row[i] = ANYWHERE_MM**2
    return rows


def new_job(
    state: State, travels_mm: Sequence[float], settled: bool, known: Imperfections
) -> State:
    """Return the state at the start of a job: travels anywhere about these, leads drifted a bit."""
    mean = [*travels_mm, *state.mean[LEADS:]]
    rest = list(state.rest)
    for i in range(BACKLASH - LEADS):
        rest[_at(i, i)] += known.drift**2
    return State(mean, _anywhere(len(mean)), rest, SETTLED if settled else UNKNOWN)


def with_studs_of(state: State, known: State | None) -> State:
    """Return a state whose leads and backlash are those of another, unknown to all the rest."""
    if known is None:
        return state
    mean = [*state.mean[:LEADS], *known.mean[LEADS:OFFSETS], *state.mean[OFFSETS:]]
    by_travel = [[*row[:LEADS], *[0.0] * 6, *row[OFFSETS:]] for row in state.by_travel]
    rest = known.rest[: _at(OFFSETS - LEADS, 0)]
    for i in range(OFFSETS - LEADS, len(mean) - LEADS):
        rest += [0.0] * 6 + state.rest[_at(i, OFFSETS - LEADS) : _at(i + 1, 0)]
    return State(mean, by_travel, rest, state.directions)


def without_stud(state: State, stud: int, known: Imperfections) -> State:
    """Return a state in which a stud's lead and backlash are as at first."""
    fresh = {
        LEADS + stud: (0.0, known.lead**2),
        BACKLASH + stud: (known.backlash, known.u_backlash**2),
    }
    mean = [fresh[i][0] if i in fresh else m for i, m in enumerate(state.mean)]
    by_travel = [[0.0 if i in fresh else v for i, v in enumerate(row)] for row in state.by_travel]
    rest: list[float] = []
    for i in range(len(mean) - LEADS):
        for j, v in enumerate(state.rest[_at(i, 0) : _at(i + 1, 0)]):
            touched = LEADS + i in fresh or LEADS + j in fresh
            rest.append(v if not touched else fresh[LEADS + i][1] if i == j else 0.0)
    directions = tuple(None if j == stud else d for j, d in enumerate(state.directions))
    return State(mean, by_travel, rest, directions)


@dataclass(frozen=True, slots=True)
class TurnEffect:
    """What turns do to the travels: mean moves (mm), derivatives by lead error and backlash, noise.

    ``moved_mm`` = lead (1 + e) (n - L b); ``by_lead_mm`` and ``by_backlash_mm`` are its derivatives
    and ``variances_mm2`` what the hand and an unknown last direction add.
    """

    moved_mm: Three
    by_lead_mm: Three
    by_backlash_mm: Three
    variances_mm2: Three


def reversal(last: Direction, turns: float) -> float:
    """Return the probability that a turn takes up the backlash first."""
    if turns == 0.0:
        return 0.0
    if last is None:
        return 0.5
    return 0.0 if (turns > 0.0) == (last == "in") else 1.0


def effect_of(state: State, rig: Rig, turns: Sequence[float], known: Imperfections) -> TurnEffect:
    """Return what these turns (positive is in) do to the travels."""
    rows = []
    for i, (stud, n) in enumerate(zip(rig.studs, turns, strict=True)):
        e, b = state.mean[LEADS + i], state.mean[BACKLASH + i]
        var_b = state.variance(BACKLASH + i)
        p = reversal(state.directions[i], n)
        lost = p if n > 0.0 else -p
        if abs(lost * b) > abs(n):  # a turn smaller than the backlash moves nothing
            lost = n / b
        real = n - lost * b
        lead = stud.lead_mm * (1.0 + e)
        spread = known.turn**2 + p * (1.0 - p) * (b * b + var_b) if n else 0.0
        rows.append((lead * real, stud.lead_mm * real, -lead * lost, lead * lead * spread))
    coupled = (known.move_share * max(abs(row[0]) for row in rows)) ** 2
    one, two, three = rows
    return TurnEffect(
        (one[0], two[0], three[0]),
        (one[1], two[1], three[1]),
        (one[2], two[2], three[2]),
        (one[3] + coupled, two[3] + coupled, three[3] + coupled),
    )


def turned(state: State, rig: Rig, turns: Sequence[float], known: Imperfections) -> State:
    """Return the state after these turns, before anything is read."""
    if not any(turns):
        return state
    effect = effect_of(state, rig, turns, known)
    mean = list(state.mean)
    by = list(zip(effect.by_lead_mm, effect.by_backlash_mm, strict=True))
    travels = []
    for i, ((a, b), row) in enumerate(zip(by, state.by_travel, strict=True)):
        if not (a or b):
            travels.append(list(row))
            continue
        mean[i] += effect.moved_mm[i]
        leads, backlash = state.column(LEADS + i), state.column(BACKLASH + i)
        travels.append([t + a * x + b * y for t, x, y in zip(row, leads, backlash, strict=True)])
    # The rows above hold the new travels against all old values; now these against themselves.
    for row in travels:
        for i, (a, b) in enumerate(by):
            row[i] += a * row[LEADS + i] + b * row[BACKLASH + i]
    for i in range(3):
        travels[i][i] += effect.variances_mm2[i]
    directions = tuple(
        last if n == 0.0 else "in" if n > 0.0 else "out"
        for last, n in zip(state.directions, turns, strict=True)
    )
    return State(mean, travels, state.rest, directions)
