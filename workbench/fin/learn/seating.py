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

from workbench.fin.learn.sight import Sight
from workbench.fin.learn.state import LEADS, OFFSETS, Imperfections, State, spread
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.linalg import Three

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


Upper = tuple[float, float, float, float, float, float]
"""The upper half of a symmetric 3 x 3 matrix, row by row."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a state expects of a seating's readings, were all well with it.

    ``gains`` (3 lists) is the state's covariance with the travels read, ``innovation`` (3, mm) what
    was read less what was expected, ``s_mm2`` its covariance S, ``inverse`` (1/mm^2) that of S and
    ``pull`` (3) S^-1 times the innovation.
    """

    before: State
    gains: Square
    innovation: Three
    s_mm2: Upper
    inverse: Upper
    pull: Three


@dataclass(frozen=True, slots=True)
class Proposal:
    """A hypothesis before the readings, with the logarithm of its probability.

    It shifts the travels read by ``shift_mm`` times ``along`` (3) and adds to S ``along_mm2`` times
    along along', and ``other_mm2`` to its diagonal. A wrong turn adds ``along_mm2`` to its stud's
    travel itself.
    """

    hypothesis: Hypothesis
    log_p: float
    along: Three = (0.0, 0.0, 0.0)
    along_mm2: float = 0.0
    shift_mm: float = 0.0
    other_mm2: float = 0.0


@dataclass(frozen=True, slots=True)
class Case:
    """A hypothesis after the readings: its probability, and what it says of a state before it."""

    proposal: Proposal
    probability: float
    expected: Forecast

    @property
    def hypothesis(self) -> Hypothesis:
        """What may be the matter."""
        return self.proposal.hypothesis

    @property
    def before(self) -> State:
        """The state before the readings."""
        return self.expected.before

    @property
    def turned_mm2(self) -> float:
        """The variance that a wrong turn adds to its stud's travel."""
        return self.proposal.along_mm2 if self.hypothesis.kind == "wrong_turn" else 0.0

    @property
    def added_mm2(self) -> float:
        """The variance that a misreading adds to its reading."""
        return self.proposal.along_mm2 if self.hypothesis.kind == "misread" else 0.0

    @property
    def gains(self) -> Square:
        """The covariance (3 lists) of the state before with the travels read."""
        if not self.turned_mm2:
            return self.expected.gains
        gains = [list(column) for column in self.expected.gains]
        j = self.hypothesis.subject
        gains[j][j] += self.turned_mm2
        return gains

    def solved(self) -> tuple[Square, Three]:
        """Return the inverse of S (3 x 3, 1/mm^2), and it times the innovation (3)."""
        own = self.proposal
        inverse, pull = self.expected.inverse, self.expected.pull
        if own.along_mm2 or own.shift_mm or own.other_mm2:
            _, inverse, pull = _inverted(
                _spread_out(self.expected, own), _shifted(self.expected, own)
            )
        a, b, c, d, e, f = inverse
        return [[a, b, c], [b, d, e], [c, e, f]], pull

    def after(self, well: State | None = None) -> State:
        """Return the state after the readings, were this hypothesis true.

        ``well``, where it is known already, is the state after them were all well: a hypothesis
        along one direction of the travels is one step from there (matrix inversion lemma).
        """
        own = self.proposal
        if well is None or own.other_mm2:
            return self._updated()
        if not (own.along_mm2 or own.shift_mm):
            return well
        (a, b, c), variance, shift_mm = own.along, own.along_mm2, own.shift_mm
        x, y, z = _times(self.expected.inverse, own.along)
        whole = a * x + b * y + c * z
        p, q, r = self.expected.pull
        seen = a * p + b * q + c * r - shift_mm * whole
        share = variance / (1.0 + variance * whole)
        step = shift_mm + seen * share
        one, two, three = self.expected.gains
        off = [-x * p - y * q - z * r for p, q, r in zip(one, two, three, strict=True)]
        if self.turned_mm2:
            off[self.hypothesis.subject] += 1.0
        scaled = [share * v for v in off]
        rows, columns = spread(len(off) - LEADS)
        return State(
            [m + step * v for m, v in zip(well.mean, off, strict=True)],
            [
                [v + i * w for v, w in zip(row, off, strict=True)]
                for row, i in zip(well.by_travel, scaled, strict=False)
            ],
            [
                v + i * w
                for v, i, w in zip(
                    well.rest, rows(scaled[LEADS:]), columns(off[LEADS:]), strict=True
                )
            ],
            well.directions,
        )

    def _updated(self) -> State:
        """Return the state by the gains and S of the hypothesis itself."""
        before, (p, q, r) = self.before, self.gains
        inverse, (a, b, c) = self.solved()
        mean = [m + a * x + b * y + c * z for m, x, y, z in zip(before.mean, p, q, r, strict=True)]
        one, two, three = (
            [i * x + j * y + k * z for x, y, z in zip(p, q, r, strict=True)] for i, j, k in inverse
        )
        by_travel = [
            [v - i * x - j * y - k * z for v, x, y, z in zip(row, p, q, r, strict=True)]
            for row, i, j, k in zip(before.by_travel, one, two, three, strict=False)
        ]
        rows, columns = spread(len(mean) - LEADS)
        rest = [
            v - i * x - j * y - k * z
            for v, i, x, j, y, k, z in zip(
                before.rest, rows(one[LEADS:]), columns(p[LEADS:]), rows(two[LEADS:]),
                columns(q[LEADS:]), rows(three[LEADS:]), columns(r[LEADS:]), strict=True,
            )
        ]  # fmt: skip
        if self.turned_mm2:
            by_travel[self.hypothesis.subject][self.hypothesis.subject] += self.turned_mm2
        return State(mean, by_travel, rest, before.directions)


def _times(upper: Upper, along: Three) -> Three:
    """Return a symmetric matrix times a vector."""
    a, b, c, d, e, f = upper
    x, y, z = along
    return a * x + b * y + c * z, b * x + d * y + e * z, c * x + e * y + f * z


def _inverted(upper: Upper, right: Three) -> tuple[float, Upper, Three]:
    """Return the determinant of a symmetric matrix, its inverse and that times a vector."""
    a, b, c, d, e, f = upper
    i, j, k = d * f - e * e, c * e - b * f, b * e - c * d
    size = a * i + b * j + c * k
    if not size > 0.0:
        return 0.0, upper, right
    by = 1.0 / size
    inverse = (
        i * by, j * by, k * by, (a * f - c * c) * by, (b * c - a * e) * by, (a * d - b * b) * by
    )  # fmt: skip
    return size, inverse, _times(inverse, right)


def _spread_out(expected: Forecast, proposal: Proposal) -> Upper:
    """Return S under a hypothesis."""
    a, b, c, d, e, f = expected.s_mm2
    (x, y, z), v, more = proposal.along, proposal.along_mm2, proposal.other_mm2
    return (
        a + v * x * x + more, b + v * x * y, c + v * x * z, d + v * y * y + more, e + v * y * z,
        f + v * z * z + more,
    )  # fmt: skip


def _shifted(expected: Forecast, proposal: Proposal) -> Three:
    """Return the innovation under a hypothesis."""
    (x, y, z), (a, b, c), shift_mm = expected.innovation, proposal.along, proposal.shift_mm
    return x - shift_mm * a, y - shift_mm * b, z - shift_mm * c


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
    r00, r01, r02, r11, r12, r22 = _from_readings(sight)
    home = max(known.seat_mm, 1e-9) ** 2
    (z0, z1, z2), offsets_mm = sight.travels_mm, sight.offsets_mm
    by = list(zip(*sight.by_offsets, strict=True))
    scored: list[_Scored] = []
    for weight, state in states:
        one, two, three = gains = _gains(state, sight)
        mean = state.mean
        y0, y1, y2 = z0 - mean[0], z1 - mean[1], z2 - mean[2]
        s00, s01, s02 = one[0], one[1], one[2]
        s11, s12, s22 = two[1], two[2], three[2]
        for (k, w0), (_, w1), (_, w2) in by:
            p = one[OFFSETS + k]
            q = two[OFFSETS + k]
            off = mean[OFFSETS + k] - offsets_mm[k]
            y0 -= w0 * off
            y1 -= w1 * off
            y2 -= w2 * off
            s00 += w0 * p
            s01 += w1 * p
            s02 += w2 * p
            s11 += w1 * q
            s12 += w2 * q
            s22 += w2 * three[OFFSETS + k]
        base = (s00 + r00 + home, s01 + r01, s02 + r02, s11 + r11 + home, s12 + r12,
                s22 + r22 + home)  # fmt: skip
        size, inverse, pull = _inverted(base, (y0, y1, y2))
        if size > 0.0:
            new = Forecast(state, gains, (y0, y1, y2), base, inverse, pull)
            scored += _scored(proposals, new, math.log(weight), math.log(size))
    cases = _cases(scored)
    kept = sorted(cases, key=lambda c: -c.probability)[:MOST_KEPT]
    kept = [c for c in kept if c.probability >= LEAST_KEPT]
    whole = math.fsum([c.probability for c in kept])
    wells = {id(c.expected): c.expected for c in kept}
    left = {k: Case(proposals[0], 1.0, expected).after() for k, expected in wells.items()}
    after = tuple([(c.probability / whole, c.after(left[id(c.expected)])) for c in kept])
    predicted = [sum([w * state.mean[j] for w, state in states]) for j in range(3)]
    return Seating(predicted, sight, cases, after)


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
    rows, columns = spread(len(mean) - LEADS)
    rest = [0.0] * len(states[0][1].rest)
    by_travel = [[0.0] * len(mean) for _ in range(LEADS)]
    for w, state in states:
        off = [x - m for x, m in zip(state.mean, mean, strict=True)]
        by_travel = [
            [v + w * (more + a * b) for v, more, b in zip(row, own, off, strict=True)]
            for row, own, a in zip(by_travel, state.by_travel, off, strict=False)
        ]
        rest = [
            v + w * (more + a * b)
            for v, more, a, b in zip(
                rest, state.rest, rows(off[LEADS:]), columns(off[LEADS:]), strict=True
            )
        ]
    return State(mean, by_travel, rest, states[0][1].directions)


def _gains(state: State, sight: Sight) -> Square:
    """Return P H' as three lists: the state's covariance with each travel as read."""
    out = [state.column(j) for j in range(3)]
    places = [OFFSETS + k for k, _ in sight.by_offsets[0]]
    # Four offsets at a time, as two straight edges have: each pass over the state costs.
    whole = len(places) - len(places) % 4
    for i in range(0, whole, 4):
        own = list(zip(*[state.column(place) for place in places[i : i + 4]], strict=True))
        for j, by in enumerate(sight.by_offsets):
            (_, a), (_, b), (_, c), (_, d) = by[i : i + 4]
            out[j] = [
                t + a * p + b * q + c * r + d * s
                for t, (p, q, r, s) in zip(out[j], own, strict=True)
            ]
    for i in range(whole, len(places)):
        column = state.column(places[i])
        for j, by in enumerate(sight.by_offsets):
            w = by[i][1]
            out[j] = [t + w * p for t, p in zip(out[j], column, strict=True)]
    return out


def _from_readings(sight: Sight) -> Upper:
    """Return what the readings' own variances leave of the travels (mm^2)."""
    one, two, three = sight.by_reading
    x, y, z = (list(map(mul, row, sight.variances_mm2)) for row in sight.by_reading)
    return (
        sum(map(mul, one, x)), sum(map(mul, one, y)), sum(map(mul, one, z)),
        sum(map(mul, two, y)), sum(map(mul, two, z)), sum(map(mul, three, z)),
    )  # fmt: skip


def _hypotheses(
    rig: Rig, sight: Sight, turns: Sequence[float], known: Imperfections, again: bool
) -> list[Proposal]:
    """Return what may be proposed of a seating, first of all that all is well."""
    leads = tuple([s.lead_mm if n else 0.0 for s, n in zip(rig.studs, turns, strict=True)])
    fine = [i for i, r in enumerate(sight.readings) if not r.method.is_coarse]
    out = list(_of_studs(known, again, leads, len(fine)))
    if known.misread_p:
        log_p, variance = math.log(known.misread_p), known.misread_mm**2
        one, two, three = sight.by_reading
        for i in fine:
            out.append(
                Proposal(Hypothesis("misread", i), log_p, (one[i], two[i], three[i]), variance)
            )
    return out


_UNITS: tuple[Three, ...] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@lru_cache(maxsize=64)
def _of_studs(
    known: Imperfections, again: bool, leads: tuple[float, ...], readings: int
) -> tuple[Proposal, ...]:
    """Return that all is well, and what may be the matter at the studs.

    ``leads`` (mm) are those of studs that turned, ``readings`` how many may be misread.
    """
    well = known.all_well_p(again, sum(map(bool, leads)), readings)
    out = [Proposal(Hypothesis("all_well"), math.log(well))]
    gap_p = known.gap_again_p if again else known.gap_p
    for j, unit in enumerate(_UNITS):
        if gap_p:
            gap = Hypothesis("gap", j)
            out.append(Proposal(gap, math.log(gap_p / 3.0), unit, known.u_gap_mm**2, known.gap_mm))
    for j, (lead_mm, unit) in enumerate(zip(leads, _UNITS, strict=True)):
        if lead_mm and known.wrong_turn_p:
            wrong = Hypothesis("wrong_turn", j)
            variance = (lead_mm * known.wrong_turn) ** 2
            out.append(Proposal(wrong, math.log(known.wrong_turn_p), unit, variance))
    if known.other_p:
        none = Hypothesis("none_of_these")
        out.append(Proposal(none, math.log(known.other_p), other_mm2=known.other_mm**2))
    return tuple(out)


_Scored = tuple[float, Proposal, Forecast]
"""A logarithm of a weight, its hypothesis and what was expected."""


def _scored(
    proposals: Sequence[Proposal], expected: Forecast, log_weight: float, log_size: float
) -> list[_Scored]:
    """Return each hypothesis about one state with what the readings say of it (Bayes' rule).

    ``log_size`` is the logarithm of S's determinant.
    """
    p, q, r = expected.pull
    y0, y1, y2 = expected.innovation
    i00, i01, i02, i11, i12, i22 = expected.inverse
    square = y0 * p + y1 * q + y2 * r
    log = math.log
    out: list[_Scored] = []
    for proposal in proposals:
        own_log, less, variance = log_size, square, proposal.along_mm2
        if proposal.other_mm2:
            size, _, (x, y, z) = _inverted(_spread_out(expected, proposal), expected.innovation)
            if not size > 0.0:
                continue
            own_log, less = log(size), y0 * x + y1 * y + y2 * z
        elif variance or proposal.shift_mm:
            # Along one direction alone: as in Case.after.
            (a, b, c), shift_mm = proposal.along, proposal.shift_mm
            whole = a * (i00 * a + 2.0 * (i01 * b + i02 * c)) + b * (i11 * b + 2.0 * i12 * c)
            whole += i22 * c * c
            seen = a * p + b * q + c * r
            off, more = seen - shift_mm * whole, 1.0 + variance * whole
            own_log += log(more)
            less -= shift_mm * (seen + off) + variance * off * off / more
        out.append((log_weight + proposal.log_p - 0.5 * (own_log + less), proposal, expected))
    return out


def _cases(scored: Sequence[_Scored]) -> tuple[Case, ...]:
    """Return the hypotheses that count for anything, with their probabilities."""
    top = max([each[0] for each in scored])
    weights = [math.exp(each[0] - top) for each in scored]
    whole = math.fsum(weights)
    least = LEAST_TOLD * whole
    return tuple(
        [
            Case(proposal, weight / whole, expected)
            for weight, (_, proposal, expected) in zip(weights, scored, strict=True)
            if weight >= least
        ]
    )
