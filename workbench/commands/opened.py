"""The book that a command works on, opened as the command line asks."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from workbench.commands.manual import place
from workbench.errors import RecordsError, shown
from workbench.places import book_path, is_there
from workbench.records.book import Book
from workbench.work.job.shop import Shop

KNOWN = place("ski", "SKI", "serial or name of a ski in the book")


def path_of(args: argparse.Namespace) -> Path:
    """Return where the book lies that the command line names, else the shop's own."""
    return Path(args.book) if args.book else book_path()


@contextmanager
def opened_shop(args: argparse.Namespace, *, day: str | None = None) -> Iterator[Shop]:
    """Open the book for a command; it is closed afterwards.

    Raises:
        RecordsError: there is no book there; a command never begins one by a mistyped path.
    """

    path = path_of(args)
    if not is_there(path):
        raise RecordsError(
            f"{shown(str(path), 300)}: there is no book; quarterturn begin begins one"
        )
    with Book(path) as book:
        yield Shop(book, day=day, who=args.who or "")
