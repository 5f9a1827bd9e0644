"""What the kernel found for the jobs of late, kept: the same numbers in give the same ones out.

A step ticked off, another unit or a look at the next ski and back then cost no second search.
"""

from __future__ import annotations

from functools import lru_cache

from workbench.fin.fit import Reading, fit_pose
from workbench.fin.guidance import Plan, Rig, Target, plan
from workbench.fin.pose import Pose

KEPT = 64
"""So many poses and plans are kept."""


@lru_cache(maxsize=KEPT)
def pose_of(rig: Rig, readings: tuple[Reading, ...]) -> Pose:
    """Return the pose that readings fix, no other being possible.

    Raises:
        PoseError: see :func:`workbench.fin.fit.fit_pose`.
    """
    return fit_pose(rig.blade, rig.base, readings, every=True).pose


@lru_cache(maxsize=KEPT)
def plan_of(
    rig: Rig, readings: tuple[Reading, ...], targets: tuple[Target, ...], finest_turn: float
) -> Plan:
    """Return the turns from the readings to the targets.

    Raises:
        PoseError, OutOfReachError: see :func:`workbench.fin.guidance.plan`.
    """
    return plan(rig, readings, targets, finest_turn)
