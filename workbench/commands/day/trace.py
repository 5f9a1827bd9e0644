"""A real blade's outline from a scan, a photo or a drawing."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from workbench.commands.at_ski import fields_of
from workbench.commands.manual import (
    command,
    flag,
    option,
    options,
    place,
    place_of,
    unit_option,
)
from workbench.commands.opened import opened_shop
from workbench.commands.output import progress, say, say_json
from workbench.errors import InputError
from workbench.measure.units import Unit, unit_of
from workbench.records.tables.roster import blade_of
from workbench.work.files.safe_write import path_of, write_file
from workbench.work.paper.printing import outline_document
from workbench.work.text.fields import some
from workbench.work.text.words import clean
from workbench.work.trace.by_calipers import check_words
from workbench.work.trace.look import ASKED, Ask, plain_look
from workbench.work.trace.outline import check_of, copy_blade, kept_blade, outline_lines, reshaped
from workbench.work.trace.tracing import (
    blade_table,
    blade_toml,
    keep_traced,
    same_blades,
    trace_file,
)

if TYPE_CHECKING:
    from workbench.work.trace.tracing import FileTraced

COLUMNS = 76
"""Columns of the drawing in letters."""


_SCALES = some(ASKED, "dpi across square")


@command(
    "trace",
    "a blade's outline from a scan, a photo or a drawing",
    "Prints a work order's [blade] table: outline, holes, top and back edge, and the outline's "
    "standard uncertainty. A picture (PNG, JPEG, TIFF) shows one blade, whole, clearly darker or "
    "lighter than what it lies on, and needs one scale: --dpi of a flatbed scan, --across, or "
    "--square. A drawing (SVG, DXF, or CSV of points) has its own unit. On a terminal --name "
    "shows it with its top and back edge and asks before it keeps it. Wants the extra: pip "
    "install '.[trace]'.",
    see="outline, add-blade, turns",
    examples=[
        ("trace blade.png --dpi 600", "A scan, as a table to put into a work order."),
        ("trace photo.jpg --square 50mm --name 'Alder 2'", "A photo, kept in the book."),
        ("trace blade.dxf --json", "A drawing, for a machine."),
    ],
    takes=[
        place_of(ASKED[0]),
        options(_SCALES),
        unit_option("of bare numbers and of what is printed"),
        flag("--other-end", "the back edge is at the top edge's other end"),
        option(
            "--edges",
            "N",
            "another choice of top and back edge, 2 the next likely; --name shows them",
            default="",
        ),
        options([replace(ASKED[-1], blank="it is printed and not kept")]),
        flag("--yes", "keep it without asking; a pipe is never asked"),
    ],
)
def _trace(args: argparse.Namespace) -> None:
    unit: Unit | None = unit_of(args.unit) if args.unit else None
    dpi, across, square = fields_of(args, _SCALES).values()
    ask = Ask(dpi, across, square, unit, args.edges, args.other_end)
    with progress("Tracing"):
        found = trace_file(args.file, args.name, ask)
    kept_words = []
    if args.name:
        with opened_shop(args) as shop:
            if not args.yes and on_terminal():
                confirmed = _confirmed(found, bool(same_blades(shop, found.blade.name)))
                if confirmed is None:
                    say(["Nothing is kept."], sys.stderr)
                    return
                found = confirmed
            kept, is_version = keep_traced(shop, found.blade, found.how, args.file)
        version = ", a new version" if is_version else ""
        kept_words.append(f"kept: blade {clean(kept.name)}{version}")
    said = [*found.notes, *kept_words]
    if args.json:
        say([f"quarterturn: {clean(note)}" for note in said], sys.stderr)
        say_json({"unit": found.unit, "blade": blade_table(found.blade, found.unit)})
    else:
        say([blade_toml(found.blade, found.unit, said)])


def on_terminal() -> bool:
    """Tell whether a person sits at it, who can be asked."""
    return all(stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr))


def _confirmed(found: FileTraced, is_version: bool) -> FileTraced | None:
    """Show a trace and ask whether it is kept, and by which edges; None: it is not."""
    unit = found.unit
    while True:
        name = clean(found.blade.name)
        lines = [
            *plain_look(found.look(unit), COLUMNS),
            f"{name}: {found.size_words(unit)}",
            *(f"! {clean(note)}" for note in found.notes[1:]),
            f"Are these its top and back edge? They turn the frame. {found.edges_words}.",
            f"y keeps {'a new version of ' if is_version else ''}{name}, e shows other edges, "
            "Enter keeps nothing:",
        ]
        say(lines, sys.stderr)
        answer = sys.stdin.readline().strip().lower()
        if answer == "e":
            found = found.by_next_edges()
        else:
            return found if answer in ("y", "yes") else None


@command(
    "outline",
    "a blade's outline: its points, on paper at 1:1, checked, copied",
    "Points by number, edges, holes, how it was traced, when and by whom. --svg and --pdf write a "
    "page at 1:1 to lay the blade on. --check compares a caliper reading on the loose blade. "
    "--copy keeps a changed outline as a blade of its own.",
    see="trace, parts, correct-blade",
    examples=[
        ("outline Alder", "Its points by number."),
        ("outline Alder --pdf alder.pdf", "On paper: print at 100 %, lay the blade on."),
        ("outline Alder --check length=7.312 --check height=3.48", "Checked by caliper."),
        ("outline Alder --copy 'Alder, filed' --shift '3-12 -0.005'", "A changed copy."),
    ],
    takes=[
        place("blade", "BLADE", "by name or number in 'parts'"),
        option("--svg", "FILE", "a new file: the outline at 1:1"),
        option("--pdf", "FILE", "the same as a PDF page; wants pip install '.[pdf]'"),
        option(
            "--check",
            "WHAT=LENGTH",
            "length, height, or hole (hole 1's nearer side to the outer edge); may be repeated",
            action="append",
            default=[],
        ),
        option("--copy", "NAME", "the new blade's name", default=""),
        option("--move", "'N U V'", "point N to U V, in the copy", action="append", default=[]),
        option(
            "--shift",
            "'N-M LENGTH'",
            "points N to M outward by LENGTH, in the copy",
            action="append",
            default=[],
        ),
        unit_option("left out: the bench's"),
    ],
)
def _outline(args: argparse.Namespace) -> None:
    if (args.move or args.shift) and not args.copy:
        raise InputError("--copy", "(missing)", "a name for the changed blade")
    with opened_shop(args) as shop:
        unit = shop.unit_typed(args.unit)
        row = kept_blade(shop, args.blade)
        blade = blade_of(row)
        if args.copy:
            made = copy_blade(shop, row, args.copy, reshaped(blade, args.move, args.shift, unit))
            say([f"Done: blade copied: {clean(made.name)}. Its reading methods are the same."])
            return
        if args.svg or args.pdf:
            document, pages = outline_document(shop, row), []
            if args.svg:
                pages.append((args.svg, document.made("svg")))
            if args.pdf:
                pages.append((args.pdf, document.made("pdf")))
            for to, data in pages:
                write_file(path_of(to), [data])
                say([f"Done: {clean(to)}: print at 100 %, then measure its lines."])
            return
        if args.check:
            say([check_words(check_of(blade, text, unit), unit) for text in args.check])
            return
        say(outline_lines(shop, row, unit))
