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
from workbench.fin.learn.state import OFFSETS, State, Three
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
    (r00, r01, r02), (_, r11, r12), (_, _, r22) = _from_readings(
        sight.by_reading, sight.variances_mm2
    )
    home = max(known.seat_mm, 1e-9) ** 2
    (z0, z1, z2), offsets_mm = sight.travels_mm, sight.offsets_mm
    by0, by1, by2 = sight.by_offsets
    scored: list[_Scored] = []
    for weight, state in states:
        one, two, three = gains = _gains(state, sight)
        mean = state.mean
        y0, y1, y2 = z0 - mean[0], z1 - mean[1], z2 - mean[2]
        s00, s01, s02 = one[0], one[1], one[2]
        s11, s12, s22 = two[1], two[2], three[2]
        for k, w in by0:
            y0 -= w * (mean[OFFSETS + k] - offsets_mm[k])
            s00 += w * one[OFFSETS + k]
        for k, w in by1:
            y1 -= w * (mean[OFFSETS + k] - offsets_mm[k])
            s01 += w * one[OFFSETS + k]
            s11 += w * two[OFFSETS + k]
        for k, w in by2:
            y2 -= w * (mean[OFFSETS + k] - offsets_mm[k])
            s02 += w * one[OFFSETS + k]
            s12 += w * two[OFFSETS + k]
            s22 += w * three[OFFSETS + k]
        base = (s00 + r00 + home, s01 + r01, s02 + r02, s11 + r11 + home, s12 + r12,
                s22 + r22 + home)  # fmt: skip
        new = (state, gains, base, (y0, y1, y2))
        scored += _scored(proposals, new, math.log(weight))
    cases = _cases(scored, known)
    kept = sorted(cases, key=_minus_probability)[:MOST_KEPT]
    kept = [c for c in kept if c.probability >= LEAST_KEPT]
    whole = math.fsum([c.probability for c in kept])
    after = tuple([(c.probability / whole, c.after()) for c in kept])
    return Seating(mean_of(states)[:3], sight, cases, after)


def _minus_probability(case: Case) -> float:
    return -case.probability


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
    cov: Square = []
    for w, state in states:
        off = [x - m for x, m in zip(state.mean, mean, strict=True)]
        scaled = [w * x for x in off]
        if cov:
            cov = [
                [v + w * more + a * b for v, more, b in zip(row, own, off, strict=True)]
                for row, own, a in zip(cov, state.cov, scaled, strict=True)
            ]
        else:
            cov = [
                [w * more + a * b for more, b in zip(own, off, strict=True)]
                for own, a in zip(state.cov, scaled, strict=True)
            ]
    return State(mean, cov, states[0][1].directions)


def _gains(state: State, sight: Sight) -> Square:
    """Return P H' as three lists: the state's covariance with each travel as read."""
    cov = state.cov
    out = []
    for column, by in zip(cov[:3], sight.by_offsets, strict=True):
        # Four offsets at a time, as two straight edges have: each pass over the state costs.
        whole = len(by) - len(by) % 4
        for i in range(0, whole, 4):
            (k, a), (m, b), (n, c), (o, d) = by[i : i + 4]
            column = [
                t + a * p + b * q + c * r + d * s
                for t, p, q, r, s in zip(
                    column, cov[OFFSETS + k], cov[OFFSETS + m], cov[OFFSETS + n], cov[OFFSETS + o],
                    strict=True,
                )
            ]  # fmt: skip
        for k, w in by[whole:]:
            column = [t + w * p for t, p in zip(column, cov[OFFSETS + k], strict=True)]
        out.append(column)
    return out


def _from_readings(by_reading: Square, variances: Sequence[float]) -> Square:
    weighed = [list(map(mul, row, variances)) for row in by_reading]
    return [[sum(map(mul, x, y)) for y in by_reading] for x in weighed]


Upper = tuple[float, float, float, float, float, float]
"""The upper half of a symmetric 3 x 3 matrix, row by row."""

Proposal = tuple[Hypothesis, float, Three, Upper, float]
"""A hypothesis, the logarithm of its probability before the readings, the shift, what it adds to S
and to the travel of its stud (mm^2)."""


def _hypotheses(
    rig: Rig, sight: Sight, turns: Sequence[float], known: Imperfections, again: bool
) -> list[Proposal]:
    leads = tuple([s.lead_mm if n else 0.0 for s, n in zip(rig.studs, turns, strict=True)])
    fine = [i for i, r in enumerate(sight.readings) if not r.method.is_coarse]
    well, of_studs = _of_studs(known, again, leads, len(fine))
    out = [well, *of_studs]
    if known.misread_p:
        log_p, variance = math.log(known.misread_p), known.misread_mm**2
        one, two, three = sight.by_reading
        for i in fine:
            a, b, c = one[i], two[i], three[i]
            x, y, z = a * variance, b * variance, c * variance
            add = (a * x, a * y, a * z, b * y, b * z, c * z)
            out.append((_misread(i), log_p, _ZERO, add, 0.0))
    return out


_ZERO: Three = (0.0, 0.0, 0.0)
_NOTHING: Upper = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
_WELL = Hypothesis("all_well")


@lru_cache(maxsize=64)
def _misread(reading: int) -> Hypothesis:
    return Hypothesis("misread", reading)


@lru_cache(maxsize=64)
def _of_studs(
    known: Imperfections, again: bool, leads: tuple[float, ...], readings: int
) -> tuple[Proposal, tuple[Proposal, ...]]:
    """Return that all is well, and what may be the matter at the studs.

    ``leads`` (mm) are those of studs that turned, ``readings`` how many may be misread.
    """
    gap_p = known.gap_again_p if again else known.gap_p
    out: list[tuple[Hypothesis, float, Three, Upper, float]] = []
    for j in range(3):
        if gap_p:
            a, b, c = (known.gap_mm if i == j else 0.0 for i in range(3))
            out.append((Hypothesis("gap", j), gap_p / 3.0, (a, b, c), _one(j, known.u_gap_mm), 0.0))
    for j, lead_mm in enumerate(leads):
        if lead_mm and known.wrong_turn_p:
            u_mm = lead_mm * known.wrong_turn
            add = _one(j, u_mm)
            out.append((Hypothesis("wrong_turn", j), known.wrong_turn_p, _ZERO, add, u_mm**2))
    if known.other_p:
        v = known.other_mm**2
        add = (v, 0.0, 0.0, v, 0.0, v)
        out.append((Hypothesis("none_of_these"), known.other_p, _ZERO, add, 0.0))
    well = known.all_well_p(again, sum(map(bool, leads)), readings)
    return (_WELL, math.log(well), _ZERO, _NOTHING, 0.0), tuple(
        (each, math.log(p), shift, add, q) for each, p, shift, add, q in out
    )


def _one(j: int, u_mm: float) -> Upper:
    a, b, c = (u_mm**2 if i == j else 0.0 for i in range(3))
    return (a, 0.0, 0.0, b, 0.0, c)


_Look = tuple[State, Square, Upper, Three]
"""A state, its covariance with the travels read, S and the innovation, were all well."""

_Scored = tuple[float, Proposal, _Look]
"""A logarithm of a weight, its hypothesis and the state that it is about."""


def _scored(proposals: Sequence[Proposal], look: _Look, log_weight: float) -> list[_Scored]:
    """Return each hypothesis about one state with what the readings say of it (Bayes' rule)."""
    _, _, (s00, s01, s02, s11, s12, s22), (y0, y1, y2) = look
    log = math.log
    out: list[_Scored] = []
    for proposal in proposals:
        _, log_p, (m0, m1, m2), (a00, a01, a02, a11, a12, a22), _ = proposal
        a, b, c, d, e, f = s00 + a00, s01 + a01, s02 + a02, s11 + a11, s12 + a12, s22 + a22
        # By cofactors, and divided once: most hypotheses end here.
        i00, i01, i02 = d * f - e * e, c * e - b * f, b * e - c * d
        size = a * i00 + b * i01 + c * i02
        if not size > 0.0:
            continue
        x, y, z = y0 - m0, y1 - m1, y2 - m2
        square = (
            x * (i00 * x + 2.0 * (i01 * y + i02 * z))
            + y * ((a * f - c * c) * y + 2.0 * (b * c - a * e) * z)
            + (a * d - b * b) * z * z
        ) / size
        out.append((log_weight + log_p - 0.5 * (log(size) + square), proposal, look))
    return out


def _cases(scored: Sequence[_Scored], known: Imperfections) -> tuple[Case, ...]:
    """Return the hypotheses that count for anything, with their probabilities."""
    top = max([each[0] for each in scored])
    weights = [math.exp(each[0] - top) for each in scored]
    whole = math.fsum(weights)
    least = LEAST_TOLD * whole
    out = []
    for weight, (_, proposal, (state, gains, base, innovation)) in zip(
        weights, scored, strict=True
    ):
        if weight < least:
            continue
        hypothesis, _, (m0, m1, m2), add, q = proposal
        a, b, c, d, e, f = map(float.__add__, base, add)
        i00, i01, i02 = d * f - e * e, c * e - b * f, b * e - c * d
        k = 1.0 / (a * i00 + b * i01 + c * i02)
        i00, i01, i02 = i00 * k, i01 * k, i02 * k
        i11, i12, i22 = (a * f - c * c) * k, (b * c - a * e) * k, (a * d - b * b) * k
        x, y, z = innovation[0] - m0, innovation[1] - m1, innovation[2] - m2
        pull = [
            i00 * x + i01 * y + i02 * z,
            i01 * x + i11 * y + i12 * z,
            i02 * x + i12 * y + i22 * z,
        ]
        if q:
            j = hypothesis.subject
            gains = [list(column) for column in gains]
            gains[j][j] += q
        misread = known.misread_mm**2 if hypothesis.kind == "misread" else 0.0
        back = [[i00, i01, i02], [i01, i11, i12], [i02, i12, i22]]
        out.append(Case(hypothesis, weight / whole, state, gains, back, pull, q, misread))
    return tuple(out)
