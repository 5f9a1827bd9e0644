"""``backup`` and ``restore``: a copy of the book made now, and one put back in its place."""

from __future__ import annotations

import argparse

from workbench.commands.manual import command, flag, place
from workbench.commands.opened import opened_shop, path_of
from workbench.commands.output import facts, progress, say
from workbench.errors import InputError
from workbench.records.backup.backups import backups_of
from workbench.work.exchange.backup import (
    aside_lines,
    back_up,
    backup_lines,
    restore,
    restored_lines,
)
from workbench.work.text.words import clean

PAGE_BYTES = 4096


@command(
    "backup",
    "copy the book now, also while a bench has it open",
    "Without PATH today's copy in the folder 'backups' beside the book is made "
    "anew. The bench makes one a day by itself and keeps the newest (setting backups_kept). "
    "One that holds what the book does not is never replaced but kept under a number, which is "
    "said. At PATH only an older copy of this book is replaced; any other file stays.",
    see="restore",
    examples=[
        ("backup", "Today's copy."),
        ("backup quarterturn-copy.db", "A copy at another place."),
    ],
    takes=[
        place("path", "PATH", "a file or a folder", nargs="?", default=""),
    ],
)
def _backup(args: argparse.Namespace) -> int:

    with opened_shop(args) as shop:
        pages = shop.book.path.stat().st_size // PAGE_BYTES
        with progress("Copying the book", pages) as told:
            made = back_up(shop.book, args.path, told=told)
    facts(file=str(made.path), bytes=made.path.stat().st_size)
    size = f"{made.path.stat().st_size / 1e6:.1f} MB"
    say([f"Backup: {clean(str(made.path))} ({size})", *aside_lines(made)])
    return 0


@command(
    "restore",
    "put a backup in the book's place; the present book is kept aside",
    "The backup is checked first. The book that is there is kept beside it under a "
    "dated name. Close the bench before.",
    see="backup",
    examples=[
        ("restore --list", "The daily backups, newest first."),
        ("restore 2026-11-24", "That day's in the book's place."),
    ],
    takes=[
        place(
            "file",
            "FILE",
            "a backup, or the day of one as --list shows it, with its number where it has one",
            nargs="?",
        ),
        flag("--list", "list the daily backups, newest first"),
    ],
)
def _restore(args: argparse.Namespace) -> int:

    book = path_of(args)
    if args.list:
        found = backups_of(book)
        facts(backups=[{"day": b.label, "file": str(b.path), "bytes": b.size} for b in found])
        say(backup_lines(found, book))
        return 0
    if args.file is None:
        raise InputError("FILE", "(missing)", "a backup to restore; --list shows the daily ones")
    with progress("Putting the backup back", kept="the book is as it was"):
        done = restore(book, args.file)
    say(restored_lines(done, args.file))
    return 0
