"""Setting a ski aside, notes, and what is taken back or struck out, line by line."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import AtSki, Did, ski_act, words_of
from workbench.commands.manual import flag, one_of, option, options, place
from workbench.errors import InputError
from workbench.work.history.history import load_history
from workbench.work.history.striking import consequences, strike_row
from workbench.work.history.timeline import timeline_of
from workbench.work.job_text.typed_lines import line_meant, repeat_meant
from workbench.work.order.round_records import MARK_WORDS, described
from workbench.work.text.fields import NOTE, REASON

TURN_OPTIONS = (
    ("--turned-back", "turned_back", "the stud was turned back by hand, just as far"),
    ("--not-turned", "not_turned", "the stud was never turned"),
)


@ski_act(
    "take-up",
    "take a ski up again where it was left",
    "After 'set-aside'.",
    see="set-aside, next",
    examples=[("take-up --ski H67-003", "It goes on.")],
)
def _take_up(at: AtSki, args: argparse.Namespace) -> Did:
    return at.shop.take_up(at.view), "taken up again where it was left"


@ski_act(
    "set-aside",
    "put a ski aside with a reason",
    "It keeps its place and everything read so far.",
    see="take-up, note",
    examples=[
        ("set-aside waits for a clamp bolt", "The ski in hand waits."),
        ("set-aside --ski 4 rider fetches another wing", "Another one does."),
    ],
    takes=[place("reason", "REASON", REASON.words, nargs="+")],
)
def _set_aside(at: AtSki, args: argparse.Namespace) -> Did:
    return at.shop.set_aside(at.view, words_of(args.reason)), "set aside"


@ski_act(
    "note",
    "keep a note to the job",
    "In your own words; it stays in the history.",
    see="history",
    examples=[("note scratch on the base near the tail", "Kept with the job.")],
    takes=[place("words", "WORDS", f"the note, {NOTE}", nargs="+")],
)
def _note(at: AtSki, args: argparse.Namespace) -> Did:
    return at.shop.note(at.view, "note", words_of(args.words)), "note kept"


@ski_act(
    "take-back",
    "take the last entry back",
    "It is struck out and stays readable; once more takes back the one before. Where that is the "
    "record of a turn, say what became of the stud: the record alone turns nothing back.",
    see="strike, history",
    examples=[
        ("take-back", "The last entry of the ski in hand."),
        ("take-back --turned-back", "A turn; the stud was turned back by hand."),
        ("take-back --not-turned", "A turn that was entered by mistake."),
    ],
    takes=[
        one_of(
            *(
                flag(name, words, dest="turn", action="store_const", const=kept)
                for name, kept, words in TURN_OPTIONS
            )
        )
    ],
)
def _take_back(at: AtSki, args: argparse.Namespace) -> Did:
    turned = at.shop.turn_to_take_back(at.view)
    if turned is not None and args.turn is None:
        ways = " or ".join(f"{name} ({words})" for name, _, words in TURN_OPTIONS)
        raise InputError("take-back", described(turned), f"{ways}; else finish the round")
    new, fact = at.shop.take_back(at.view, args.turn)
    said = f"taken back: {described(fact)}" if fact else "nothing to take back"
    return new, f"{said}; {MARK_WORDS[args.turn]}" if args.turn else said


@ski_act(
    "strike",
    "strike out a repeat of a reading, or any row of a ski's history",
    "What is struck out stays readable with the reason, and no longer counts.",
    see="take-back, history",
    examples=[
        ('strike depth --reason "jaw on the hole"', "The last repeat of the depth."),
        ('strike 1 --repeat 2 --reason "misread"', "The second repeat of the first reading."),
        (
            'strike --ski H66-014 --row 0190c5a2 --reason "wrong ski"',
            "Any row of that ski's history.",
        ),
    ],
    takes=[
        place("method", "METHOD", "a reading of this round by name or number", nargs="?"),
        option("--repeat", "N", "which repeat of it; left out: the last", default=""),
        option("--row", "ID", "a row by its id, as 'history --json' has it"),
        options([REASON], required=True),
    ],
)
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
