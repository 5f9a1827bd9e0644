"""``export``, ``import``, ``intake`` and ``export-csv``: the book's files for others."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from workbench.commands.manual import choice, command, flag, option, place
from workbench.commands.opened import opened_shop
from workbench.commands.output import (
    NOT_TO_BE_RIDDEN,
    WRONG_INPUT,
    complained,
    facts,
    progress,
    say,
    send,
)
from workbench.records.exchange.rows_out import count_out
from workbench.work.exchange.csv_out import CsvWanted, csv_of, write_csv
from workbench.work.exchange.exchange import export_book, export_ski, take_in
from workbench.work.exchange.exchange_words import exported_lines, taken_in_lines
from workbench.work.exchange.intake import intake_lines, take_in_skis
from workbench.work.job.shop import Shop
from workbench.work.text.local_time import day_typed
from workbench.work.text.words import clean

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
