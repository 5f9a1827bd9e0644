"""``card`` and ``day-sheet``: what a ski's owner and the shop's wall get, printed or as files."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from workbench.commands.manual import Commands, Parser
from workbench.commands.opened import opened_shop
from workbench.commands.output import complained, say, say_page
from workbench.errors import InputError
from workbench.work.job.shop import Shop
from workbench.work.paper import printing
from workbench.work.paper.cards import card_of
from workbench.work.paper.day_sheet import day_sheet
from workbench.work.paper.printing import Written, paper_of
from workbench.work.text.local_time import day_typed
from workbench.work.text.words import clean

PRINTED = ("text", "html", "svg", "label")
"""Formats that standard output can take."""

TO = (
    "write files into this folder (made where it is not there) and say which; nothing that is "
    "there is overwritten"
)


def add(commands: Commands) -> None:
    """Add the parsers."""
    card = commands.add_parser(
        "card",
        help="the setting card of a ski, for its owner",
        description="One page: the three numbers in inch and mm with how each was measured, the "
        "wing, who and when, what to mind. Without --to text, html and svg are printed; pdf and "
        "all go to the shop's card folder. PDF needs: pip install '.[pdf]'. A label is a page "
        "62 mm wide with a QR code of the setting, which take and a scanner at the bench "
        "understand; it needs: pip install '.[qr]'.",
        run=_card,
        see="day-sheet, sign-off",
        examples=[
            ("card H66-014", "Its latest setting, as text."),
            ("card H66-014 --no-drawing", "The same in words alone."),
            ("card H66-014 --format label --to labels", "A label with a QR code."),
            ('card "Heron 66" --format html --to cards', "A page for a browser."),
            ("card LK64/22 --day 2026-11-25 --format pdf --paper letter", "A PDF to print."),
        ],
    )
    card.place("ski", "SKI", "serial or name of a ski in the book")
    card.option("--day", "DAY", "YYYY-MM-DD; left out: the latest")
    _outputs(card, ("text", "html", "pdf", "svg", "label", "all"))
    card.flag("--no-drawing", "text in words alone, as for a screen reader")
    sheet = commands.add_parser(
        "day-sheet",
        help="all skis of a day on one page",
        description="The day's queue in its order: stage, numbers in inch and mm, wing, initials, "
        "rounds and what is still open. Without --to text and html are printed; pdf and all go to "
        "the shop's card folder. A ski that cannot be worked out has its line all the same, "
        "with the reason, and then the exit status is 1.",
        run=_sheet,
        see="card, queue",
        examples=[
            ("day-sheet", "Today, as text."),
            ("day-sheet --day 2026-11-25 --format all --to sheets", "Every format there is."),
        ],
    )
    sheet.option("--day", "DAY", "YYYY-MM-DD; left out: today")
    _outputs(sheet, ("text", "html", "pdf", "all"))


def _outputs(parser: Parser, formats: tuple[str, ...]) -> None:
    parser.add_argument(
        "--format", choices=formats, help="left out: text, and with --to all there are"
    )
    parser.option("--to", "FOLDER", TO)
    parser.add_argument(
        "--paper", choices=("a4", "letter"), help="for PDF; left out: the shop's own"
    )


def _card(args: argparse.Namespace) -> int:
    day = _day(args.day)
    with opened_shop(args) as shop:
        view = printing.find_view(shop, args.ski, day)
        paper, drawing = _paper(args, shop), not args.no_drawing
        if _prints(args):
            form: Any = args.format or "text"
            card = card_of(shop, view)
            _say_as(printing.card_in(card, form, paper, drawing=drawing), form)
            return 0
        formats, folder = _formats(args), _folder(args)
        return _told(printing.write_card(shop, view, formats, folder, paper, drawing=drawing))


def _sheet(args: argparse.Namespace) -> int:
    with opened_shop(args, day=_day(args.day)) as shop:
        if _prints(args):
            form: Any = args.format or "text"
            sheet = day_sheet(shop)
            _say_as(printing.sheet_in(sheet, form, _paper(args, shop)), form)
            return complained(sheet.unfit)
        done = printing.write_sheet(shop, _formats(args), _folder(args), _paper(args, shop))
        return _told(done) or complained(done.unfit)


def _prints(args: argparse.Namespace) -> bool:
    return args.to is None and (args.format or "text") in PRINTED


def _formats(args: argparse.Namespace) -> Any:
    return None if args.format in (None, "all") else [args.format]


def _folder(args: argparse.Namespace) -> Path | None:
    return Path(args.to) if args.to else None


def _paper(args: argparse.Namespace, shop: Shop) -> Any:
    return args.paper or paper_of(shop)


def _day(text: str | None) -> str | None:
    """Return a day as the book writes it; no other way of writing one is taken."""
    return None if text is None else day_typed("--day", text)


def _told(written: Written) -> int:
    for path in written.paths:
        say([clean(str(path))])
    if written.left_out:
        say([written.left_out], sys.stderr)
    return 0


def _say_as(text: str | bytes, form: str) -> None:
    """Print a card or a sheet in one of the formats that standard output takes."""
    if isinstance(text, bytes):
        raise InputError("format", "pdf", "text, html or svg where it is printed")
    if form in ("html", "svg", "label"):
        say_page(text.rstrip("\n"))
    else:
        say([text.rstrip("\n")])
