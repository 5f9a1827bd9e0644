"""Where an uncertainty carried along straight lines is only rough: beside a corner of the outline.

A reading is smooth in the pose while the jaw stays on one corner or edge, and bends where it goes
over to the next. Within the reach of the readings' own uncertainties such a bend makes the linear
propagation wrong (JCGM 101:2008, 5.11, names this as the case for Monte Carlo).
"""

from __future__ import annotations

from collections.abc import Sequence

from workbench.fin.fit import Fit
from workbench.fin.linear import Row
from workbench.fin.methods import Method, Observation, observe_all
from workbench.fin.pose import Pose
from workbench.fin.rig import Rig
from workbench.fin.trust import gain_after, u_by

REACH = 2.0
"""Each reading is moved by this many of its standard uncertainties."""

BEND = 0.1
"""A reading that then misses the straight line by more than this share of its own uncertainty over
the same reach has gone over to another part of the outline."""


def rough_methods(rig: Rig, fit: Fit, methods: Sequence[Method], pose: Pose) -> tuple[Method, ...]:
    """Return those of ``methods`` whose uncertainty at ``pose`` is only rough.

    ``pose`` is the fitted one, or one reached from it by known turns.
    """
    if not methods:
        return ()
    gain = gain_after(rig, fit, pose)
    here = [rig.observe(m, pose) for m in methods]
    allowed = [BEND * REACH * u_by(fit, gain, o.gradient) for o in here]
    rough = [False] * len(methods)
    for j, reading in enumerate(fit.readings):
        for reach in (REACH * reading.u_mm, -REACH * reading.u_mm):
            move = (gain[0][j] * reach, gain[1][j] * reach, gain[2][j] * reach)
            there = observe_all(methods, rig.blade, rig.base, pose.moved(*move))
            for i, seen in enumerate(there):
                rough[i] = rough[i] or seen is None or _bend(here[i], seen, move) > allowed[i]
    return tuple(m for m, is_rough in zip(methods, rough, strict=True) if is_rough)


def _bend(here: Observation, there: Observation, move: Row) -> float:
    """Return how far a reading after a move misses the straight line from before it, in mm."""
    gx, gy, gt = here.gradient
    return abs(there.value_mm - here.value_mm - gx * move[0] - gy * move[1] - gt * move[2])
