"""``curve``: the curve of a ski's base, measured at the bench and used on purpose."""

from __future__ import annotations

import argparse
from typing import Any

from workbench.commands.at_ski import AtSki, Did, act, at_ski, ski_command
from workbench.commands.manual import act_asked
from workbench.commands.output import say
from workbench.errors import InputError
from workbench.records.store.rows import CurveKind
from workbench.work.job_text.job_text import typed
from workbench.work.wing.base_curve import keep_curve, latest_curve, strike_curve, use_curve
from workbench.work.wing.wing_report import curve_words, used_words, wing_report

_ACTS = ("gap", "depth", "use", "strike")
_BELONGS = {"chord": ("gap",), "from": ("gap",), "shape": ("gap",), "reason": ("strike",)}


def add(commands: Any) -> None:
    """Add ``curve``."""
    parser = ski_command(
        commands, "curve", "the curve of a ski's base: measured, used, struck out",
        "Without an option what was measured last and what the readings are worked out by. "
        "Measured is by a straightedge and the feeler that just goes in, or by three depths from a "
        "straightedge. A measurement is not the ski's base before --use: every reading rests on "
        "the base. Places are counted from the tail end.",
        run=_run, see="wing, history, correct-ski",
        examples=[
            ("curve", "What is known of the base of the ski in hand."),
            ("curve --chord 6 --gap .028", "A base that bulges, by feeler."),
            (
                "curve --ski LK64/22 --shape hollow --chord '152 mm' --from '20 mm' --gap 0.7mm",
                "A hollow one, another ski's.",
            ),
            ("curve --depth 0 .750 --depth 3 .722 --depth 6 .750", "By three depths."),
            ("curve --use", "Readings are worked out by it from now on."),
            ('curve --strike --reason "straightedge rocked"', "Struck out; it stays readable."),
        ],
    )  # fmt: skip
    parser.option("--gap", "LENGTH", "by feeler: the gap; 0: none goes in")
    parser.option("--chord", "LENGTH", "by feeler: how far apart the two gaps, or feet, are")
    parser.option("--from", "PLACE", "the straightedge's rear end; left out: 0")
    parser.option(
        "--shape",
        "SHAPE",
        "bulge (gaps at its ends) or hollow (gap at its middle); left out: bulge",
    )
    parser.option(
        "--depth",
        ("PLACE", "DEPTH"),
        "one of three depths from the straightedge down to the base; give it three times",
        nargs=2,
        action="append",
    )
    parser.flag("--use", "make what was measured last the base")
    parser.flag("--strike", "strike out what was measured last")
    parser.option("--reason", "WORDS", "why; with --strike")
    parser.unit("unit to show, and of bare numbers; left out: the bench's own")


def _run(args: argparse.Namespace) -> int:
    asked = act_asked(args, _ACTS, _BELONGS)
    if not asked:
        _show(args)
        return 0
    return act(args, {"gap": _keep, "depth": _keep, "use": _use, "strike": _strike}[asked])


def _show(args: argparse.Namespace) -> None:
    with at_ski(args) as at:
        report = wing_report(at.shop, at.view)
        lines = [f"Base: {curve_words(report, at.unit)}", *used_words(report, at.view.ski, at.unit)]
    say(lines)


def _keep(at: AtSki, args: argparse.Namespace) -> Did:
    kind, fields = _measured(args)
    keep_curve(at.shop, at.view, kind, fields, at.unit)
    new = at.shop.view(at.view.job.id)
    said = f"measured: {curve_words(wing_report(at.shop, new), at.unit)}"
    return new, said, f"not the ski's base yet: {typed('curve --use', at.ski)} makes it so"


def _measured(args: argparse.Namespace) -> tuple[CurveKind, dict[str, str]]:
    """Return how the base was measured and the fields of that, as texts."""
    if args.gap is not None:
        return "sagitta", {
            "shape": args.shape or "bulge", "from": getattr(args, "from") or "0",
            "chord": args.chord or "", "gap": args.gap,
        }  # fmt: skip
    if len(args.depth) != 3:
        raise InputError("--depth", len(args.depth), "three depths: --depth PLACE DEPTH each")
    fields: dict[str, str] = {}
    for number, (place, depth) in enumerate(args.depth, 1):
        fields |= {f"place_{number}": place, f"depth_{number}": depth}
    return "three depths", fields


def _use(at: AtSki, _: argparse.Namespace) -> Did:
    new = use_curve(at.shop, at.view)
    return new, "the measured curve is the ski's base; every reading is worked out anew"


def _strike(at: AtSki, args: argparse.Namespace) -> Did:
    curve = latest_curve(at.shop, at.view.ski.id)
    if curve is None:
        raise InputError("curve", "(none)", "a curve that was measured")
    strike_curve(at.shop, curve, args.reason or "")
    return at.view, "the curve measured last is struck out"
