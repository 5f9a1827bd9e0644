"""``correct-ski``: what is written down of a ski, put right; the old sheet stays in its history."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.opened import opened_shop
from workbench.commands.output import say
from workbench.work.roster.adding import known_ski
from workbench.work.roster.ski_sheet import changed_words, correct_ski, methods_text, sheet_of
from workbench.work.text.words import clean

_FIELDS = (
    ("name", "NAME", "what the ski is called"),
    ("rider", "NAME", "who rides it"),
    ("serial", "TEXT", "its serial number"),
    ("model", "TEXT", "its model"),
    ("size", "TEXT", "its size"),
    ("note", "WORDS", "the note that stays with the ski"),
    ("wing", "YES/NO", "whether its blade has a wing to set"),
    ("methods", "METHODS", "what it is read by, three or more of its blade, parted by ';'"),
)


def add(commands: Any) -> None:
    """Add ``correct-ski``."""
    parser = commands.add_parser(
        "correct-ski",
        help="put right what is written down of a ski",
        description="What is left out stays as it is; an empty text ('') empties it. Every earlier "
        "version stays in the ski's history, and its readings are not touched.",
        run=_correct,
        see="history, wear, add-ski, curve",
        examples=[
            ('correct-ski H66-014 --rider "Ines Tavary-Holm"', "Its rider's name."),
            ('correct-ski "Heron 66" --serial H66-041 --size 66', "A serial that was misread."),
            ("correct-ski H66-014 --methods '1; 3; 4; 2'", "Read by four methods, in this order."),
            ("correct-ski LK64/22 --wing no --note ''", "Its wing came off; the note goes."),
        ],
    )
    parser.place("ski", "SKI", "serial or name of a ski in the book")
    for name, metavar, words in _FIELDS:
        parser.option(f"--{name}", metavar, words)


def _correct(args: argparse.Namespace) -> None:
    given = {name: getattr(args, name) for name, *_ in _FIELDS}
    with opened_shop(args) as shop:
        old = known_ski(shop, args.ski)
        new = correct_ski(shop, old.id, {k: v for k, v in given.items() if v is not None})
        sheet = sheet_of(new).items()
        said = [f"{key.capitalize()}: {clean(text) or '(none)'}" for key, text in sheet]
        said.append(f"Read by: {clean(methods_text(shop, new))}")
    say([f"Done: sheet corrected: {changed_words(old, new)}.", *said])
