"""One seating of the blade: what its readings tell, and whether it can be believed.

Each hypothesis (all well; a gap at a stud; a reading misread; a stud turned wrongly; none of these)
makes its own prediction of the travels that the readings show. Bayes' rule weighs them, and the
state after the seating is the mean and covariance of the mixture (Bar-Shalom, Li and Kirubarajan,
Estimation with Applications to Tracking and Navigation, sections 1.4.16 and 11.6; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from workbench.fin.learn.imperfections import Imperfections
from workbench.fin.learn.sight import Sight
from workbench.fin.learn.state import OFFSETS, State
from workbench.fin.linear import determinant, inverse
from workbench.fin.rig import Rig
from workbench.frozen import dataclass

Kind = Literal["all_well", "gap", "misread", "wrong_turn", "none_of_these"]
Square = list[list[float]]


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """What may be the matter with a seating; ``subject`` is the stud's or the reading's place."""

    kind: Kind
    subject: int = -1


@dataclass(frozen=True, slots=True)
class Case:
    """A hypothesis after the readings: its probability, and how it updates the state.

    ``inverse`` is that of the innovation's covariance S (3 x 3, 1/mm^2), ``pull`` is S^-1 times the
    innovation; ``turned_mm2`` is the variance that a wrong turn adds to its stud's travel and
    ``added_mm2`` what a misreading adds to its reading.
    """

    hypothesis: Hypothesis
    probability: float
    inverse: Square
    pull: list[float]
    turned_mm2: float = 0.0
    added_mm2: float = 0.0


@dataclass(frozen=True, slots=True)
class Seating:
    """A seating with all that was concluded from its readings.

    ``before`` is the state that predicted it, ``gains`` (n x 3) that state's covariance with the
    travels read, ``state`` the state after it.
    """

    before: State
    sight: Sight
    cases: tuple[Case, ...]
    gains: list[list[float]]
    state: State

    def probability(self, kind: Kind, subject: int | None = None) -> float:
        """Return the probability of a kind of hypothesis, of one stud or reading where given."""
        return sum(
            c.probability
            for c in self.cases
            if c.hypothesis.kind == kind and subject in (None, c.hypothesis.subject)
        )

    @property
    def likeliest(self) -> Case:
        """The hypothesis with the greatest probability."""
        return max(self.cases, key=lambda c: c.probability)


def seated(
    state: State,
    rig: Rig,
    sight: Sight,
    turns: Sequence[float],
    known: Imperfections,
    again: bool = False,
) -> Seating:
    """Return what the readings of a seating tell, given the state that predicts it.

    ``turns`` are those made just before; ``again``: the blade was pushed home on purpose.
    """
    columns = _columns(state, sight)
    base = [_spread(columns[j], sight, j) for j in range(3)]
    seat = max(known.seat_mm, 1e-9) ** 2
    for j in range(3):
        base[j][j] += seat
    own = _from_readings(sight.by_reading, sight.variances_mm2)
    base = [[b + r for b, r in zip(x, y, strict=True)] for x, y in zip(base, own, strict=True)]
    innovation = [z - t for z, t in zip(sight.travels_mm, state.travels_mm, strict=True)]
    proposals = _hypotheses(rig, sight, turns, known, again)
    cases = _weighed(proposals, base, innovation, known.misread_mm**2)
    return Seating(state, sight, cases, columns, _collapsed(state, columns, cases))


def _columns(state: State, sight: Sight) -> list[list[float]]:
    """Return P H' as three lists: the state's covariance with each travel as read."""
    out = []
    for j in range(3):
        column = list(state.cov[j])
        for k, w in sight.by_offsets[j]:
            column = [c + w * p for c, p in zip(column, state.cov[OFFSETS + k], strict=True)]
        out.append(column)
    return out


def _spread(column: list[float], sight: Sight, j: int) -> list[float]:
    """Return a row of H P H'."""
    return [
        column[i] + sum(w * column[OFFSETS + k] for k, w in sight.by_offsets[i]) for i in range(3)
    ]


def _from_readings(by_reading: Square, variances: Sequence[float]) -> Square:
    return [
        [sum(a * b * v for a, b, v in zip(x, y, variances, strict=True)) for y in by_reading]
        for x in by_reading
    ]


Proposal = tuple[Hypothesis, float, list[float], Square, float]
"""A hypothesis, its probability before the readings, the shift and what it adds to S, and q."""


def _hypotheses(
    rig: Rig, sight: Sight, turns: Sequence[float], known: Imperfections, again: bool
) -> list[Proposal]:
    zero = [0.0, 0.0, 0.0]
    gap_p = known.gap_again_p if again else known.gap_p
    out: list[Proposal] = []
    for j in range(3):
        if gap_p:
            shift = [known.gap_mm if i == j else 0.0 for i in range(3)]
            add = _one(j, known.u_gap_mm**2)
            out.append((Hypothesis("gap", j), gap_p / 3.0, shift, add, 0.0))
    for i, reading in enumerate(sight.readings):
        if known.misread_p and not reading.method.is_coarse:
            column = [row[i] for row in sight.by_reading]
            add = [[a * b * known.misread_mm**2 for b in column] for a in column]
            out.append((Hypothesis("misread", i), known.misread_p, zero, add, 0.0))
    for j, (stud, n) in enumerate(zip(rig.studs, turns, strict=True)):
        if n and known.wrong_turn_p:
            q = (stud.lead_mm * known.wrong_turn) ** 2
            out.append((Hypothesis("wrong_turn", j), known.wrong_turn_p, zero, _one(j, q), q))
    if known.other_p:
        add = [[known.other_mm**2 if i == j else 0.0 for j in range(3)] for i in range(3)]
        out.append((Hypothesis("none_of_these"), known.other_p, zero, add, 0.0))
    well = 1.0 - sum(p for _, p, _, _, _ in out)
    return [(Hypothesis("all_well"), well, zero, [[0.0] * 3] * 3, 0.0), *out]


def _one(j: int, variance: float) -> Square:
    return [[variance if i == k == j else 0.0 for k in range(3)] for i in range(3)]


def _weighed(
    proposals: Sequence[Proposal], base: Square, innovation: Sequence[float], misread_mm2: float
) -> tuple[Case, ...]:
    """Return the hypotheses with their probabilities after the readings (Bayes' rule)."""
    found: list[tuple[Hypothesis, float, Square, list[float], float]] = []
    for hypothesis, p, shift, add, q in proposals:
        s = [[b + a for b, a in zip(x, y, strict=True)] for x, y in zip(base, add, strict=True)]
        back = inverse(s)
        size = determinant(s)
        if back is None or not size > 0.0:
            continue
        y = [z - m for z, m in zip(innovation, shift, strict=True)]
        pull = [sum(b * c for b, c in zip(row, y, strict=True)) for row in back]
        score = math.log(p) - 0.5 * (
            math.log(size) + sum(a * b for a, b in zip(pull, y, strict=True))
        )
        found.append((hypothesis, score, back, pull, q))
    top = max(score for _, score, _, _, _ in found)
    shares = [math.exp(score - top) for _, score, _, _, _ in found]
    whole = math.fsum(shares)
    return tuple(
        Case(h, share / whole, back, pull, q, misread_mm2 if h.kind == "misread" else 0.0)
        for (h, _, back, pull, q), share in zip(found, shares, strict=True)
    )


def _collapsed(state: State, columns: list[list[float]], cases: Sequence[Case]) -> State:
    """Return the mean and covariance of the mixture of all cases.

    Each case moves the state by C pull, and a wrong turn at stud j by q pull_j more in its travel:
    all of them within the columns C = P H' and the three travels, so that one update does for all.
    """
    middle = [sum(c.probability * c.pull[i] for c in cases) for i in range(3)]
    m = [
        [
            middle[i] * middle[j]
            + sum(c.probability * (c.inverse[i][j] - c.pull[i] * c.pull[j]) for c in cases)
            for j in range(3)
        ]
        for i in range(3)
    ]
    c0, c1, c2 = columns
    a, b, c = middle
    mean = [x + a * p + b * q + c * r for x, p, q, r in zip(state.mean, c0, c1, c2, strict=True)]
    # C M, whose products with the rows of C are taken off the covariance.
    d0, d1, d2 = (
        [x * p + y * q + z * r for p, q, r in zip(c0, c1, c2, strict=True)] for x, y, z in m
    )
    cov = [
        [p - x * u - y * v - z * w for p, u, v, w in zip(row, c0, c1, c2, strict=True)]
        for row, x, y, z in zip(state.cov, d0, d1, d2, strict=True)
    ]
    wrong = [c for c in cases if c.turned_mm2 and c.probability > 1e-12]
    if wrong:
        _add_wrong_turns(mean, cov, columns, middle, wrong)
    return State(mean, cov, state.directions)


def _add_wrong_turns(
    mean: list[float],
    cov: Square,
    columns: list[list[float]],
    middle: Sequence[float],
    wrong: Sequence[Case],
) -> None:
    """Add what wrong turns change in the three travels, in place.

    With q the variance that stud j's travel gained, its gain is C + q E_j E_j' for C.
    """
    moved = [0.0, 0.0, 0.0]
    cross = [[0.0] * 3 for _ in range(3)]
    own = [0.0, 0.0, 0.0]
    for case in wrong:
        j, q, w = case.hypothesis.subject, case.turned_mm2, case.probability
        moved[j] += w * q * case.pull[j]
        own[j] += w * (q - q * q * case.inverse[j][j] + q * q * case.pull[j] ** 2)
        for i in range(3):
            cross[i][j] += w * q * (case.inverse[i][j] - case.pull[i] * case.pull[j])
    for j in range(3):
        if not own[j] and not moved[j]:
            continue
        mean[j] += moved[j]
        along = [cross[i][j] + middle[i] * moved[j] for i in range(3)]
        column = [
            sum(x * y for x, y in zip(along, each, strict=True))
            for each in zip(*columns, strict=True)
        ]
        for i, x in enumerate(column):
            cov[i][j] -= x
            cov[j][i] -= x
    for i in range(3):
        cov[i][i] += own[i]
        for j in range(3):
            cov[i][j] -= moved[i] * moved[j]
