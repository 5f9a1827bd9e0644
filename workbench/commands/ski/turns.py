"""The target, the turns and the wing of a ski, line by line."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from workbench.commands.at_ski import METHOD, YES, AtSki, Did, act, ski_act, ski_command
from workbench.commands.manual import flag, option, place, unit_option
from workbench.errors import InputError, PoseError
from workbench.measure.display import turn_text
from workbench.records.store.row_checks import keepable
from workbench.work.history.compare import go_back, named_setting
from workbench.work.history.history import load_history, settings_in
from workbench.work.job.aim_last import aim_at_last, aim_before_last, aim_one_step_more
from workbench.work.job.entry import CHANGE_SIGNS, Typed, kept_change
from workbench.work.job_text.typed_lines import line_meant, target_meant
from workbench.work.job_text.view_words import act_due, no_turn_why
from workbench.work.roster.baselines import aim_at, baseline_meant
from workbench.work.roster.parts_typed import finest_of
from workbench.work.study.restating import (
    HOW,
    aim_as_read,
    how_meant,
    in_our_methods,
    ours_words,
    theirs_typed,
)
from workbench.work.text.words import error_words, step_words
from workbench.work.trust.wing_setup import hold_of, kept_wing_words


@ski_command(
    "aim",
    "give the target of a reading: a value, or a sign and a change",
    "A reading without a target stays where it is. A change is counted from the reading of now; "
    "'accept' goes on to the turns. One out of reach is kept and told, with status 3: give "
    "another, or those of the other readings that belong to it.",
    see="accept, baselines, finest, ride",
    examples=[
        ("aim depth +.010", "Ten thousandths deeper than it is now."),
        ("aim 3 -0.015", "The third reading, the length, shorter."),
        ('aim "tail, upper line" 18.50mm', "A tail distance by its value."),
        ("aim --baseline", "The ski's own baseline."),
        (
            "aim --as-read-by 'depth deepest=2.512' 'tail flat=.728' 'length tips=6.936'",
            "The rider's numbers from elsewhere, in this ski's own methods.",
        ),
        ("aim --last", "What it was last set to."),
        ("aim --one-step-more", "The last change was good: as much again."),
        ("aim --undo-change", "The last change was not: back to the setting before it."),
        ("aim --setting 2026-07-04:left", "How it left on that day."),
        ("aim --again", "Change the target after all."),
    ],
    takes=[
        place("method", "METHOD", METHOD, nargs="?"),
        place("value", "VALUE", "such as 2.4600, 62.5mm, +.010 or -0.2mm", nargs="?"),
        option(
            "--baseline",
            "NAME",
            "aim at a baseline's numbers instead; without NAME the ski's own",
            nargs="?",
            const="",
        ),
        option(
            "--as-read-by",
            "HOW=NUMBER",
            f"somebody else's three numbers, each with how it was measured: {HOW.words}",
            nargs="+",
        ),
        flag("--last", "aim at what the ski was last set to"),
        flag(
            "--one-step-more", "aim at the last setting and its change once more, the wing with it"
        ),
        flag("--undo-change", "aim at the setting before the last one, the wing with it"),
        option("--setting", "N", "go back to a setting as 'history SKI --settings' numbers it"),
        flag("--again", "open the target again after it was accepted"),
        unit_option("unit of a bare number; left out: the bench's own"),
        flag("--yes", YES),
    ],
)
def _aim(args: argparse.Namespace) -> int:
    return act(args, _aimed, aims=not args.again)


def _aimed(at: AtSki, args: argparse.Namespace) -> Did:
    ways = [
        args.baseline is not None, args.last, args.again, args.setting is not None,
        args.method is not None, args.one_step_more, args.undo_change,
        args.as_read_by is not None,
    ]  # fmt: skip
    if sum(ways) != 1 or (args.method is None) != (args.value is None):
        accepted = (
            "METHOD and VALUE, or one of --baseline, --as-read-by, --last, --one-step-more, "
            "--undo-change, --setting and --again"
        )
        raise InputError("target", args.value or args.method or "(missing)", accepted)
    if args.again:
        return at.shop.reopen_target(at.view), "target open again"
    if args.as_read_by is not None:
        return _aim_as_read(at, args.as_read_by)
    if args.last:
        return aim_at_last(at.shop, at.view), "the last setting is the target now"
    if args.one_step_more:
        new = aim_one_step_more(at.shop, at.view)
        return new, "the last change once more is the target now, wing included"
    if args.undo_change:
        new = aim_before_last(at.shop, at.view)
        return new, "the setting before the last change is the target now, wing included"
    if args.setting is not None:
        return _aim_at_setting(at, args.setting)
    if args.method is None:
        return _aim_at_baseline(at, args.baseline)
    return _aim_at_value(at, args)


def _aim_as_read(at: AtSki, texts: Sequence[str]) -> Did:
    theirs = []
    for text in texts:
        how, sign, number = text.rpartition("=")
        if not sign or not how.strip():
            raise InputError("--as-read-by", text, f"HOW=NUMBER; HOW is {HOW.words}")
        meant = how_meant(at.shop, at.view, how, at.unit)
        theirs.append(theirs_typed(at.view, meant, number, at.unit))
    try:
        found = in_our_methods(at.shop, at.view, theirs)
    except PoseError as why:
        raise InputError("--as-read-by", "; ".join(texts), error_words(why, at.unit)) from None
    new = aim_as_read(at.shop, at.view, theirs, found)
    said = " · ".join(ours_words(each, at.unit) for each in found)
    return new, f"target from somebody else's numbers: {said}"


def _aim_at_baseline(at: AtSki, name: str) -> Did:
    baseline = baseline_meant(at.shop, at.view, name)
    return aim_at(at.shop, at.view, baseline), f"target: the baseline {baseline.name}"


def _aim_at_setting(at: AtSki, name: str) -> Did:
    setting = named_setting(settings_in(load_history(at.shop, at.view.ski.id)), name)
    return go_back(at.shop, at.view, setting), f"target: the setting {setting.name}"


def _aim_at_value(at: AtSki, args: argparse.Namespace) -> Did:
    line, text = line_meant(at.view, args.method), args.value.strip()
    placing = target_meant(at.view, line, text, at.unit, sure=args.yes)
    if text.startswith(CHANGE_SIGNS):
        number = kept_change(line, text, placing, at.unit)
        new = at.shop.aim(at.view, line, number, at.unit)
    else:
        new = at.shop.aim_at(at.view, line, Typed(text, placing.unit, placing.mm), "value")
        number = f"{placing.number} {placing.unit}"
    change = next(x.change_wanted for x in new.lines if x.method_id == line.method_id)
    glance = f", {change.glance}" if change is not None else ""
    return new, f"target kept: {line.method.name} {number}{glance}"


@ski_act(
    "accept",
    "accept the target, or the readings that are within tolerance",
    "Goes on from the target to the turns, and from readings within tolerance to what comes after "
    "them.",
    aims=True,
    see="aim, done",
    examples=[
        ("accept", "The target, or the readings, of the ski in hand."),
        ("accept --as-is", "Near enough, though outside tolerance."),
    ],
    takes=[flag("--as-is", "keep readings that are outside tolerance as they are")],
)
def _accept(at: AtSki, args: argparse.Namespace) -> Did:
    if at.view.stage == "target":
        return at.shop.accept_target(at.view), "target accepted"
    if at.view.stage == "turning" and not args.as_is:
        accepted = "'done' for the turns, or --as-is, which keeps them outside tolerance"
        raise InputError("readings", "outside tolerance", accepted)
    said = "kept as it is" if at.view.stage == "turning" else "settings accepted"
    return at.shop.accept(at.view), said


@ski_act(
    "finest",
    "change the finest turn that this ski is set with",
    "Turns are rounded to the combination of such parts that misses the target least.",
    see="settings, done",
    examples=[("finest 1/16", "Sixteenths, for this ski."), ("finest 0", "Exact turns.")],
    takes=[place("turn", "TURN", "1/4, 1/8, 1/16 ...; 0 is exact")],
)
def _finest(at: AtSki, args: argparse.Namespace) -> Did:
    turn = finest_of(args.turn)
    said = f"finest turn {turn_text(turn)}" if turn else "exact turns"
    return at.shop.set_finest(at.view, turn), said


@ski_act(
    "done",
    "say that the act of the round that is due is done",
    "Loosen, turn stud after stud, seat, snug: 'next' says which act is due, and each is one "
    "'done'. The last of them keeps the round with its turns; then measure again.",
    see="next, read, take-back",
    examples=[
        ("done", "The act that 'next' named is done."),
        ("done --ski OT-65-771", "The same for another ski."),
    ],
)
def _done(at: AtSki, _: argparse.Namespace) -> Did:
    view = at.view
    if view.stage == "turning" and view.steps and not view.has_round:
        raise InputError("turns", no_turn_why(view), "a finer turn: finest; or accept --as-is")
    said = ""
    if view.steps and view.stage == "turning":
        said = step_words(act_due(view), view.rules.dial).rstrip(".")
    new = at.shop.step_done(view)
    if new.progress.pass_number > view.progress.pass_number:
        return new, "turns made and kept: measure again"
    return new, said


@ski_act(
    "set-wing",
    "keep the wing's angle that was set",
    "Degrees to the base, with where the straightedge lay and the gauge used. 'wing' does the "
    "arithmetic between holds.",
    see="wing, settings, tick",
    examples=[
        ("set-wing 7.5", "Seven and a half degrees, by the shop's hold and gauge."),
        ('set-wing 8 --hold front --gauge "brass, 8"', "Held and gauged another way."),
    ],
    takes=[
        place("angle", "DEGREES", "2 to 20, such as 7.5"),
        option("--hold", "HOLD", "front, middle or rear; left out: the shop's own"),
        option("--gauge", "WORDS", "the gauge used; left out: the shop's of that angle"),
    ],
)
def _set_wing(at: AtSki, args: argparse.Namespace) -> Did:
    hold = hold_of(args.hold) if args.hold is not None else None
    if args.gauge is not None:
        keepable("gauge", args.gauge)
    new = at.shop.set_wing(at.view, args.angle, hold, args.gauge)
    return new, f"wing angle kept: {kept_wing_words(new.facts)}"
