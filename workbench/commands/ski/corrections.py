"""Setting a ski aside, notes, and what is taken back or struck out, line by line."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import AtSki, Did, ski_command, words_of
from workbench.commands.manual import Commands
from workbench.errors import InputError
from workbench.work.history.history import load_history
from workbench.work.history.striking import consequences, strike_row
from workbench.work.history.timeline import timeline_of
from workbench.work.job_text.typed_lines import line_meant, repeat_meant
from workbench.work.order.round_records import MARK_WORDS, described

TURN_OPTIONS = (
    ("--turned-back", "turned_back", "the stud was turned back by hand, just as far"),
    ("--not-turned", "not_turned", "the stud was never turned"),
)


def add(commands: Commands) -> None:
    """Add the commands."""
    aside = ski_command(
        commands, "set-aside", "put a ski aside with a reason",
        "It keeps its place and everything read so far.",
        do=_set_aside, see="take-up, note",
        examples=[
            ("set-aside waits for a clamp bolt", "The ski in hand waits."),
            ("set-aside --ski 4 rider fetches another wing", "Another one does."),
        ],
    )  # fmt: skip
    aside.place("reason", "REASON", "a word or two on why", nargs="+")
    ski_command(
        commands, "take-up", "take a ski up again where it was left", "After 'set-aside'.",
        do=lambda at, _: (at.shop.take_up(at.view), "taken up again where it was left"),
        see="set-aside, next",
        examples=[("take-up --ski H67-003", "It goes on.")],
    )  # fmt: skip
    note = ski_command(
        commands, "note", "keep a note to the job", "In your own words; it stays in the history.",
        do=_note, see="history",
        examples=[("note scratch on the base near the tail", "Kept with the job.")],
    )  # fmt: skip
    note.place("words", "WORDS", "the note", nargs="+")
    _add_mending(commands)


def _add_mending(commands: Commands) -> None:
    back = ski_command(
        commands, "take-back", "take the last entry back",
        "It is struck out and stays readable; once more takes back the one before. Where that is "
        "the record of a turn, say what became of the stud: the record alone turns nothing back.",
        do=_take_back, see="strike, history",
        examples=[
            ("take-back", "The last entry of the ski in hand."),
            ("take-back --turned-back", "A turn; the stud was turned back by hand."),
            ("take-back --not-turned", "A turn that was entered by mistake."),
        ],
    )  # fmt: skip
    turn = back.add_mutually_exclusive_group()
    for option, kept, words in TURN_OPTIONS:
        turn.add_argument(option, dest="turn", action="store_const", const=kept, help=words)
    strike = ski_command(
        commands, "strike", "strike out a repeat of a reading, or any row of a ski's history",
        "What is struck out stays readable with the reason, and no longer counts.",
        do=_strike, see="take-back, history",
        examples=[
            ('strike depth --reason "jaw on the hole"', "The last repeat of the depth."),
            ('strike 1 --repeat 2 --reason "misread"', "The second repeat of the first reading."),
            (
                'strike --ski H66-014 --row 0190c5a2 --reason "wrong ski"',
                "Any row of that ski's history.",
            ),
        ],
    )  # fmt: skip
    strike.place("method", "METHOD", "a reading of this round by name or number", nargs="?")
    strike.option("--repeat", "N", "which repeat of it; left out: the last", default="")
    strike.option("--row", "ID", "a row by its id, as 'history --json' has it")
    strike.option("--reason", "WORDS", "why", required=True)


def _set_aside(at: AtSki, args: argparse.Namespace) -> Did:
    return at.shop.set_aside(at.view, words_of(args.reason)), "set aside"


def _note(at: AtSki, args: argparse.Namespace) -> Did:
    return at.shop.note(at.view, "note", words_of(args.words)), "note kept"


def _take_back(at: AtSki, args: argparse.Namespace) -> Did:
    turned = at.shop.turn_to_take_back(at.view)
    if turned is not None and args.turn is None:
        options = " or ".join(f"{option} ({words})" for option, _, words in TURN_OPTIONS)
        raise InputError("take-back", described(turned), f"{options}; else finish the round")
    new, fact = at.shop.take_back(at.view, args.turn)
    said = f"taken back: {described(fact)}" if fact else "nothing to take back"
    return new, f"{said}; {MARK_WORDS[args.turn]}" if args.turn else said


def _strike(at: AtSki, args: argparse.Namespace) -> Did:
    if (args.method is None) == (args.row is None):
        raise InputError("strike", args.method or "(missing)", "a METHOD, or --row ID alone")
    if args.row is not None:
        return _strike_row(at, args.row, args.reason)
    line = line_meant(at.view, args.method)
    repeat = repeat_meant(line, args.repeat)
    said = f"struck out: {line.method.name} {repeat.text} {repeat.unit}"
    return at.shop.strike_reading(at.view, line, args.reason, repeat.id), said


def _strike_row(at: AtSki, row_id: str, reason: str) -> Did:
    entry = timeline_of(load_history(at.shop, at.view.ski.id)).by_id(row_id)
    if entry is None:
        raise InputError("row", row_id, "the id of a row of this ski, as 'history --json' has it")
    follows = consequences(at.shop, entry)
    strike_row(at.shop, entry, reason)
    return at.shop.view(at.view.job.id), f"struck out. {' '.join(follows)}".rstrip(".")
