"""How far one typed reading goes, from Enter until the panels are painted.

    python -m tests.bench.hops [--list]

Counted in our own code alone: the functions that are called and the files they stand in, how deep
one stands in another, what is asked of the book's thread, and the transactions that this makes.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType, FrameType

import workbench
from tests.bench.screens import bench, through
from tests.shop import demo_file, heron, open_shop, ski, walk_to
from workbench.records.desk import Desk

OURS = str(Path(workbench.__file__).parent)


@dataclass
class Hops:
    """What was called while it was looked at."""

    calls: Counter[CodeType] = field(default_factory=Counter)
    deepest: tuple[str, ...] = ()
    asked: int = 0

    @property
    def functions(self) -> list[CodeType]:
        """The functions of ours, without the lambdas and comprehensions in them."""
        return [code for code in self.calls if not code.co_name.startswith("<")]

    @property
    def files(self) -> set[str]:
        """The files that they stand in."""
        return {code.co_filename.removeprefix(f"{OURS}/") for code in self.functions}

    def of(self, function: CodeType) -> int:
        """How often a function was called."""
        return self.calls[function]

    def look(self, frame: FrameType, event: str, _arg: object) -> None:
        """Take in a call, on whatever thread it is made."""
        code = frame.f_code
        if event != "call" or not code.co_filename.startswith(OURS):
            return
        self.calls[code] += 1
        if code is Desk.run.__code__ and threading.get_ident() != frame.f_locals["self"]._thread:
            self.asked += 1
        chain = tuple(_names(frame))
        if len(chain) > len(self.deepest):
            self.deepest = chain


def _names(frame: FrameType | None) -> Iterator[str]:
    while frame is not None:
        code = frame.f_code
        if code.co_filename.startswith(OURS) and not code.co_name.startswith("<"):
            yield f"{code.co_filename.removeprefix(f'{OURS}/')}: {code.co_qualname}"
        frame = frame.f_back


@contextmanager
def looked_at(hops: Hops, on: list[bool]) -> Iterator[None]:
    """Let ``hops`` look at every thread begun within, as long as ``on`` holds True."""

    def look(frame: FrameType, event: str, arg: object) -> None:
        if on[0]:
            hops.look(frame, event, arg)

    threading.setprofile(look)
    sys.setprofile(look)
    try:
        yield
    finally:
        threading.setprofile(None)
        sys.setprofile(None)


async def one_reading(folder: Path) -> Hops:
    """Return the hops of a reading typed by hand at the bench, the first of a round behind it."""
    hops, on = Hops(), [False]
    with looked_at(hops, on), open_shop(demo_file(folder)) as shop:
        view = ski(shop, "Heron 66")
        fin = heron(view)
        walk_to(shop, view, fin, "as received")
        async with bench(shop) as screen:
            screen.app.hands.open(view.job.id)
            for at in range(2):
                line = screen.view.lines[at]
                await screen.by_hand(fin.text(line))
                await screen.pilot.pause(0.5)  # nothing of what came before is left to do
                on[0] = at == 1
                screen.burst("\n")
                await through(screen.app)
                await screen.pilot.pause(0.3)
                on[0] = False
            assert len(screen.view.lines[1].latest) == 1, screen.shown()
    return hops


def main() -> None:
    """Print the figures, with ``--list`` the functions and the deepest chain as well."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--list", action="store_true")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        hops = asyncio.run(one_reading(Path(folder)))
    if args.list:
        for code in sorted(hops.functions, key=lambda c: (c.co_filename, c.co_firstlineno)):
            print(f"{hops.calls[code]:5} {code.co_filename.removeprefix(OURS)}: {code.co_qualname}")
        print(*hops.deepest[::-1], sep="\n")
    reads, writes = Desk._read_alone.__code__, Desk._write_alone.__code__
    print(
        f"{len(hops.functions)} functions in {len(hops.files)} files, {len(hops.deepest)} deep, "
        f"{sum(hops.calls.values())} calls; asked of the book's thread {hops.asked}: "
        f"{hops.of(writes)} writes, {hops.of(reads)} reads"
    )


if __name__ == "__main__":
    main()
