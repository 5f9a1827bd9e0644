"""How fast the bench opens and answers, in a real pseudo-terminal, against a bare app.

    python -m tests.bench.speed_paint BOOK [--empty BOOK] [--rounds 15]

First full paint: from the start of the process until the last line of the screen is out. Keys: from
the write of the key until the paint that follows is out in full; this counts the quiet time after
it out. All ratios are of medians measured in turn in this run.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter

from tests.bench.terminal import Terminal

BENCH = [sys.executable, "-m", "workbench"]
BARE = [sys.executable, "-m", "tests.bench.bare"]
MARKS = {"bare": b"leave-marker", "bench": b"take back"}
"""A word of the last line that each paints: the bench's keys line, the bare app's footer."""

WALK: tuple[tuple[str, bytes], ...] = (
    ("digit", b"2"), ("digit", b"4"), ("digit", b"5"), ("backspace", b"\x7f"), ("escape", b"\x1b"),
    ("down", b"\x1b[B"), ("up", b"\x1b[A"), ("unit", b"*"), ("unit", b"*"),
    ("next ski", b"\x1b[6~"), ("ski before", b"\x1b[5~"), ("side", b"\t"), ("side", b"\t"),
)  # fmt: skip


def first_paint(command: list[str], mark: bytes) -> float:
    """Return the seconds until the whole first screen is out and nothing follows it at once."""
    with Terminal(command) as terminal:
        last = terminal.until(mark)
        while terminal.read(0.25):
            last = perf_counter() - terminal.started
        return last


def opened(book: Path) -> list[str]:
    """Return the command that opens a book."""
    return [*BENCH, "--book", str(book), "--who", "KV"]


def keys(book: Path, rounds: int) -> dict[str, list[float]]:
    """Return the times of each key of the main flow, in seconds."""
    times: dict[str, list[float]] = {}
    with Terminal(opened(book)) as terminal:
        terminal.until(MARKS["bench"])
        terminal.settle(1.0)
        memory = terminal.memory_mb()
        for _ in range(rounds):
            for name, key in WALK:
                times.setdefault(name, []).append(terminal.press(key))
                terminal.settle(0.12 if key == b"\x1b" else 0.05)
        print(f"memory: {memory:.0f} MB at first, {terminal.memory_mb():.0f} MB after the keys")
    return times


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="First paint and key to paint.")
    parser.add_argument("book", type=Path)
    parser.add_argument("--empty", type=Path, help="another book, to compare; left out: a new one")
    parser.add_argument("--rounds", type=int, default=15)
    args = parser.parse_args()
    os.environ["QUARTERTURN_NO_BACKUP"] = "1"
    with tempfile.TemporaryDirectory() as folder:
        empty = args.empty or Path(folder) / "empty.db"
        bare, big, small = [], [], []
        for _ in range(args.rounds):
            bare.append(first_paint(BARE, MARKS["bare"]))
            big.append(first_paint(opened(args.book), MARKS["bench"]))
            small.append(first_paint(opened(empty), MARKS["bench"]))
    of_bare, of_empty = median(big) / median(bare), median(big) / median(small)
    print(f"bare app        {median(bare) * 1e3:6.0f} ms")
    print(f"bench, book     {median(big) * 1e3:6.0f} ms, {of_bare:.2f} of bare")
    print(f"bench, empty    {median(small) * 1e3:6.0f} ms; the book takes {of_empty:.2f} of it")
    times = keys(args.book, args.rounds)
    every = [t for name, each in times.items() if name != "escape" for t in each]
    for name, each in times.items():
        print(f"{name:<12} median {median(each) * 1e3:6.1f} ms, worst {max(each) * 1e3:6.1f} ms")
    high = quantiles(every, n=20)[-1] * 1e3
    print(f"all keys     95th percentile {high:.1f} ms (escape, which waits by nature, left out)")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
