"""Where an uncertainty carried along straight lines is only rough: beside a corner of the outline.

A reading is smooth in the pose while the jaw stays on one corner or edge, and bends where it goes
over to the next. Within the reach of the readings' own uncertainties such a bend makes the linear
propagation wrong (JCGM 101:2008, 5.11, names this as the case for Monte Carlo).
"""

from __future__ import annotations

from collections.abc import Sequence

from workbench.fin.frame.linear import Row, multiply
from workbench.fin.frame.pose import Pose
from workbench.fin.plan.uncertainty import gain_after, u_by
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.observe import Method, Observation, observe_all
from workbench.fin.reading.rig import Rig

REACH = 2.0
"""Each reading is moved by this many of its standard uncertainties."""

_BEND = 0.1
"""A reading that then misses the straight line by more than this share of its own uncertainty over
the same reach has gone over to another part of the outline."""


UNSEEN_MM = 1e3
"""The miss of a reading that could not be taken at all: more than any blade is long."""


def rough_by(
    rig: Rig, fit: Fit, methods: Sequence[Method], pose: Pose
) -> tuple[tuple[Method, Method | None], ...]:
    """Return those of ``methods`` whose uncertainty at ``pose`` is only rough, and by what.

    By its own touch (None), or by that of the reading beside it, on which it hangs through the
    pose. ``pose`` is the fitted one, or one reached from it by known turns.
    """
    if not methods:
        return ()
    gain = gain_after(rig, fit, pose)
    here = [rig.observe(m, pose) for m in methods]
    own = _bends(rig, fit, methods, (pose, here), gain)
    read = _bends(rig, fit, fit.methods, (fit.pose, fit.observations), fit.gain)
    out: list[tuple[Method, Method | None]] = []
    for i, (method, seen) in enumerate(zip(methods, here, strict=True)):
        allowed = _BEND * REACH * u_by(fit, gain, seen.gradient)
        if any(abs(bends[i]) > allowed for bends in own):
            out.append((method, None))
            continue
        # A reading that bends away from its straight line puts the pose off by its gain.
        (through,) = multiply((seen.gradient,), gain)
        for bends in read:
            passed = [s * b for s, b in zip(through, bends, strict=True)]
            if abs(sum(passed)) > allowed:
                worst = max(range(len(passed)), key=lambda j: abs(passed[j]))
                out.append((method, fit.methods[worst]))
                break
    return tuple(out)


def _bends(
    rig: Rig,
    fit: Fit,
    methods: Sequence[Method],
    at: tuple[Pose, Sequence[Observation]],
    gain: Sequence[Sequence[float]],
) -> list[list[float]]:
    """Return how far each method misses its straight line (mm), for each move of a reading."""
    pose, here = at
    out = []
    for j, reading in enumerate(fit.readings):
        for reach in (REACH * reading.u_mm, -REACH * reading.u_mm):
            move = (gain[0][j] * reach, gain[1][j] * reach, gain[2][j] * reach)
            there = observe_all(methods, rig.blade, rig.base, pose.moved(*move))
            out.append([_bend(h, seen, move) for h, seen in zip(here, there, strict=True)])
    return out


def _bend(here: Observation, there: Observation | None, move: Row) -> float:
    """Return how far a reading after a move misses the straight line from before it, in mm."""
    if there is None:
        return UNSEEN_MM
    gx, gy, gt = here.gradient
    return there.value_mm - here.value_mm - gx * move[0] - gy * move[1] - gt * move[2]
