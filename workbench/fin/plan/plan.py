"""What a plan is made of: targets in, turns, predictions, steps and remarks out."""

from __future__ import annotations

import math
from typing import Literal

from workbench.errors import InputError, shown
from workbench.fin.frame import Pose
from workbench.fin.parts.studs import Stud
from workbench.fin.pose.fit import Fit
from workbench.fin.reading.method import Method
from workbench.frozen import dataclass


@dataclass(frozen=True, slots=True)
class Target:
    """What a reading should become (mm), within a tolerance (mm).

    ``is_change`` marks a value that was given as a change of the reading. Where ``tolerance_mm`` is
    narrowed by a guard band, ``limit_mm`` is the tolerance itself, which no other reading's narrow
    one may break.
    """

    method: Method
    value_mm: float
    tolerance_mm: float
    is_change: bool = False
    limit_mm: float | None = None

    def __post_init__(self) -> None:
        if not math.isfinite(self.value_mm):
            raise InputError(f"target {shown(self.method.name)}", self.value_mm, "a finite length")
        if not (math.isfinite(self.tolerance_mm) and self.tolerance_mm > 0.0):
            raise InputError(
                f"target {shown(self.method.name)} tolerance", self.tolerance_mm, "more than 0"
            )
        limit_mm = self.limit_mm
        if limit_mm is not None and not self.tolerance_mm <= limit_mm < math.inf:
            accepted = f"at least its tolerance of {self.tolerance_mm:g}"
            raise InputError(f"target {shown(self.method.name)} limit", limit_mm, accepted)


@dataclass(frozen=True, slots=True)
class StudTurn:
    """The turns of one stud: exact, as a hand makes them, and how far the exact ones are known."""

    stud: Stud
    travel_mm: float
    exact: float
    turns: float
    u_turns: float

    @property
    def direction(self) -> Literal["in", "out", "none"]:
        """Which way the stud moves: in is toward the blade."""
        return "in" if self.turns > 0 else "out" if self.turns < 0 else "none"


Role = Literal["target", "held", "follows"]


@dataclass(frozen=True, slots=True)
class Prediction:
    """What a method reads now, should read and will read after the turns (mm).

    ``role``: a target was given, the reading is held where it is, or it follows from the others.
    ``u_outline_mm`` and ``u_block_mm`` are the parts of ``u_after_mm`` that the blade's outline and
    the block's studs bring.
    """

    method: Method
    now_mm: float
    target_mm: float
    after_mm: float
    tolerance_mm: float
    u_after_mm: float
    role: Role
    u_outline_mm: float = 0.0
    u_block_mm: float = 0.0

    @property
    def off_mm(self) -> float:
        """After minus target."""
        return self.after_mm - self.target_mm

    @property
    def within(self) -> bool:
        """Whether the reading after the turns is within its tolerance."""
        return is_within(self.off_mm, self.tolerance_mm)


StepDo = Literal["leave", "coarse", "best", "loosen", "turn", "by hand", "seat", "snug", "measure"]


@dataclass(frozen=True, slots=True)
class Step:
    """One act at the bench; a turn carries its stud and the readings to expect after it (mm).

    Where nothing turns: ``leave`` within tolerance; ``coarse`` where no turn so coarse comes
    closer, ``best`` where none does. ``by hand`` are turns as a technician judges them.
    """

    do: StepDo
    turn: StudTurn | None = None
    expect: tuple[tuple[Method, float], ...] = ()


BY_HAND = (Step("loosen"), Step("by hand"), Step("seat"), Step("snug"), Step("measure"))
"""A round whose turns nobody works out, for the blade or the block is not known yet."""


Code = Literal[
    "within", "tilt", "ambiguous", "off_edge", "travel_limit", "near_limit", "insignificant",
    "still_off", "apart", "coarse", "rough", "no_tail",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Remark:
    """A warning as facts; the room above puts it into words in the bench's unit.

    ``by`` names the readings that bring it about, where they are others than the subject;
    ``others`` counts further poses that fit as well.
    """

    code: Code
    subject: str = ""
    when: Literal["now", "wanted"] = "now"
    value_mm: float = 0.0
    limit_mm: float = 0.0
    angle_rad: float = 0.0
    by: str = ""
    others: int = 0


@dataclass(frozen=True, slots=True)
class Plan:
    """All that the bench says between two rounds of measuring."""

    fit: Fit
    wanted: Pose
    after: Pose
    turns: tuple[StudTurn, ...]
    predictions: tuple[Prediction, ...]
    steps: tuple[Step, ...]
    remarks: tuple[Remark, ...]
    within: bool

    @property
    def kept(self) -> bool:
        """Whether every reading aimed at or held is within its tolerance after the turns."""
        return all(p.within for p in self.predictions if p.role != "follows")


def is_within(off_mm: float, tolerance_mm: float) -> bool:
    """Whether a miss is within a tolerance; a miss of just the tolerance is, rounding aside."""
    return abs(off_mm) <= tolerance_mm * (1.0 + 1e-9) + 1e-12
