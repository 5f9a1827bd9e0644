"""How fast the bench opens and answers, in a real pseudo-terminal, against a bare app.

    python -m tests.bench.speed_paint BOOK [--young BOOK] [--rounds 15] [--python PYTHON]

First full paint: from the start of the process until the last line of the screen is out, on the ski
that the keys left it at, with its readings, turns and side view. Keys: from the write of the key
until the paint that follows is out in full; this counts the quiet time after it out. All ratios are
of medians measured in turn in this run. Processor time is given beside the clock's, for other
programs on the machine disturb it less.

An empty book shows no ski, so that it tells what a screen full of one costs as well. What history
alone costs is told by a young book with the same day, where one is given:
``python -m tests.bench.make_book young.db --skis 500 --readings 0``.

``--python`` is what runs the bench and the bare app: best that of an environment with nothing but
what a user installs, for numpy, where it is there, makes everything slower to start. Both start
from compiled files, as an installed program does; those lie in a folder of this run's own.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter

from tests.bench.terminal import Terminal

BENCH = ["-m", "workbench"]
BARE = ["-m", "tests.bench.bare"]
MARKS = {"bare": b"leave-marker", "bench": b"take back"}
"""A word of the last line that each paints: the bench's keys line, the bare app's footer."""

WALK: tuple[tuple[str, bytes], ...] = (
    ("digit", b"2"), ("digit", b"4"), ("digit", b"5"), ("backspace", b"\x7f"), ("escape", b"\x1b"),
    ("down", b"\x1b[B"), ("up", b"\x1b[A"), ("unit", b"*"), ("unit", b"*"),
    ("next ski", b"\x1b[6~"), ("ski before", b"\x1b[5~"),
)  # fmt: skip
"""Begun on a ski with readings and turns, where each of these keys shows something."""

NEXT_SKI, TURNING = b"\x1b[6~", b"turning, round"

Times = tuple[float, float]
"""Seconds by the clock, and of the processor."""


def use_compiled(folder: str) -> None:
    """Have the programs started from now on keep compiled files here and run from them."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = folder


def first_paint(command: list[str], mark: bytes) -> Times:
    """Return the time until the whole first screen is out and nothing follows it at once."""
    with Terminal(command) as terminal:
        last = terminal.until(mark)
        work = terminal.processor_s()
        while terminal.read(0.25):
            last, work = perf_counter() - terminal.started, terminal.processor_s()
        return last, work


def opened(python: str, book: Path) -> list[str]:
    """Return the command that opens a book."""
    return [python, *BENCH, "--book", str(book), "--who", "KV"]


def keys(command: list[str], rounds: int) -> dict[str, list[Times]]:
    """Return the times of each key of the main flow."""
    times: dict[str, list[Times]] = {}
    with Terminal(command) as terminal:
        terminal.until(MARKS["bench"])
        terminal.settle(1.5)
        to_a_full_ski(terminal)
        memory = terminal.memory_mb()
        for _ in range(rounds):
            for name, key in WALK:
                before = terminal.processor_s()
                took = terminal.press(key)
                times.setdefault(name, []).append((took, terminal.processor_s() - before))
                terminal.settle(0.12 if key == b"\x1b" else 0.05)
        print(f"memory: {memory:.0f} MB at first, {terminal.memory_mb():.0f} MB after the keys")
    return times


def to_a_full_ski(terminal: Terminal) -> None:
    """Go on to a ski whose studs are being turned; the bench opens on the one it was left at."""
    for _ in range(10):
        before = len(terminal.out)
        terminal.press(NEXT_SKI)
        if TURNING in terminal.out[before:]:
            return
    raise AssertionError("no ski of the first ten is being turned: is this a big book?")


def middle(times: Iterable[Times]) -> Times:
    """Return the medians."""
    clock, work = zip(*times, strict=True)
    return median(clock), median(work)


def first_paints(python: str, books: dict[str, Path], rounds: int) -> None:
    """Measure the first paint of the bare app and of each book, in turn."""
    commands = {"bare app": ([python, *BARE], MARKS["bare"])}
    commands |= {name: (opened(python, book), MARKS["bench"]) for name, book in books.items()}
    times: dict[str, list[Times]] = {name: [] for name in commands}
    for number in range(rounds + 1):
        for name, (command, mark) in commands.items():
            took = first_paint(command, mark)
            if number:  # the first compiles
                times[name].append(took)
    bare, big = middle(times["bare app"]), middle(times["big book"])
    for name, each in times.items():
        clock, work = middle(each)
        print(
            f"{name:<12}{clock * 1e3:6.0f} ms, {clock / bare[0]:.2f} of bare; "
            f"processor {work * 1e3:4.0f} ms, {work / bare[1]:.2f}; "
            f"the big book takes {big[0] / clock:.2f} of it"
        )


def print_keys(times: dict[str, list[Times]]) -> None:
    """Print what each key took, and all of them."""
    for name, each in times.items():
        clock, work = middle(each)
        print(
            f"{name:<12} median {clock * 1e3:5.1f} ms, worst {max(each)[0] * 1e3:5.1f} ms; "
            f"processor {work * 1e3:4.1f} ms"
        )
    every = [t for name, each in times.items() if name != "escape" for t in each if t[0]]
    idle = sum(not t[0] for each in times.values() for t in each)
    if idle:
        print(f"{idle} keys painted nothing and are left out below")
    clock, work = (quantiles(column, n=20)[-1] * 1e3 for column in zip(*every, strict=True))
    print(
        f"all keys     95th percentile {clock:.1f} ms, processor {work:.1f} ms "
        "(escape, which waits by nature, left out)"
    )


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="First paint and key to paint.")
    parser.add_argument("book", type=Path)
    parser.add_argument("--young", type=Path, help="a book with the same day and little history")
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument("--python", default=sys.executable, help="what runs the bench")
    args = parser.parse_args()
    os.environ["QUARTERTURN_NO_BACKUP"] = "1"
    with tempfile.TemporaryDirectory() as folder:
        use_compiled(folder)
        books = {"big book": args.book, "empty book": Path(folder) / "empty.db"}
        took = keys(opened(args.python, args.book), args.rounds)
        if args.young is not None:
            books["young book"] = args.young
            keys(opened(args.python, args.young), 1)
        first_paints(args.python, books, args.rounds)
        print_keys(took)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
