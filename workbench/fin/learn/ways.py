"""The turns that may be made, and how likely each makes all readings come within tolerance."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from functools import lru_cache
from operator import mul

from workbench.fin.frame import Pose
from workbench.fin.learn.edges import Edges
from workbench.fin.learn.seating import Case, Seating, together
from workbench.fin.learn.state import (
    BACKLASH,
    LEADS,
    OFFSETS,
    Imperfections,
    State,
    TurnEffect,
    effect_of,
    reversal,
)
from workbench.fin.plan.plan import Goal, TargetOutOfReachError
from workbench.fin.plan.rounding import rounded
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.linalg import multiply, solve

FINE, QUICK = 18, 7
"""Nodes in each direction: to 1e-6, or to rank by."""

FARTHEST = 5.5
"""Standard deviations beyond which nothing is left to count."""

_SURE = 1e-9
"""A value whose chance to be outside is below this does not count."""

POINT_MM = 1e-9
"""A standard deviation below this is none."""

_ROOT2, _ROOT_TAU = math.sqrt(2.0), math.sqrt(math.tau)


def within(mean: float, variance: float, half: float) -> float:
    """Return the probability that a normal value lies within plus or minus ``half``."""
    sd = math.sqrt(max(variance, 0.0))
    if sd < POINT_MM:
        return 1.0 if abs(mean) <= half * (1.0 + 1e-9) + 1e-12 else 0.0
    k = 1.0 / (sd * _ROOT2)
    if mean < 0.0:
        mean = -mean
    # Both bounds on one side of the mean keep their digits as tails.
    return 0.5 * (math.erfc((mean - half) * k) - math.erfc((mean + half) * k))


def all_within(
    mean: Sequence[float],
    cov: Sequence[Sequence[float]],
    halves: Sequence[float],
    nodes: int = FINE,
) -> float:
    """Return the probability that each of some normal values lies within its plus or minus.

    One value in closed form, two and three by Gauss-Legendre quadrature over the conditional
    distributions (Genz and Bretz, Computation of Multivariate Normal and t Probabilities, section
    2; from memory). Of more than three, the three least likely to be within are taken: it is then
    an upper bound.
    """
    single = [within(m, cov[i][i], halves[i]) for i, m in enumerate(mean)]
    open_ones = [
        i for i in sorted(range(len(mean)), key=single.__getitem__) if single[i] < 1.0 - _SURE
    ]
    order = open_ones[:3]
    if not order:
        return 1.0
    if single[order[0]] < 1e-9 or len(order) == 1:
        return single[order[0]]
    # A value without any spread is within or not, whatever the others are.
    order = [i for i in order if cov[i][i] >= POINT_MM**2]
    if len(order) == 1:
        return single[order[0]]
    a, b = order[:2]
    if len(order) == 2:
        spread = (cov[a][a], cov[a][b], cov[b][b])
        return _two((mean[a], mean[b]), spread, (halves[a], halves[b]), nodes)
    c = order[2]
    sd, half = math.sqrt(cov[a][a]), halves[a]
    gain_b, gain_c = cov[a][b] / cov[a][a], cov[a][c] / cov[a][a]
    left = (
        cov[b][b] - gain_b * cov[a][b],
        cov[b][c] - gain_b * cov[a][c],
        cov[c][c] - gain_c * cov[a][c],
    )
    within_two = (halves[b], halves[c])
    total = 0.0
    for off, density in _density(mean[a], sd, half, nodes):
        at = (mean[b] + gain_b * off, mean[c] + gain_c * off)
        total += density * _two(at, left, within_two, nodes)
    return total


def _two(
    mean: tuple[float, float],
    cov: tuple[float, float, float],
    halves: tuple[float, float],
    nodes: int,
) -> float:
    """Return the probability of two values; ``cov`` is (variance, covariance, variance)."""
    (one, two), (aa, ab, bb), (half_a, half_b) = mean, cov, halves
    if aa < POINT_MM**2:
        return within(one, aa, half_a) * within(two, bb, half_b)
    gain = ab / aa
    rest = bb - gain * ab
    if rest < POINT_MM**2:
        return sum(
            density * within(two + gain * off, 0.0, half_b)
            for off, density in _density(one, math.sqrt(aa), half_a, nodes)
        )
    k = 1.0 / (math.sqrt(rest) * _ROOT2)
    total = 0.0
    erf = math.erf
    for off, density in _density(one, math.sqrt(aa), half_a, nodes):
        at = two + gain * off
        total += density * (erf((half_b - at) * k) + erf((half_b + at) * k))
    return 0.5 * total


def _density(mean: float, sd: float, half: float, nodes: int) -> list[tuple[float, float]]:
    """Return (distance from the mean, weighted density) at the nodes within the tolerance."""
    low = max(-half, mean - FARTHEST * sd) - mean
    high = min(half, mean + FARTHEST * sd) - mean
    if low >= high:
        return []
    middle, reach = (low + high) / 2.0, (high - low) / 2.0
    scale = reach / (sd * _ROOT_TAU)
    k = -0.5 / (sd * sd)
    exp = math.exp
    return [
        (off, scale * weight * exp(k * off * off))
        for at, weight in legendre(nodes)
        for off in (middle + reach * at,)
    ]


@lru_cache(maxsize=4)
def legendre(n: int) -> tuple[tuple[float, float], ...]:
    """Return the nodes and weights of Gauss-Legendre quadrature on -1 to 1.

    By Newton's method on the Legendre polynomial (Abramowitz and Stegun, 25.4.29).
    """
    out = []
    for i in range(n):
        x = math.cos(math.pi * (i + 0.75) / (n + 0.5))
        slope = 1.0
        for _ in range(100):
            p, last = 1.0, 0.0
            for k in range(n):
                p, last = ((2 * k + 1) * x * p - k * last) / (k + 1), p
            slope = n * (x * p - last) / (x * x - 1.0)
            step = p / slope
            x -= step
            if abs(step) < 1e-15:
                break
        out.append((x, 2.0 / ((1.0 - x * x) * slope * slope)))
    return tuple(out)


# -- turns that may be made ------------------------------------------------------------------------


EACH_STUD = 0.002
"""What a stud turned must gain in probability."""

HOPELESS = 0.1
"""Where no turns are likelier than this to be enough, those are taken that come closest."""

LEAST_CASE, LEAST_TO_RANK = 1e-3, 0.05
"""Hypotheses less likely than this count for nothing, or not where turns are compared."""


def likely_cases(seating: Seating) -> list[Case]:
    """Return the hypotheses that count for anything."""
    return [c for c in seating.cases if c.probability > LEAST_CASE]


@dataclass(frozen=True, slots=True)
class _Outlook:
    """What one hypothesis says of the readings at the target before any turn.

    By how much it shifts them (n) and leads and backlash (6) from the collapsed state, and the
    covariances of the readings (n x n), of readings and those six (n x 6), and of the six (6 x 6).
    """

    probability: float
    shift: list[float]
    shift_six: list[float]
    cov: list[list[float]]
    cross: list[list[float]]
    cov_six: list[list[float]]


def _less(
    cov: Sequence[Sequence[float]], one: Sequence[Sequence[float]], two: Sequence[Sequence[float]]
) -> list[list[float]]:
    """Return cov - one two' (two lists of rows of three)."""
    return [
        [c - x * a - y * b - z * d for c, (a, b, d) in zip(row, two, strict=True)]
        for row, (x, y, z) in zip(cov, one, strict=True)
    ]


class Ways:
    """The turns that may be made from here, and the readings that each would lead to."""

    def __init__(
        self,
        rig: Rig,
        edges: Edges,
        seating: Seating,
        goals: Sequence[Goal],
        finest: float,
        known: Imperfections,
    ) -> None:
        self.rig, self.known, self.finest = rig, known, finest
        self.seating = seating
        self.state = together(seating.states)
        self.active = [g for g in goals if g.role != "follows"]
        self.wanted_mm, self.by_travel, self.off_mm, by_offsets = _wanted(
            rig, edges, self.state.offsets_mm, self.active, seating.sight.fit.pose
        )
        self.uses = [list(row.items()) for row in by_offsets]
        self._priors: dict[int, _Outlook] = {}
        self.halves = [g.target.tolerance_mm for g in self.active]
        self.cases = [self._posterior(case) for case in likely_cases(seating)]
        likely = [c for c in self.cases if c.probability > LEAST_TO_RANK]
        self.to_rank = likely or self.cases

    def _posterior(self, case: Case) -> _Outlook:
        """Return what a hypothesis leaves open of the readings at the target."""
        before = case.before
        inverse_s, pull = case.solved()
        prior = self._priors.get(id(before))
        if prior is None:
            prior = self._priors[id(before)] = self._prior(before)
        one, two, three = case.gains
        gains = [
            [sum(map(mul, b, column)) + sum(w * column[OFFSETS + k] for k, w in f)
             for column in (one, two, three)]
            for b, f in zip(self.by_travel, self.uses, strict=True)
        ]  # fmt: skip
        gains_six = [[one[k], two[k], three[k]] for k in range(LEADS, OFFSETS)]
        # A Kalman update of what is looked at alone: the state has many more values.
        through = multiply(gains, inverse_s)
        through_six = multiply(gains_six, inverse_s)
        cov = _less(prior.cov, through, gains)
        if case.turned_mm2:
            j, q = case.hypothesis.subject, case.turned_mm2
            for row, b in zip(cov, self.by_travel, strict=True):
                for i, other in enumerate(self.by_travel):
                    row[i] += q * b[j] * other[j]
        return _Outlook(
            case.probability,
            [m + sum(map(mul, g, pull)) for m, g in zip(prior.shift, gains, strict=True)],
            [m + sum(map(mul, g, pull)) for m, g in zip(prior.shift_six, gains_six, strict=True)],
            cov,
            _less(prior.cross, through, gains_six),
            _less(prior.cov_six, through_six, gains_six),
        )

    def _prior(self, before: State) -> _Outlook:
        """Return the same of a state before the seating, whose hypotheses share it."""
        columns = []
        p, q, r = (before.column(k) for k in range(LEADS))
        for b, f in zip(self.by_travel, self.uses, strict=True):
            x, y, z = b
            column = [x * i + y * j + z * k for i, j, k in zip(p, q, r, strict=True)]
            for k, w in f:
                more = before.column(OFFSETS + k)
                column = [c + w * v for c, v in zip(column, more, strict=True)]
            columns.append(column)
        off = [m - now for m, now in zip(before.mean, self.state.mean, strict=True)]
        reads = list(zip(self.by_travel, self.uses, strict=True))
        return _Outlook(
            1.0,
            [sum(map(mul, b, off)) + sum(w * off[OFFSETS + k] for k, w in f) for b, f in reads],
            off[LEADS:OFFSETS],
            [
                [sum(map(mul, b, c)) + sum(w * c[OFFSETS + k] for k, w in f) for b, f in reads]
                for c in columns
            ],
            [column[LEADS:OFFSETS] for column in columns],
            [before.column(k)[LEADS:OFFSETS] for k in range(LEADS, OFFSETS)],
        )

    def best(self) -> tuple[float, ...]:
        """Return the turns of greatest probability; no turns at all are among them."""
        if self.known.is_exact:
            return self._plain()
        likely = {turns: self.probability(turns, quick=True) for turns in self._candidates()}
        if max(likely.values()) < HOPELESS:
            return min(likely, key=self._squares)
        return max(likely, key=lambda turns: self._score(turns, likely[turns]))

    def _squares(self, turns: tuple[float, ...]) -> float:
        """Return the sum of squares of the misses over their tolerances, by the likeliest case."""
        case = max(self.cases, key=lambda c: c.probability)
        missed = self._missed(effect_of(self.state, self.rig, turns, self.known).moved_mm)
        return sum(
            ((m + s) / h) ** 2 for m, s, h in zip(missed, case.shift, self.halves, strict=True)
        )

    def exact(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Return the moves (mm) that put the readings on their targets, and the turns for them."""
        moves = self._least((0, 1, 2), self._missed((0.0, 0.0, 0.0)))
        return tuple(moves), tuple(self._turns_for(j, move) for j, move in enumerate(moves))

    def _score(self, turns: tuple[float, ...], p: float) -> float:
        home = 1.0 - (self.known.gap_p if any(turns) else self.known.gap_again_p)
        return home * p - EACH_STUD * sum(1 for n in turns if n)

    def _plain(self) -> tuple[float, ...]:
        """Return the turns that miss the targets least: nothing is uncertain but the readings."""
        now = self.seating.sight.travels_mm
        exact = [
            (w - n) / stud.lead_mm
            for w, n, stud in zip(self.wanted_mm, now, self.rig.studs, strict=True)
        ]
        fit = self.seating.sight.fit
        return tuple(rounded(self.rig, fit.pose, self.active, exact, self.finest))

    def probability(
        self, turns: Sequence[float], quick: bool = False, gap: int | None = None
    ) -> float:
        """Return the probability that all are within tolerance after these turns and a seating.

        With ``gap`` the blade is not home at that stud; ``quick`` is to compare turns by.
        """
        effect = effect_of(self.state, self.rig, turns, self.known)
        start = self._missed(effect.moved_mm)
        noise = [v + self.known.seat_mm**2 for v in effect.variances_mm2]
        if gap is not None:
            noise[gap] += self.known.u_gap_mm**2
            start = [
                m + b[gap] * self.known.gap_mm for m, b in zip(start, self.by_travel, strict=True)
            ]
        total = whole = 0.0
        nodes = QUICK if quick else FINE
        for case in self.to_rank if quick else self.cases:
            at, spread = self._after(case, effect, start, noise)
            total += case.probability * all_within(at, spread, self.halves, nodes)
            whole += case.probability
        return total / whole

    def _after(
        self, case: _Outlook, effect: TurnEffect, start: Sequence[float], noise: Sequence[float]
    ) -> tuple[list[float], list[list[float]]]:
        """Return mean and covariance of the readings after turns: first of the travels', then."""
        l0, l1, l2 = effect.by_lead_mm
        k0, k1, k2 = effect.by_backlash_mm
        e0, e1, e2, b0, b1, b2 = case.shift_six
        x, y, z = l0 * e0 + k0 * b0, l1 * e1 + k1 * b1, l2 * e2 + k2 * b2
        c0, c1, c2, c3, c4, c5 = case.cov_six
        # What leads and backlash leave open of each travel, times theirs of the six.
        p0, p1, p2, p3, p4, p5 = (l0 * a + k0 * b for a, b in zip(c0, c3, strict=True))
        q1, q2, q4, q5 = (l1 * c1[i] + k1 * c4[i] for i in (1, 2, 4, 5))
        t00 = l0 * p0 + k0 * p3 + noise[0]
        t01, t02 = l1 * p1 + k1 * p4, l2 * p2 + k2 * p5
        t11, t12 = l1 * q1 + k1 * q4 + noise[1], l2 * q2 + k2 * q5
        t22 = l2 * (l2 * c2[2] + 2.0 * k2 * c2[5]) + k2 * k2 * c5[5] + noise[2]
        # Half of each product: added to its own transpose below it makes the symmetric whole.
        at, halves = [], []
        for m, s, (f, g, h), (d0, d1, d2, d3, d4, d5) in zip(
            start, case.shift, self.by_travel, case.cross, strict=True
        ):
            at.append(m + s + f * x + g * y + h * z)
            halves.append(
                (
                    0.5 * (f * t00 + g * t01 + h * t02) + l0 * d0 + k0 * d3,
                    0.5 * (f * t01 + g * t11 + h * t12) + l1 * d1 + k1 * d4,
                    0.5 * (f * t02 + g * t12 + h * t22) + l2 * d2 + k2 * d5,
                )
            )
        spread = [
            [
                c + u * f + v * g + w * h + b * r + d * s + e * t
                for c, (f, g, h), (r, s, t) in zip(row, self.by_travel, halves, strict=True)
            ]
            for row, (u, v, w), (b, d, e) in zip(case.cov, halves, self.by_travel, strict=True)
        ]
        return at, spread

    def expected(self, turns: Sequence[float]) -> float:
        """Return the probability of being on target after these turns, a gap allowed for."""
        gap_p = self.known.gap_p if any(turns) else self.known.gap_again_p
        total = (1.0 - gap_p) * self.probability(turns)
        if gap_p:
            total += gap_p / 3.0 * sum(self.probability(turns, True, j) for j in range(3))
        return total

    def _missed(self, moved: Sequence[float]) -> list[float]:
        """Return by how much each reading would miss its target, on the average."""
        off = [
            t + m - w for t, m, w in zip(self.state.travels_mm, moved, self.wanted_mm, strict=True)
        ]
        return [r + sum(map(mul, b, off)) for r, b in zip(self.off_mm, self.by_travel, strict=True)]

    def _candidates(self) -> list[tuple[float, ...]]:
        """Return no turns, and for each set of studs the turns that miss least, on the grid."""
        out: dict[tuple[float, ...], None] = {(0.0, 0.0, 0.0): None}
        starts = [self._missed((0.0, 0.0, 0.0))]
        for case in self.cases:
            if 0.1 < case.probability < 0.999:
                starts.append([m + s for m, s in zip(starts[0], case.shift, strict=True)])
        for start in starts:
            for count in (1, 2, 3):
                for studs in itertools.combinations(range(3), count):
                    for turns in self._on_grid(studs, self._least(studs, start)):
                        if self._allowed(turns):
                            out[turns] = None
        return list(out)

    def _least(self, studs: Sequence[int], start: Sequence[float]) -> list[float]:
        """Return the moves (mm) of these studs that miss the targets least, by least squares."""
        rows = [[b[j] / h for j in studs] for b, h in zip(self.by_travel, self.halves, strict=True)]
        right = [-m / h for m, h in zip(start, self.halves, strict=True)]
        columns = list(zip(*rows, strict=True))
        normal = [[sum(map(mul, a, b)) for b in columns] for a in columns]
        out = solve(normal, [sum(map(mul, a, right)) for a in columns])
        return out if out is not None else [0.0] * len(studs)

    def _on_grid(self, studs: Sequence[int], moves: Sequence[float]) -> list[tuple[float, ...]]:
        """Return the turns that make these moves, and where there is a grid those about them."""
        choices: list[tuple[float, ...]] = [(0.0,)] * 3
        for j, move in zip(studs, moves, strict=True):
            turns = self._turns_for(j, move)
            if not self.finest:
                choices[j] = (turns,)
                continue
            count = turns / self.finest
            near = {math.floor(count), math.ceil(count)}
            choices[j] = tuple(c * self.finest + 0.0 for c in sorted(near))
        return list(itertools.product(*choices))

    def _turns_for(self, j: int, move_mm: float) -> float:
        """Return the turns of a stud that move it so far, the backlash it takes up included."""
        mean = self.state.mean
        real = move_mm / (self.rig.studs[j].lead_mm * (1.0 + mean[LEADS + j]))
        if abs(real) < 1e-8:
            return 0.0
        lost = reversal(self.state.directions[j], real) * mean[BACKLASH + j]
        return real + math.copysign(lost, real)

    def _allowed(self, turns: Sequence[float]) -> bool:
        """Whether each stud that turns stays within its travel."""
        effect = effect_of(self.state, self.rig, turns, self.known)
        ends = zip(self.rig.studs, self.state.travels_mm, turns, effect.moved_mm, strict=True)
        return all(not n or stud.allows(t + moved) for stud, t, n, moved in ends)


def _wanted(
    rig: Rig, edges: Edges, offsets: Sequence[float], goals: Sequence[Goal], start: Pose
) -> tuple[list[float], list[list[float]], list[float], list[dict[int, float]]]:
    """Return the travels (mm) that give the targets, and how readings follow from there.

    Those are the readings' derivatives by travel (n x 3) and by edge offset, and what each still
    misses there (mm), which is nothing with three targets.
    """
    pose = start
    seen = [rig.observe(g.target.method, pose) for g in goals]
    off = [0.0] * len(goals)
    moved = edges.moved(offsets)
    for _ in range(3):
        new = [moved.offset(g.target.method, s, pose).mm for g, s in zip(goals, seen, strict=True)]
        if pose is not start and max(abs(a - b) for a, b in zip(new, off, strict=True)) < 1e-7:
            break
        off = new
        told = [
            Reading(g.target.method, g.target.value_mm - o, g.u_mm)
            for g, o in zip(goals, off, strict=True)
        ]
        try:
            fit = fit_pose(rig.blade, rig.base, told, start)
        except NoPoseError as why:
            raise TargetOutOfReachError(why) from why
        pose, seen = fit.pose, list(fit.observations)
    gradients, by_offset, missed = [], [], []
    for g, s in zip(goals, seen, strict=True):
        offset = moved.offset(g.target.method, s, pose)
        gradients.append([a + b for a, b in zip(s.gradient, offset.by_pose, strict=True)])
        by_offset.append(dict(offset.weights))
        missed.append(s.value_mm + offset.mm - g.target.value_mm)
    by_travel = multiply(gradients, rig.per_travel(pose))
    return [t.mm for t in rig.travels(pose)], by_travel, missed, by_offset
