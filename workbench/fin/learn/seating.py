"""One seating of the blade: what its readings tell, and whether it can be believed.

Each hypothesis (all well; a gap at a stud; a reading misread; a stud turned wrongly; none of these)
makes its own prediction of the travels that the readings show, and Bayes' rule weighs them. The
likely ones are carried on side by side, since the next seating often tells which of them was right
(a Gaussian sum filter: Alspach and Sorenson, IEEE Transactions on Automatic Control 17, 1972; from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from operator import mul
from typing import Literal

from workbench.fin.learn.imperfections import Imperfections
from workbench.fin.learn.sight import Sight
from workbench.fin.learn.state import OFFSETS, State
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass

Kind = Literal["all_well", "gap", "misread", "wrong_turn", "none_of_these"]
Square = list[list[float]]


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """What may be the matter with a seating; ``subject`` is the stud's or the reading's place."""

    kind: Kind
    subject: int = -1


LEAST_KEPT, MOST_KEPT = 0.01, 6
"""Hypotheses less likely than this are dropped after their seating, and more than so many."""

LEAST_TOLD = 1e-5
"""Hypotheses less likely than this are not even told."""

Weighed = tuple[float, State]
"""A state and its probability."""


@dataclass(frozen=True, slots=True)
class Case:
    """A hypothesis after the readings: its probability, and how it updates the state before it.

    ``gains`` (3 lists) is that state's covariance with the travels read, ``inverse`` that of the
    innovation's covariance S (3 x 3, 1/mm^2) and ``pull`` S^-1 times the innovation.
    ``turned_mm2`` is the variance that a wrong turn adds to its stud's travel, ``added_mm2`` what a
    misreading adds to its reading.
    """

    hypothesis: Hypothesis
    probability: float
    before: State
    gains: Square
    inverse: Square
    pull: list[float]
    turned_mm2: float = 0.0
    added_mm2: float = 0.0

    def after(self) -> State:
        """Return the state after the readings, were this hypothesis true."""
        before, (p, q, r) = self.before, self.gains
        a, b, c = self.pull
        mean = [m + a * x + b * y + c * z for m, x, y, z in zip(before.mean, p, q, r, strict=True)]
        one, two, three = (
            [i * x + j * y + k * z for x, y, z in zip(p, q, r, strict=True)]
            for i, j, k in self.inverse
        )
        cov = [
            [v - i * x - j * y - k * z for v, x, y, z in zip(row, p, q, r, strict=True)]
            for row, i, j, k in zip(before.cov, one, two, three, strict=True)
        ]
        if self.turned_mm2:
            cov[self.hypothesis.subject][self.hypothesis.subject] += self.turned_mm2
        return State(mean, cov, before.directions)


@dataclass(frozen=True, slots=True)
class Seating:
    """A seating with all that was concluded from its readings.

    ``predicted_mm`` are the travels expected, ``cases`` the hypotheses and ``states`` what the
    likely ones leave.
    """

    predicted_mm: list[float]
    sight: Sight
    cases: tuple[Case, ...]
    states: tuple[Weighed, ...]

    def probability(self, kind: Kind, subject: int | None = None) -> float:
        """Return the probability of a kind of hypothesis, of one stud or reading where given."""
        return sum(
            c.probability
            for c in self.cases
            if c.hypothesis.kind == kind and subject in (None, c.hypothesis.subject)
        )

    def hypotheses(self) -> list[tuple[Hypothesis, float]]:
        """Return each hypothesis with its probability, the likeliest first."""
        out: dict[Hypothesis, float] = {}
        for case in self.cases:
            out[case.hypothesis] = out.get(case.hypothesis, 0.0) + case.probability
        return sorted(out.items(), key=lambda each: -each[1])


def seated(
    states: Sequence[Weighed],
    rig: Rig,
    sight: Sight,
    turns: Sequence[float],
    known: Imperfections,
    again: bool = False,
) -> Seating:
    """Return what the readings of a seating tell, given the states that predict it.

    ``turns`` are those made just before; ``again``: the blade was pushed home on purpose.
    """
    proposals = _hypotheses(rig, sight, turns, known, again)
    own = _from_readings(sight.by_reading, sight.variances_mm2)
    for j in range(3):
        own[j][j] += max(known.seat_mm, 1e-9) ** 2
    looks: list[tuple[State, Square]] = []
    scored: list[_Scored] = []
    for weight, state in states:
        columns = _columns(state, sight)
        base = [
            [b + r for b, r in zip(_spread(columns[j], sight), own[j], strict=True)]
            for j in range(3)
        ]
        innovation = [
            z - t - sum(w * (state.mean[OFFSETS + k] - sight.offsets_mm[k]) for k, w in by)
            for z, t, by in zip(sight.travels_mm, state.travels_mm, sight.by_offsets, strict=True)
        ]
        scored += _scored(proposals, len(looks), weight, base, innovation)
        looks.append((state, columns))
    cases = _cases(scored, looks, known)
    kept = sorted(cases, key=lambda c: -c.probability)[:MOST_KEPT]
    kept = [c for c in kept if c.probability >= LEAST_KEPT]
    whole = math.fsum(c.probability for c in kept)
    after = tuple((c.probability / whole, c.after()) for c in kept)
    return Seating(mean_of(states)[:3], sight, cases, after)


def mean_of(states: Sequence[Weighed]) -> list[float]:
    """Return the mean of several states together."""
    if len(states) == 1:
        return states[0][1].mean
    weights = [w for w, _ in states]
    every = zip(*(s.mean for _, s in states), strict=True)
    return [sum(map(mul, weights, values)) for values in every]


def together(states: Sequence[Weighed]) -> State:
    """Return the state with the mean and covariance of several together."""
    if len(states) == 1:
        return states[0][1]
    mean = mean_of(states)
    n = len(mean)
    cov = [[0.0] * n for _ in range(n)]
    for w, state in states:
        off = [x - m for x, m in zip(state.mean, mean, strict=True)]
        cov = [
            [v + w * (more + a * b) for v, more, b in zip(row, own, off, strict=True)]
            for row, own, a in zip(cov, state.cov, off, strict=True)
        ]
    return State(mean, cov, states[0][1].directions)


def _columns(state: State, sight: Sight) -> list[list[float]]:
    """Return P H' as three lists: the state's covariance with each travel as read."""
    out = []
    for j in range(3):
        column = state.cov[j]
        by = sight.by_offsets[j]
        for (k, w), (m, v) in zip(by[::2], by[1::2], strict=False):
            one, two = state.cov[OFFSETS + k], state.cov[OFFSETS + m]
            column = [c + w * p + v * q for c, p, q in zip(column, one, two, strict=True)]
        if len(by) % 2:
            k, w = by[-1]
            column = [c + w * p for c, p in zip(column, state.cov[OFFSETS + k], strict=True)]
        out.append(column)
    return out


def _spread(column: list[float], sight: Sight) -> list[float]:
    """Return a row of H P H'."""
    out = []
    for i in range(3):
        total = column[i]
        for k, w in sight.by_offsets[i]:
            total += w * column[OFFSETS + k]
        out.append(total)
    return out


def _from_readings(by_reading: Square, variances: Sequence[float]) -> Square:
    weighed = [list(map(mul, row, variances)) for row in by_reading]
    return [[sum(map(mul, x, y)) for y in by_reading] for x in weighed]


Proposal = tuple[Hypothesis, float, list[float], Square, float]
"""A hypothesis, its probability before the readings, the shift and what it adds to S, and q."""


def _hypotheses(
    rig: Rig, sight: Sight, turns: Sequence[float], known: Imperfections, again: bool
) -> list[Proposal]:
    leads = tuple([s.lead_mm if n else 0.0 for s, n in zip(rig.studs, turns, strict=True)])
    out = list(_of_studs(known, again, leads))
    if known.misread_p:
        variance = known.misread_mm**2
        for i, reading in enumerate(sight.readings):
            if not reading.method.is_coarse:
                a, b, c = (row[i] for row in sight.by_reading)
                x, y, z = a * variance, b * variance, c * variance
                add = [[a * x, a * y, a * z], [b * x, b * y, b * z], [c * x, c * y, c * z]]
                out.append((_misread(i), known.misread_p, _ZERO, add, 0.0))
    well = 1.0 - math.fsum([each[1] for each in out])
    return [(_WELL, well, _ZERO, [_ZERO] * 3, 0.0), *out]


_ZERO = [0.0, 0.0, 0.0]
_WELL = Hypothesis("all_well")


@lru_cache(maxsize=64)
def _misread(reading: int) -> Hypothesis:
    return Hypothesis("misread", reading)


@lru_cache(maxsize=64)
def _of_studs(known: Imperfections, again: bool, leads: tuple[float, ...]) -> tuple[Proposal, ...]:
    """Return what may be the matter at the studs; ``leads`` (mm) are those of studs that turned."""
    gap_p = known.gap_again_p if again else known.gap_p
    out: list[Proposal] = []
    for j in range(3):
        if gap_p:
            shift = [known.gap_mm if i == j else 0.0 for i in range(3)]
            add = _one(j, known.u_gap_mm**2)
            out.append((Hypothesis("gap", j), gap_p / 3.0, shift, add, 0.0))
    for j, lead_mm in enumerate(leads):
        if lead_mm and known.wrong_turn_p:
            q = (lead_mm * known.wrong_turn) ** 2
            out.append((Hypothesis("wrong_turn", j), known.wrong_turn_p, _ZERO, _one(j, q), q))
    if known.other_p:
        add = [[known.other_mm**2 if i == j else 0.0 for j in range(3)] for i in range(3)]
        out.append((Hypothesis("none_of_these"), known.other_p, _ZERO, add, 0.0))
    return tuple(out)


def _one(j: int, variance: float) -> Square:
    return [[variance if i == k == j else 0.0 for k in range(3)] for i in range(3)]


_Scored = tuple[float, Proposal, int, Square, list[float]]
"""A logarithm of a weight, its hypothesis, the place of its state, S^-1, and the pull."""


def _scored(
    proposals: Sequence[Proposal],
    place: int,
    weight: float,
    base: Square,
    innovation: Sequence[float],
) -> list[_Scored]:
    """Return each hypothesis about one state with what the readings say of it (Bayes' rule)."""
    (s00, s01, s02), (_, s11, s12), (_, _, s22) = base
    y0, y1, y2 = innovation
    log_weight = math.log(weight)
    out: list[_Scored] = []
    for proposal in proposals:
        _, p, (m0, m1, m2), ((a00, a01, a02), (_, a11, a12), (_, _, a22)), _ = proposal
        a, b, c, d, e, f = s00 + a00, s01 + a01, s02 + a02, s11 + a11, s12 + a12, s22 + a22
        # The inverse of a symmetric matrix by its cofactors.
        i00, i01, i02 = d * f - e * e, c * e - b * f, b * e - c * d
        size = a * i00 + b * i01 + c * i02
        if not size > 0.0:
            continue
        i00, i01, i02 = i00 / size, i01 / size, i02 / size
        i11, i12, i22 = (a * f - c * c) / size, (b * c - a * e) / size, (a * d - b * b) / size
        x, y, z = y0 - m0, y1 - m1, y2 - m2
        u, v, w = (
            i00 * x + i01 * y + i02 * z,
            i01 * x + i11 * y + i12 * z,
            i02 * x + i12 * y + i22 * z,
        )
        score = log_weight + math.log(p) - 0.5 * (math.log(size) + u * x + v * y + w * z)
        back = [[i00, i01, i02], [i01, i11, i12], [i02, i12, i22]]
        out.append((score, proposal, place, back, [u, v, w]))
    return out


def _cases(
    scored: Sequence[_Scored], looks: Sequence[tuple[State, Square]], known: Imperfections
) -> tuple[Case, ...]:
    """Return the hypotheses that count for anything, with their probabilities."""
    top = max(each[0] for each in scored)
    weights = [math.exp(each[0] - top) for each in scored]
    whole = math.fsum(weights)
    out = []
    for weight, (_, (hypothesis, _, _, _, q), place, back, pull) in zip(
        weights, scored, strict=True
    ):
        probability = weight / whole
        if probability < LEAST_TOLD:
            continue
        state, gains = looks[place]
        if q:
            j = hypothesis.subject
            gains = [list(column) for column in gains]
            gains[j][j] += q
        misread = known.misread_mm**2 if hypothesis.kind == "misread" else 0.0
        out.append(Case(hypothesis, probability, state, gains, back, pull, q, misread))
    return tuple(out)
