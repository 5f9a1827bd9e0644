"""A block found from moves: where its studs are, from known turns with readings before and after.

What turns tell of a stud is where its axis lies beside itself (a top stud's place along the base, a
tail stud's height: the lever by which it tilts the blade) and how far a turn brings it. Both are
found for all three studs at once, with the start of the blade, by weighted least squares with what
was measured before as observations of its own (JCGM 102:2011, 6.2; Gauss-Newton steps, damped as by
Levenberg and Marquardt). How far along its axis a stud starts, its tip and a lean that a longer
turn would explain as well are not to be told from moves.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from workbench.errors import BenchError, InputError
from workbench.fin.frame import Pose
from workbench.fin.plan.uncertainty import DOUBTED_FROM
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud
from workbench.frozen import dataclass
from workbench.measure.distributions import chi2_quantile
from workbench.measure.linalg import inverse, solve

What = Literal["place", "turn"]

FEWEST_ROUNDS = 3

U_PLACE_MM = 5.0
"""Standard uncertainty of a stud's place where none is stated: it was hardly looked at."""

U_LEAD = 0.002
"""Standard uncertainty of a lead, as a share of it, where its thread was told or gauged."""

WELL_MM = 2.0
"""A place known to this (mm) is well fixed: half a turn of 0.8 mm over a lever of 137 mm then
leaves a tilt that is wrong by 0.4 x 2/137², or 0.005 mm (0.0002 in) over 120 mm (our choice)."""

WELL_TURN = 0.005
"""A turn known to this share of itself is well fixed (our choice)."""


@dataclass(frozen=True, slots=True)
class FoundFigure:
    """One figure of a stud: what was found (mm; a turn's lead in mm), its u before and after.

    ``well``: whether it is known well enough to turn by.
    """

    stud: str
    what: What
    value_mm: float
    u_before_mm: float
    u_mm: float
    well: bool

    @property
    def learnt(self) -> bool:
        """Whether the moves told more of it than was known before: a fifth of its u at least."""
        return self.u_mm < 0.8 * self.u_before_mm


@dataclass(frozen=True, slots=True)
class FoundBlock:
    """The studs found, their figures, and how well the rounds agree with them.

    ``pose`` is where the blade is after the last round. ``worst_round`` (0 is as it began) holds
    the reading that misses most, ``worst_mm`` by so much; ``agree``: whether chance explains that.
    """

    studs: tuple[Stud, ...]
    figures: tuple[FoundFigure, ...]
    pose: Pose
    chi_square: float
    dof: int
    worst_round: int
    worst_mm: float

    @property
    def agree(self) -> bool:
        """Whether the rounds agree with one block."""
        return self.chi_square <= chi2_quantile(DOUBTED_FROM, max(self.dof, 1))


def found_block(
    rig: Rig,
    readings: Sequence[Sequence[Reading]],
    turns: Sequence[Sequence[float]],
    u_place_mm: Sequence[float | None] = (None, None, None),
    u_lead: Sequence[float | None] = (None, None, None),
) -> FoundBlock:
    """Return the studs of ``rig`` put right by rounds of known turns.

    ``readings`` are those before the first round and after each; ``turns`` those of each round, by
    stud (positive is in). ``u_place_mm`` and ``u_lead`` (a share of it) say how well each stud's
    place and lead are known now.

    Raises:
        InputError: too few rounds, not a set of readings more than rounds, or a stud never turned.
        NoPoseError: the readings before the first round fix no pose.
        OutOfReachError: the blade cannot follow the turns.
    """
    if len(turns) < FEWEST_ROUNDS or len(readings) != len(turns) + 1:
        accepted = (
            f"{FEWEST_ROUNDS} rounds or more, five are better, with readings before and after"
        )
        raise InputError("rounds", f"{len(turns)} with {len(readings)} sets of readings", accepted)
    for i, stud in enumerate(rig.studs):
        if all(each[i] == 0.0 for each in turns):
            raise InputError(
                "rounds", f"{stud.said} never turned", "each stud turned at least once"
            )
    places = [U_PLACE_MM if u is None else u for u in u_place_mm]
    leads = [U_LEAD if u is None else u for u in u_lead]
    start = fit_pose(rig.blade, rig.base, readings[0], every=True).pose
    problem = _Problem(rig, readings, turns, start, (*places, *leads))
    at, misfits = problem.solved()
    inside = inverse(_normal(problem.rows(at)))
    if inside is None:
        raise InputError("rounds", "readings that fix no block", "rounds that move the blade more")
    u = [math.sqrt(max(inside[k][k], 0.0)) for k in range(3, 9)]
    studs = problem.studs(at)
    figures = []
    for i, stud in enumerate(studs):
        figures.append(FoundFigure(
            stud.name, "place", at[3 + i], places[i], u[i], u[i] <= WELL_MM
        ))  # fmt: skip
        lead = stud.lead_mm
        figures.append(FoundFigure(
            stud.name, "turn", lead, leads[i] * rig.studs[i].lead_mm, u[3 + i] * lead,
            u[3 + i] <= WELL_TURN,
        ))  # fmt: skip
    count = sum(len(each) for each in readings)
    read = misfits[:count]
    worst = max(range(count), key=lambda k: abs(read[k]))
    flat = [(k, r) for k, each in enumerate(readings) for r in each]
    pose = problem.poses(at)[-1]
    return FoundBlock(
        studs, tuple(figures), pose, math.fsum(m * m for m in misfits), count - 3,
        flat[worst][0], read[worst] * flat[worst][1].u_mm,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Problem:
    """The unknowns are the blade's start (x, y, tilt), how far each stud lies beside where it was
    taken to be (mm), and by which share its lead is longer."""

    rig: Rig
    readings: Sequence[Sequence[Reading]]
    turns: Sequence[Sequence[float]]
    start: Pose
    u: tuple[float, ...]

    def studs(self, at: Sequence[float]) -> tuple[Stud, ...]:
        """Return the studs by the unknowns: moved square to their axes, their leads changed."""
        out = []
        for i, stud in enumerate(self.rig.studs):
            ax, ay = stud.axis
            across = (ay, -ax) if stud.touches == "top" else (-ay, ax)
            x, y = stud.at_mm
            moved = (x + at[3 + i] * across[0], y + at[3 + i] * across[1])
            lead = stud.lead_mm * (1.0 + at[6 + i])
            out.append(replace(stud, at_mm=moved, lead_mm=lead, limits_mm=None))
        return tuple(out)

    def poses(self, at: Sequence[float]) -> list[Pose]:
        """Return where the blade is before the first round and after each."""
        rig = replace(self.rig, studs=self.studs(at))
        pose = self.start.moved(at[0], at[1], at[2])
        travels = rig.travels(pose)
        out, made = [pose], [0.0, 0.0, 0.0]
        for each in self.turns:
            made = [m + n for m, n in zip(made, each, strict=True)]
            out.append(rig.seated_from(travels, made, out[-1]))
        return out

    def misfits(self, at: Sequence[float]) -> list[float]:
        """Return what each reading misses by, then each figure its value before, over its u."""
        out = []
        for pose, taken in zip(self.poses(at), self.readings, strict=True):
            for reading in taken:
                seen = self.rig.observe(reading.method, pose).value_mm
                out.append((reading.value_mm - seen) / reading.u_mm)
        return [*out, *(-v / u for v, u in zip(at[3:], self.u, strict=True))]

    def rows(self, at: Sequence[float]) -> list[list[float]]:
        """Return how the misfits follow each unknown (n x 9), by central differences."""
        steps = (1e-3, 1e-3, 1e-3 / self.rig.blade.arm_mm, *[1e-2] * 3, *[1e-4] * 3)
        columns = []
        for k, step in enumerate(steps):
            ahead, behind = list(at), list(at)
            ahead[k] += step
            behind[k] -= step
            pairs = zip(self.misfits(ahead), self.misfits(behind), strict=True)
            columns.append([(p - m) / (2.0 * step) for p, m in pairs])
        return [list(row) for row in zip(*columns, strict=True)]

    def solved(self) -> tuple[list[float], list[float]]:
        """Return the unknowns of least misfit, and the misfits there."""
        at = [0.0] * 9
        misfits, damping = self.misfits(at), 0.0
        cost = math.fsum(m * m for m in misfits)
        for _ in range(40):
            rows = self.rows(at)
            normal = _normal(rows)
            right = [-math.fsum(r[k] * m for r, m in zip(rows, misfits, strict=True))
                     for k in range(9)]  # fmt: skip
            for k in range(9):
                normal[k][k] *= 1.0 + damping
            step = solve(normal, right)
            if step is None:
                break
            trial = [a + s for a, s in zip(at, step, strict=True)]
            try:
                new = self.misfits(trial)
                new_cost = math.fsum(m * m for m in new)
            except BenchError:
                new_cost = math.inf
            if not new_cost < cost:
                # A step that makes it no worse either has come to the end of arithmetic.
                if damping > 1e6 or cost - new_cost > -1e-9 * max(cost, 1e-9):
                    break
                damping = max(10.0 * damping, 1e-3)
                continue
            gained, at, misfits, cost = cost - new_cost, trial, new, new_cost
            damping /= 10.0
            if gained < 1e-10 * max(cost, 1e-6):
                break
        return at, misfits


def _normal(rows: Sequence[Sequence[float]]) -> list[list[float]]:
    n = len(rows[0])
    return [[math.fsum(row[i] * row[j] for row in rows) for j in range(n)] for i in range(n)]


GOOD_MOVES: tuple[tuple[float, float, float], ...] = (
    (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (-1.0, 1.0, 0.0), (0.0, -2.0, -1.0),
)  # fmt: skip
"""Five rounds (two top studs, tail stud) that fix all six figures and end where they began: one
stud at a time, then one top stud against the other, a whole turn each."""
