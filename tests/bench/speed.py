"""How fast the kernel, an order and a kept reading are, each against something bare.

    python -m tests.bench.speed [kernel] [order] [kept]

Every figure is a median of rounds taken in turn with what it is compared with, in this one run.
"""

from __future__ import annotations

import argparse
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path
from statistics import median
from time import perf_counter, process_time

from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.fin.fit import fit_pose
from workbench.fin.goals import goals_of, wanted_pose
from workbench.fin.pose import Pose
from workbench.fin.trust import u_turns
from workbench.records.rows import Taken
from workbench.work.jobs import JobView
from workbench.work.orders import read_order
from workbench.work.shop import Shop

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

    In processor time, which other programs on the machine disturb less.
    """
    from scipy.optimize import least_squares

    order = read_order(first_order())
    rig, readings = order.rig, order.readings

    def ours() -> object:
        fit = fit_pose(rig.blade, rig.base, readings)
        goals = goals_of(fit, order.targets, 0.05)
        wanted, gain = wanted_pose(rig, fit, goals)
        now, then = rig.travels(fit.pose), rig.travels(wanted)
        return u_turns(rig, fit, now, then, gain)

    def misfits(p: list[float]) -> list[float]:
        pose = Pose(p[0], p[1], p[2])
        return [(rig.observe(r.method, pose).value_mm - r.value_mm) / r.u_mm for r in readings]

    fit = fit_pose(rig.blade, rig.base, readings)
    begin = [fit.pose.x_mm + 0.3, fit.pose.y_mm - 0.2, fit.pose.tilt_rad + 0.002]

    def theirs() -> object:
        return least_squares(misfits, begin, x_scale=[1.0, 1.0, 0.01], xtol=1e-12, ftol=1e-12)

    def pose_alone() -> object:
        return fit_pose(rig.blade, rig.base, readings, Pose(*begin))

    own, pose, scipy_s = [], [], []
    for _ in range(rounds):
        own.append(timed(ours, 20, process_time))
        pose.append(timed(pose_alone, 20, process_time))
        scipy_s.append(timed(theirs, 3, process_time))
    print(f"pose, turns and covariance {median(own) * 1e3:.3f} ms")
    print(
        f"pose alone {median(pose) * 1e3:.3f} ms, least_squares on the same readings and start "
        f"{median(scipy_s) * 1e3:.2f} ms: x {median(scipy_s) / median(pose):.0f}"
    )


def first_order() -> Path:
    """Return the order with three readings that is measured."""
    return ORDER / "practice-plate.toml"


def order(rounds: int) -> None:
    """``quarterturn turns ORDER --json`` as a process, against Python with three modules."""
    ours = [sys.executable, "-m", "workbench", "turns", str(first_order()), "--json"]
    bare = [sys.executable, "-c", BARE_PYTHON]

    def run(command: list[str]) -> float:
        return timed(lambda: subprocess.run(command, check=True, capture_output=True))

    own, base = [], []
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
    taken = Taken(view.lines[0].method_id, 0, "2.4600", "in", 62.484)
    shop.book.add_reading(view.job.id, "KV", taken)


MEASURES: dict[str, Callable[[int], None]] = {"kernel": kernel, "order": order, "kept": kept}


def main() -> int:
    """Measure what is asked for, everything where nothing is."""
    parser = argparse.ArgumentParser(description="Speed of kernel, order and kept reading.")
    parser.add_argument("what", nargs="*", choices=[*MEASURES, []])
    parser.add_argument("--rounds", type=int, default=15)
    args = parser.parse_args()
    for name in args.what or MEASURES:
        MEASURES[name](args.rounds)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
