"""Opens the bench on a book: checks the terminal, catches signals, leaves the terminal whole.

Beside the bench run the day's backup, the loading of the other screens, a look whether the terminal
is still there, and a hub that is joined.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import os
import sys
import tempfile
import threading
from collections import deque
from contextlib import ExitStack, suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from workbench.bench.crash import words, write_report
from workbench.errors import BenchError, InputError, shown
from workbench.places import book_path, is_there
from workbench.records.book import Book
from workbench.system import can_draw, leave_signals, on_signal
from workbench.work.job.shop import Shop
from workbench.work.text.local_time import clock_words

if TYPE_CHECKING:
    from workbench.bench.app import Bench
    from workbench.work.sharing.hubs import Shared, Watch

WITHOUT = "every job goes line by line without one: quarterturn next, quarterturn --help"

BACKUP_AFTER_S = 2.0
"""Delay of the day's backup after the start: the first paint comes first."""

TERMINAL_LOOK_S = 1.0
"""Interval at which the bench checks that its terminal is still there."""

DRAWN_AFTER_S = 1.0
"""Time after the start by which the first paint is done."""

LONGEST_LEAVE_S = 20.0
"""Longest time to close the screen once the system asks for it or the terminal is gone."""

BETWEEN_LOADS_S = 0.05
"""Pause for keys between loading one screen and the next."""


def run(args: argparse.Namespace) -> int:
    """Open the bench as the command line asks; return the exit status."""
    _check_terminal()
    try:
        return _run(args)
    finally:
        _let_go_of_the_terminal()


def _let_go_of_the_terminal() -> None:
    """Drop what a terminal that has gone did not take: else Python ends with 120 over it."""
    for name in ("stdout", "stderr"):
        try:
            getattr(sys, name).flush()
        except (OSError, ValueError):
            setattr(sys, name, open(os.devnull, "w"))  # noqa: SIM115 (for good)


def _run(args: argparse.Namespace) -> int:
    if args.command == "demo":
        return _demo(args)
    path = Path(args.book) if args.book else book_path()
    begun = not is_there(path)
    with Book(path, make_folder=not args.book) as book:
        if not book.blades():
            from workbench.work.roster.adding import ensure_starter

            ensure_starter(book, args.who or "")
        if not begun:
            return _open_and_back_up(book, args.who or "")
        from workbench.work.exchange.backup import lost_words

        return _open_and_back_up(book, args.who or "", lost_words(path))


def _demo(args: argparse.Namespace) -> int:
    from workbench.work.demo import build_demo

    with ExitStack() as until_left:
        if args.keep:
            path = Path(args.keep)
        else:
            folder = tempfile.TemporaryDirectory(prefix="quarterturn-demo-")
            path = Path(until_left.enter_context(folder)) / "demo.db"
        book = until_left.enter_context(Book(path) if is_there(path) else build_demo(path))
        if args.tour:
            book.set_setting("tour", "on", who=args.who or "")
        return _open(book, args.who or "")


def _in_browser() -> bool:
    """Whether 'serve' runs this bench for a browser: pipes take the terminal's place."""
    return os.environ.get("TEXTUAL_DRIVER", "").startswith("textual.drivers.web_driver:")


def _check_terminal() -> None:
    if _in_browser():
        return
    if not can_draw(os.environ):
        term = os.environ.get("TERM", "")
        raise InputError("TERM", term, f"a terminal that can draw; {WITHOUT}")
    if not all(stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr)):
        raise InputError("terminal", "not a terminal", f"a terminal; {WITHOUT}")


def _open_and_back_up(book: Book, who: str, words: str = "") -> int:
    """Open the shop's own book; today's backup is brought up to date when the bench is left."""
    status = _open(book, who, daily=True, said=words)
    from workbench.work.exchange.backup import aside_lines, back_up_at_leave, failed_words

    try:
        done = back_up_at_leave(book)
        for line in aside_lines(done) if done else ():
            _say_at_leave(line)
    except BenchError as why:
        _say_at_leave(failed_words(why))
    return status


def _say_at_leave(text: str) -> None:
    with suppress(OSError, ValueError):  # the terminal may have gone
        print(f"quarterturn: {text}", file=sys.stderr)


async def _back_up_today(app: Bench) -> None:
    """Make the day's backup once the bench is up; it goes on in a thread beside the desk."""
    from workbench.work.exchange.backup import back_up_today, failed_words

    await asyncio.sleep(BACKUP_AFTER_S)
    try:
        await asyncio.to_thread(back_up_today, app.shop.book)
    except BenchError as why:
        app.hands.say(failed_words(why), "warn")


async def _settle() -> None:
    """Load the other screens once the bench is up, then begin to collect garbage.

    What was loaded until then stays, and is left out of the collecting.
    """
    from workbench.bench.action_menu import load_one_by_one

    await asyncio.sleep(DRAWN_AFTER_S)
    for _ in load_one_by_one():
        await asyncio.sleep(BETWEEN_LOADS_S)
    gc.freeze()
    gc.enable()


async def _watch_terminal(app: Bench) -> None:
    """Leave when the terminal has gone without a word, so that nothing runs on unseen.

    In a browser that is the server which began this bench.
    """
    server = os.getppid() if _in_browser() else None
    while (
        os.isatty(sys.__stdin__.fileno() if sys.__stdin__ else 0)
        if server is None
        else os.getppid() == server
    ):
        await asyncio.sleep(TERMINAL_LOOK_S)
    _leave(app, 129)


def _open(book: Book, who: str, *, daily: bool = False, said: str = "") -> int:
    try:
        return _run_bench(book, who, daily=daily, said=said)
    except BenchError:
        raise
    except Exception as error:
        _say_at_leave(words(write_report(error, book.path.parent, "start", book.path), ""))
        return 1


def _clear_surroundings() -> None:
    """Take away variables that Textual would take for more than they say."""
    if not os.environ.get("NO_COLOR"):
        os.environ.pop("NO_COLOR", None)  # an empty one is not set
    if not _in_browser():  # where the shell exports these no resize would be seen
        os.environ.pop("COLUMNS", None)
        os.environ.pop("LINES", None)


def _run_bench(book: Book, who: str, *, daily: bool, said: str) -> int:
    from workbench.bench.app import Bench
    from workbench.bench.terminal import letters_fit

    letters_fit()
    _clear_surroundings()
    app = Bench(Shop(book, who=who), no_color=bool(os.environ.get("NO_COLOR")))
    if words := said or clock_words(book):
        app.hands.say(words, "warn")
    sharing = Sharing(book)

    async def main() -> None:
        loop = asyncio.get_running_loop()
        for number in leave_signals():
            on_signal(loop, number, partial(_leave, app, 128 + number))
        beside = [asyncio.create_task(_settle()), asyncio.create_task(_watch_terminal(app))]
        beside.append(asyncio.create_task(sharing.keep_up(app, DRAWN_AFTER_S)))
        if daily:
            beside.append(asyncio.create_task(_back_up_today(app)))
        try:
            await app.run_async(mouse=book.setting("mouse") != "off")
        finally:
            for task in beside:
                task.cancel()
            for timer in _ends:
                timer.cancel()

    try:
        asyncio.run(main())
    finally:
        sharing.stop()
    if app.unkept:
        _say_at_leave(f"not kept, for the book could not be written: {shown(app.unkept, 300)}")
    if app.report:
        _say_at_leave(app.report)
        return 1
    return int(app.return_code or 0)


_ends: list[threading.Timer] = []


def _leave(app: Bench, status: int) -> None:
    """Leave as the system asks; where the screen cannot be closed, without closing it."""
    end = threading.Timer(LONGEST_LEAVE_S, os._exit, [status])
    end.daemon = True
    end.start()
    _ends.append(end)
    try:
        app.leave_off()
    finally:
        app.exit(status, return_code=status)


LOOK_S = 0.5
"""Interval at which the bench looks at how it is in step."""


class Sharing:
    """Keeps one open book in step, where a hub is joined."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._watch: Watch | None = None
        self._came: deque[Shared] = deque()
        self._clashes: dict[str, str] = {}
        self._told = ""

    async def keep_up(self, app: Bench, after: float) -> None:
        """Begin once the bench is drawn, and show how it is in step until cancelled."""
        await asyncio.sleep(after)
        try:
            if not self._book.is_shared_by_hub():
                return
        except BenchError as why:
            app.tell(str(why))
            return
        self._watch = await asyncio.to_thread(self._begun)
        while True:
            self._look(app, self._watch)
            await asyncio.sleep(LOOK_S)

    def stop(self) -> None:
        """Let the thread finish; what did not go goes the next time."""
        if self._watch is not None:
            self._watch.stop()

    def _begun(self) -> Watch:
        from workbench.work.sharing.hubs import Watch

        book = self._book
        watch = Watch(lambda: Book(book.path, beside=book), self._came.append)
        watch.start()
        return watch

    def _look(self, app: Bench, watch: Watch) -> None:
        from workbench.work.sharing.words import held_elsewhere, sign_of

        hands, now = app.hands, watch.standing
        view = hands.state.view
        ski = view.ski.id if view is not None else ""
        watch.in_hand(app.shop.who, ski)
        while self._came:
            self._tell(app, self._came.popleft())
        clash = self._clashes.get(ski, "") if view is None or view.stage != "signed off" else ""
        hands.shares(
            sharing=sign_of(now),
            sharing_short=sign_of(now, short=True),
            elsewhere=held_elsewhere(now, ski) if ski else "",
            clash=clash,
        )

    def _tell(self, app: Bench, shared: Shared) -> None:
        """Say what of a round is to be looked at: once, the rest by 'quarterturn sync'."""
        from workbench.work.sharing.words import news_lines, versions_words

        for each in shared.set_twice:
            self._clashes[each.ski_id] = versions_words(each)
        lines = [line.removeprefix("! ") for line in news_lines(shared) if line.startswith("! ")]
        words = lines[0] if lines else ""
        if len(lines) > 1:
            words += f"; and {len(lines) - 1} more: quarterturn sync"
        if words and words != self._told:
            app.tell(words)
        self._told = words
