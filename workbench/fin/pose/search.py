"""Where the solutions are: the one near by, or all over the whole range of tilts."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.pose.descent import STEEPEST_RAD, descend, held_from
from workbench.fin.pose.equations import AtPose, Equations, Reading
from workbench.fin.pose.starts import (
    Group,
    about,
    first_of,
    lines_of,
    meeting,
    middle_x,
    start_x,
    start_ys,
    starts,
    starts_along,
    sweep,
)
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import observe_all
from workbench.measure.linalg import determinant

TILTS_RAD = tuple(STEEPEST_RAD * i / 15.0 for i in range(-15, 16))
"""The tilts that a search looks at, a degree apart."""

NEAR_LEVEL_RAD = tuple(math.radians(t) for t in (0.0, 2.0, -2.0, 4.0, -4.0, 8.0, -8.0))
"""The tilts that a search without a tail distance begins from."""

PLACES = 8
"""It begins so many times in a blade's length, as far to each side of the base's apex."""

_HEIGHTS = 24
"""How many heights a search without a depth looks at."""

_NEAR = 0.25
"""How far outside a cell's misfits zero may lie, as a share of their range, to be looked for."""

MOST_STARTS = 12
"""How many of the starts of least misfit are followed."""

LIKELY = 4.0
"""More than three readings that misfit by less than this for each one over, in squares of their
uncertainties, leave nothing to look for elsewhere."""

FIXED_AS_WELL = 0.25
"""Three readings are tried that fix a pose at least so well, as a share of the best three."""

MOST_THREES = 6
"""How many of the poses that three of more readings give are followed."""


def first_pose(equations: Equations, start: Pose | None) -> AtPose | None:
    """Return a pose that gives the readings, from ``start`` or from level ones; None: not found."""
    begin = [] if start is None else [start]
    if start is None and equations.exact:
        near = about(equations, 0.0)
        sight = None if near is None else held_from(equations, near)
        if sight is not None:
            return sight
    first: AtPose | None = None
    for candidate in itertools.chain(begin, starts(equations, 0.0)):
        first = descend(equations, candidate)
        if first is not None:
            break
    return first if equations.exact else _least_of(equations, first)


def _least_of(equations: Equations, first: AtPose | None) -> AtPose | None:
    """Return the least misfit that ``first`` or the poses of any three of the readings lead to.

    A descent may end at a kink, or in a dip that one wrong reading makes. Some three of the
    readings are right ones, and near their pose the others are met too.
    """
    over = len(equations.readings) - 3
    if first is not None and first.cost <= LIKELY * over:
        return first
    threes = (
        first_pose(Equations(equations.blade, equations.base, three), None)
        for three in _fixing_threes(equations, first)
    )
    poses = distinct([sight.pose for sight in threes if sight is not None])
    seen = sorted((s for s in map(equations.sight, poses) if s is not None), key=lambda s: s.cost)
    ends = [descend(equations, sight.pose) for sight in seen[:MOST_THREES]]
    return min(
        (sight for sight in (first, *ends) if sight is not None), key=lambda s: s.cost, default=None
    )


def _fixing_threes(equations: Equations, near: AtPose | None) -> list[tuple[Reading, ...]]:
    """Return the threes of the readings that fix a pose well: by the volume their slopes span.

    Whichever reading is wrong, the best three without it are among them.
    """
    readings = equations.readings
    if near is None:
        return list(itertools.combinations(readings, 3))
    # A length between parallel sides that stay upright follows no move: its slopes are all 0.
    slopes = [tuple(c / (math.hypot(*row) or 1.0) for c in row) for row in near.rows]
    threes = sorted(
        itertools.combinations(range(len(readings)), 3),
        key=lambda three: abs(determinant([slopes[i] for i in three])),
        reverse=True,
    )
    enough = FIXED_AS_WELL * abs(determinant([slopes[i] for i in threes[0]]))
    without = [next(t for t in threes if i not in t) for i in range(len(readings))]
    return [
        tuple(readings[i] for i in three)
        for three in threes
        if three in without or abs(determinant([slopes[i] for i in three])) >= enough
    ]


def every_pose(equations: Equations) -> list[Pose]:
    """Return all poses found over the whole range of tilts, those of least tilt first."""
    if not equations.exact:
        tried = (descend(equations, start) for start in _best_starts(equations))
        return distinct([sight.pose for sight in tried if sight is not None])
    lines = lines_of(equations)
    groups = [group for line in lines for group in starts_along(line, TILTS_RAD)]
    if not lines:
        groups = _starts_over_heights(equations) or _starts_along_base(equations)
    found = [_first_met(equations, group) for group in groups]
    return distinct([pose for pose in found if pose is not None]) or _any_pose(equations)


def sweep_ahead(blade: Blade, base: Base, two: Sequence[Reading], third: Method) -> None:
    """Precompute what a depth and a tail distance tell of a third reading."""
    depth, tail = (first_of(two, quantity) for quantity in ("depth", "tail"))
    if depth is not None and tail is not None and blade.is_traced:
        methods = (depth.method, tail.method, third)
        sweep(blade, base, methods, (depth.value_mm, tail.value_mm), TILTS_RAD)


def _first_met(equations: Equations, group: Group) -> Pose | None:
    """Return the solution that the group's starts lead to, one between its tilts if there is."""
    least, most = group.between_rad
    elsewhere: Pose | None = None
    for start in group.starts:
        sight = descend(equations, start, round_kinks=False)
        if sight is None:
            continue
        if least <= sight.pose.tilt_rad <= most:
            return sight.pose
        elsewhere = elsewhere or sight.pose
    return elsewhere


def distinct(poses: Sequence[Pose]) -> list[Pose]:
    """Return the poses without near-copies, least tilt first."""
    out: list[Pose] = []
    for pose in sorted(poses, key=lambda p: abs(p.tilt_rad)):
        if all(_apart(pose, other) > 1e-5 for other in out):
            out.append(pose)
    return out


def _apart(a: Pose, b: Pose) -> float:
    return abs(a.x_mm - b.x_mm) + abs(a.y_mm - b.y_mm) + 100.0 * abs(a.tilt_rad - b.tilt_rad)


def _any_pose(equations: Equations) -> list[Pose]:
    """Follow the starts of least misfit round any kink, and stop at the first pose found."""
    for start in _best_starts(equations):
        sight = descend(equations, start)
        if sight is not None:
            return [sight.pose]
    return []


def _best_starts(equations: Equations) -> list[Pose]:
    """Return the starts of least misfit, over all tilts."""
    everywhere = (start for tilt in sorted(TILTS_RAD, key=abs) for start in starts(equations, tilt))
    seen = [s for s in map(equations.sight, everywhere) if s is not None]
    seen.sort(key=lambda s: s.cost)
    return [s.pose for s in seen[:MOST_STARTS]]


Cell = tuple[float, float, Pose]
"""Two readings' misfits in mm and the pose where they were seen."""


def _starts_over_heights(equations: Equations) -> list[Group]:
    """Return starts in each cell of tilt and height over which two misfits both change sign.

    For readings without a depth: a tail distance is met by the place along the base, so that the
    other two misfits are functions of tilt and height.
    """
    tail = first_of(equations.readings, "tail")
    if tail is None:
        return []
    one, two = (r for r in equations.readings if r is not tail)
    grid = [_column(equations, one, two, tilt) for tilt in TILTS_RAD]
    groups: list[Group] = []
    for left, right in itertools.pairwise(grid):
        for j in range(_HEIGHTS - 1):
            corners = [c for c in (left[j], left[j + 1], right[j], right[j + 1]) if c is not None]
            if len(corners) < 2:
                continue
            if _near_zero([c[0] for c in corners]) and _near_zero([c[1] for c in corners]):
                groups.append(Group((corners[0][2], corners[-1][2])))
    return groups


def on_the_ski(equations: Equations, poses: Sequence[Pose]) -> list[Pose]:
    """Return the poses that leave no part of the blade behind the tail."""
    outline = equations.blade.outline_mm
    return [pose for pose in poses if min(pose.place(point)[0] for point in outline) >= 0.0]


def _starts_along_base(equations: Equations) -> list[Group]:
    """Return starts all along a curved base, for readings without a tail distance.

    Each meets a depth; where the blade is fore and aft the other two have to tell, by the
    base's curve alone, and may tell twice.
    """
    depth = first_of(equations.readings, "depth")
    if depth is None or first_of(equations.readings, "tail") is not None:
        return []
    middle, step = middle_x(equations), equations.scale_mm / PLACES
    groups: list[Group] = []
    for tilt in NEAR_LEVEL_RAD:
        for i in range(-PLACES, PLACES + 1):
            start = meeting(equations, depth, middle + i * step, tilt)
            if start is not None:
                groups.append(Group((start,)))
    return groups


def _near_zero(values: Sequence[float]) -> bool:
    """Tell whether zero lies between the values, or nearly."""
    lo, hi = min(values), max(values)
    margin = _NEAR * (hi - lo)
    return lo - margin <= 0.0 <= hi + margin


def _column(equations: Equations, one: Reading, two: Reading, tilt: float) -> list[Cell | None]:
    """Return two readings' misfits over the heights at one tilt, the tail distance met."""
    blade, base = equations.blade, equations.base
    out: list[Cell | None] = []
    for y in start_ys(equations, tilt, _HEIGHTS):
        x = start_x(equations, y, tilt)
        cell = None
        if x is not None:
            pose = Pose(x, y, tilt)
            seen, also = observe_all((one.method, two.method), blade, base, pose)
            if seen is not None and also is not None:
                cell = (seen.value_mm - one.value_mm, also.value_mm - two.value_mm, pose)
        out.append(cell)
    return out
