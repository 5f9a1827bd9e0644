"""How fast the bench is on a big book once it stands, and how much memory a long day takes.

Each works on a copy of the book in a folder of its own. :mod:`tests.bench.speed` runs them:

    python -m tests.bench.speed walk find flip history memory exchange --book BOOK [--python PYTHON]

* walk: skis from received to signed off by the keys of a keypad, each key to its paint; the last
  of them has a history of 5,000 readings.
* find: every letter typed in the queue's list, which searches all skis of the book, to its paint.
* flip: inch to mm and back with every panel shown, to its paint.
* history: the ski with 5,000 readings, opened from the book, drawn as lines and as a plot.
* memory: what the program holds while one ski after the other goes from received to signed off.
* exchange: the book written to an exchange file, that taken in by an empty book, and again with
  nothing new, each a command of its own: seconds, those of the processor, and the most memory held.
"""

from __future__ import annotations

import gc
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter, process_time

from tests.bench.speed_paint import MARKS, Times, middle, opened, use_compiled
from tests.bench.terminal import Terminal
from tests.shop import Fin, advance
from workbench.bench.draw.canvas import Area
from workbench.bench.hand.hands import Hands
from workbench.bench.hand.state import BenchState
from workbench.bench.panels import (
    next_line,
    panel_text,
    readings_panel,
    turns_panel,
)
from workbench.bench.screens.ski.history_lines import (
    Looking,
    past_of,
    plots,
    timeline_rows,
)
from workbench.records.book import Book
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import check_name

FIND = b"plover no 77"
"""What is looked for, a letter at a time."""

BETWEEN_KEYS_S = 0.2
"""Longer than the bench takes a second Enter for the first one's echo."""

MOST_KEYS = 200
WALKED = 3
"""So many skis of the queue are walked from received to signed off."""

SKIS = 1_000
EVERY = 100
"""So many skis are done between two looks at the memory."""


@contextmanager
def copied(book: Path) -> Iterator[Path]:
    """Give a copy of a book that may be written to."""
    with tempfile.TemporaryDirectory() as folder:
        use_compiled(folder)
        os.environ["QUARTERTURN_NO_BACKUP"] = "1"
        path = Path(shutil.copy(book, Path(folder) / "book.db"))
        if hasattr(os, "sync"):
            os.sync()  # else the copy itself is still written while the bench is measured
        yield path


@contextmanager
def running(book: Path, python: str) -> Iterator[Terminal]:
    """Run the bench on a book in a terminal that has room for every panel."""
    with Terminal(opened(python, book), (120, 36)) as terminal:
        terminal.until(MARKS["bench"])
        terminal.settle(3.0)  # the other screens are loaded meanwhile
        yield terminal


def pressed(terminal: Terminal, key: bytes) -> Times:
    """Press a key; return what it took to its paint."""
    before = terminal.processor_s()
    took = terminal.press(key)
    times = took, terminal.processor_s() - before
    terminal.settle(BETWEEN_KEYS_S)
    return times


def told(what: str, times: list[Times]) -> None:
    """Print the median and the 95th percentile."""
    clock, work = middle(times)
    clocks = [t for t, _ in times]
    high = quantiles(clocks, n=20)[-1] if len(clocks) > 1 else clocks[0]
    print(
        f"{what}: median {clock * 1e3:.1f} ms, 95th percentile {high * 1e3:.1f} ms; "
        f"processor {work * 1e3:.1f} ms"
    )


def walk(book: Path, python: str) -> None:
    """Take skis from received to signed off; what is due is read off the book itself."""
    times: dict[str, list[Times]] = {}
    with copied(book) as path, Book(path) as kept:
        shop = Shop(kept, who="KV")
        walked = [x.job_id for x in shop.roster() if x.stage == "waiting"][:WALKED]
        for job_id in [*walked, shop.queue(longest(shop)).id]:
            shop.remember("job", job_id)
            with running(path, python) as terminal:
                for kind, key in keys_due(shop, job_id):
                    times.setdefault(kind, []).append(pressed(terminal, key))
    for kind, each in times.items():
        told(kind, each)
    told("all of them", [t for kind, each in times.items() if kind != "+" for t in each])


def keys_due(shop: Shop, job_id: str) -> Iterator[tuple[str, bytes]]:
    """Yield what to press next until the ski is signed off: what it does, and the key."""
    view = shop.view(job_id)
    fin = Fin(view, 0.652, -1.005, 0.05)
    begun = ""
    for _ in range(MOST_KEYS):
        if view.stage == "signed off":
            return
        if view.checklist or view.stage == "sign-off":
            if begun != check_name(view) + str(view.stage == "sign-off"):
                begun = check_name(view) + str(view.stage == "sign-off")
                yield "check begun", b"\r"
            yield ("tick", b" ") if view.checklist else ("+", b"+")
        elif view.due is not None:
            yield from _typed(fin.text(view.lines[view.due], view.ski.unit), "reading kept")
        elif view.stage == "target" and not view.progress.targets:
            yield from _typed("+.010", "target kept")
        elif view.stage == "wing":
            yield from _typed("7.5", "wing kept")
        else:
            yield f"Enter, {view.stage}", b"\r"
        before, view = view, shop.view(job_id)
        if view.stage == "measuring" and before.stage == "turning":
            fin.follow(before)
    raise AssertionError(f"never signed off: stands at {view.stage}")


def _typed(text: str, what: str) -> Iterator[tuple[str, bytes]]:
    for char in text:
        yield "digit", char.encode()
    yield f"Enter, {what}", b"\r"


def find(book: Path, python: str, rounds: int) -> None:
    """Find as you type over all skis of the book."""
    with copied(book) as path, running(path, python) as terminal:
        clock, _ = pressed(terminal, b"z")
        print(f"the queue's list opens in {clock * 1e3:.0f} ms")
        first, later = [], []
        for _ in range(rounds):
            times = [pressed(terminal, bytes([letter])) for letter in FIND]
            first.append(times[0])
            later += times[1:]
            for _ in FIND:
                pressed(terminal, b"\x7f")
        told("find, first letter", first)
        told("find, each further letter", later)


def flip(book: Path, python: str, rounds: int) -> None:
    """Exchange inch and mm with every panel shown."""
    with copied(book) as path, running(path, python) as terminal:
        told("inch/mm flip", [pressed(terminal, b"*") for _ in range(2 * rounds)])


def longest(shop: Shop) -> str:
    """Return the id of the ski to which ``make_book`` gave a long history: its first."""
    return next(s.id for s in shop.book.skis() if s.serial == "S000000")


def history(book: Path, rounds: int) -> None:
    """Open a ski's history of thousands of readings and draw it, as lines and as a plot."""
    with copied(book) as path, Book(path) as kept:
        shop = Shop(kept, who="KV")
        ski_id = longest(shop)
        count = 0
        read, lines, plotted = [], [], []
        for _ in range(rounds):
            start = perf_counter()
            past = past_of(shop, ski_id)
            read.append(perf_counter() - start)
            entries = past.timeline.shown("all")
            count = len(entries)
            timeline_rows(entries, 0, past, "in", Area(116, 28, "braille"))
            lines.append(perf_counter() - start)
            plots(past, Looking(plotted=True), "in", "braille", 116, 30)
            plotted.append(perf_counter() - start)
    print(
        f"history of {count} rows: read {median(read) * 1e3:.0f} ms, "
        f"first lines {median(lines) * 1e3:.0f} ms, plotted {median(plotted) * 1e3:.0f} ms"
    )


def resident_mb() -> float:
    """Return the memory this program holds now, where the system says so."""
    status = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return int(next(x for x in status if x.startswith("VmRSS")).split()[1]) / 1024


def draw(state: BenchState) -> None:
    """Draw every panel, as the bench does after each key."""
    panel_text.top_line(state, 120)
    panel_text.roster(state, 30, 24)
    readings_panel.readings(state, 40, 16)
    panel_text.target(state, 40, 8)
    turns_panel.turns(state, 40, 16)
    panel_text.picture(state, 40, 10)
    next_line.next_rows(state, 118)


def memory(book: Path, skis: int = SKIS) -> None:
    """Take one ski after the other from received to signed off and look at the memory."""
    with copied(book) as path, Book(path) as kept:
        shop = Shop(kept, who="KV")
        owned = [s for s in shop.book.skis() if s.serial.startswith("S0")]
        hands = Hands(shop, draw)
        gc.collect()
        begun, start = resident_mb(), process_time()
        seen = [begun]
        for number in range(skis):
            _one_ski(shop, hands, owned[number % len(owned)].id)
            if (number + 1) % EVERY == 0:
                seen.append(resident_mb())
                print(f"  {number + 1} skis: {seen[-1]:.0f} MB", flush=True)
    each = (process_time() - start) / skis * 1e3
    half = seen[len(seen) // 2]
    print(
        f"memory: {begun:.0f} MB at first, {seen[-1]:.0f} MB after {skis} skis, "
        f"{seen[-1] - half:+.1f} MB over the second half; {each:.0f} ms a ski"
    )


def exchange(book: Path, python: str) -> None:
    """Write the book out, take it in, and once more, by the commands that do it."""
    with copied(book) as path:
        file, other = path.with_name("book.json"), path.with_name("other.db")
        Book(other).close()
        steps = (("export", path), ("import", other), ("import again", other))
        for words, at in steps:
            command = words.split()[0]
            start = perf_counter()
            args = [python, "-m", "workbench", "--book", str(at), command, str(file)]
            _, status, used = os.wait4(os.spawnv(os.P_NOWAIT, python, args), 0)
            assert status == 0, words
            print(
                f"exchange: {words} of {file.stat().st_size / 1e6:.0f} MB: "
                f"{perf_counter() - start:.1f} s, processor {used.ru_utime + used.ru_stime:.1f} s, "
                f"at most {used.ru_maxrss / 1024:.0f} MB",
                flush=True,
            )


def _one_ski(shop: Shop, hands: Hands, ski_id: str) -> None:
    job = shop.queue(ski_id)
    hands.look_again()
    hands.open(job.id)
    view = hands.state.view
    assert view is not None
    fin = Fin(view, 0.652, -1.005, 0.05)
    while view.stage != "signed off":
        view = advance(shop, view, fin, ("+.010", "", ""))
        hands.show(view)
