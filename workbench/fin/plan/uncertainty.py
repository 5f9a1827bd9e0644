"""How far turns and predicted readings are known, carried from the readings' uncertainties."""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.fin.frame.linear import multiply
from workbench.fin.frame.pose import Pose
from workbench.fin.parts.studs import Travel
from workbench.fin.plan.block import after_block_u
from workbench.fin.plan.outline import after_outline_u
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.observe import Method
from workbench.fin.reading.rig import Rig


def u_turns(
    rig: Rig,
    fit: Fit,
    now: Sequence[Travel],
    wanted: Sequence[Travel],
    wanted_gain: list[list[float]],
) -> list[float]:
    """Return the standard uncertainty of each stud's exact turns, carried from the readings.

    A held or relative target moves with its own reading, so the two ends of the change are followed
    together from each reading (JCGM 100:2008, 5.1.2, with the readings as the independent inputs).
    """
    out = []
    for stud, n, w in zip(rig.studs, now, wanted, strict=True):
        total = 0.0
        for j, reading in enumerate(fit.readings):
            moved = sum(
                w.gradient[k] * wanted_gain[k][j] - n.gradient[k] * fit.gain[k][j] for k in range(3)
            )
            total += (moved / stud.lead_mm * reading.u_mm) ** 2
        out.append(math.sqrt(total))
    return out


def gain_after(rig: Rig, fit: Fit, after: Pose) -> list[list[float]]:
    """Return (3 x n) how the pose reached by known turns follows each reading before them."""
    return multiply(rig.pose_gain(fit.pose, after), fit.gain)


def u_by(fit: Fit, gain: Sequence[Sequence[float]], gradient: Sequence[float]) -> float:
    """Return the standard uncertainty (mm) of what changes so with a pose that follows so."""
    (through,) = multiply((gradient,), gain)
    return math.sqrt(sum((g * r.u_mm) ** 2 for g, r in zip(through, fit.readings, strict=True)))


def u_after(rig: Rig, fit: Fit, method: Method, after: Pose) -> float:
    """Return the standard uncertainty (mm) of what ``method`` will read at ``after``.

    ``after`` is reached from the fitted pose by known turns; the readings, the outline and the
    studs are uncertain.
    """
    by_readings = u_by(fit, gain_after(rig, fit, after), rig.observe(method, after).gradient)
    return math.hypot(
        by_readings,
        after_outline_u(rig, fit, method, after),
        after_block_u(rig, fit, method, after),
    )
