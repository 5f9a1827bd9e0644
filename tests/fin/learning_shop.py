"""A simulated shop: one block and blade that are not quite what was told, and a technician.

The physics are the kernel's own seating and reading on the true block and blade; nothing here uses
the estimator's model of them. Lengths in mm, turns positive in.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from tests.fin.plates import DEPTH, IN, LENGTH, TAIL, inches, plan, practice_rig
from workbench.fin.blade import Blade, Hole
from workbench.fin.frame import Pose
from workbench.fin.learn.decide import decide
from workbench.fin.learn.replay import InJob, Learnt, Round, begin, go_on, nothing_learnt, take_more
from workbench.fin.learn.sight import Takes
from workbench.fin.learn.state import BACKLASH, OFFSETS, ORDINARY, Imperfections
from workbench.fin.plan.plan import Target
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud, seat

METHODS = (DEPTH, TAIL, LENGTH)
Turns = tuple[float, float, float]
CLEAR = Pose(0.65 * IN, -1.0 * IN, 0.004)
"""Here the bench plate's corners are 0.4 in clear of the base ..."""
CORNERS = Pose(0.65 * IN, -1.4 * IN, 0.004)
"""... and here two of them lie right at it."""
MOST_ROUNDS = 15


def bench_plate() -> Blade:
    """Return an invented blade with a leading edge of usual slant at the base."""
    outline = inches(
        (0, 0), (7.2, 0), (7.2, 0.6), (6.6, 1.4), (5.3, 2.4), (1.6, 3.48), (0.3, 2.4),
        (0.08, 1.4), (0, 0.6),
    )  # fmt: skip
    hole = Hole("2", (1.6 * IN, 3.0 * IN), 0.3 * IN)
    return Blade("Bench plate", outline, outline[:2], (outline[0], outline[-1]), (hole,))


def bench_rig() -> Rig:
    """Return that blade as it is told to stand in its block."""
    return practice_rig(blade=bench_plate())


@dataclass
class Truth:
    """What a shop really is, drawn from a seed; the bench is told ``told``."""

    rng: random.Random
    place: Pose = CLEAR
    take_mm: float = 0.0007 * IN
    turn: float = 1 / 48
    seat_mm: float = 0.0004 * IN
    gap_p: float = 0.10
    gap_again_p: float = 0.02
    misread_p: float = 0.0
    wrong_turn_p: float = 0.0
    told: Rig = field(default_factory=bench_rig)

    def __post_init__(self) -> None:
        rng = self.rng
        self.lead_errors = [rng.uniform(-0.03, 0.03) for _ in range(3)]
        self.backlash = [rng.uniform(0.0, 1 / 16) for _ in range(3)]
        self.rig = Rig(
            _traced(self.told.blade, rng),
            self.told.base,
            tuple(map(self._surveyed, self.told.studs, self.lead_errors)),
        )
        self.home = [t.mm for t in self.rig.travels(self.place)]
        self.screw = [0.0] * 3
        self.moved = [0.0] * 3
        self.gap: int | None = None
        self.pose = self.place

    def _surveyed(self, told: Stud, lead_error: float) -> Stud:
        """Return the stud that was told to be this one."""
        lean = math.radians(self.rng.gauss(0.0, 1.5))
        c, s = math.cos(lean), math.sin(lean)
        ax, ay = told.axis
        at = tuple(x + self.rng.gauss(0.0, 0.04 * IN) for x in told.at_mm)
        return Stud(
            told.name, told.touches, at, (c * ax - s * ay, s * ax + c * ay),
            told.lead_mm * (1.0 + lead_error), told.hand, told.tip_radius_mm,
        )  # fmt: skip

    def put(self, travels_mm: Sequence[float]) -> None:
        """Have somebody leave the studs so far from their usual places, their play anywhere."""
        for j, mm in enumerate(travels_mm):
            self.moved[j] = mm / self.rig.studs[j].lead_mm
            self.screw[j] = self.moved[j] + self.rng.uniform(0.0, self.backlash[j])

    def turn_studs(self, turns: Sequence[float]) -> None:
        """Turn studs as a hand does: the play is taken up first after a reversal."""
        for j, n in enumerate(turns):
            if not n:
                continue
            real = n + self.rng.gauss(0.0, self.turn)
            if self.rng.random() < self.wrong_turn_p:
                real += self.rng.choice((-0.125, 0.125))
            self.screw[j] += real
            # The nut follows its screw with play: it lies between the screw less the play and it.
            low, high = self.screw[j] - self.backlash[j], self.screw[j]
            self.moved[j] = min(max(self.moved[j], low), high)

    def settle(self) -> None:
        """Turn each stud an eighth out and in again."""
        self.turn_studs((-0.125,) * 3)
        self.turn_studs((0.125,) * 3)

    def seat(self, pushed: bool = False) -> None:
        """Seat the blade: home, or now and then not at one stud."""
        at = [
            h + m * stud.lead_mm + self.rng.gauss(0.0, self.seat_mm)
            for h, m, stud in zip(self.home, self.moved, self.rig.studs, strict=True)
        ]
        self.gap = None
        if self.rng.random() < (self.gap_again_p if pushed else self.gap_p):
            self.gap = self.rng.randrange(3)
            at[self.gap] += self.rng.uniform(0.003, 0.010) * IN
        self.pose = _seat(self.rig, at, self.place)

    def seated_at(self, travels_mm: Sequence[float], rig: Rig | None = None) -> Pose:
        """Return where the blade lies against studs with these travels."""
        return _seat(rig or self.rig, travels_mm, self.place)

    def true(self, pose: Pose | None = None) -> list[float]:
        """Return what a caliper without error reads."""
        return [self.rig.observe(m, pose or self.pose).value_mm for m in METHODS]

    def take(self, which: Sequence[int] = (0, 1, 2)) -> dict[int, float]:
        """Return one take of each of these readings."""
        out = {}
        true = self.true()
        for i in which:
            out[i] = true[i] + self.rng.gauss(0.0, self.take_mm)
            if self.rng.random() < self.misread_p:
                out[i] += self.rng.choice((-1.0, 1.0)) * 0.025 * IN
        return out

    def new_job(self) -> list[float]:
        """Leave the studs anywhere about, and return readings to aim at (mm)."""
        aim = [h + self.rng.gauss(0.0, 0.010 * IN) for h in self.home]
        self.put([self.rng.uniform(-0.03, 0.03) * IN for _ in range(3)])
        return self.true(_seat(self.rig, aim, self.place))


def _seat(rig: Rig, travels_mm: Sequence[float], near: Pose) -> Pose:
    return seat(rig.studs, rig.blade, travels_mm, near)


def _traced(told: Blade, rng: random.Random) -> Blade:
    """Return the blade whose outline was traced as ``told``: each corner somewhere near."""
    outline = tuple(
        (u + rng.gauss(0.0, 0.01 * IN), v + rng.gauss(0.0, 0.01 * IN)) for u, v in told.outline_mm
    )
    edge = dict(zip(told.outline_mm, outline, strict=True))
    top = tuple(edge[p] for p in told.top_edge_mm)
    back = tuple(edge[p] for p in told.back_edge_mm)
    holes = tuple(Hole(h.name, h.at_mm, h.diameter_mm) for h in told.holes)
    return Blade(told.name, outline, top, back, holes)  # type: ignore[arg-type]


@dataclass
class Outcome:
    """How a job went: rounds until it was called within, and by how much it was truly out.

    ``pushed`` are the rounds in which no stud was turned.
    """

    rounds: int
    worst: float
    pushed: int = 0
    gaps: int = 0
    caught: int = 0
    false_alarms: int = 0
    well: int = 0


def _outcome(shop: Truth, rounds: int, aims: Sequence[float], tolerance_mm: float) -> Outcome:
    worst = max(abs(t - a) for t, a in zip(shop.true(), aims, strict=True)) / tolerance_mm
    return Outcome(rounds, worst)


def by_hand(shop: Truth, aims: Sequence[float], tolerance_mm: float) -> Outcome:
    """Set one number at a time: the worst one, by its own stud, to an eighth of a turn."""
    rig = shop.told
    at = rig.travels(shop.place)
    own = {0: 1, 1: 2, 2: 0}  # depth by the rear stud, tail by the back one, length by the front
    shop.seat()
    for done in range(MOST_ROUNDS + 1):
        read = shop.take()
        off = [read[i] - aims[i] for i in range(3)]
        i = max(range(3), key=lambda k: abs(off[k]))
        if abs(off[i]) <= tolerance_mm or done == MOST_ROUNDS:
            break
        j = own[i]
        step = [0.0] * 3
        step[j] = 0.01
        after = _seat(rig, [t.mm + s for t, s in zip(at, step, strict=True)], shop.place)
        gain = (
            rig.observe(METHODS[i], after).value_mm - rig.observe(METHODS[i], shop.place).value_mm
        ) / 0.01
        turns = [0.0] * 3
        count = round(-off[i] / gain / rig.studs[j].lead_mm * 8)
        turns[j] = (count or math.copysign(1, -off[i] / gain)) / 8
        shop.turn_studs(turns)
        shop.seat()
    return _outcome(shop, done, aims, tolerance_mm)


def by_latest(shop: Truth, aims: Sequence[float], tolerance_mm: float, finest: float) -> Outcome:
    """Turn what the latest readings alone ask for."""
    shop.seat()
    targets = [Target(m, a, tolerance_mm) for m, a in zip(METHODS, aims, strict=True)]
    for done in range(MOST_ROUNDS + 1):
        read = shop.take()
        readings = [Reading(m, read[i], 0.0007 * IN) for i, m in enumerate(METHODS)]
        plan_now = plan(shop.told, readings, targets, finest, start=shop.place)
        turns = [t.turns for t in plan_now.turns]
        if plan_now.within or done == MOST_ROUNDS:
            break
        if not any(turns):  # no turn so coarse comes closer: the blade is seated anew
            shop.seat()
            continue
        shop.turn_studs(turns)
        shop.seat()
    return _outcome(shop, done, aims, tolerance_mm)


def by_learning(
    shop: Truth,
    learnt: Learnt,
    aims: Sequence[float],
    tolerance_mm: float,
    finest: float = 0.0,
    settle: bool = True,
    careful: bool = True,
) -> tuple[Outcome, Learnt]:
    """Do what the bench that learns says, until it says to leave the ski alone.

    ``careful``: the readings it wants again are taken again.
    """
    targets = [Target(m, a, tolerance_mm) for m, a in zip(METHODS, aims, strict=True)]
    if settle:
        shop.settle()
    shop.seat()
    read = {i: [v] for i, v in shop.take().items()}
    job = begin(learnt, _taken(read), settle)
    out = Outcome(0, 0.0)
    rounds = 0
    for _ in range(100):
        assert job.seating is not None, job.reason
        assert job.learnt.edges is not None
        act = decide(job, targets, finest, may_ask=careful)
        if act.do != "measure_again" and rounds:
            _count(shop, job, out)
        if act.do == "leave" or rounds >= MOST_ROUNDS:
            break
        if act.do == "measure_again":
            for i, value in shop.take(act.methods).items():
                read[i].append(value)
            job = take_more(job, _taken(read))
            continue
        shop.turn_studs(act.turns)
        shop.seat(pushed=act.do == "push_home")
        out.pushed += act.do == "push_home"
        rounds += 1
        read = {i: [v] for i, v in shop.take().items()}
        job = go_on(job, act.turns, _taken(read))
    end = _outcome(shop, rounds, aims, tolerance_mm)
    out.rounds, out.worst = end.rounds, end.worst
    return out, job.learnt


def _taken(read: dict[int, list[float]]) -> tuple[Takes, ...]:
    return tuple(Takes(METHODS[i], tuple(values)) for i, values in sorted(read.items()))


def _count(shop: Truth, job: InJob, out: Outcome) -> None:
    """Count what was found of an unseated stud; a first seating has nothing to be compared with."""
    assert job.seating is not None
    named = [j for j in range(3) if job.seating.probability("gap", j) > 0.5]
    if shop.gap is None:
        out.well += 1
        out.false_alarms += bool(named)
    else:
        out.gaps += 1
        out.caught += named == [shop.gap]


def filtered_only() -> Imperfections:
    """Return what is known of a bench where nothing is ever the matter with a seating."""
    return replace(
        ORDINARY, gap_p=0.0, gap_again_p=0.0, misread_p=0.0, wrong_turn_p=0.0, other_p=0.0
    )


def all_known(shop: Truth) -> Learnt:
    """Return what somebody knows who knows all of a shop but its scatter."""
    known = replace(ORDINARY, lead=0.0, u_backlash=0.0, vertex_mm=0.0, move_share=0.0, drift=0.0)
    learnt = fresh(shop.rig, known)
    shop.seat()
    state = begin(learnt, _taken({i: [v] for i, v in shop.take().items()})).learnt.states[0][1]
    mean = [*state.mean[:BACKLASH], *shop.backlash, *state.mean[OFFSETS:]]
    exact = replace(state, mean=mean)
    edges = begin(learnt, _taken({i: [v] for i, v in shop.take().items()})).learnt.edges
    return replace(learnt, states=((1.0, exact),), edges=edges, pose=shop.place)


def fresh(told: Rig, known: Imperfections = ORDINARY) -> Learnt:
    """Return what a bench knows before its first round."""
    return nothing_learnt(told, METHODS, known)


def takes(shop: Truth, count: int = 1) -> tuple[Takes, ...]:
    """Return so many takes of each reading."""
    each = [shop.take() for _ in range(count)]
    return tuple(Takes(m, tuple(t[i] for t in each)) for i, m in enumerate(METHODS))


def season(
    shop: Truth, jobs: int, rounds: int = 2, most: float = 0.8, turns: Turns | None = None
) -> tuple[Round, ...]:
    """Return jobs of a shop in which studs are turned by chance."""
    out = []
    for k in range(jobs):
        shop.new_job()
        shop.settle()
        shop.seat()
        before = takes(shop)
        for n in range(rounds):
            a, b, c = turns or (shop.rng.uniform(-most, most) for _ in range(3))
            shop.turn_studs((a, b, c))
            shop.seat()
            out.append(Round(f"J{k}", (a, b, c), takes(shop), () if n else before, True))
    return tuple(out)
