"""Around the readings of a ski: holding, marks, temperature, a baseline kept, the base's curve."""

from __future__ import annotations

import argparse

from workbench.commands.at_ski import AtSki, Did, act, at_ski, fields_of, ski_act, ski_command
from workbench.commands.manual import (
    act_asked,
    choice,
    flag,
    option,
    options,
    place,
    place_of,
    unit_option,
)
from workbench.commands.output import say, say_json
from workbench.errors import InputError
from workbench.records.store.rows import CurveKind
from workbench.work.job.base_curve import (
    DEPTHS,
    SAGITTA,
    keep_curve,
    latest_curve,
    strike_curve,
    use_curve,
)
from workbench.work.job.coarse_marks import MARK, add_mark, off_words, take_mark
from workbench.work.job.temperature import HEAT, effect_words, in_force_words, state_temperature
from workbench.work.job_text.job_text import (
    all_mark_lines,
    how_taken_lines,
    how_taken_report,
    typed,
)
from workbench.work.job_text.typed_lines import line_meant, mark_meant
from workbench.work.job_text.wing_report import curve_words, used_words, wing_report
from workbench.work.roster.baselines import BASELINE_OF, KEEP, keep_now
from workbench.work.text.fields import REASON

_ACTS = ("gap", "depth", "use", "strike")
_BELONGS = {"chord": ("gap",), "from": ("gap",), "shape": ("gap",), "reason": ("strike",)}


@ski_act(
    "new-baseline",
    "keep the numbers of now as a baseline",
    "Of this ski, of its rider on this model, or of its model and size.",
    see="baselines, aim",
    examples=[
        ("new-baseline spring", "The ski's own."),
        ('new-baseline "cold water" --of rider', "Its rider's on this model."),
    ],
    takes=[place_of(KEEP[0]), choice("--of", BASELINE_OF, KEEP[1].help, default=KEEP[1].default)],
)
def _keep(at: AtSki, args: argparse.Namespace) -> Did:
    kept = keep_now(at.shop, at.view, args.name, args.of)
    return at.shop.view(at.view.job.id), f"baseline kept: {kept.name}"


@ski_command(
    "hold",
    "how each reading is taken: where, and how to hold the caliper",
    "One act a line; and how sure each reading is, once it is taken: its budget, part by part.",
    see="read, next",
    examples=[
        ("hold", "Every reading of the ski in hand."),
        ("hold depth --unit mm", "The depth alone, in mm."),
        ("hold depth --json", "The depth's budget for a script."),
    ],
    takes=[
        place("method", "METHOD", "one reading alone", nargs="?"),
        unit_option("unit to show; left out: the bench's own"),
    ],
)
def _hold(args: argparse.Namespace) -> None:
    with at_ski(args) as at:
        one = line_meant(at.view, args.method) if args.method else None
        if args.json:
            say_json(how_taken_report(at.view, at.unit, one))
        else:
            say(how_taken_lines(at.view, at.unit, one))


@ski_command(
    "marks",
    "the blade's coarse marks: listed, or one read",
    "A mark is a scribed point on the ski, read on a scale or lines on the blade. It bears the "
    "readings out; a second number takes the place of the first.",
    see="add-mark, next",
    examples=[
        ("marks --ski OT-65-771", "What each should read, and what was read."),
        ("marks 1 0.52", "The first mark reads 0.52."),
    ],
    takes=[
        place("mark", "MARK", "by name or number", nargs="?"),
        place("value", "VALUE", "what is read at the scribe", nargs="?"),
        unit_option("unit to show, and of a bare number; left out: the bench's own"),
    ],
)
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


@ski_act(
    "add-mark",
    "add a coarse mark to the blade of a ski",
    "Its scale and scribe.",
    see="marks",
    examples=[
        (
            "add-mark 'scale, left side' --kind scale --at '2.0 0' --zero 1.5",
            "A scale read at a scribe on the base, two inches from the tail end.",
        )
    ],
    takes=[
        place_of(MARK[0]),
        options(f for f in MARK[1:] if f.key != "unit"),
        unit_option("unit of bare numbers; left out: the bench's own"),
    ],
)
def _new_mark(at: AtSki, args: argparse.Namespace) -> Did:
    add_mark(at.shop, at.view, fields_of(args, MARK))
    return at.shop.view(at.view.job.id), f"mark added: {args.name}"


@ski_command(
    "temperature",
    "say what blade and caliper are at, or end it",
    "Readings taken from then on are converted to 20 degrees Celsius. Without BLADE what is in "
    "force is said.",
    see="read",
    examples=[
        ("temperature", "What is in force."),
        ("temperature 31C --caliper 24C", "The blade lay in the sun."),
        ("temperature off", "Readings are taken as they are."),
    ],
    takes=[
        place(HEAT[0].key, "BLADE", f"{HEAT[0].words}; or off", nargs="?"),
        options(HEAT[1:]),
        unit_option("unit to show; left out: the bench's own"),
    ],
)
def _temperature(args: argparse.Namespace) -> int:
    if args.blade is not None:
        return act(args, _state)
    with at_ski(args) as at:
        lines = [in_force_words(at.view), *effect_words(at.view, at.unit)]
    say(lines)
    return 0


def _state(at: AtSki, args: argparse.Namespace) -> Did:
    blade = "" if args.blade.strip().casefold() == "off" else args.blade
    new = state_temperature(at.shop, at.view, {**fields_of(args, HEAT), "blade": blade})
    return new, "temperature kept" if blade else "readings are taken as they are"


@ski_command(
    "curve",
    "the curve of a ski's base: measured, used, struck out",
    "Without an option what was measured last and what the readings are worked out by. Measured "
    "is by a straightedge and the feeler that just goes in, or by three depths from a "
    "straightedge. A measurement is not the ski's base before --use: every reading rests on the "
    "base. Places are counted from the tail end.",
    see="wing, history, correct-ski",
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
    takes=[
        options(SAGITTA, default=None),
        option(
            "--depth",
            ("PLACE", "DEPTH"),
            f"a place, and the depth there {DEPTHS[1].words}; give it three times",
            nargs=2,
            action="append",
        ),
        flag("--use", "make what was measured last the base"),
        flag("--strike", "strike out what was measured last"),
        options([REASON], more="; with --strike", default=None),
        unit_option("unit to show, and of bare numbers; left out: the bench's own"),
    ],
)
def _curve(args: argparse.Namespace) -> int:
    asked = act_asked(args, _ACTS, _BELONGS)
    if not asked:
        _show_curve(args)
        return 0
    return act(
        args,
        {"gap": _keep_curve, "depth": _keep_curve, "use": _use_curve, "strike": _strike_curve}[
            asked
        ],
    )


def _show_curve(args: argparse.Namespace) -> None:
    with at_ski(args) as at:
        report = wing_report(at.shop, at.view)
        lines = [f"Base: {curve_words(report, at.unit)}", *used_words(report, at.view.ski, at.unit)]
    say(lines)


def _keep_curve(at: AtSki, args: argparse.Namespace) -> Did:
    kind, fields = _curve_measured(args)
    keep_curve(at.shop, at.view, kind, fields, at.unit)
    new = at.shop.view(at.view.job.id)
    said = f"measured: {curve_words(wing_report(at.shop, new), at.unit)}"
    return new, said, f"not the ski's base yet: {typed('curve --use', at.ski)} makes it so"


def _curve_measured(args: argparse.Namespace) -> tuple[CurveKind, dict[str, str]]:
    """Return how the base was measured and the fields of that, as texts."""
    if args.gap is not None:
        return "sagitta", fields_of(args, SAGITTA)
    if len(args.depth) != 3:
        raise InputError("--depth", len(args.depth), "three depths: --depth PLACE DEPTH each")
    fields: dict[str, str] = {}
    for number, (at, depth) in enumerate(args.depth, 1):
        fields |= {f"place_{number}": at, f"depth_{number}": depth}
    return "three depths", fields


def _use_curve(at: AtSki, _: argparse.Namespace) -> Did:
    new = use_curve(at.shop, at.view)
    return new, "the measured curve is the ski's base; every reading is worked out anew"


def _strike_curve(at: AtSki, args: argparse.Namespace) -> Did:
    curve = latest_curve(at.shop, at.view.ski.id)
    if curve is None:
        raise InputError("curve", "(none)", "a curve that was measured")
    strike_curve(at.shop, curve, args.reason or "")
    return at.view, "the curve measured last is struck out"
