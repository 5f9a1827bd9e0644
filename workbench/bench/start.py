"""Opens the bench on a book: checks the terminal, catches signals, leaves the terminal whole."""

from __future__ import annotations

import argparse
import asyncio
import gc
import os
import signal
import sys
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from workbench.errors import BenchError, InputError
from workbench.places import book_path
from workbench.records.book import Book
from workbench.work.shop import Shop

if TYPE_CHECKING:
    from workbench.bench.app import Bench

WITHOUT = "every job goes line by line without one: quarterturn next, quarterturn --help"

BACKUP_AFTER_S = 2.0
"""So long after the start the day's backup is made: the first paint comes first."""

DRAWN_AFTER_S = 1.0
"""So long after the start the first paint is over, and what was loaded stays for good."""


def run(args: argparse.Namespace) -> int:
    """Open the bench as the command line asks; return the exit status."""
    _check_terminal()
    if args.command == "demo":
        return _demo(args)
    path = Path(args.book) if args.book else book_path()
    book = Book(path, make_folder=not args.book)
    try:
        from workbench.work.adding import ensure_starter

        ensure_starter(book, args.who or "")
        return _open_and_back_up(book, args.who or "")
    finally:
        book.close()


def _demo(args: argparse.Namespace) -> int:
    from workbench.work.demo import build_demo

    if args.keep:
        path = Path(args.keep)
        book = Book(path) if path.exists() else build_demo(path)
        _begin_tour(book, args)
        try:
            return _open(book, args.who or "")
        finally:
            book.close()
    with tempfile.TemporaryDirectory(prefix="quarterturn-demo-") as folder:
        book = build_demo(Path(folder) / "demo.db")
        _begin_tour(book, args)
        try:
            return _open(book, args.who or "")
        finally:
            book.close()


def _begin_tour(book: Book, args: argparse.Namespace) -> None:
    if args.tour:
        book.set_setting("tour", "on", who=args.who or "")


def _check_terminal() -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise InputError("terminal", "not a terminal", f"a terminal; {WITHOUT}")
    if os.environ.get("TERM", "") in ("", "dumb"):
        raise InputError(
            "TERM",
            os.environ.get("TERM", ""),
            f"a terminal that can draw; {WITHOUT}",
        )


def _open_and_back_up(book: Book, who: str) -> int:
    """Open the shop's own book; today's backup is brought up to date when the bench is left."""
    status = _open(book, who, daily=True)
    try:
        from workbench.work.backup import back_up_at_leave

        back_up_at_leave(book)
    except BenchError as why:
        _say_no_backup(why)
    return status


def _say_no_backup(why: BenchError) -> None:
    from workbench.work.backup import failed_words

    with suppress(OSError, ValueError):  # the terminal may have gone
        print(f"quarterturn: {failed_words(why)}", file=sys.stderr)


async def _back_up_today(app: Bench) -> None:
    """Make the day's backup once the bench stands; it goes on in a thread beside the desk."""
    from workbench.work.backup import back_up_today, failed_words

    await asyncio.sleep(BACKUP_AFTER_S)
    try:
        await asyncio.to_thread(back_up_today, app.shop.book)
    except BenchError as why:
        app.hands.say(failed_words(why), "warn")


async def _settle() -> None:
    """Begin to collect garbage once the bench stands, what was loaded until then left out."""
    await asyncio.sleep(DRAWN_AFTER_S)
    gc.freeze()
    gc.enable()


def _open(book: Book, who: str, *, daily: bool = False) -> int:
    from workbench.bench.app import Bench

    app = Bench(Shop(book, who=who), no_color=bool(os.environ.get("NO_COLOR")))

    async def main() -> None:
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, getattr(signal, "SIGHUP", None)):
            if number is not None and hasattr(loop, "add_signal_handler"):
                loop.add_signal_handler(number, _leave, app, 128 + number)
        beside = [asyncio.create_task(_settle())]
        if daily:
            beside.append(asyncio.create_task(_back_up_today(app)))
        try:
            await app.run_async()
        finally:
            for task in beside:
                task.cancel()

    asyncio.run(main())
    if app.report:
        print(f"quarterturn: {app.report}", file=sys.stderr)
    return int(app.return_code or 0)


def _leave(app: object, status: int) -> None:
    app.hands.leave()  # type: ignore[attr-defined]
    app.exit(status, return_code=status)  # type: ignore[attr-defined]
