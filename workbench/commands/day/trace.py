"""A real blade's outline from a scan, a photo or a drawing."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from workbench.commands.manual import page
from workbench.commands.opened import opened_shop
from workbench.commands.output import say, say_json
from workbench.measure.units import Unit, unit_of
from workbench.work.text.words import clean


def add(commands: Any) -> None:
    """Add the command."""
    trace = commands.add_parser(
        "trace",
        help="a blade's outline from a scan, a photo or a drawing",
        description="Prints a work order's [blade] table: outline, holes, top and back edge, and "
        "the outline's standard uncertainty. A picture (PNG, JPEG, TIFF) shows one blade, whole, "
        "clearly darker or lighter than what it lies on, and needs one scale: --dpi of a flatbed "
        "scan, --across, or --square. A drawing (SVG, DXF, or CSV of points) has its own unit. "
        "Wants the extra: pip install 'quarterturn[trace]'.",
    )
    trace.add_argument("file", metavar="FILE", help="PNG, JPEG, TIFF, SVG, DXF or CSV")
    trace.add_argument("--dpi", metavar="N", default="", help="dots per inch of a flatbed scan")
    trace.add_argument(
        "--across",
        metavar="LENGTH",
        default="",
        help="the blade's overall length along its top edge, by caliper",
    )
    trace.add_argument(
        "--square",
        metavar="LENGTH",
        default="",
        help="side of a square beside the blade or under it: undoes a tilted view",
    )
    trace.add_argument(
        "--unit", choices=("in", "mm"), help="of bare numbers and of what is printed"
    )
    trace.add_argument(
        "--other-end", action="store_true", help="the back edge is at the top edge's other end"
    )
    trace.add_argument(
        "--name",
        metavar="NAME",
        default="",
        help="keep it in the book; a known name: a new version",
    )
    trace.add_argument("--json", action="store_true", help="print JSON for machines")
    trace.set_defaults(run=_trace)
    page(
        trace,
        [
            ("trace blade.png --dpi 600", "A scan, as a table to put into a work order."),
            ("trace photo.jpg --square 50mm --name 'Alder 2'", "A photo, kept in the book."),
            ("trace blade.dxf --json", "A drawing, for a machine."),
        ],
        ("add-blade", "correct-blade", "turns"),
    )


def _trace(args: argparse.Namespace) -> int:
    from workbench.work.trace.tracing import blade_table, blade_toml, keep_traced, trace_file

    unit: Unit | None = unit_of(args.unit) if args.unit else None
    found = trace_file(
        args.file, args.name, dpi=args.dpi, across=args.across, square=args.square, unit=unit,
        other_end=args.other_end,
    )  # fmt: skip
    said = list(found.notes)
    if args.name:
        with opened_shop(args) as shop:
            kept, is_version = keep_traced(shop, found.blade, found.how, args.file)
        said.append(f"kept: blade {clean(kept.name)}{', a new version' if is_version else ''}")
    if args.json:
        say([f"quarterturn: {clean(note)}" for note in said], sys.stderr)
        say_json({"unit": found.unit, "blade": blade_table(found.blade, found.unit)})
    else:
        say([blade_toml(found.blade, found.unit, said)])
    return 0
