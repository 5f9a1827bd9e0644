"""One ski on the bench: its blade, its base and the studs that hold the blade."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from workbench.errors import InputError, MissingPartError, OutOfReachError, shown
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.observe import Observation, observe
from workbench.fin.studs import Stud, Travel, check_studs, seat, travel
from workbench.frozen import dataclass
from workbench.measure.linalg import inverse, multiply


@dataclass(frozen=True, slots=True)
class Rig:
    """One ski on the bench: its blade, its base and the three studs of its block.

    A blade may be untraced yet, and a block without ``studs``: then :meth:`check_complete` says so.
    """

    blade: Blade
    base: Base
    studs: tuple[Stud, ...]

    def __post_init__(self) -> None:
        if self.studs:
            check_studs(self.studs)

    @property
    def missing(self) -> tuple[Literal["blade", "block"], ...]:
        """The parts that are not known yet."""
        out: list[Literal["blade", "block"]] = [] if self.blade.is_traced else ["blade"]
        return tuple(out if self.studs else [*out, "block"])

    def check_complete(self) -> None:
        """Raise a MissingPartError unless both the blade and the block are known."""
        if self.missing:
            raise MissingPartError(*self.missing)

    def travels(self, pose: Pose) -> tuple[Travel, ...]:
        """Return each stud's travel with the blade seated at ``pose``.

        Raises:
            MissingPartError: the blade or the block is not known yet.
        """
        self.check_complete()
        return tuple(travel(stud, self.blade, pose) for stud in self.studs)

    def seated(self, pose: Pose, turns: Sequence[float]) -> Pose:
        """Return where the blade seats after these turns (positive is in) from ``pose``."""
        return self.seated_from(self.travels(pose), turns, pose)

    def seated_from(self, travels: Sequence[Travel], turns: Sequence[float], near: Pose) -> Pose:
        """Return where the blade seats, ``near`` the pose that has these travels, after turns."""
        after = [
            t.mm + n * stud.lead_mm for t, n, stud in zip(travels, turns, self.studs, strict=True)
        ]
        return seat(self.studs, self.blade, after, near)

    def observe(self, method: Method, pose: Pose) -> Observation:
        """Return what a method reads at ``pose``.

        Raises:
            OutOfReachError: the caliper would meet no part of the blade.
        """
        seen = observe(method, self.blade, self.base, pose)
        if seen is None:
            raise OutOfReachError(
                f"{shown(method.name)}: the caliper would meet no part of the blade there"
            )
        return seen

    def per_travel(self, pose: Pose) -> list[list[float]]:
        """Return (3 x 3) how the pose (mm, mm, rad) follows each stud's travel (mm), near ``pose``.

        Raises:
            InputError: the studs do not fix the blade.
        """
        back = inverse([t.gradient for t in self.travels(pose)])
        if back is None:
            raise InputError("studs", "two that stop the same motion", "three that fix the blade")
        return back

    def per_turn(self, pose: Pose) -> list[list[float]]:
        """Return (3 x 3) how the pose (mm, mm, rad) follows a turn of each stud, near ``pose``."""
        leads = [stud.lead_mm for stud in self.studs]
        return [
            [b * lead for b, lead in zip(row, leads, strict=True)] for row in self.per_travel(pose)
        ]

    def pose_gain(self, before: Pose, after: Pose) -> list[list[float]]:
        """Return (3 x 3) how the pose after some turns follows the pose before them."""
        return multiply(self.per_travel(after), [t.gradient for t in self.travels(before)])
