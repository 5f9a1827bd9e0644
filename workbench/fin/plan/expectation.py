"""What each reading should be after known turns, so that a wrong one shows before it is used.

The last readings fix the pose, the turns made since move the blade, and both ends are uncertain:
the readings by their budgets, the turns by the hand that made them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.fin.frame.linear import inverse
from workbench.fin.plan.block import after_block_u
from workbench.fin.plan.outline import after_outline_u
from workbench.fin.plan.uncertainty import gain_after, u_by
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.observe import Method
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass

U_TURN = 0.01
"""Standard uncertainty of a turn made by hand against a mark, in turns (3.6 degrees): our
default (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Expected:
    """What a method should read (mm), the standard uncertainty of that (mm), and by how much the
    reading changes per mm of contact height."""

    method: Method
    value_mm: float
    u_mm: float
    height_slope: float = 0.0


def expected_after(
    rig: Rig, fit: Fit, turns: Sequence[float], methods: Sequence[Method], u_turn: float = U_TURN
) -> tuple[Expected, ...]:
    """Return what each of ``methods`` should read after ``turns`` (positive is in) from ``fit``.

    Each stud that was turned adds its hand's uncertainty through the seated blade (JCGM 100:2008,
    5.1.2); a stud that was left alone adds none.
    """
    after = rig.seated(fit.pose, turns)
    per_travel = inverse([t.gradient for t in rig.travels(after)])
    gain = gain_after(rig, fit, after)
    out = []
    for method in methods:
        seen = rig.observe(method, after)
        squares = u_by(fit, gain, seen.gradient) ** 2
        squares += after_outline_u(rig, fit, method, after) ** 2
        squares += after_block_u(rig, fit, method, after) ** 2
        for j, (stud, turn) in enumerate(zip(rig.studs, turns, strict=True)):
            if turn and per_travel is not None:
                slope = sum(seen.gradient[k] * per_travel[k][j] for k in range(3))
                squares += (slope * stud.lead_mm * u_turn) ** 2
        out.append(Expected(method, seen.value_mm, math.sqrt(squares), seen.height_slope))
    return tuple(out)
