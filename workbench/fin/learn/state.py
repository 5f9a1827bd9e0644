"""What is known of a bench: the studs' travels, their leads and backlash, the blade's edges.

The state is a mean and a covariance over

    travels (3, mm) | lead errors (3, shares) | backlash (3, turns) | edge offsets (mm)

and the last direction of each stud. Lists of floats, never changed in place.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from workbench.fin.learn.imperfections import Imperfections
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass

Direction = Literal["in", "out"] | None
UNKNOWN: tuple[Direction, Direction, Direction] = (None, None, None)
SETTLED: tuple[Direction, Direction, Direction] = ("in", "in", "in")

TRAVELS, LEADS, BACKLASH, OFFSETS = 0, 3, 6, 9
"""Where each kind begins in the state."""

ANYWHERE_MM = 10.0
"""Standard uncertainty of a travel before the first reading of a job."""

Three = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class State:
    """Mean, covariance and the studs' last directions."""

    mean: list[float]
    cov: list[list[float]]
    directions: tuple[Direction, ...]

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
        [ANYWHERE_MM**2] * 3
        + [known.lead**2] * 3
        + [known.u_backlash**2] * 3
        + [(width * known.vertex_mm) ** 2 for width in widths]
    )
    mean = [0.0] * 6 + [known.backlash] * 3 + [0.0] * len(widths)
    n = len(variances)
    cov = [[variances[i] if i == j else 0.0 for j in range(n)] for i in range(n)]
    return State(mean, cov, UNKNOWN)


def new_job(
    state: State, travels_mm: Sequence[float], settled: bool, known: Imperfections
) -> State:
    """Return the state at the start of a job: travels anywhere about these, leads drifted a bit."""
    n = len(state.mean)
    mean = [*travels_mm, *state.mean[LEADS:]]
    cov = []
    for i in range(n):
        if i < LEADS:
            row = [0.0] * n
            row[i] = ANYWHERE_MM**2
        else:
            mirror = state.cov
            row = [0.0] * 3 + [0.5 * (mirror[i][j] + mirror[j][i]) for j in range(LEADS, n)]
            if i < BACKLASH:
                row[i] += known.drift**2
        cov.append(row)
    return State(mean, cov, SETTLED if settled else UNKNOWN)


def with_studs_of(state: State, known: State | None) -> State:
    """Return a state whose leads and backlash are those of another, unknown to all the rest."""
    if known is None:
        return state
    studs = range(LEADS, OFFSETS)
    mean = [known.mean[i] if i in studs else m for i, m in enumerate(state.mean)]
    cov = [
        [
            known.cov[i][j] if i in studs and j in studs else 0.0 if i in studs or j in studs else v
            for j, v in enumerate(row)
        ]
        for i, row in enumerate(state.cov)
    ]
    return State(mean, cov, state.directions)


def without_stud(state: State, stud: int, known: Imperfections) -> State:
    """Return a state in which a stud's lead and backlash are as at first."""
    fresh = {
        LEADS + stud: (0.0, known.lead**2),
        BACKLASH + stud: (known.backlash, known.u_backlash**2),
    }
    mean = [fresh[i][0] if i in fresh else m for i, m in enumerate(state.mean)]
    cov = [
        [
            v if i not in fresh and j not in fresh else fresh[i][1] if i == j else 0.0
            for j, v in enumerate(row)
        ]
        for i, row in enumerate(state.cov)
    ]
    directions = tuple(None if j == stud else d for j, d in enumerate(state.directions))
    return State(mean, cov, directions)


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
        var_b = state.cov[BACKLASH + i][BACKLASH + i]
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
    cov = state.cov
    mean = list(state.mean)
    travels = []
    for i, (a, b) in enumerate(zip(effect.by_lead_mm, effect.by_backlash_mm, strict=True)):
        mean[i] += effect.moved_mm[i]
        travels.append(
            [
                t + a * x + b * y
                for t, x, y in zip(cov[i], cov[LEADS + i], cov[BACKLASH + i], strict=True)
            ]
        )
    # Only the travels move: of the other rows, their covariance with the travels alone is new.
    one, two, three = travels
    rows = [
        [p, q, r, *row[LEADS:]]
        for p, q, r, row in zip(one[LEADS:], two[LEADS:], three[LEADS:], cov[LEADS:], strict=True)
    ]
    for row in travels:
        for i, (a, b) in enumerate(zip(effect.by_lead_mm, effect.by_backlash_mm, strict=True)):
            row[i] += a * row[LEADS + i] + b * row[BACKLASH + i]
    for i in range(3):
        travels[i][i] += effect.variances_mm2[i]
    rows = [*travels, *rows]
    directions = tuple(
        last if n == 0.0 else "in" if n > 0.0 else "out"
        for last, n in zip(state.directions, turns, strict=True)
    )
    return State(mean, rows, directions)
