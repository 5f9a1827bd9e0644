"""Where an uncertainty carried along straight lines is only rough: beside a corner of the outline.

A reading is smooth in the pose while the jaw stays on one corner or edge, and bends where it goes
over to the next. Within the reach of the readings' own uncertainties such a bend makes the linear
propagation wrong (JCGM 101:2008, 5.11, names this as the case for Monte Carlo).
"""

from __future__ import annotations

from collections.abc import Sequence

from workbench.fin.fit import Fit
from workbench.fin.linear import multiply
from workbench.fin.methods import Method, observe
from workbench.fin.pose import Pose
from workbench.fin.rig import Rig
from workbench.fin.trust import u_after

REACH = 2.0
"""Each reading is moved by this many of its standard uncertainties."""

BEND = 0.1
"""A reading that then misses the straight line by more than this share of its own uncertainty over
the same reach has gone over to another part of the outline."""


def rough_methods(rig: Rig, fit: Fit, methods: Sequence[Method], pose: Pose) -> tuple[Method, ...]:
    """Return those of ``methods`` whose uncertainty at ``pose`` is only rough.

    ``pose`` is the fitted one, or one reached from it by known turns.
    """
    gain = multiply(rig.pose_gain(fit.pose, pose), [list(row) for row in fit.gain])
    moves = [
        tuple(row[j] * sign * REACH * reading.u_mm for row in gain)
        for j, reading in enumerate(fit.readings)
        for sign in (1.0, -1.0)
    ]
    return tuple(m for m in methods if _bends(rig, fit, m, pose, moves))


def _bends(
    rig: Rig, fit: Fit, method: Method, pose: Pose, moves: Sequence[tuple[float, ...]]
) -> bool:
    here = rig.observe(method, pose)
    allowed = BEND * REACH * u_after(rig, fit, method, pose)
    for dx, dy, dtilt in moves:
        seen = observe(method, rig.blade, rig.base, pose.moved(dx, dy, dtilt))
        if seen is None:
            return True
        gx, gy, gt = here.gradient
        straight = here.value_mm + gx * dx + gy * dy + gt * dtilt
        if abs(seen.value_mm - straight) > allowed:
            return True
    return False
