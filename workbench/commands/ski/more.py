"""More of a ski line by line: coarse marks, temperature, how to hold, and a baseline kept."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.at_ski import AtSki, Did, act, at_ski, fields_of, ski_command
from workbench.commands.output import say, say_json
from workbench.errors import InputError
from workbench.work.job.coarse_marks import add_mark, off_words, take_mark
from workbench.work.job.temperature import effect_words, in_force_words, state_temperature
from workbench.work.job_text.job_text import all_mark_lines, how_taken_lines, how_taken_report
from workbench.work.job_text.typed_lines import line_meant, mark_meant
from workbench.work.roster.baselines import keep_now

MARK_FIELDS = (
    ("kind", "KIND", "scale (how far forward) or lines (how far out)"),
    ("at", "PLACE", "the scribe: from the tail end, and how far out if not on the base: '2.0 0'"),
    ("zero", "LENGTH", "where the scale's zero lies on the blade, forward or outward"),
    ("grows", "WAY", "scale: tail or tip; lines: top or outer; left out: the first"),
    ("u", "LENGTH", "standard uncertainty of one reading; left out: 0.5 mm, by eye"),
)
HEAT = (
    ("caliper", "DEGREES", "of the caliper; left out: as the blade"),
    ("scale", "SCALE", "C or F, of bare numbers; left out: C"),
    ("blade-material", "NAME", "left out: aluminium"),
    ("caliper-material", "NAME", "left out: steel"),
)


def add(commands: Any) -> None:
    """Add the commands."""
    _add_hold(commands)
    _add_marks(commands)
    _add_temperature(commands)
    keep = ski_command(
        commands, "new-baseline", "keep the numbers of now as a baseline",
        "Of this ski, of its rider on this model, or of its model and size.",
        do=_keep, see="baselines, aim",
        examples=[
            ("new-baseline spring", "The ski's own."),
            ('new-baseline "cold water" --of rider', "Its rider's on this model."),
        ],
    )  # fmt: skip
    keep.place("name", "NAME", "such as spring or cold water")
    keep.add_argument(
        "--of", choices=("ski", "rider", "model"), default="ski", help="left out: ski"
    )


def _keep(at: AtSki, args: argparse.Namespace) -> Did:
    kept = keep_now(at.shop, at.view, args.name, args.of)
    return at.shop.view(at.view.job.id), f"baseline kept: {kept.name}"


# -- how to hold -----------------------------------------------------------------------------------


def _add_hold(commands: Any) -> None:
    hold = ski_command(
        commands, "hold", "how each reading is taken: where, and how to hold the caliper",
        "One act a line; and how sure each reading is, once it is taken: its budget, part by part.",
        run=_hold, see="read, next",
        examples=[
            ("hold", "Every reading of the ski in hand."),
            ("hold depth --unit mm", "The depth alone, in mm."),
            ("hold depth --json", "The depth's budget for a script."),
        ],
    )  # fmt: skip
    hold.place("method", "METHOD", "one reading alone", nargs="?")
    hold.unit("unit to show; left out: the bench's own")
    hold.flag("--json", "print JSON for machines")


def _hold(args: argparse.Namespace) -> None:
    with at_ski(args) as at:
        one = line_meant(at.view, args.method) if args.method else None
        if args.json:
            say_json(how_taken_report(at.view, at.unit, one))
        else:
            say(how_taken_lines(at.view, at.unit, one))


# -- coarse marks ----------------------------------------------------------------------------------


def _add_marks(commands: Any) -> None:
    marks = ski_command(
        commands, "marks", "the blade's coarse marks: listed, or one read",
        "A mark is a scribed point on the ski, read on a scale or lines on the blade. It bears the "
        "readings out; a second number takes the place of the first.",
        run=_marks, see="add-mark, next",
        examples=[
            ("marks --ski OT-65-771", "What each should read, and what was read."),
            ("marks 1 0.52", "The first mark reads 0.52."),
        ],
    )  # fmt: skip
    marks.place("mark", "MARK", "by name or number", nargs="?")
    marks.place("value", "VALUE", "what is read at the scribe", nargs="?")
    marks.unit("unit to show, and of a bare number; left out: the bench's own")
    new = ski_command(
        commands, "add-mark", "add a coarse mark to the blade of a ski", "Its scale and scribe.",
        do=_new_mark, see="marks",
        examples=[
            (
                "add-mark 'scale, left side' --kind scale --at '2.0 0' --zero 1.5",
                "A scale read at a scribe on the base, two inches from the tail end.",
            )
        ],
    )  # fmt: skip
    new.place("name", "NAME", "a name that no method of this blade has")
    new.fields(MARK_FIELDS)
    new.unit("unit of bare numbers; left out: the bench's own")


def _marks(args: argparse.Namespace) -> int:
    if args.value is not None:
        return act(args, _read_mark)
    if args.mark is not None:
        raise InputError("VALUE", "(missing)", "what is read at the scribe, such as 0.52")
    with at_ski(args) as at:
        lines = all_mark_lines(at.view, at.unit)
    say(lines)
    return 0


def _read_mark(at: AtSki, args: argparse.Namespace) -> Did:
    mark = mark_meant(at.view, args.mark)
    new = take_mark(at.shop, at.view, mark, args.value, at.unit)
    now = next(m for m in new.marks if m.method_id == mark.method_id)
    return new, f"kept: {mark.method.name} {args.value}, {off_words(now, at.unit)}"


def _new_mark(at: AtSki, args: argparse.Namespace) -> Did:
    fields = fields_of(args, MARK_FIELDS)
    add_mark(at.shop, at.view, {**fields, "name": args.name, "unit": at.unit})
    return at.shop.view(at.view.job.id), f"mark added: {args.name}"


# -- temperature -----------------------------------------------------------------------------------


def _add_temperature(commands: Any) -> None:
    heat = ski_command(
        commands, "temperature", "say what blade and caliper are at, or end it",
        "Readings taken from then on are converted to 20 degrees Celsius. Without BLADE what is in "
        "force is said.",
        run=_temperature, see="read",
        examples=[
            ("temperature", "What is in force."),
            ("temperature 31C --caliper 24C", "The blade lay in the sun."),
            ("temperature off", "Readings are taken as they are."),
        ],
    )  # fmt: skip
    heat.place("blade", "BLADE", "its degrees, such as 31C; or off", nargs="?")
    heat.fields(HEAT)
    heat.unit("unit to show; left out: the bench's own")


def _temperature(args: argparse.Namespace) -> int:
    if args.blade is not None:
        return act(args, _state)
    with at_ski(args) as at:
        lines = [in_force_words(at.view), *effect_words(at.view, at.unit)]
    say(lines)
    return 0


def _state(at: AtSki, args: argparse.Namespace) -> Did:
    blade = "" if args.blade.strip().casefold() == "off" else args.blade
    fields = fields_of(args, HEAT)
    new = state_temperature(
        at.shop, at.view, {**fields, "blade": blade, "scale": args.scale or "C"}
    )
    return new, "temperature kept" if blade else "readings are taken as they are"
