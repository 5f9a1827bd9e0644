"""What the block's own uncertainty does to turns and predictions.

Where a stud's axis lies beside itself (``Stud.place_u_mm``) and its lead (``Stud.lead_u``) may each
be off, each stud by itself. A stud that lies off by d touches a blade at an angle to it by
d * tan earlier or later, tan being that of the angle between its axis and the edge's normal: what
both ends of a move share cancels, and a move that keeps the blade's tilt costs nothing. A lead that
is off counts with the whole turn (JCGM 100:2008, 5.1.2, with the studs' figures as the independent
inputs).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.fin.frame.linear import inverse
from workbench.fin.frame.pose import Pose
from workbench.fin.parts.studs import Stud, Travel
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.observe import Method
from workbench.fin.reading.rig import Rig


def _is_exact(studs: Sequence[Stud]) -> bool:
    return all(stud.place_u_mm == 0.0 and stud.lead_u == 0.0 for stud in studs)


def _askew(stud: Stud, at: Travel) -> float:
    """Return how the travel follows (mm/mm) a shift of the axis square to itself: the tan."""
    ax, ay = stud.axis
    return at.gradient[0] * ay - at.gradient[1] * ax


def move_u(stud: Stud, start: Travel, end: Travel) -> float:
    """Return the standard uncertainty (mm) of a stud's move between two places of the blade."""
    turned = _askew(stud, end) - _askew(stud, start)
    return math.hypot(stud.place_u_mm * turned, stud.lead_u * (end.mm - start.mm))


def turns_block_u(
    studs: Sequence[Stud], now_at: Sequence[Travel], wanted_at: Sequence[Travel]
) -> list[float]:
    """Return the standard uncertainty of each stud's exact turns for the block's sake."""
    return [
        move_u(stud, now, wanted) / stud.lead_mm
        for stud, now, wanted in zip(studs, now_at, wanted_at, strict=True)
    ]


def after_block_u(rig: Rig, fit: Fit, method: Method, after: Pose) -> float:
    """Return the standard uncertainty (mm) of what ``method`` reads at ``after``, for the block's
    sake; ``after`` is reached from the fitted pose by known turns."""
    if after == fit.pose or _is_exact(rig.studs):
        return 0.0
    now_at, after_at = rig.travels(fit.pose), rig.travels(after)
    per_travel = inverse([t.gradient for t in after_at])
    if per_travel is None:
        return 0.0
    gradient = rig.observe(method, after).gradient
    parts = []
    for j, stud in enumerate(rig.studs):
        slope = math.fsum(gradient[k] * per_travel[k][j] for k in range(3))
        parts.append(slope * move_u(stud, now_at[j], after_at[j]))
    return math.hypot(*parts)
