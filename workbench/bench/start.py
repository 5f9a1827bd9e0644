"""Opens the bench on a book: checks the terminal, catches signals, leaves the terminal whole."""

from __future__ import annotations

import argparse
import asyncio
import os
import signal
import sys
import tempfile
from pathlib import Path

from workbench.errors import InputError
from workbench.places import book_path
from workbench.records.book import Book
from workbench.work.shop import Shop


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
        return _open(book, args.who or "")
    finally:
        book.close()


def _demo(args: argparse.Namespace) -> int:
    from workbench.work.demo import build_demo

    if args.keep:
        path = Path(args.keep)
        book = Book(path) if path.exists() else build_demo(path)
        try:
            return _open(book, args.who or "")
        finally:
            book.close()
    with tempfile.TemporaryDirectory(prefix="quarterturn-demo-") as folder:
        book = build_demo(Path(folder) / "demo.db")
        try:
            return _open(book, args.who or "")
        finally:
            book.close()


def _check_terminal() -> None:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise InputError(
            "terminal", "not a terminal", "a terminal; turns, predict and restate work without one"
        )
    if os.environ.get("TERM", "") in ("", "dumb"):
        raise InputError(
            "TERM",
            os.environ.get("TERM", ""),
            "a terminal that can draw; turns, predict and restate work without one",
        )


def _open(book: Book, who: str) -> int:
    from workbench.bench.app import Bench

    app = Bench(Shop(book, who=who), no_color=bool(os.environ.get("NO_COLOR")))

    async def main() -> None:
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, getattr(signal, "SIGHUP", None)):
            if number is not None and hasattr(loop, "add_signal_handler"):
                loop.add_signal_handler(number, _leave, app, 128 + number)
        await app.run_async()

    asyncio.run(main())
    return int(app.return_code or 0)


def _leave(app: object, status: int) -> None:
    app.hands.leave()  # type: ignore[attr-defined]
    app.exit(status, return_code=status)  # type: ignore[attr-defined]
