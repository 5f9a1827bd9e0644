"""A dense contour of a blade made an outline of few points, and holes made circles.

The corners of the outline are placed so that the contour's points lie about it evenly, each point
counting, so that the contour's own noise averages out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from workbench.errors import InputError
from workbench.fin.blade import distance_to_segment, perimeter, sides_of
from workbench.fin.frame import Point, direction
from workbench.frozen import dataclass
from workbench.measure.linalg import factor, least_squares

SHARP_RAD = math.radians(20.0)
"""Two sides that turn by more meet in a corner: a blurred contour is rounder there than the blade,
so the points beside it do not count."""

SWEEPS, ROUNDS = 12, 6
"""Least squares: sweeps over all corners in a round, and rounds with newly found normals."""

SPLITS = (4.0, 2.8, 2.0, 1.4, 1.0, 0.7)
"""The contour is split at points this many tolerances off the chord, as coarsely as will do."""

FEWEST_POINTS = 30
"""A contour of fewer points shows no blade."""

Run = tuple[int, int]
"""From one index of the contour to another, going round."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """An outline fitted to a contour (mm).

    The rest are distances of the contour from it, corners' roundings left out, as means over a few
    points: their root mean square, and the worst.
    """

    outline_mm: tuple[Point, ...]
    mean_rms_mm: float
    worst_mm: float


def fit_outline(
    contour: Sequence[Point],
    tolerance_mm: float,
    blur_mm: float,
    at_step: Callable[[], None] | None = None,
) -> Fitted:
    """Return the outline of fewest points that lies within ``tolerance_mm`` of a closed contour.

    ``contour`` is n x 2 (mm), in order, not repeated at its end, its points about evenly spaced.
    ``blur_mm`` is how far from a corner the contour is rounder than the blade; distances are judged
    as means over as many points as lie in so long a piece.

    The split is that of D. H. Douglas and T. K. Peucker, Cartographica 10 (1973) 112; the corners
    are then moved to the least sum of squared distances. ``at_step`` is called before each split;
    what it raises ends the work.

    Raises:
        InputError: too few points.
    """
    if len(contour) < FEWEST_POINTS:
        raise InputError("contour", f"{len(contour)} points", f"{FEWEST_POINTS} points or more")
    half = max(1, round(blur_mm * len(contour) / perimeter(contour) / 4.0))
    smooth = _smoothed(contour, half)
    best: Fitted | None = None
    for times in SPLITS:
        if at_step is not None:
            at_step()
        corners = split_closed(smooth, tolerance_mm * times)
        corners = _fewer(contour, smooth, corners, tolerance_mm, blur_mm)
        corners = _sharpened(contour, corners, blur_mm)
        found = _judged(contour, corners, _least_squares(contour, corners, blur_mm), half, blur_mm)
        if best is None or found.worst_mm < best.worst_mm:
            best = found
        if found.worst_mm <= tolerance_mm:
            break
    assert best is not None
    return best


def _smoothed(contour: Sequence[Point], half: int) -> list[Point]:
    """Return the running mean over 2 half + 1 points, going round."""
    n, width = len(contour), 2 * half + 1
    out = []
    x = math.fsum(contour[i % n][0] for i in range(-half, half + 1))
    y = math.fsum(contour[i % n][1] for i in range(-half, half + 1))
    for i in range(n):
        out.append((x / width, y / width))
        gone, new = contour[(i - half) % n], contour[(i + half + 1) % n]
        x, y = x + new[0] - gone[0], y + new[1] - gone[1]
    return out


def split_closed(points: Sequence[Point], tolerance: float) -> list[int]:
    """Return the indices at which a closed contour (n x 2) is split, in order: no point between two
    of them lies farther than ``tolerance`` off their chord."""
    n = len(points)
    middle = (math.fsum(p[0] for p in points) / n, math.fsum(p[1] for p in points) / n)
    one = max(range(n), key=lambda i: math.dist(points[i], middle))
    two = max(range(n), key=lambda i: math.dist(points[i], points[one]))
    found = {one, two}
    todo: list[Run] = [(one, two), (two, one)]
    while todo:
        a, b = todo.pop()
        far, at = _farthest(points, a, b)
        if far > tolerance:
            found.add(at)
            todo += [(a, at), (at, b)]
    return sorted(found)


def _farthest(points: Sequence[Point], a: int, b: int) -> tuple[float, int]:
    """Return how far, and where, the contour from index a to b leaves the chord most."""
    n = len(points)
    (ax, ay), (bx, by) = points[a], points[b]
    ex, ey = bx - ax, by - ay
    length = math.hypot(ex, ey)
    far, at = -1.0, a
    for step in range(1, (b - a) % n):
        i = (a + step) % n
        x, y = points[i][0] - ax, points[i][1] - ay
        along = (x * ex + y * ey) / length if length > 0.0 else -1.0
        if 0.0 <= along <= length:
            off = abs(ex * y - ey * x) / length
        else:
            off = min(math.hypot(x, y), math.hypot(points[i][0] - bx, points[i][1] - by))
        if off > far:
            far, at = off, i
    return far, at


def _fewer(
    contour: Sequence[Point],
    smooth: Sequence[Point],
    corners: list[int],
    tolerance: float,
    blur: float,
) -> list[int]:
    """Leave out corners without which the chord between their neighbours is as good."""
    left = list(corners)
    while len(left) > 4:
        places = _least_squares(contour, left, blur)
        m = len(left)
        cost = []
        for k in range(m):
            chord = places[k - 1], places[(k + 1) % m]
            cost.append((_worst_off(smooth, left[k - 1], left[(k + 1) % m], *chord), k))
        out: set[int] = set()
        for off, k in sorted(cost):
            if off > tolerance or len(left) - len(out) <= 4:
                break
            if not out & {(k - 1) % m, (k + 1) % m}:
                out.add(k)
        if not out:
            return left
        left = [corner for k, corner in enumerate(left) if k not in out]
    return left


def _sharpened(contour: Sequence[Point], corners: list[int], reach: float) -> list[int]:
    """Return the corners with each one that blur cut off, leaving short sides, made one again."""
    n = len(contour)
    out: list[int] = []
    left = list(corners)
    # Begun at the longest side, so that no cut-off corner lies across the begin.
    sides = [math.dist(contour[left[k - 1]], contour[left[k]]) for k in range(len(left))]
    first = max(range(len(left)), key=lambda k: sides[k])
    left = left[first:] + left[:first]
    k = 0
    while k < len(left):
        j = k
        while j + 1 < len(left) and (
            math.dist(contour[left[j]], contour[left[j + 1]]) < 1.5 * reach
            and math.dist(contour[left[k]], contour[left[j + 1]]) < 2.2 * reach
        ):
            j += 1
        before, after = contour[left[k - 1]], contour[left[(j + 1) % len(left)]]
        turn = _turn(before, contour[left[k]], contour[left[j]], after)
        if j > k and abs(turn) > SHARP_RAD:
            out.append((left[k] + (left[j] - left[k]) % n // 2) % n)
        else:
            out += left[k : j + 1]
        k = j + 1
    return sorted(out) if len(out) >= 3 else corners


def _turn(a: Point, b: Point, c: Point, d: Point) -> float:
    """Return by how much (rad) the direction from c to d is turned from that from a to b."""
    ex, ey, fx, fy = b[0] - a[0], b[1] - a[1], d[0] - c[0], d[1] - c[1]
    return math.atan2(ex * fy - ey * fx, ex * fx + ey * fy)


def _worst_off(points: Sequence[Point], a: int, b: int, start: Point, end: Point) -> float:
    n = len(points)
    return max(
        distance_to_segment(points[(a + step) % n], start, end) for step in range((b - a) % n + 1)
    )


def _runs(corners: Sequence[int]) -> list[Run]:
    return list(zip(corners, [*corners[1:], corners[0]], strict=True))


def _counting(
    contour: Sequence[Point], run: Run, start: Point, end: Point, skip: tuple[float, float]
) -> list[tuple[float, Point]]:
    """Return the points of a run that count, each with how far along from start (0) to end (1).

    ``skip``: lengths (mm) left out at the two ends, at most a third of the run each.
    """
    n = len(contour)
    ex, ey = end[0] - start[0], end[1] - start[1]
    square = ex * ex + ey * ey
    length = math.sqrt(square)
    if length == 0.0:
        return []
    low = min(skip[0] / length, 1.0 / 3.0)
    high = 1.0 - min(skip[1] / length, 1.0 / 3.0)
    out = []
    for step in range((run[1] - run[0]) % n + 1):
        x, y = contour[(run[0] + step) % n]
        t = ((x - start[0]) * ex + (y - start[1]) * ey) / square
        if low <= t <= high:
            out.append((t, (x, y)))
    return out


def _skips(places: Sequence[Point], blur: float) -> list[float]:
    """Return for each corner how far from it the contour does not count."""
    out = []
    for k, (at, after) in enumerate(sides_of(places)):
        before = places[k - 1]
        turn = abs(_turn(before, at, at, after))
        out.append(blur if turn > SHARP_RAD else 0.0)
    return out


def _least_squares(contour: Sequence[Point], corners: Sequence[int], blur: float) -> list[Point]:
    """Return the places of the corners at the least sum of squared distances of the contour.

    Gauss-Newton, its normal equations solved by Gauss-Seidel, corner by corner. Where two sides run
    nearly on, nothing tells where along them the corner lies: a weight keeps it where it is.
    """
    places = [contour[i] for i in corners]
    m = len(places)
    runs = _runs(corners)
    for _ in range(ROUNDS):
        skip = _skips(places, blur)
        sides = [
            _moments(contour, runs[k], places[k], places[(k + 1) % m], (skip[k], skip[(k + 1) % m]))
            for k in range(m)
        ]
        was = list(places)
        for _ in range(SWEEPS):
            for k in range(m):
                places[k] = _placed(sides[k - 1], sides[k], places, was[k], k)
    return places


@dataclass(frozen=True, slots=True)
class _Side:
    """Sums over a side's points: its unit normal, those of (1-t)^2, (1-t) t, t^2, and of the
    points' distances along the normal times (1-t) and t."""

    normal: Point
    ss: float
    st: float
    tt: float
    sd: float
    td: float


def _moments(
    contour: Sequence[Point], run: Run, start: Point, end: Point, skip: tuple[float, float]
) -> _Side:
    ex, ey = direction(start, end)
    nx, ny = -ey, ex
    ss = st = tt = sd = td = 0.0
    for t, (x, y) in _counting(contour, run, start, end, skip):
        s, d = 1.0 - t, nx * x + ny * y
        ss, st, tt, sd, td = ss + s * s, st + s * t, tt + t * t, sd + s * d, td + t * d
    return _Side((nx, ny), ss, st, tt, sd, td)


def _placed(before: _Side, after: _Side, places: list[Point], was: Point, k: int) -> Point:
    """Return where corner k lies best with its two neighbours where they are."""
    (bx, by), (ax, ay) = before.normal, after.normal
    last, following = places[k - 1], places[(k + 1) % len(places)]
    right_b = before.td - before.st * (bx * last[0] + by * last[1])
    right_a = after.sd - after.st * (ax * following[0] + ay * following[1])
    xx = before.tt * bx * bx + after.ss * ax * ax
    xy = before.tt * bx * by + after.ss * ax * ay
    yy = before.tt * by * by + after.ss * ay * ay
    rx, ry = right_b * bx + right_a * ax, right_b * by + right_a * ay
    # A weight on staying where it was, along the mean direction of the two sides.
    tx, ty = by + ay, -(bx + ax)
    size = math.hypot(tx, ty)
    keep = 0.01 * (xx + yy) + 1e-12
    if size > 0.0:
        tx, ty = tx / size, ty / size
        stay = tx * was[0] + ty * was[1]
        xx, xy, yy = xx + keep * tx * tx, xy + keep * tx * ty, yy + keep * ty * ty
        rx, ry = rx + keep * stay * tx, ry + keep * stay * ty
    det = xx * yy - xy * xy
    if det <= 1e-12 * (xx + yy) ** 2:
        return was
    return ((rx * yy - ry * xy) / det, (ry * xx - rx * xy) / det)


def _judged(
    contour: Sequence[Point],
    corners: Sequence[int],
    places: Sequence[Point],
    half: int,
    blur: float,
) -> Fitted:
    skip = _skips(places, blur)
    m = len(places)
    means: list[float] = []
    width = 2 * half + 1
    for k, run in enumerate(_runs(corners)):
        start, end = places[k], places[(k + 1) % m]
        ex, ey = direction(start, end)
        points = _counting(contour, run, start, end, (skip[k], skip[(k + 1) % m]))
        offs = [ex * (y - start[1]) - ey * (x - start[0]) for _, (x, y) in points]
        for i in range(0, len(offs) - width + 1, max(1, half)):
            means.append(math.fsum(offs[i : i + width]) / width)
    squares = math.fsum(mean * mean for mean in means) / max(1, len(means))
    worst = max(map(abs, means), default=0.0)
    return Fitted(tuple(places), math.sqrt(squares), worst)


# -- circles ---------------------------------------------------------------------------------------

STEPS = 10


@dataclass(frozen=True, slots=True)
class Circle:
    """A fitted circle (mm); ``rms_mm`` is how far its points lie off it."""

    centre_mm: Point
    radius_mm: float
    rms_mm: float


def fit_circle(points: Sequence[Point]) -> Circle:
    """Return the circle with the least sum of squared distances from points (n x 2, mm).

    Begun from the algebraic fit of I. Kasa, IEEE Trans. Instrum. Meas. 25 (1976) 8, and improved by
    Gauss-Newton on the distances.

    Raises:
        InputError: fewer than three points, or points on a line.
    """
    accepted = "three points or more that lie on no line"
    if len(points) < 3:
        raise InputError("circle", f"{len(points)} points", accepted)
    mx = math.fsum(x for x, _ in points) / len(points)
    my = math.fsum(y for _, y in points) / len(points)
    near = [(x - mx, y - my) for x, y in points]
    rows = [(2.0 * x, 2.0 * y, 1.0) for x, y in near]
    factors = factor(rows)
    if factors.rank < 3:
        raise InputError("circle", f"{len(points)} points", accepted)
    cx, cy, rest = least_squares(factors, [x * x + y * y for x, y in near])
    radius = math.sqrt(max(0.0, rest + cx * cx + cy * cy))
    for _ in range(STEPS):
        away = [(x - cx, y - cy, math.hypot(x - cx, y - cy)) for x, y in near]
        if min(d for *_, d in away) == 0.0:
            break
        factors = factor([(x / d, y / d, 1.0) for x, y, d in away])
        if factors.rank < 3:
            break
        dx, dy, dr = least_squares(factors, [d - radius for *_, d in away])
        cx, cy, radius = cx + dx, cy + dy, radius + dr
        if math.hypot(dx, dy, dr) < 1e-9:
            break
    off = math.fsum((math.hypot(x - cx, y - cy) - radius) ** 2 for x, y in near)
    return Circle((mx + cx, my + cy), radius, math.sqrt(off / len(near)))
