"""What is aimed at and what a plan is made of: targets and goals in, turns, steps, remarks out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from workbench.errors import InputError, OutOfReachError, shown
from workbench.fin.frame import Pose
from workbench.fin.pose.equations import Equations, NoPoseError, Reading
from workbench.fin.pose.fit import Fit, fit_pose, range_beside_others
from workbench.fin.reading.method import TRAITS, Method
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud
from workbench.frozen import dataclass
from workbench.measure.linalg import Three, multiply
from workbench.measure.units import MM_PER_INCH


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


# -- goals: a target, held where it is, or following from the others -------------------------------

DEFAULT_TOLERANCE_MM = 0.002 * MM_PER_INCH
"""0.002 in: the finest change that riders say they feel (common practice, no source)."""

WELL_FIXED, JUST_FIXED = 0.1, 1e-4
"""How much of what a reading says of a movement at the blade (at most 1) the others must leave open
for it to fix the blade well, or at all."""


@dataclass(frozen=True, slots=True)
class Goal:
    """A target with its role and how it follows the readings (1: moves with its own reading)."""

    target: Target
    role: Role
    follows_reading: tuple[float, ...]
    u_mm: float


class TargetOutOfReachError(OutOfReachError):
    """The targets together lie outside what this blade can read; ``why`` holds the figures."""

    def __init__(self, why: NoPoseError) -> None:
        self.why = why
        super().__init__(f"the target is out of the blade's reach: {why}")


def goals_of(fit: Fit, targets: Sequence[Target]) -> list[Goal]:
    """Return a goal for each reading of ``fit``: its target, or to be held, or to follow.

    Raises:
        InputError: two targets for one method, or a target for a method without a reading.
    """
    given = {t.method.name: t for t in targets}
    if len(given) < len(targets):
        raise InputError("targets", [t.method.name for t in targets], "one target for each method")
    known = {r.method.name for r in fit.readings}
    for name in given:
        if name not in known:
            names = ", ".join(map(shown, sorted(known)))
            raise InputError("target method", name, f"a method with a reading: {names}")
    n = len(fit.readings)
    goals = []
    for i, (reading, seen) in enumerate(zip(fit.readings, fit.observations, strict=True)):
        target = given.get(reading.method.name)
        if target is not None:
            own = tuple(1.0 if target.is_change and j == i else 0.0 for j in range(n))
            goals.append(Goal(target, "target", own, reading.u_mm))
            continue
        held = Target(reading.method, seen.value_mm, DEFAULT_TOLERANCE_MM)
        (through,) = multiply((seen.gradient,), fit.gain)
        goals.append(Goal(held, "held", tuple(through), reading.u_mm))
    return goals if n == 3 else _freed(goals, fit)


def _freed(goals: list[Goal], fit: Fit) -> list[Goal]:
    """Hold only as many readings as the targets leave the blade open for; the others follow.

    A reading is held that fixes what is open; one that hardly does only where no other can. A
    coarse mark is held only where all fine readings together leave the blade open. Where a tail
    distance is read, what the base's curve tells of the place fore and aft does not count: a fin
    held by that alone would run away.
    """
    tails = [TRAITS[m.quantity].tells_place and not m.is_coarse for m in fit.methods]
    rows = [
        (0.0, *row[1:]) if any(tails) and not TRAITS[m.quantity].tells_place else row
        for row, m in zip(fit.by_movement, fit.methods, strict=True)
    ]
    fixing = _Fixing()
    for row, goal in zip(rows, goals, strict=True):
        if goal.role == "target":
            fixing.add(row, JUST_FIXED)
    busy = {g.target.method.quantity for g in goals if g.role == "target"}
    spare = [i for i, g in enumerate(goals) if g.role != "target"]
    spare.sort(key=lambda i: goals[i].target.method.quantity in busy)
    held: set[int] = set()
    for coarse in (False, True):
        for least in (WELL_FIXED, JUST_FIXED):
            for i in spare:
                is_next = i not in held and goals[i].target.method.is_coarse is coarse
                if is_next and fixing.add(rows[i], least):
                    held.add(i)
    return [
        g if g.role == "target" or i in held else replace(g, role="follows")
        for i, g in enumerate(goals)
    ]


class _Fixing:
    """Which of the blade's movements some readings fix, by orthogonal rows of unit length."""

    def __init__(self) -> None:
        self._rows: list[Three] = []

    def add(self, row: Three, least: float) -> bool:
        """Take a reading in where it leaves more than ``least`` beside those before it."""
        if len(self._rows) == 3:
            return False
        size = max(1.0, math.hypot(*row))
        x, y, z = (c / size for c in row)
        for a, b, c in self._rows:
            along = x * a + y * b + z * c
            x, y, z = x - along * a, y - along * b, z - along * c
        left = math.hypot(x, y, z)
        if left <= least:
            return False
        self._rows.append((x / left, y / left, z / left))
        return True


def followed(wanted: Fit, goals: Sequence[Goal]) -> list[list[float]]:
    """Return (3 x n) how the wanted pose follows each reading of now."""
    follows = [list(g.follows_reading) for g in goals if g.role != "follows"]
    return multiply([list(row) for row in wanted.gain], follows)


def fit_wanted(rig: Rig, fit: Fit, goals: Sequence[Goal]) -> Fit:
    """Return the wanted pose as the fit of what is aimed at and held.

    Raises:
        TargetOutOfReachError: no pose gives that.
    """
    active = [g for g in goals if g.role != "follows"]
    as_readings = [Reading(g.target.method, g.target.value_mm, g.u_mm) for g in active]
    try:
        return fit_pose(rig.blade, rig.base, as_readings, fit.pose)
    except NoPoseError as why:
        raise TargetOutOfReachError(_why_no_target(rig, fit, active) or why) from why


def _why_no_target(rig: Rig, fit: Fit, active: Sequence[Goal]) -> NoPoseError | None:
    """Return which of three targets lies outside what the others leave it, and the range of those.

    It is the one farthest from where it reads now; a reading taken again would not help. None where
    each alone lies within, or with more than three.
    """
    if len(active) != 3:
        return None
    now = {r.method.name: r.value_mm for r in fit.readings}
    readings = [Reading(g.target.method, g.target.value_mm, g.u_mm) for g in active]
    equations = Equations(rig.blade, rig.base, readings)
    worst: tuple[float, NoPoseError] | None = None
    for i, goal in enumerate(active):
        method, asked = goal.target.method, goal.target.value_mm
        here = now[method.name]
        reach = range_beside_others(equations, i, here)
        if goal.role != "target" or reach is None or reach[0] <= asked <= reach[1]:
            continue
        if worst is None or abs(asked - here) > worst[0]:
            why = NoPoseError("beside the others it cannot be", method, asked, reach)
            worst = abs(asked - here), why
    return None if worst is None else worst[1]


def following(rig: Rig, goals: Sequence[Goal], wanted: Pose) -> list[Goal]:
    """Give each reading that follows the value it will have at the wanted pose."""

    def there(target: Target) -> Target:
        return replace(target, value_mm=rig.observe(target.method, wanted).value_mm)

    return [replace(g, target=there(g.target)) if g.role == "follows" else g for g in goals]
