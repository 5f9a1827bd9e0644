"""An offset between two methods, learnt from pairs of readings of the same things by both.

The difference is a constant (Bland and Altman, Lancet 1986; i: 307-310) unless the pairs show
plainly that it grows with the reading: then it is a line with errors in both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from workbench.errors import BenchError, InputError
from workbench.measure.distributions import coverage_factor
from workbench.measure.linalg import dot
from workbench.measure.repeats import LEVEL, checked, summarise

# -- straight lines --------------------------------------------------------------------------------


class LineError(BenchError, ValueError):
    """Points that determine no line of the kind asked for; says why."""


@dataclass(frozen=True, slots=True)
class Line:
    """y = ``intercept`` + ``slope`` x, from ``n`` points.

    ``u_intercept``, ``u_slope`` and ``covariance`` (of the two) are standard uncertainties;
    ``chi2`` is the weighted sum of squared residuals, ``dof`` = n - 2 its degrees of freedom.
    ``residual_sd`` is the scatter of y about the line where it was estimated from the points.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    covariance: float
    chi2: float
    dof: int
    residual_sd: float | None = None

    def from_scatter(self, further: float = 1.0) -> Line:
        """Return the line with the points' u, all taken as 1 so far, estimated from them.

        It is such that chi-square is its degrees of freedom. ``further`` is how far one more y
        scatters about the line, in that u.
        """
        s = math.sqrt(self.chi2 / self.dof)
        return replace(
            self,
            u_intercept=s * self.u_intercept,
            u_slope=s * self.u_slope,
            covariance=s * s * self.covariance,
            residual_sd=s * further,
        )

    def at(self, x: float) -> tuple[float, float]:
        """Return the line's y at ``x`` and its standard uncertainty."""
        variance = self.u_intercept**2 + 2 * x * self.covariance + (x * self.u_slope) ** 2
        return self.intercept + self.slope * x, math.sqrt(max(0.0, variance))

    def predict(self, x: float) -> tuple[float, float]:
        """Return one further reading at ``x``: the line's y, with the points' scatter in its u."""
        assert self.residual_sd is not None, "of a line from_scatter"
        y, u = self.at(x)
        return y, math.hypot(u, self.residual_sd)


def weighted_line(xs: Sequence[float], ys: Sequence[float], u_ys: Sequence[float]) -> Line:
    """Return the line through points with standard uncertainties of y (ISO/TS 28037, 6)."""
    weights = [1 / (u * u) for u in u_ys]
    total = math.fsum(weights)
    x0, y0 = dot(weights, xs) / total, dot(weights, ys) / total
    dx, dy = [x - x0 for x in xs], [y - y0 for y in ys]
    across = math.fsum(w * d * d for w, d in zip(weights, dx, strict=True))
    if across == 0:
        raise LineError("all x are the same: no slope")
    slope = math.fsum(w * d * e for w, d, e in zip(weights, dx, dy, strict=True)) / across
    residuals = [e - slope * d for d, e in zip(dx, dy, strict=True)]
    return Line(
        intercept=y0 - slope * x0,
        slope=slope,
        u_intercept=math.sqrt(1 / total + x0 * x0 / across),
        u_slope=1 / math.sqrt(across),
        covariance=-x0 / across,
        chi2=math.fsum(w * r * r for w, r in zip(weights, residuals, strict=True)),
        dof=len(xs) - 2,
    )


def deming(xs: Sequence[float], ys: Sequence[float]) -> float:
    """Return the slope of Deming's line, with equal errors of both.

    W. E. Deming, Statistical Adjustment of Data, 1943.
    """
    n = len(xs)
    x0, y0 = math.fsum(xs) / n, math.fsum(ys) / n
    dx, dy = [x - x0 for x in xs], [y - y0 for y in ys]
    sxx, syy, sxy = dot(dx, dx), dot(dy, dy), dot(dx, dy)
    if sxy == 0:
        raise LineError("x and y do not vary together: no line")
    # Of the two equal forms of the root, the one that adds like signs keeps its digits.
    half = (syy - sxx) / 2
    root = math.hypot(half, sxy)
    return (half + root) / sxy if half >= 0 else sxy / (root - half)


def jackknife(xs: Sequence[float], ys: Sequence[float]) -> tuple[float, float]:
    """Return the 95 % confidence interval of the slope of Deming's line.

    From leaving each point out in turn (Linnet, Clin. Chem. 36 (1990) 1463): pseudo-values,
    Student's t with n - 2 degrees of freedom, about the fit to all points.
    """
    n, whole = len(xs), deming(xs, ys)
    parts = [deming([*xs[:i], *xs[i + 1 :]], [*ys[:i], *ys[i + 1 :]]) for i in range(n)]
    pseudo = summarise([n * whole - (n - 1) * part for part in parts])
    half = coverage_factor(0.95, n - 2) * (pseudo.u_mean or 0.0)
    return whole - half, whole + half


def york(
    xs: Sequence[float], ys: Sequence[float], u_xs: Sequence[float], u_ys: Sequence[float]
) -> Line:
    """Return the line through points with independent uncertainties of x and of y, each its own.

    The unified equations of York et al., Am. J. Phys. 72 (2004) 367, iterated to rest, with their
    uncertainties (from the adjusted points). A 0 says that the coordinate is exact; no point may
    have both 0. Raises :class:`LineError` where the iteration finds no rest.
    """
    variances = [(u * u, v * v) for u, v in zip(u_xs, u_ys, strict=True)]
    slope = weighted_line(xs, ys, [1.0] * len(xs)).slope
    for _ in range(500):
        centre = _york_centre(xs, ys, variances, slope)
        new = centre.slope
        if abs(new - slope) <= 1e-15 * abs(new):
            return _york_line(xs, ys, centre)
        slope = new
    if abs(new - centre.start) <= 1e-12 * abs(new):
        return _york_line(xs, ys, centre)
    raise LineError("no line found: the points scatter too much for their uncertainties")


class _Centre(NamedTuple):
    start: float
    slope: float
    x0: float
    y0: float
    weights: list[float]
    shifts: list[float]


def _york_centre(
    xs: Sequence[float], ys: Sequence[float], variances: list[tuple[float, float]], slope: float
) -> _Centre:
    """Go one round: weights from the slope, then the slope from the weights."""
    weights = [1 / (vy + slope * slope * vx) for vx, vy in variances]
    total = math.fsum(weights)
    x0, y0 = dot(weights, xs) / total, dot(weights, ys) / total
    dx, dy = [x - x0 for x in xs], [y - y0 for y in ys]
    shifts = [
        w * (d * vy + slope * e * vx)
        for w, d, e, (vx, vy) in zip(weights, dx, dy, variances, strict=True)
    ]
    below = math.fsum(w * s * d for w, s, d in zip(weights, shifts, dx, strict=True))
    if below == 0:
        raise LineError("all x are the same: no slope")
    new = math.fsum(w * s * e for w, s, e in zip(weights, shifts, dy, strict=True)) / below
    return _Centre(slope, new, x0, y0, weights, shifts)


def _york_line(xs: Sequence[float], ys: Sequence[float], centre: _Centre) -> Line:
    slope, weights = centre.slope, centre.weights
    intercept = centre.y0 - slope * centre.x0
    total = math.fsum(weights)
    adjusted = [centre.x0 + s for s in centre.shifts]
    middle = dot(weights, adjusted) / total
    u_slope = 1 / math.sqrt(
        math.fsum(w * (x - middle) ** 2 for w, x in zip(weights, adjusted, strict=True))
    )
    return Line(
        intercept=intercept,
        slope=slope,
        u_intercept=math.sqrt(1 / total + (middle * u_slope) ** 2),
        u_slope=u_slope,
        covariance=-middle * u_slope**2,
        chi2=math.fsum(
            w * (y - intercept - slope * x) ** 2 for w, x, y in zip(weights, xs, ys, strict=True)
        ),
        dof=len(xs) - 2,
    )


# -- the offset ------------------------------------------------------------------------------------

FEWEST_PAIRS = 2
FEWEST_FOR_SLOPE = 8
"""Pairs below which a slope is not judged: our rule (common practice, no source)."""

LEAST_SPREAD = 2.0
"""How many times the scatter of the differences the readings' own scatter must be, for a slope to
be judged: our rule (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class LearntOffset:
    """What to add to a reading by one method to have it by another, from ``n`` pairs.

    ``agreement`` holds the differences, second method minus first. ``slope`` and its 95 % interval
    are Deming's with Linnet's jackknife, None where too few pairs or too little spread let none be
    judged. ``line`` is the errors-in-both line of second on first, only where the slope is
    clear of 1; it is then what restates. ``low`` and ``high`` are the ends of the first method's
    readings: beyond them nothing was learnt.
    """

    n: int
    agreement: Agreement
    slope: float | None
    slope_interval: tuple[float, float] | None
    line: Line | None
    low: float
    high: float

    def difference_at(self, value: float) -> tuple[float, float]:
        """Return second minus first at a reading by the first, and its own standard uncertainty."""
        if self.line is None:
            return self.agreement.bias, self.agreement.se_bias
        there, u = self.line.at(value)
        return there - value, u

    def restate(self, value: float, u: float) -> Restatement:
        """Return a reading by the first method as the second would read it.

        What was learnt is added; its own uncertainty and the scatter of a single difference join
        the reading's ``u``.
        """
        if not 0 <= u < math.inf:
            raise InputError("uncertainty", u, "a finite number, 0 or more")
        if self.line is None:
            found = self.agreement
            there, dof = value + found.bias, self.n - 1
            own = math.hypot(found.sd, found.se_bias)
            u_there = math.hypot(u, found.se_bias, found.sd)
        else:
            there, own = self.line.predict(value)
            u_there = math.hypot(own, self.line.slope * u)
            dof = self.line.dof
        expanded = u_there * coverage_factor(LEVEL, _effective_dof(u_there, own, dof))
        within = self.low <= value <= self.high
        return Restatement(there, u_there, expanded, self.n, self.line is not None, within)


@dataclass(frozen=True, slots=True)
class Restatement:
    """A restated reading, its standard uncertainty and the expanded one (95 %), and its pairs.

    ``sloped``: by the line, not by a constant. ``within``: the reading lies among those that the
    offset was learnt from.
    """

    value: float
    u: float
    expanded: float
    n: int
    sloped: bool
    within: bool


def learn_offset(first: Sequence[float], second: Sequence[float]) -> LearntOffset:
    """Return the offset from ``first`` to ``second``, two pairs or more.

    Raises:
        InputError: fewer than two pairs (no variance from one), or not as many by both.
    """
    if min(len(first), len(second)) < FEWEST_PAIRS:
        raise InputError("pairs", len(first), "2 or more: one pair shows no scatter")
    if len(first) != len(second):
        raise InputError("pairs", (len(first), len(second)), "as many readings by both methods")
    a, b = checked(first, "pairs"), checked(second, "pairs")
    found = agreement(b, a)
    whole = LearntOffset(len(a), found, None, None, None, min(a), max(a))
    if len(a) < FEWEST_FOR_SLOPE or not _spread_enough(a, found):
        return whole
    try:
        slope, interval = deming(a, b), jackknife(a, b)
        if interval[0] <= 1.0 <= interval[1]:
            return replace(whole, slope=slope, slope_interval=interval)
        return replace(whole, slope=slope, slope_interval=interval, line=_line(a, b))
    except LineError:  # no slope to be found is no reason to doubt the constant
        return whole


def _spread_enough(readings: Sequence[float], found: Agreement) -> bool:
    spread = summarise(readings).sd or 0.0
    return spread > 0.0 and spread >= LEAST_SPREAD * found.sd


def _line(xs: Sequence[float], ys: Sequence[float]) -> Line:
    """Return the line through points whose equal scatter in x and y is estimated from themselves.

    York's equations with one uncertainty for all, scaled so that chi-square is its degrees of
    freedom; one further y scatters about the line by that of y and, through the slope, that of x.
    """
    ones = [1.0] * len(xs)
    unit = york(xs, ys, ones, ones)
    return unit.from_scatter(math.hypot(1.0, unit.slope))


def _effective_dof(u: float, own: float, dof: int) -> float:
    """Return Welch-Satterthwaite's (JCGM 100:2008, G.4.1), the reading's own u known well."""
    return math.inf if own == 0.0 else dof * (u / own) ** 4


FACTOR = 1.96
"""Standard deviations from the mean difference to the limits of agreement, for 95 %."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """Differences first minus second of ``n`` pairs, in the unit of the readings.

    ``bias`` is their mean, ``se_bias`` its standard error and ``sd`` their standard deviation; 95 %
    of further differences are to be expected between ``lower`` and ``upper``, either of which is
    known to plus or minus ``half_limit`` (95 %).
    """

    n: int
    bias: float
    sd: float
    lower: float
    upper: float
    se_bias: float
    half_limit: float


def agreement(first: Sequence[float], second: Sequence[float]) -> Agreement:
    """Return how far two pairs of readings or more by two methods agree."""
    differences = summarise([x - y for x, y in zip(first, second, strict=True)])
    n, bias, sd, se = differences.n, differences.mean, differences.sd, differences.u_mean
    # Two pairs or more: both are numbers.
    assert sd is not None
    assert se is not None
    lower, upper = bias - FACTOR * sd, bias + FACTOR * sd
    return Agreement(
        n, bias, sd, lower, upper, se, coverage_factor(LEVEL, n - 1) * math.sqrt(3) * se
    )
