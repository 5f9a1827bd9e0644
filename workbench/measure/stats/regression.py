"""Straight lines y = a + b x: errors in y only, or in both.

Everything is computed about the weighted centre of the points, so that far-off origins cost no
digits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from workbench.errors import BenchError, InputError
from workbench.measure.numerics.distributions import coverage_factor
from workbench.measure.numerics.linalg import dot
from workbench.measure.repeats import summarise


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
        """The line of points whose u were all taken as 1, their common u estimated from them.

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
        """The line's y at ``x`` and its standard uncertainty."""
        variance = self.u_intercept**2 + 2 * x * self.covariance + (x * self.u_slope) ** 2
        return self.intercept + self.slope * x, math.sqrt(max(0.0, variance))

    def predict(self, x: float) -> tuple[float, float]:
        """One further reading at ``x``: the line's y, with the points' own scatter added."""
        if self.residual_sd is None:
            raise InputError("uncertainty of the further reading", None, "its standard uncertainty")
        y, u = self.at(x)
        return y, math.hypot(u, self.residual_sd)


def weighted_line(xs: Sequence[float], ys: Sequence[float], u_ys: Sequence[float]) -> Line:
    """Line through points whose y have the standard uncertainties ``u_ys`` (ISO/TS 28037, 6)."""
    _check_points(xs, ys, 2)
    _check_uncertainties(u_ys, len(xs), "y")
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


class Slope(NamedTuple):
    """Intercept and slope alone."""

    intercept: float
    slope: float


def deming(xs: Sequence[float], ys: Sequence[float], ratio: float = 1.0) -> Slope:
    """Deming's line, with errors of both: ``ratio`` is the variance of x over that of y.

    W. E. Deming, Statistical Adjustment of Data, 1943.
    """
    _check_points(xs, ys, 2)
    if not 0 < ratio < math.inf:
        raise InputError("ratio of error variances", ratio, "a finite number more than 0")
    n = len(xs)
    x0, y0 = math.fsum(xs) / n, math.fsum(ys) / n
    dx, dy = [x - x0 for x in xs], [y - y0 for y in ys]
    sxx, syy, sxy = dot(dx, dx), dot(dy, dy), dot(dx, dy)
    if sxy == 0:
        raise LineError("x and y do not vary together: no line")
    # Of the two equal forms of the root, the one that adds like signs keeps its digits.
    half = (ratio * syy - sxx) / 2
    root = math.hypot(half, math.sqrt(ratio) * sxy)
    slope = (half + root) / (ratio * sxy) if half >= 0 else sxy / (root - half)
    return Slope(y0 - slope * x0, slope)


def jackknife(
    xs: Sequence[float], ys: Sequence[float]
) -> tuple[tuple[float, float], tuple[float, float]]:
    """95 % confidence intervals of intercept and slope of Deming's line.

    From leaving each point out in turn (Linnet, Clin. Chem. 36 (1990) 1463): pseudo-values,
    Student's t with n - 2 degrees of freedom, about the fit to all points.
    """
    _check_points(xs, ys, 4)
    n = len(xs)
    whole = deming(xs, ys)
    parts = [deming([*xs[:i], *xs[i + 1 :]], [*ys[:i], *ys[i + 1 :]]) for i in range(n)]
    factor = coverage_factor(0.95, n - 2)
    intervals = []
    for k in range(2):
        pseudo = summarise([n * whole[k] - (n - 1) * part[k] for part in parts])
        half = factor * (pseudo.u_mean or 0.0)
        intervals.append((whole[k] - half, whole[k] + half))
    return intervals[0], intervals[1]


def york(
    xs: Sequence[float], ys: Sequence[float], u_xs: Sequence[float], u_ys: Sequence[float]
) -> Line:
    """Line through points with independent uncertainties of x and of y, each its own.

    The unified equations of York et al., Am. J. Phys. 72 (2004) 367, iterated to rest, with their
    uncertainties (from the adjusted points). A 0 says that the coordinate is exact; no point may
    have both 0. Raises :class:`LineError` where the iteration finds no rest.
    """
    _check_points(xs, ys, 2)
    _check_uncertainties(u_xs, len(xs), "x", zero=True)
    _check_uncertainties(u_ys, len(xs), "y", zero=True)
    if any(u == v == 0 for u, v in zip(u_xs, u_ys, strict=True)):
        raise InputError("uncertainties of a point", 0.0, "more than 0 in x or in y")
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
    """One round: weights from the slope, then the slope from the weights."""
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


def _check_points(xs: Sequence[float], ys: Sequence[float], least: int) -> None:
    if len(xs) != len(ys):
        raise InputError("points", (len(xs), len(ys)), "as many x as y")
    if len(xs) < least:
        raise InputError("points", len(xs), f"{least} or more")
    for value in (*xs, *ys):
        if not math.isfinite(value):
            raise InputError("a point", value, "finite numbers")


def _check_uncertainties(us: Sequence[float], n: int, axis: str, zero: bool = False) -> None:
    if len(us) != n:
        raise InputError(f"uncertainties of {axis}", len(us), f"{n}, one for each point")
    for u in us:
        if not (u >= 0 if zero else u > 0) or not u < math.inf:
            accepted = "0 or more" if zero else "more than 0"
            raise InputError(f"uncertainty of {axis}", u, f"a finite number, {accepted}")
