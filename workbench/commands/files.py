"""The book's files for others, its copies, and the book shared by a hub or a folder."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from workbench.commands.manual import JSON, choice, command, flag, option, place
from workbench.commands.opened import opened_shop, path_of
from workbench.commands.output import (
    FAILED,
    NOT_TO_BE_RIDDEN,
    WRONG_INPUT,
    complained,
    facts,
    progress,
    reporting,
    say,
    say_json,
    send,
)
from workbench.errors import InputError
from workbench.records.backup.backups import backups_of
from workbench.records.book import Book
from workbench.records.exchange.rows_out import count_out
from workbench.work.exchange.backup import (
    aside_lines,
    back_up,
    backup_lines,
    restore,
    restored_lines,
)
from workbench.work.exchange.csv_files import CsvWanted, csv_of, write_csv
from workbench.work.exchange.exchange import export_book, export_ski, take_in
from workbench.work.exchange.exchange_words import exported_lines, taken_in_lines
from workbench.work.exchange.intake import intake_lines, take_in_skis
from workbench.work.job.shop import Shop
from workbench.work.text.local_time import day_typed
from workbench.work.text.words import clean

if TYPE_CHECKING:
    from workbench.work.sharing.hubs import Shared

PAGE_BYTES = 4096
CSV_KINDS = ("queue", "skis", "readings", "history")


@contextmanager
def _shop_of_day(args: argparse.Namespace) -> Iterator[Shop]:

    day = None if args.day is None else day_typed("--day", args.day)
    with opened_shop(args, day=day) as shop:
        yield shop


@command(
    "export",
    "write the book, or one ski, to a file for another bench",
    "The file is JSON with every row and its id, the same for equal books. What "
    "belongs to one bench (the ski in hand, the theme, initials ...) stays at home. An "
    "exchange file that is there is replaced, which is said; one of a whole book is not by one "
    "ski. Any other file stays.",
    see="import, backup",
    examples=[
        ("export shop.json", "The whole book."),
        ("export --ski H66-014 heron.json", "One ski with all that belongs to it."),
    ],
    takes=[
        option("--ski", "NAME", "one ski, by its name or serial"),
        place("file", "FILE", "the file to write"),
    ],
)
def _export(args: argparse.Namespace) -> int:

    with opened_shop(args) as shop:
        if args.ski is None:
            with progress("Writing the book out", shop.book.read(count_out)) as told:
                done = export_book(shop, args.file, told)
        else:
            done = export_ski(shop, args.ski, args.file)
    facts(file=str(done.path), rows=done.rows, bytes=done.size, replaced=done.replaced)
    say(exported_lines(done))
    return 0


@command(
    "import",
    "take such a file in: what is new here, all of it or nothing",
    "Rows are told apart by their ids: a file may be taken in twice and in any "
    "order. Nothing in the book is overwritten; what does not fit is listed, marked '!'. Last "
    "come the skis whose state changed, those not to be ridden first, and then the exit status "
    "is 4.",
    see="export",
    examples=[
        ("import --dry-run shop.json", "What would come of it."),
        ("import shop.json", "What is new here, taken in."),
    ],
    takes=[
        flag("--dry-run", "say what would come of it, keep none"),
        place("file", "FILE", "the file to take in; - is standard input"),
    ],
)
def _import(args: argparse.Namespace) -> int:

    with opened_shop(args) as shop, progress("Taking the file in") as told:
        taken = take_in(shop, args.file, dry_run=args.dry_run, told=told)
    brought = taken.brought
    facts(
        file=taken.file,
        dry_run=taken.dry_run,
        new={table.value: count for table, count in brought.new.items()},
        known=brought.known,
        not_to_be_ridden=[change.name for change in taken.changes if change.is_danger],
    )
    say(taken_in_lines(taken))
    return NOT_TO_BE_RIDDEN if taken.is_danger else 0


@command(
    "intake",
    "queue a day's skis from a CSV file: all of them or none",
    "Columns by name: ski, rider, serial, model, size, unit, blade, block, base "
    "radius, base apex, wing, due, note, ski note; 'ski' alone must be there. Commas, "
    "semicolons or tabs part them, and numbers may have a decimal comma. A ski that the book "
    "knows is queued again. A new one without a unit takes the bench's, as do its bare "
    "numbers; blade and block may be left out where the book has one alone.",
    see="add-ski, queue",
    examples=[
        ("intake --dry-run saturday.csv", "Each row's problem, none kept."),
        ("intake saturday.csv --day 2026-11-28", "Saturday's skis, all or none."),
    ],
    takes=[
        option("--day", "YYYY-MM-DD", "the day to queue for, also as 28.11.2026; default: today"),
        flag("--dry-run", "list each row's problem, keep none"),
        place("file", "FILE", "the CSV file; - is standard input"),
    ],
)
def _intake(args: argparse.Namespace) -> int:

    with _shop_of_day(args) as shop:
        intake = take_in_skis(shop, args.file, dry_run=args.dry_run)
    say(intake_lines(intake))
    return WRONG_INPUT if intake.problems else 0


@command(
    "export-csv",
    "the queue, the roster, readings or histories as CSV",
    "No cell starts a formula: text that might gets an apostrophe before it, which "
    "intake takes off again. Lengths in mm stay numbers.",
    see="intake, export",
    examples=[
        ("export-csv queue --to today.csv", "Today's queue as a file."),
        ('export-csv readings --ski "Heron 66"', "One ski's readings, printed."),
        (
            "export-csv skis --decimal-comma --to skis.csv",
            "For a spreadsheet that reads 1,5 as a number.",
        ),
        ("export-csv history --ski H66-014 --to heron.csv", "All that was done to it."),
    ],
    takes=[
        choice("what", CSV_KINDS, "what to write"),
        option("--ski", "NAME", "readings or history of one ski", default=""),
        option("--day", "YYYY-MM-DD", "the queue of this day; default: today"),
        option("--to", "FILE", "the file to write; default: standard output"),
        flag(
            "--decimal-comma",
            "numbers with a decimal comma, cells parted by semicolons; intake reads both",
        ),
    ],
)
def _export_csv(args: argparse.Namespace) -> int:

    unfit: list[str] = []
    wanted = CsvWanted(args.what, args.ski, comma=args.decimal_comma)
    with _shop_of_day(args) as shop:
        if args.to is not None:
            with progress("Writing the table") as told:
                size = write_csv(shop, wanted, args.to, unfit, told)
            say([f"Written: {clean(args.to)} ({size} bytes)"])
        elif sys.stdout.isatty():  # where the table itself shows how far it is
            send(csv_of(shop, wanted, unfit))
        else:
            with progress("Writing the table", kept="what was written stays") as told:
                send(csv_of(shop, wanted, unfit, told))
    return complained(unfit)


# -- copies of the book ----------------------------------------------------------------------------


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


# -- shared with other benches ---------------------------------------------------------------------


@command(
    "hub",
    "make, join, leave or look at the hub that benches share their books by",
    "A hub is a database on PostgreSQL (14 or later), one table of the benches' "
    "rows, to which they append. 'init', as its owner, makes it, or brings it up to this "
    "program's version once every bench is; 'join' shares this book by it, 'leave' no longer. "
    "The URL carries no password: that comes from PGPASSWORD, ~/.pgpass or a service file, and "
    "is kept nowhere here. TLS is as the URL says (sslmode=verify-full&sslrootcert=...). The "
    "network is never needed at the bench: what is entered goes when the hub answers again.",
    see="sync, export, import",
    examples=[
        ("hub init postgresql://owner@hub.example/shop", "The hub, made or brought up."),
        (
            "hub join 'postgresql://bench_one@hub.example/shop?sslmode=verify-full' "
            "--name 'window bench'",
            "This book shared by it.",
        ),
        ("hub status", "How far it is in step, and who else is there."),
    ],
    takes=[
        choice("act", ("init", "join", "leave", "status"), "what to do"),
        place("url", "URL", "of the hub, for init and join", nargs="?"),
        option("--name", "NAME", "what others call this bench", default=""),
        flag("--json", "print JSON for machines (status)"),
    ],
)
def _hub(args: argparse.Namespace) -> int:
    from workbench.work.sharing import hubs, words

    if (args.url is None) != (args.act in ("leave", "status")):
        accepted = (
            f"a URL after 'hub {args.act}'" if args.url is None else f"'hub {args.act}' alone"
        )
        raise InputError("URL", "(none)" if args.url is None else "(one)", accepted)
    if args.act == "init":
        say(words.begun_lines(args.url, *hubs.begin_hub(args.url)))
        return 0
    with opened_shop(args) as shop:
        if args.act == "join":
            say(words.joined_lines(args.url, hubs.join_hub(shop.book, args.url, args.name)))
        elif args.act == "leave":
            say([f"Left: {hubs.leave_hub(shop.book).place}; the book stays as it is"])
        else:
            status = hubs.status_of(shop.book)
            names = {ski.id: ski.name for ski in shop.book.skis()}
            if args.json:
                say_json(words.status_json(status, names))
            else:
                say(words.status_lines(status, names))
            return FAILED if status.trouble else 0
    return 0


@command(
    "sync",
    "bring this book and the others in step, by the hub or a shared folder",
    "What is new here goes, what is new there comes, by the same checks as an "
    "import. A folder, on a stick or a drive that is synced, takes one file for each bench. It "
    "may be broken off and done again at any time: a row arrives once. What does not fit is "
    "listed, marked '!'. The exit status is 1 where not everything went and came, 4 where a "
    "ski is not to be ridden that this bench thought otherwise of.",
    see="hub, export, import",
    examples=[
        ("sync", "Once, by the hub that is joined."),
        ("sync --watch", "For a book that no bench has open."),
        ("sync --folder /media/stick/shop", "By a stick."),
    ],
    takes=[
        option("--folder", "PATH", "a shared folder in place of the hub"),
        flag("--watch", "go on until broken off (Ctrl+C)"),
        JSON,
    ],
)
def _sync(args: argparse.Namespace) -> int:
    from workbench.work.sharing import hubs

    if args.watch and args.folder is not None:
        raise InputError("--watch", "--folder", "one of the two: a folder does not say what is new")
    with opened_shop(args) as shop:
        if args.watch:
            return _watch(args, shop.book)
        if args.folder is None:
            shared = hubs.sync_hub(shop.book)
        else:
            shared = hubs.sync_folder(shop.book, args.folder)
    return _said(args, shared)


def _said(args: argparse.Namespace, shared: Shared) -> int:
    """Say what a round did; return the exit status for it."""
    from workbench.work.sharing import words

    if args.json:
        say_json(words.shared_json(shared))
    else:
        say(words.shared_lines(shared))
    if words.is_danger(shared):
        return NOT_TO_BE_RIDDEN
    return 0 if shared.round.is_whole else FAILED


def _watch(args: argparse.Namespace, book: Book) -> int:
    from workbench.work.sharing import hubs, words
    from workbench.work.sharing.hubs import Watch

    def told(shared: Shared) -> None:
        if not args.json:
            _said(args, shared)
            return
        with reporting(args.command) as report:
            status = _said(args, shared)
        say_json(report.value(status))

    hubs.hub_of(book)
    watch = Watch(lambda: Book(book.path, beside=book), told)
    watch.start()
    how = ""
    try:
        while True:
            now = watch.standing
            if now.how != how:
                how = now.how
                why = f": {now.why}" if now.why else ""
                say([f"{words.sign_of(now)}{why}"], sys.stderr)
            watch.wait(0.5)
    except KeyboardInterrupt:
        return 0
    finally:
        watch.stop()
