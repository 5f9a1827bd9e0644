"""How fast the kernel, an order and a kept reading are, each against something bare.

    python -m tests.bench.speed [kernel] [order] [kept] [--python PYTHON]
    python -m tests.bench.speed walk find flip history memory exchange --book BOOK [--python PYTHON]

Every figure is a median of rounds taken in turn with what it is compared with, in this one run.
What is measured on a book, see :mod:`tests.bench.speed_book`, is measured where one is given:
``tests.bench.make_book`` writes one. ``--python`` runs what is a program of its own: best that of
an environment with nothing but what a user installs.
"""

from __future__ import annotations

import argparse
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from random import Random
from statistics import median
from time import perf_counter, process_time
from typing import Any

from tests.bench import speed_book
from tests.bench.speed_paint import use_compiled
from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.fin.frame import Pose
from workbench.fin.plan.plan import fit_wanted, followed, goals_of
from workbench.fin.plan.uncertainty import u_turns
from workbench.fin.pose.equations import Equations, Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.pose.starts import about
from workbench.fin.reading.rig import Rig
from workbench.records.store import rows
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.order.order_file import read_order

ORDER = Path("fixtures/orders")
INSERT = "INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
BARE_PYTHON = "import argparse, json, tomllib"


def timed(
    call: Callable[[], object], times: int = 1, clock: Callable[[], float] = perf_counter
) -> float:
    """Return the seconds that one call takes, over so many."""
    start = clock()
    for _ in range(times):
        call()
    return (clock() - start) / times


def kernel(rounds: int) -> None:
    """Pose, exact turns and their uncertainties from three readings, against scipy's solver.

    In processor time, which other programs on the machine disturb less. Poses are fitted to the
    readings of many passes that differ, so that nothing kept from a fit helps the next. The solver
    is given the same residuals, looked at in the quickest way there is here, and begins where the
    fit does: beside each pose, or with nothing known at the start that the fit finds for itself.
    How long it takes where the residuals cost nothing is told too: no fit of ours can be quicker
    than one look at the readings, nor the solver than that.
    """
    order = read_order(first_order())
    rig, readings = order.rig, order.readings

    def ours() -> object:
        fit = fit_pose(rig.blade, rig.base, readings)
        goals = goals_of(fit, order.targets)
        wanted = fit_wanted(rig, fit, goals)
        now, then = rig.travels(fit.pose), rig.travels(wanted.pose)
        return u_turns(rig, fit, now, then, followed(wanted, goals))

    passes = passes_like(rig, readings)
    few = passes[::20]
    own: list[float] = []
    looks: list[float] = []
    idle: list[float] = []
    again = told_again(rig, passes[0])
    pose: dict[str, list[float]] = {"begun beside it": [], "nothing known": []}
    scipy_s: dict[str, list[float]] = {name: [] for name in pose}
    for _ in range(rounds):
        own.append(timed(ours, 20, process_time))
        looks.append(timed(partial(look_all, rig, passes), clock=process_time) / len(passes))
        idle.append(timed(again, 10, process_time))
        for name in pose:
            beside = name == "begun beside it"
            fits, solved = (
                partial(fit_all, rig, passes, beside),
                partial(solve_all, rig, few, beside),
            )
            pose[name].append(timed(fits, clock=process_time) / len(passes))
            scipy_s[name].append(timed(solved, clock=process_time) / len(few))
    print(f"pose, turns and covariance {median(own) * 1e3:.3f} ms")
    for name in pose:
        mine, other = median(pose[name]), median(scipy_s[name])
        apart = farthest(rig, few, name == "begun beside it")
        print(
            f"pose, {name}: {mine * 1e3:.3f} ms with its covariance, least_squares on the same "
            f"residuals {other * 1e3:.2f} ms: x {other / mine:.0f}; at most {apart:.0e} mm apart"
        )
    print(
        f"one look at three readings {median(looks) * 1e3:.3f} ms, "
        f"least_squares on residuals told from memory {median(idle) * 1e3:.2f} ms: "
        f"x {median(idle) / median(looks):.0f}"
    )


@dataclass(frozen=True, slots=True)
class Pass:
    """Readings, the pose they were had at, and a place beside it."""

    at: Pose
    near: Pose
    readings: list[Reading]


def passes_like(rig: Rig, readings: Sequence[Reading], count: int = 200) -> list[Pass]:
    """Return so many passes with the blade half a mm and a quarter degree about where it is."""
    found = fit_pose(rig.blade, rig.base, readings).pose
    draw = Random(5)
    out: list[Pass] = []
    for _ in range(count):
        at = found.moved(draw.gauss(0.0, 0.5), draw.gauss(0.0, 0.3), draw.gauss(0.0, 0.004))
        read = [replace(r, value_mm=rig.observe(r.method, at).value_mm) for r in readings]
        out.append(Pass(at, at.moved(0.3, -0.2, 0.002), read))
    return out


def look_all(rig: Rig, passes: Sequence[Pass]) -> None:
    """Look once at the readings of each pass."""
    for one in passes:
        Equations(rig.blade, rig.base, one.readings).sight(one.at)


def fit_all(rig: Rig, passes: Sequence[Pass], beside: bool) -> list[Pose]:
    """Fit each pass, begun beside its pose or with nothing known."""
    return [
        fit_pose(rig.blade, rig.base, one.readings, one.near if beside else None).pose
        for one in passes
    ]


def solve_all(rig: Rig, passes: Sequence[Pass], beside: bool) -> list[Pose]:
    """Have scipy's solver do the same."""
    found = []
    for one in passes:
        equations = Equations(rig.blade, rig.base, one.readings)

        def misfits(p: Any, equations: Equations = equations) -> Sequence[float]:
            sight = equations.sight(Pose(*p.tolist()))
            return sight.misfits if sight is not None else (1e6,) * 3

        near = one.near if beside else about(equations, 0.0)
        assert near is not None, "a depth and a tail distance tell about where the blade is"
        found.append(Pose(*least(misfits, [near.x_mm, near.y_mm, near.tilt_rad])))
    return found


def told_again(rig: Rig, one: Pass) -> Callable[[], object]:
    """Return what solves a pass anew with its residuals told from memory: the solver's own time."""
    equations = Equations(rig.blade, rig.base, one.readings)
    told: list[Sequence[float]] = []

    def misfits(p: Any) -> Sequence[float]:
        sight = equations.sight(Pose(*p.tolist()))
        assert sight is not None, "beside the pose each reading can be taken"
        told.append(sight.misfits)
        return sight.misfits

    start = [one.near.x_mm, one.near.y_mm, one.near.tilt_rad]
    least(misfits, start)

    def again() -> list[float]:
        memory = iter(told)
        return least(lambda _: next(memory), start)

    return again


def least(misfits: Callable[[Any], Sequence[float]], start: list[float]) -> list[float]:
    """Return where scipy's solver ends."""
    from scipy.optimize import least_squares

    found = least_squares(misfits, start, x_scale=[1.0, 1.0, 0.01], xtol=1e-12, ftol=1e-12)
    out: list[float] = found.x.tolist()
    return out


def farthest(rig: Rig, passes: Sequence[Pass], beside: bool) -> float:
    """Return how far apart, in mm, the two find any pass: a solver that went astray is no match."""
    pairs = zip(fit_all(rig, passes, beside), solve_all(rig, passes, beside), strict=True)
    reach = rig.blade.reach_mm
    return max(
        max(abs(a.x_mm - b.x_mm), abs(a.y_mm - b.y_mm), reach * abs(a.tilt_rad - b.tilt_rad))
        for a, b in pairs
    )


def first_order() -> Path:
    """Return the order with three readings that is measured."""
    return ORDER / "practice-plate.toml"


def order(rounds: int, python: str = sys.executable) -> None:
    """``quarterturn turns ORDER --json`` as a process, against Python with three modules."""
    ours = [python, "-m", "workbench", "turns", str(first_order()), "--json"]
    bare = [python, "-c", BARE_PYTHON]

    def run(command: list[str]) -> float:
        return timed(lambda: subprocess.run(command, check=True, capture_output=True))

    own, base = [], []
    with tempfile.TemporaryDirectory() as folder:
        use_compiled(folder)
        run(ours), run(bare)  # compiles
        for _ in range(rounds):
            own.append(run(ours))
            base.append(run(bare))
    limit = 2 * median(base) + 0.060
    print(
        f"turns --json {median(own) * 1e3:.0f} ms, bare python {median(base) * 1e3:.0f} ms, "
        f"twice that and 60 ms: {limit * 1e3:.0f} ms"
    )


def kept(rounds: int) -> None:
    """One reading from Enter to kept, against a bare insert with the same settings."""
    with tempfile.TemporaryDirectory() as folder, open_shop(demo_file(Path(folder))) as shop:
        view = ski(shop, "Heron 66")
        view = walk_to(shop, view, heron(view), "as received")
        own, bare = [], []
        path = Path(folder) / "bare.db"
        with closing(sqlite3.connect(path, isolation_level=None)) as conn:
            conn.execute("PRAGMA journal_mode = WAL")
            conn.execute("PRAGMA synchronous = FULL")
            conn.execute(
                "CREATE TABLE readings (id TEXT PRIMARY KEY, at TEXT, who TEXT, job_id TEXT, "
                "method_id TEXT, pass_number INTEGER, text TEXT, unit TEXT, mm REAL) STRICT"
            )
            for i in range(rounds * 20):
                row = (f"{i:036d}", "2026", "KV", "j", "m", 0, "2.4600", "in", 62.484)
                bare.append(timed(partial(conn.execute, INSERT, row)))
                own.append(timed(lambda: _keep(shop, view)))
    print(
        f"kept {median(own) * 1e3:.2f} ms, bare insert {median(bare) * 1e3:.2f} ms: "
        f"x {median(own) / median(bare):.2f}"
    )


def _keep(shop: Shop, view: JobView) -> None:
    taken = rows.Reading(
        method_id=view.lines[0].method_id, pass_number=0, text="2.4600", unit="in", mm=62.484
    )
    shop.book.add_fact(view.job.id, "KV", taken)


MEASURES: dict[str, Callable[[int, str], object]] = {
    "kernel": lambda rounds, python: kernel(rounds),
    "order": order,
    "kept": lambda rounds, python: kept(rounds),
}
ON_A_BOOK: dict[str, Callable[[Path, int, str], object]] = {
    "walk": lambda book, rounds, python: speed_book.walk(book, python),
    "find": lambda book, rounds, python: speed_book.find(book, python, rounds),
    "flip": lambda book, rounds, python: speed_book.flip(book, python, rounds),
    "history": lambda book, rounds, python: speed_book.history(book, rounds),
    "memory": lambda book, rounds, python: speed_book.memory(book),
    "exchange": lambda book, rounds, python: speed_book.exchange(book, python),
}


def main() -> int:
    """Measure what is asked for, everything where nothing is."""
    parser = argparse.ArgumentParser(description="Speed of the kernel, of an order and of a book.")
    parser.add_argument("what", nargs="*", choices=[*MEASURES, *ON_A_BOOK, []])
    parser.add_argument("--book", type=Path, help="a big book, for " + ", ".join(ON_A_BOOK))
    parser.add_argument("--python", default=sys.executable, help="what runs the bench")
    parser.add_argument("--rounds", type=int, default=15)
    args = parser.parse_args()
    wanted = args.what or [*MEASURES, *(ON_A_BOOK if args.book else ())]
    if args.book is None and any(name in ON_A_BOOK for name in wanted):
        parser.error("--book: a book is needed; tests.bench.make_book writes one")
    for name in wanted:
        if name in MEASURES:
            MEASURES[name](args.rounds, args.python)
        else:
            ON_A_BOOK[name](args.book, args.rounds, args.python)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
