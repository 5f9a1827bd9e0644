"""From the pose now and the readings wanted to the turns of each stud, and what they will do.

pose now -> pose wanted -> change of each stud's travel -> exact turns -> turns a hand can make,
taken together, not each alone -> the order to make them in and the reading to expect after each.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from workbench.errors import InputError, OutOfReachError
from workbench.fin.base import Base
from workbench.fin.blade import Blade
from workbench.fin.fit import Fit, NoPoseError, Reading, fit_pose
from workbench.fin.linear import inverse, multiply
from workbench.fin.methods import Method, Observation, observe
from workbench.fin.pose import Pose
from workbench.fin.studs import Stud, Travel, check_studs, seat, travel

COVERAGE = 2.0
"""Coverage factor for 'smaller than its own expanded uncertainty' (JCGM 100:2008, 6.2.1: k = 2)."""

ODD_TILT_RAD = math.radians(5.0)
"""A fin set for riding stands within a degree or two of level; beyond this a reading is suspect."""

EVEN = 1e-9
"""Two roundings whose misses differ by less than this share count as equally good."""


@dataclass(frozen=True, slots=True)
class Rig:
    """One ski on the bench: its blade, its base and the three studs of its block."""

    blade: Blade
    base: Base
    studs: tuple[Stud, ...]

    def __post_init__(self) -> None:
        check_studs(self.studs)

    def travels(self, pose: Pose) -> tuple[Travel, ...]:
        """Return each stud's travel with the blade seated at ``pose``."""
        return tuple(travel(stud, self.blade, pose) for stud in self.studs)

    def seated(self, pose: Pose, turns: Sequence[float]) -> Pose:
        """Return where the blade seats after these turns (positive is in) from ``pose``."""
        travels = [
            t.mm + n * stud.lead_mm
            for t, n, stud in zip(self.travels(pose), turns, self.studs, strict=True)
        ]
        return seat(self.studs, self.blade, travels, pose)

    def observe(self, method: Method, pose: Pose) -> Observation:
        """Return what a method reads at ``pose``.

        Raises:
            OutOfReachError: the caliper would meet no part of the blade.
        """
        seen = observe(method, self.blade, self.base, pose)
        if seen is None:
            raise OutOfReachError(f"{method.name!r}: the caliper would meet no part of the blade there")
        return seen

    def pose_gain(self, before: Pose, after: Pose) -> list[list[float]]:
        """Return (3 x 3) how the pose after some turns follows the pose before them."""
        rows = [t.gradient for t in self.travels(after)]
        back = inverse(rows)
        if back is None:
            raise InputError("studs", "two that stop the same motion", "three that fix the blade")
        return multiply(back, [t.gradient for t in self.travels(before)])


@dataclass(frozen=True, slots=True)
class Target:
    """What a reading should become (mm), within a tolerance (mm). ``change`` marks a relative one."""

    method: Method
    value_mm: float
    tolerance_mm: float
    is_change: bool = False

    def __post_init__(self) -> None:
        if not math.isfinite(self.value_mm):
            raise InputError(f"target {self.method.name!r}", self.value_mm, "a finite length")
        if not (math.isfinite(self.tolerance_mm) and self.tolerance_mm > 0.0):
            raise InputError(
                f"target {self.method.name!r} tolerance", self.tolerance_mm, "more than 0"
            )


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
    """

    method: Method
    now_mm: float
    target_mm: float
    after_mm: float
    tolerance_mm: float
    u_after_mm: float
    role: Role

    @property
    def off_mm(self) -> float:
        """After minus target."""
        return self.after_mm - self.target_mm

    @property
    def within(self) -> bool:
        """Whether the reading after the turns is within its tolerance."""
        return is_within(self.off_mm, self.tolerance_mm)


@dataclass(frozen=True, slots=True)
class Step:
    """One act at the bench; a turn carries its stud and the readings to expect after it (mm)."""

    do: Literal["leave", "loosen", "turn", "seat", "snug", "measure"]
    turn: StudTurn | None = None
    expect: tuple[tuple[Method, float], ...] = ()


Code = Literal[
    "within", "tilt", "ambiguous", "off_edge", "travel_limit", "near_limit", "insignificant",
    "still_off",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Remark:
    """A warning as facts; the room above puts it into words in the bench's unit."""

    code: Code
    subject: str = ""
    when: Literal["now", "wanted"] = "now"
    value_mm: float = 0.0
    limit_mm: float = 0.0
    angle_rad: float = 0.0


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


def is_within(off_mm: float, tolerance_mm: float) -> bool:
    """Whether a miss is within a tolerance; a miss of just the tolerance is, rounding aside."""
    return abs(off_mm) <= tolerance_mm * (1.0 + 1e-9) + 1e-12


def plan(
    rig: Rig,
    readings: Sequence[Reading],
    targets: Sequence[Target],
    finest_turn: float,
    default_tolerance_mm: float = 0.05,
    start: Pose | None = None,
) -> Plan:
    """Work out the turns that bring ``readings`` to ``targets``.

    A reading without a target is held where it is. With more than three readings, as many untargeted
    ones are held as leave the pose fixed, those of other quantities first, and the rest follow.
    ``finest_turn`` is the finest part of a turn that the tech works in; 0 means exact.

    Raises:
        NoPoseError: the readings fix no pose.
        OutOfReachError: the blade or a stud cannot get there.
    """
    if not (math.isfinite(finest_turn) and 0.0 <= finest_turn <= 1.0):
        raise InputError("finest_turn", finest_turn, "0 (exact) to 1 turn, such as 1/8")
    fit = fit_pose(rig.blade, rig.base, readings, start, every=True)
    goals = _goals(rig, fit, targets, default_tolerance_mm)
    now_in = {r.method.name: r.value_mm for r in fit.readings}
    within = all(
        is_within(now_in[g.target.method.name] - g.target.value_mm, g.target.tolerance_mm)
        for g in goals
        if g.role != "follows"
    )
    wanted, wanted_gain = _wanted(rig, fit, goals)
    travels_now, travels_wanted = rig.travels(fit.pose), rig.travels(wanted)
    exact = [
        (w.mm - n.mm) / stud.lead_mm
        for w, n, stud in zip(travels_wanted, travels_now, rig.studs, strict=True)
    ]
    goals = _follow(rig, goals, wanted)
    if within:
        turns = [0.0] * 3
    else:
        _check_limits(rig, travels_wanted)
        turns = _rounded(rig, fit.pose, goals, exact, finest_turn)
    after = rig.seated(fit.pose, turns)
    u_turns = _u_turns(rig, fit, travels_now, travels_wanted, wanted_gain)
    stud_turns = tuple(
        StudTurn(stud, w.mm - n.mm, e, t, u)
        for stud, w, n, e, t, u in zip(
            rig.studs, travels_wanted, travels_now, exact, turns, u_turns, strict=True
        )
    )
    predictions = _predictions(rig, fit, goals, after)
    remarks = _remarks(rig, fit, goals, wanted, predictions, within)
    steps = _steps(rig, fit, stud_turns, within)
    return Plan(fit, wanted, after, stud_turns, predictions, steps, remarks, within)


@dataclass(frozen=True, slots=True)
class _Goal:
    """A target with its role and how it follows the readings (1: moves with its own reading)."""

    target: Target
    role: Role
    follows_reading: tuple[float, ...]
    u_mm: float


def _goals(
    rig: Rig, fit: Fit, targets: Sequence[Target], default_tolerance_mm: float
) -> list[_Goal]:
    given = {t.method.name: t for t in targets}
    if len(given) < len(targets):
        raise InputError("targets", [t.method.name for t in targets], "one target for each method")
    known = {r.method.name for r in fit.readings}
    for name in given:
        if name not in known:
            raise InputError("target method", name, f"a method with a reading: {_listed(known)}")
    n = len(fit.readings)
    goals = []
    for i, (reading, seen) in enumerate(zip(fit.readings, fit.observations, strict=True)):
        target = given.get(reading.method.name)
        if target is not None:
            own = tuple(1.0 if target.is_change and j == i else 0.0 for j in range(n))
            goals.append(_Goal(target, "target", own, reading.u_mm))
            continue
        held = Target(reading.method, seen.value_mm, default_tolerance_mm)
        through = tuple(
            sum(seen.gradient[k] * fit.gain[k][j] for k in range(3)) for j in range(n)
        )
        goals.append(_Goal(held, "held", through, reading.u_mm))
    return goals if n == 3 else _freed(goals, fit)


def _listed(names: set[str]) -> str:
    return ", ".join(f"'{name}'" for name in sorted(names))


def _freed(goals: list[_Goal], fit: Fit) -> list[_Goal]:
    """Keep only as many held readings as the targets leave the pose open for; free the others."""
    rows = [o.gradient for o in fit.observations]
    targeted = [i for i, g in enumerate(goals) if g.role == "target"]
    if not targeted:
        return goals
    busy = {goals[i].target.method.quantity for i in targeted}
    spare = [i for i in range(len(goals)) if i not in targeted]
    spare.sort(key=lambda i: goals[i].target.method.quantity in busy)
    chosen = list(targeted)
    for i in spare:
        if _rank([rows[j] for j in (*chosen, i)]) > _rank([rows[j] for j in chosen]):
            chosen.append(i)
    return [
        g if i in chosen else _Goal(g.target, "follows", g.follows_reading, g.u_mm)
        for i, g in enumerate(goals)
    ]


def _rank(rows: Sequence[Sequence[float]]) -> int:
    """Return the rank of a few design rows, by elimination on rows of unit length."""
    kept: list[list[float]] = []
    for row in rows:
        scaled = [row[0], row[1], row[2] / 100.0]
        size = math.sqrt(sum(c * c for c in scaled)) or 1.0
        rest = [c / size for c in scaled]
        for base in kept:
            along = sum(a * b for a, b in zip(rest, base, strict=True))
            rest = [a - along * b for a, b in zip(rest, base, strict=True)]
        left = math.sqrt(sum(c * c for c in rest))
        if left > 1e-4:
            kept.append([c / left for c in rest])
    return len(kept)


def _wanted(rig: Rig, fit: Fit, goals: Sequence[_Goal]) -> tuple[Pose, list[list[float]]]:
    """Return the wanted pose, and (3 x n) how it follows each reading of now."""
    active = [g for g in goals if g.role != "follows"]
    as_readings = [Reading(g.target.method, g.target.value_mm, g.u_mm) for g in active]
    try:
        wanted_fit = fit_pose(rig.blade, rig.base, as_readings, fit.pose)
    except NoPoseError as why:
        raise TargetOutOfReachError(why) from why
    follows = [list(g.follows_reading) for g in active]
    return wanted_fit.pose, multiply([list(row) for row in wanted_fit.gain], follows)


class TargetOutOfReachError(OutOfReachError):
    """The targets together lie outside what this blade can read; ``why`` holds the figures."""

    def __init__(self, why: NoPoseError) -> None:
        self.why = why
        super().__init__(f"the target is out of the blade's reach: {why}")


class StudLimitError(OutOfReachError):
    """A stud would have to stand beyond its travel."""

    def __init__(self, stud: Stud, travel_mm: float, limit_mm: float, side: str) -> None:
        self.stud, self.travel_mm, self.limit_mm, self.side = stud, travel_mm, limit_mm, side
        super().__init__(
            f"stud {stud.name!r} would stand at {travel_mm:.3f} mm, "
            f"beyond its {side} travel of {limit_mm:.3f} mm"
        )


def _check_limits(rig: Rig, travels: Sequence[Travel]) -> None:
    for stud, t in zip(rig.studs, travels, strict=True):
        if stud.limits_mm is None:
            continue
        lo, hi = stud.limits_mm
        if t.mm < lo - 1e-9:
            raise StudLimitError(stud, t.mm, lo, "least")
        if t.mm > hi + 1e-9:
            raise StudLimitError(stud, t.mm, hi, "most")


def _follow(rig: Rig, goals: Sequence[_Goal], wanted: Pose) -> list[_Goal]:
    """Give each reading that follows the value it will have at the wanted pose."""
    out = []
    for g in goals:
        if g.role == "follows":
            value = rig.observe(g.target.method, wanted).value_mm
            target = Target(g.target.method, value, g.target.tolerance_mm)
            g = _Goal(target, g.role, g.follows_reading, g.u_mm)
        out.append(g)
    return out


def _rounded(
    rig: Rig, now: Pose, goals: Sequence[_Goal], exact: Sequence[float], finest: float
) -> list[float]:
    """Return the neighbouring roundings that together miss the targets least.

    Least is the smallest worst miss over its tolerance, then the smallest sum of squares of those,
    then the fewest turns: whether every reading comes within tolerance is what the tech looks at.
    """
    if finest == 0.0:
        return list(exact)
    choices = [_neighbours(e, finest) for e in exact]
    best: tuple[float, float, float] | None = None
    chosen: tuple[float, ...] | None = None
    for turns in itertools.product(*choices):
        if not _allowed(rig, now, turns):
            continue
        misses = _misses(rig, rig.seated(now, turns), goals)
        if misses is None:
            continue
        score = (max(misses), sum(m * m for m in misses), sum(map(abs, turns)))
        if best is None or _better(score, best):
            best, chosen = score, turns
    if chosen is None:
        raise OutOfReachError("no rounding of the turns stays within the studs' travel")
    return [t + 0.0 for t in chosen]


def _neighbours(exact: float, finest: float) -> tuple[float, ...]:
    count = exact / finest
    nearest = round(count)
    if abs(count - nearest) < 1e-9:
        return (nearest * finest,)
    return (math.floor(count) * finest, math.ceil(count) * finest)


def _allowed(rig: Rig, now: Pose, turns: Sequence[float]) -> bool:
    for stud, t, n in zip(rig.studs, rig.travels(now), turns, strict=True):
        mm = t.mm + n * stud.lead_mm
        # A stud that stands outside its limits already may still come back toward them.
        if stud.limits_mm is not None and n and not (
            stud.limits_mm[0] - 1e-9 <= mm <= stud.limits_mm[1] + 1e-9
        ):
            return False
    return True


def _misses(rig: Rig, pose: Pose, goals: Sequence[_Goal]) -> list[float] | None:
    out = []
    for g in goals:
        seen = observe(g.target.method, rig.blade, rig.base, pose)
        if seen is None:
            return None
        if g.role != "follows":
            out.append(abs(seen.value_mm - g.target.value_mm) / g.target.tolerance_mm)
    return out


def _better(score: tuple[float, ...], best: tuple[float, ...]) -> bool:
    for a, b in zip(score, best, strict=True):
        if abs(a - b) > EVEN * max(a, b):
            return a < b
    return False


def _u_turns(
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
                w.gradient[k] * wanted_gain[k][j] - n.gradient[k] * fit.gain[k][j]
                for k in range(3)
            )
            total += (moved / stud.lead_mm * reading.u_mm) ** 2
        out.append(math.sqrt(total))
    return out


def u_after(rig: Rig, fit: Fit, method: Method, after: Pose) -> float:
    """Return the standard uncertainty (mm) of what ``method`` will read at ``after``.

    ``after`` is reached from the fitted pose by known turns; only the readings are uncertain.
    """
    gradient = rig.observe(method, after).gradient
    gain = multiply(rig.pose_gain(fit.pose, after), [list(row) for row in fit.gain])
    return math.sqrt(
        sum(
            (sum(gradient[k] * gain[k][j] for k in range(3)) * r.u_mm) ** 2
            for j, r in enumerate(fit.readings)
        )
    )


def _predictions(
    rig: Rig, fit: Fit, goals: Sequence[_Goal], after: Pose
) -> tuple[Prediction, ...]:
    return tuple(
        Prediction(
            g.target.method,
            reading.value_mm,
            g.target.value_mm,
            rig.observe(g.target.method, after).value_mm,
            g.target.tolerance_mm,
            u_after(rig, fit, g.target.method, after),
            g.role,
        )
        for g, reading in zip(goals, fit.readings, strict=True)
    )


def _steps(
    rig: Rig, fit: Fit, stud_turns: Sequence[StudTurn], within: bool
) -> tuple[Step, ...]:
    """Order the acts: studs that go out make room before those that go in push."""
    moving = [t for t in stud_turns if t.turns]
    if within or not moving:
        return (Step("leave"),)
    moving.sort(key=lambda t: t.turns > 0)
    made = {t.stud.name: 0.0 for t in stud_turns}
    steps = [Step("loosen")]
    for turn in moving:
        made[turn.stud.name] = turn.turns
        pose = rig.seated(fit.pose, [made[s.name] for s in rig.studs])
        expect = []
        for reading in fit.readings:
            seen = observe(reading.method, rig.blade, rig.base, pose)
            if seen is not None:
                expect.append((reading.method, seen.value_mm))
        steps.append(Step("turn", turn, tuple(expect)))
    return (*steps, Step("seat"), Step("snug"), Step("measure"))


def _remarks(
    rig: Rig,
    fit: Fit,
    goals: Sequence[_Goal],
    wanted: Pose,
    predictions: Sequence[Prediction],
    within: bool,
) -> tuple[Remark, ...]:
    out: list[Remark] = []
    if within:
        out.append(Remark("within"))
    if abs(fit.pose.tilt_rad) > ODD_TILT_RAD:
        out.append(Remark("tilt", angle_rad=fit.pose.tilt_rad))
    for pose in fit.others:
        if abs(pose.tilt_rad) <= ODD_TILT_RAD:
            out.append(Remark("ambiguous", angle_rad=pose.tilt_rad))
    out += contact_remarks(rig, fit.pose, "now")
    if not within:
        out += contact_remarks(rig, wanted, "wanted")
    for g, reading in zip(goals, fit.readings, strict=True):
        change = g.target.value_mm - reading.value_mm
        if g.role == "target" and not is_within(change, 0.0):
            expanded = COVERAGE * reading.u_mm
            if abs(change) < expanded:
                out.append(Remark("insignificant", reading.method.name, value_mm=change, limit_mm=expanded))
    if not within:
        for p in predictions:
            if not p.within and p.role != "follows":
                out.append(Remark("still_off", p.method.name, value_mm=p.off_mm, limit_mm=p.tolerance_mm))
    return tuple(out)


def contact_remarks(rig: Rig, pose: Pose, when: Literal["now", "wanted"]) -> list[Remark]:
    """Return a remark for each stud whose ball is off its edge or whose travel is at its limit."""
    out = []
    for stud, t in zip(rig.studs, rig.travels(pose), strict=True):
        if not t.on_edge:
            out.append(Remark("off_edge", stud.name, when))
        if stud.limits_mm is None:
            continue
        lo, hi = stud.limits_mm
        nearer = lo if t.mm - lo < hi - t.mm else hi
        if not lo <= t.mm <= hi:
            out.append(Remark("travel_limit", stud.name, when, t.mm, nearer))
        elif abs(t.mm - nearer) < stud.lead_mm / 4.0:
            out.append(Remark("near_limit", stud.name, when, t.mm, nearer))
    return out
