"""A block found from moves, against simulated blocks and scipy."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from tests.fin.plates import BASES, DEPTH, IN, LENGTH, TAIL, practice_plate, stud
from workbench.errors import InputError
from workbench.fin.frame import Base, Pose
from workbench.fin.plan.found_block import GOOD_MOVES, _Problem, found_block
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud

METHODS = (DEPTH, TAIL, LENGTH)
SD_MM = 0.0005 * IN
BLADE = practice_plate()


def studs(front: float = 0.0, rear: float = 0.0, tail: float = 0.0) -> tuple[Stud, ...]:
    """Return three usual studs, each so far (mm) beside where it is taken to be."""
    return (
        stud("front", "top", (6.9 * IN + front, -1.6 * IN), (0, 1)),
        stud("rear", "top", (1.5 * IN + rear, -1.6 * IN), (0, 1)),
        stud("tail", "back", (0.1 * IN, -0.6 * IN + tail), (1, 0)),
    )


class Bench:
    """A simulated block: what its blade reads after each round, and where it then is."""

    def __init__(self, chance: random.Random, sd_mm: float = SD_MM, lead: float = 0.002) -> None:
        self.beside = tuple(chance.uniform(-4.0, 4.0) for _ in range(3))
        self.longer = tuple(1.0 + chance.gauss(0.0, lead) for _ in range(3))
        true = tuple(
            replace(s, lead_mm=s.lead_mm * k)
            for s, k in zip(studs(*self.beside), self.longer, strict=True)
        )
        self.rig = Rig(BLADE, chance.choice(BASES), true)
        self.pose = Pose(
            0.65 * IN + chance.uniform(-1, 1), -IN + chance.uniform(-1, 1),
            chance.uniform(-0.01, 0.01),
        )  # fmt: skip
        self._chance, self._sd = chance, sd_mm
        self.sets = [self.read()]

    def read(self) -> list[Reading]:
        return [
            Reading(m, self.value(m, self.pose) + self._chance.gauss(0.0, self._sd), self._sd)
            for m in METHODS
        ]

    def value(self, method: object, pose: Pose) -> float:
        return self.rig.observe(method, pose).value_mm  # type: ignore[arg-type]

    def turn(self, moves: tuple[tuple[float, float, float], ...] = GOOD_MOVES) -> None:
        for move in moves:
            self.pose = self.rig.seated(self.pose, move)
            self.sets.append(self.read())


def test_the_readings_after_a_new_move_are_met_to_0_0015_in() -> None:
    """Six blocks 4 mm off at most, readings that scatter by 0.0005 in."""
    chance, pulls = random.Random(5), []
    for _ in range(6):
        bench = Bench(chance)
        bench.turn()
        out = found_block(Rig(BLADE, bench.rig.base, studs()), bench.sets, GOOD_MOVES)
        new = [chance.choice((-1, 1)) * chance.choice((0.25, 0.5, 0.75)) for _ in range(3)]
        there = bench.rig.seated(bench.pose, new)
        said = Rig(BLADE, bench.rig.base, out.studs)
        meant = said.seated(out.pose, new)
        for method in METHODS:
            off = said.observe(method, meant).value_mm - bench.value(method, there)
            assert abs(off) <= 0.0015 * IN
        places = [f for f in out.figures if f.what == "place"]
        pulls += [(f.value_mm - b) / f.u_mm for f, b in zip(places, bench.beside, strict=True)]
        assert out.agree
        assert all(f.well for f in out.figures)
    assert 0.6 < np.std(pulls) < 1.5  # the uncertainties told are those that there are
    assert max(map(abs, pulls)) < 3.5


def test_an_unknown_thread_is_found() -> None:
    bench = Bench(random.Random(8), lead=0.1)
    bench.turn()
    rig = Rig(BLADE, bench.rig.base, studs())
    out = found_block(rig, bench.sets, GOOD_MOVES, u_lead=(0.2, 0.2, 0.2))
    for found, longer in zip(out.studs, bench.longer, strict=True):
        assert found.lead_mm / (IN / 32) == pytest.approx(longer, abs=0.06)
    turns = [f for f in out.figures if f.what == "turn"]
    assert all(f.learnt for f in turns)
    for f, longer in zip(turns, bench.longer, strict=True):
        assert abs(f.value_mm - longer * IN / 32) < 3.5 * f.u_mm


def test_the_least_squares_are_scipy_s() -> None:
    bench = Bench(random.Random(3))
    bench.turn()
    rig = Rig(BLADE, bench.rig.base, studs())
    out = found_block(rig, bench.sets, GOOD_MOVES)
    start = bench.pose
    problem = _Problem(rig, bench.sets, GOOD_MOVES, start, (5.0,) * 3 + (0.002,) * 3)
    scale = [1.0, 1.0, 0.01, 1.0, 1.0, 1.0, 0.01, 0.01, 0.01]
    theirs = least_squares(lambda x: problem.misfits(list(x)), [0.0] * 9, x_scale=scale,
                           xtol=1e-12, ftol=1e-12, gtol=1e-12)  # fmt: skip
    assert out.chi_square == pytest.approx(2.0 * theirs.cost, rel=1e-6)
    ours = [f.value_mm for f in out.figures if f.what == "place"]
    assert ours == pytest.approx(list(theirs.x[3:6]), abs=5e-3)
    spread = np.linalg.inv(theirs.jac.T @ theirs.jac)
    u = [f.u_mm for f in out.figures if f.what == "place"]
    assert u == pytest.approx(list(np.sqrt(np.diag(spread))[3:6]), rel=1e-2)


def test_small_moves_fix_little_and_it_is_told() -> None:
    bench = Bench(random.Random(4))
    moves = tuple(tuple(n / 16 for n in move) for move in GOOD_MOVES)
    bench.turn(moves)  # type: ignore[arg-type]
    out = found_block(Rig(BLADE, bench.rig.base, studs()), bench.sets, moves)
    places = [f for f in out.figures if f.what == "place"]
    assert not any(f.well for f in places)
    assert not all(f.learnt for f in places)


def test_a_round_turned_otherwise_than_told_is_noticed() -> None:
    bench = Bench(random.Random(6))
    wrong = list(GOOD_MOVES)
    wrong[2] = (0.0, 0.0, 0.5)
    bench.turn(tuple(wrong))
    out = found_block(Rig(BLADE, bench.rig.base, studs()), bench.sets, GOOD_MOVES)
    assert not out.agree


def test_what_was_measured_before_is_kept_to() -> None:
    """A place known to 0.1 mm moves hardly; one of 5 mm goes where the rounds say."""
    bench = Bench(random.Random(9))
    bench.turn()
    rig = Rig(BLADE, bench.rig.base, studs(*bench.beside))
    out = found_block(rig, bench.sets, GOOD_MOVES, u_place_mm=(0.1, 0.1, 0.1))
    for f in out.figures:
        if f.what == "place":
            assert abs(f.value_mm) < 0.3
            assert f.u_mm <= 0.1
            assert not f.learnt


@pytest.mark.parametrize(
    ("sets", "moves", "words"),
    [(3, 2, "rounds or more"), (5, 5, "rounds or more"), (6, 5, "never turned")],
)
def test_rounds_that_will_not_do_are_told(sets: int, moves: int, words: str) -> None:
    bench = Bench(random.Random(1))
    made = (
        tuple((m[0], m[1], 0.0) for m in GOOD_MOVES[:moves])
        if words == "never turned"
        else (GOOD_MOVES[:moves])
    )
    with pytest.raises(InputError, match=words):
        found_block(Rig(BLADE, Base(), studs()), [bench.sets[0]] * sets, made)
