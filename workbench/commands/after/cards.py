"""``card`` and ``day-sheet``: what a ski's owner and the shop's wall get, printed or as files."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from workbench.commands.manual import Takes, choice, command, flag, option
from workbench.commands.opened import KNOWN, opened_shop
from workbench.commands.output import complained, say, say_page
from workbench.work.job.shop import Shop
from workbench.work.paper import printing
from workbench.work.text.local_time import day_typed
from workbench.work.text.words import clean

PRINTED = ("text", "html", "svg", "label")
"""Formats that standard output can take."""

TO = (
    "write files into this folder (made where it is not there) and say which; nothing that is "
    "there is overwritten"
)


def _outputs(formats: tuple[str, ...]) -> tuple[Takes, ...]:
    return (
        choice("--format", formats, "left out: text, and with --to all there are"),
        option("--to", "FOLDER", TO),
        choice("--paper", ("a4", "letter"), "for PDF; left out: the shop's own"),
    )


@command(
    "card",
    "the setting card of a ski, for its owner",
    "One page: the three numbers in inch and mm with how each was measured, the wing, who and "
    "when, what to mind. Without --to text, html and svg are printed; pdf and all go to the "
    "shop's card folder. PDF needs: pip install '.[pdf]'. A label is a page 62 mm wide with a QR "
    "code of the setting, which take and a scanner at the bench understand; it needs: pip install "
    "'.[qr]'.",
    see="day-sheet, sign-off",
    examples=[
        ("card H66-014", "Its latest setting, as text."),
        ("card H66-014 --no-drawing", "The same in words alone."),
        ("card H66-014 --format label --to labels", "A label with a QR code."),
        ('card "Heron 66" --format html --to cards', "A page for a browser."),
        ("card LK64/22 --day 2026-11-25 --format pdf --paper letter", "A PDF to print."),
    ],
    takes=[
        KNOWN,
        option("--day", "DAY", "YYYY-MM-DD; left out: the latest"),
        *_outputs(("text", "html", "pdf", "svg", "label", "all")),
        flag("--no-drawing", "text in words alone, as for a screen reader"),
    ],
)
def _card(args: argparse.Namespace) -> int:
    day = _day(args.day)
    with opened_shop(args) as shop:
        view = printing.find_view(shop, args.ski, day)
        card = printing.card_document(shop, view, args.paper, drawing=not args.no_drawing)
        return _print_or_write(args, shop, card)


@command(
    "day-sheet",
    "all skis of a day on one page",
    "The day's queue in its order: stage, numbers in inch and mm, wing, initials, rounds and what "
    "is still open. Without --to text and html are printed; pdf and all go to the shop's card "
    "folder. A ski that cannot be worked out has its line all the same, with the reason, and then "
    "the exit status is 1.",
    see="card, queue",
    examples=[
        ("day-sheet", "Today, as text."),
        ("day-sheet --day 2026-11-25 --format all --to sheets", "Every format there is."),
    ],
    takes=[
        option("--day", "DAY", "YYYY-MM-DD; left out: today"),
        *_outputs(("text", "html", "pdf", "all")),
    ],
)
def _sheet(args: argparse.Namespace) -> int:
    with opened_shop(args, day=_day(args.day)) as shop:
        sheet = printing.sheet_document(shop, args.paper)
        return _print_or_write(args, shop, sheet) or complained(sheet.unfit)


def _day(text: str | None) -> str | None:
    """Return a day as the book writes it; no other way of writing one is taken."""
    return None if text is None else day_typed("--day", text)


def _print_or_write(args: argparse.Namespace, shop: Shop, document: printing.Document) -> int:
    form: printing.Format = args.format or "text"
    if args.to is None and form in PRINTED:
        text = document.made(form).decode("utf-8").rstrip("\n")
        if form == "text":
            say([text])
        else:
            say_page(text)
        return 0
    formats = None if args.format in (None, "all") else [form]
    written = document.write(shop, formats, Path(args.to) if args.to else None)
    for path in written.paths:
        say([clean(str(path))])
    if written.left_out:
        say([written.left_out], sys.stderr)
    return 0
