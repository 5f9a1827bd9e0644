"""What a bench that learns reaches in simulated shops: ``python -m tests.fin.learning_bench``.

Rounds until the bench calls a ski within tolerance, for four ways of deciding and for somebody who
knows all but the scatter. The shops' imperfections are listed in ``learning_shop``.
"""

from __future__ import annotations

import argparse
import math
import random
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from multiprocessing import Pool

from tests.fin.learning_shop import (
    CLEAR,
    CORNERS,
    METHODS,
    Outcome,
    Truth,
    all_known,
    by_hand,
    by_latest,
    by_learning,
    filtered_only,
    fresh,
    season,
    takes,
)
from tests.fin.plates import IN
from workbench.fin.learn.decide import decide
from workbench.fin.learn.replay import begin, taught
from workbench.fin.plan.plan import Target

SEED = 20_000
WAYS = (
    "one number at a time, by hand",
    "the latest readings alone, to 1/8",
    "the latest readings alone, exact",
    "all readings of the job filtered",
    "learnt from job to job",
    "all known but the scatter",
)
Asked = tuple[int, str, bool, float, int]


@dataclass(frozen=True)
class Run:
    """What became of one shop: its jobs in order, errors over their told uncertainty at the end."""

    jobs: tuple[Outcome, ...]
    honesty: tuple[float, ...] = ()
    questions: int = 0


def run(asked: Asked) -> Run:
    """Return the jobs of one simulated shop."""
    number, way, corners, tolerance_in, jobs = asked
    shop = Truth(random.Random(SEED + number), CORNERS if corners else CLEAR)
    tolerance = tolerance_in * IN
    new = fresh(shop.told)
    start = all_known(shop) if way == WAYS[5] else new
    learnt, questions = start, 0
    out = []
    for _ in range(jobs):
        aims = shop.new_job()
        if way == WAYS[0]:
            out.append(by_hand(shop, aims, tolerance))
        elif way in WAYS[1:3]:
            out.append(by_latest(shop, aims, tolerance, 0.125 if way == WAYS[1] else 0.0))
        elif way == WAYS[3]:
            alone = fresh(shop.told, filtered_only())
            out.append(by_learning(shop, alone, aims, tolerance, settle=False, careful=False)[0])
        else:
            job, after = by_learning(shop, learnt, aims, tolerance)
            learnt = start if way == WAYS[5] else after
            questions += learnt.question is not None
            out.append(job)
    honesty: list[float] = []
    if way == WAYS[4]:
        for j in range(3):
            ratio, u = learnt.lead_ratio(j)
            honesty.append((ratio - 1.0 - shop.lead_errors[j]) / u)
        for j in range(3):
            backlash, u = learnt.backlash(j)
            honesty.append((backlash - shop.backlash[j]) / u)
    return Run(tuple(out), tuple(honesty), questions)


def runs(
    way: str, shops: int, jobs: int, corners: bool, tolerance_in: float, processes: int = 2
) -> list[Run]:
    """Return what becomes of some shops."""
    asked = [(i, way, corners, tolerance_in, jobs) for i in range(shops)]
    if processes == 1:
        return list(map(run, asked))
    with Pool(processes) as pool:
        return pool.map(run, asked, chunksize=1)


def mean_and_error(values: Sequence[float]) -> tuple[float, float]:
    """Return the mean and its standard error."""
    mean = math.fsum(values) / len(values)
    spread = math.fsum((v - mean) ** 2 for v in values) / max(1, len(values) - 1)
    return mean, math.sqrt(spread / len(values))


def percentile_95(rounds: Sequence[int]) -> int:
    """Return the least number of rounds that 95 % of the jobs need at most."""
    return sorted(rounds)[math.ceil(0.95 * len(rounds)) - 1]


def row(way: str, found: Sequence[Run], spans: Sequence[tuple[int, int]]) -> str:
    """Return a line of the table: rounds by job, and how many are truly out."""
    cells = []
    for first, last in spans:
        jobs = [job for each in found for job in each.jobs[first - 1 : last]]
        mean, error = mean_and_error([j.rounds for j in jobs])
        cells.append(f"{mean:.2f} ±{error:.2f} / {percentile_95([j.rounds for j in jobs])}")
    jobs = [job for each in found for job in each.jobs]
    out = [100.0 * sum(j.worst > limit for j in jobs) / len(jobs) for limit in (1.0, 1.5)]
    error = 100.0 * math.sqrt(out[0] / 100.0 * (1.0 - out[0] / 100.0) / len(jobs))
    cells.append(f"{out[0]:.1f} ±{error:.1f} / {out[1]:.1f} %")
    return f"| {way} | {' | '.join(cells)} |"


def particulars(found: Sequence[Run]) -> str:
    """Return what was caught of unseated studs, idle questions, and how honest the figures are."""
    jobs = [job for each in found for job in each.jobs]
    gaps, well = sum(j.gaps for j in jobs), sum(j.well for j in jobs)
    caught = 100.0 * sum(j.caught for j in jobs) / max(1, gaps)
    false = 100.0 * sum(j.false_alarms for j in jobs) / max(1, well)
    root = [
        math.sqrt(sum(each.honesty[k] ** 2 for each in found) / len(found))
        for k in range(len(found[0].honesty))
    ]
    pushed = sum(j.pushed for j in jobs) / len(jobs)
    return (
        f"{pushed:.2f} of the rounds of a job only pushed the blade home; "
        f"unseated studs named {caught:.0f} % of {gaps}, false alarms {false:.2f} % of {well}; "
        f"idle questions about threads in {sum(each.questions for each in found)} of "
        f"{len(jobs)} jobs"
        + ("; error over its told uncertainty, leads and backlash: " if root else "")
        + ", ".join(f"{r:.2f}" for r in root)
    )


def errors_of(number: int, corners: bool = False, jobs: int = 15) -> tuple[float, ...]:
    """Return one shop's errors over what is told of them: of its leads, then of its backlash."""
    shop = Truth(random.Random(SEED + number), CORNERS if corners else CLEAR)
    learnt = taught(shop.told, METHODS, season(shop, jobs))
    out = []
    for j in range(3):
        ratio, u = learnt.lead_ratio(j)
        out.append((ratio - 1.0 - shop.lead_errors[j]) / u)
    for j in range(3):
        backlash, u = learnt.backlash(j)
        out.append((backlash - shop.backlash[j]) / u)
    return tuple(out)


def honesty(shops: int, corners: bool) -> str:
    """Return how large the errors of leads and backlash are over what is told of them."""
    every = [errors_of(i, corners) for i in range(shops)]
    roots = [math.sqrt(math.fsum(e[k] ** 2 for e in every) / shops) for k in range(6)]
    said = ", ".join(f"{root:.2f}" for root in roots)
    return f"{shops} shops with 30 rounds: error over its told uncertainty, leads, backlash: {said}"


def speed() -> str:
    """Return what a replay of 1,000 rounds and the next act take, in CPU time."""
    shop = Truth(random.Random(SEED))
    rounds = season(shop, 500)
    began = time.process_time()
    for _ in range(1_000_000):
        pass
    bare = time.process_time() - began
    began = time.process_time()
    learnt = taught(shop.told, METHODS, rounds)
    replayed = time.process_time() - began
    aims = shop.new_job()
    targets = [Target(m, a, 0.002 * IN) for m, a in zip(METHODS, aims, strict=True)]
    shop.seat()
    taken = takes(shop, 3)
    began = time.process_time()
    for _ in range(20):
        job = begin(learnt, taken, True)
        assert job.seating is not None
        assert job.learnt.edges is not None
        decide(job, targets, 1 / 16)
    act = (time.process_time() - began) / 20
    return (
        f"1,000 rounds of 500 jobs gone through in {replayed:.2f} s, a seating with its next act "
        f"{1000.0 * act:.1f} ms (a bare loop of a million takes {1000.0 * bare:.0f} ms here)"
    )


def main(words: Sequence[str] | None = None, say: Callable[[str], None] = print) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.fin.learning_bench")
    parser.add_argument("--shops", type=int, default=100)
    parser.add_argument("--jobs", type=int, default=20)
    parser.add_argument("--tolerance", type=float, default=0.002, help="in inches")
    parser.add_argument("--corners", action="store_true", help="corners right at the base")
    parser.add_argument("--only", type=int, action="append", help="a row's number, from 1")
    parser.add_argument("--speed", action="store_true", help="only: what a round and a replay take")
    parser.add_argument("--honest", action="store_true", help="only: errors over what is told")
    parser.add_argument("--processes", type=int, default=2)
    args = parser.parse_args(words)
    if args.speed:
        say(speed())
        return
    if args.honest:
        say(honesty(args.shops, args.corners))
        return
    spans = [(1, 1)] + [(j, j + 4) for j in range(6, args.jobs, 10)]
    if args.jobs > 1 and (not spans[1:] or spans[-1][1] < args.jobs):
        spans.append((max(2, args.jobs - 4), args.jobs))
    where = "right at the base" if args.corners else "clear of the base"
    say(f"{args.shops} shops, {args.jobs} jobs each, ±{args.tolerance} in, corners {where}.")
    say("Rounds: mean ±its standard error / 95th percentile.\n")
    heads = [f"job {a}" if a == b else f"jobs {a} to {b}" for a, b in spans]
    say(f"| who decides | {' | '.join(heads)} | truly out, over 1.0 / 1.5 tolerances |")
    say("|---" * (len(heads) + 2) + "|")
    notes = []
    for number, way in enumerate(WAYS, 1):
        if args.only and number not in args.only:
            continue
        found = runs(way, args.shops, args.jobs, args.corners, args.tolerance, args.processes)
        say(row(way, found, spans))
        if way in WAYS[4:]:
            notes.append(f"{way}: {particulars(found)}")
    for note in notes:
        say(f"\n{note}")


if __name__ == "__main__":
    main()
