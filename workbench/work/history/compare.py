"""Two settings of a ski side by side, the stud turns between them, and the way back to one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import get_args

from workbench.errors import BenchError, InputError
from workbench.fin.frame import Pose
from workbench.fin.plan.exposed import Exposed, exposed
from workbench.fin.plan.guidance import plan_from
from workbench.fin.plan.plan import Target
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import Method
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud
from workbench.measure.display import turns_text
from workbench.measure.linalg import Three
from workbench.measure.units import UNITS, Unit
from workbench.work.history.history import History, Setting, Value, setting_report
from workbench.work.job.aim_last import Wing, aim_all, wing_as_set
from workbench.work.job.entry import copied
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.stages import ALLOWED, Stage
from workbench.work.order.order_answers import (
    Exposure,
    exposed_change,
    exposed_report,
    exposed_short,
)
from workbench.work.text.words import clean, error_words, turned_words
from workbench.work.trust.job_reading import Difference, difference_of


@dataclass(frozen=True, slots=True)
class Beside:
    """One method in both settings (mm); ``change`` is second less first, None where one lacks."""

    method: Method
    first: Value | None
    second: Value | None
    change: Difference | None


@dataclass(frozen=True, slots=True)
class Between:
    """What one stud turns from the first setting to the second; positive is in.

    ``exact`` with its standard uncertainty ``u`` in turns; ``turns`` is what a hand would make of
    it, all studs taken together, None where no such plan can be made.
    """

    stud: Stud
    exact: float
    u: float
    turns: float | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two settings side by side; ``trouble`` says why there are no turns between them.

    ``exposed`` is what each leaves out of the base, None where its readings fix no pose.
    """

    first: Setting
    second: Setting
    lines: tuple[Beside, ...]
    turns: tuple[Between, ...]
    finest_turn: float
    trouble: str = ""
    exposed: tuple[Exposed | None, Exposed | None] = (None, None)


def compare(
    history: History, first: Setting, second: Setting, unit: Unit, finest_turn: float = 0.125
) -> Comparison:
    """Put two settings side by side; ``unit`` is that of any trouble in words.

    The two are taken as independent: what they share, such as one caliper's error, would make their
    difference better known than is said.
    """
    used = {v.method_id for s in (first, second) for v in s.values}
    lines = tuple(_beside(i, history, first, second) for i in history.methods if i in used)
    out = (_exposed(history, first), _exposed(history, second))
    turns: tuple[Between, ...] = ()
    trouble = ""
    try:
        turns = _turns(history, first, second, finest_turn)
    except BenchError as why:
        trouble = error_words(why, unit)
    return Comparison(first, second, lines, turns, finest_turn, trouble, out)


def _exposed(history: History, setting: Setting) -> Exposed | None:
    """Return what a setting leaves out of the base of the blade that it was read on."""
    try:
        rig = _one_rig(history, setting, setting)
        return exposed(rig.blade, rig.base, _fit(rig, setting).pose)
    except BenchError:
        return None


def _beside(method_id: str, history: History, first: Setting, second: Setting) -> Beside:
    a, b = first.value(method_id), second.value(method_id)
    change = difference_of(b.mm, b.u_mm, a.mm, a.u_mm) if a is not None and b is not None else None
    return Beside(history.methods[method_id], a, b, change)


# -- the turns between -------------------------------------------------------------------------


def _turns(
    history: History, first: Setting, second: Setting, finest_turn: float
) -> tuple[Between, ...]:
    rig = _one_rig(history, first, second)
    start = _fit(rig, first)
    end = _fit(rig, second, start)
    made = _by_hand(rig, start, end.pose, finest_turn)
    out = []
    for stud, a, b in zip(rig.studs, rig.travels(start.pose), rig.travels(end.pose), strict=True):
        exact = (b.mm - a.mm) / stud.lead_mm
        # JCGM 100:2008, 5.1.2: the two ends come from readings of their own, independent.
        spread = math.hypot(
            _spread(a.gradient, start.covariance), _spread(b.gradient, end.covariance)
        )
        out.append(Between(stud, exact, spread / stud.lead_mm, made.get(stud.name)))
    return tuple(out)


def _one_rig(history: History, first: Setting, second: Setting) -> Rig:
    rigs = [history.rigs[v.method_id] for s in (first, second) for v in s.values]
    if any(a.blade != b.blade for a, b in pairwise(rigs)):
        raise InputError("blade", "another in each setting", "two settings of one blade")
    one, other = (history.block_id_at(s.last_id) for s in (first, second))
    if one != other:
        raise InputError("block", "another in each setting", "two settings of one block")
    return replace(rigs[0], studs=history.studs.get(one, rigs[0].studs))


def _fit(rig: Rig, setting: Setting, near: Fit | None = None) -> Fit:
    readings = [Reading(v.method, v.mm, v.u_mm) for v in setting.values]
    start = near.pose if near is not None else None
    return fit_pose(rig.blade, rig.base, readings, start, every=start is None)


def _spread(gradient: Three, covariance: Sequence[Three]) -> float:
    total = sum(gradient[i] * covariance[i][j] * gradient[j] for i in range(3) for j in range(3))
    return math.sqrt(max(total, 0.0))


def _by_hand(rig: Rig, start: Fit, end: Pose, finest_turn: float) -> dict[str, float]:
    """Return the turns a hand would make; nothing where a stud or the blade cannot get there.

    What the first was read by is looked at with the fin as at the second, which may have been
    read by other methods.
    """
    try:
        # So small a tolerance that the plan turns for every difference, however slight.
        targets = [Target(m, rig.observe(m, end).value_mm, 1e-6) for m in start.methods]
        found = plan_from(rig, start, targets, finest_turn)
    except BenchError:
        return {}
    return {t.stud.name: t.turns for t in found.turns}


# -- the way back ------------------------------------------------------------------------------


def go_back(shop: Shop, view: JobView, setting: Setting) -> JobView:
    """Make a setting the target of the job in hand: a value for every reading, or nothing at all.

    The wing that was set with it is wanted again too, by the same hold.

    Raises:
        InputError: not at this stage, a round is under way, or a number the ski is not read by.
    """
    check_can_aim(view)
    values = _for_lines(view, setting)
    return shop.act(view, "aim", partial(_aim, shop, values, wing_as_set(setting.wing)))


_ORDER: tuple[Stage, ...] = get_args(Stage)
_BEFORE_TARGET = _ORDER[: _ORDER.index("target")]
_AFTER_TURNS = _ORDER[_ORDER.index("wing") : _ORDER.index("set aside")]


def check_can_aim(view: JobView) -> None:
    """Raise an InputError that says at which stage a target can be set, unless it is this one."""
    if "aim" in ALLOWED[view.stage]:
        return
    before = view.stage in _BEFORE_TARGET
    can = "at the stage 'target', once the ski is read as received and the studs touch"
    if not before:
        can = "at the stages " + ", ".join(f"'{s}'" for s in ALLOWED if "aim" in ALLOWED[s])
    if view.stage in _AFTER_TURNS:
        can = "in a new job: queue this ski again, then at its stage 'target'"
    raise InputError("go back to this setting", f"now at the stage {view.stage}", can)


def _for_lines(view: JobView, setting: Setting) -> Mapping[str, Value]:
    values = {line.method_id: setting.value(line.method_id) for line in view.lines}
    found = {i: v for i, v in values.items() if v is not None}
    if len(found) < len(values):
        missing = ", ".join(f"'{x.method.name}'" for x in view.lines if x.method_id not in found)
        accepted = f"one with a number by each of this ski's methods, also by {missing}"
        raise InputError("setting", setting.name, accepted)
    return found


def _aim(shop: Shop, values: Mapping[str, Value], wing: Wing | None, now: JobView) -> JobView:
    if now.stage != "target":
        now = shop.reopen_target(now)
    unit = now.ski.unit
    aims = [
        (line, copied(values[line.method_id].mm, unit, fine=False), line.tolerance_mm)
        for line in now.lines
    ]
    return aim_all(shop, aims, wing, now)


# -- naming a setting --------------------------------------------------------------------------

_NAMES = "first, last, a number of the list, or a day with :received or :left behind it"


def named_setting(settings: Sequence[Setting], name: str) -> Setting:
    """Return the setting meant by ``first``, ``last``, its number from 1, or its day.

    A day alone is the last setting of that day; ``2026-07-04:received`` is as received.

    Raises:
        InputError: none, or no settings at all.
    """
    if not settings:
        raise InputError("setting", name, "a ski that was read at least once")
    word = name.strip().lower()
    if word in ("first", "last"):
        return settings[0 if word == "first" else -1]
    if word.isascii() and word.isdigit() and 1 <= int(word) <= len(settings):
        return settings[int(word) - 1]
    day, _, moment = word.partition(":")
    found = [s for s in settings if s.day == day and moment in ("", s.moment)]
    if not found:
        raise InputError("setting", name, _NAMES)
    return found[-1]


def finest_turn_in(history: History, setting: Setting) -> float:
    """Return the finest turn of the job a setting was measured in, as it began."""
    return history.job(setting.job_id).job.finest_turn


# -- in words ------------------------------------------------------------------------------------


def between_words(turn: Between, short: bool = False) -> str:
    """Return what one stud turns by hand, then exactly with its standard uncertainty.

    ``short``, for little room: clockwise or not in a sign, the uncertainty left out.
    """
    sign = "−" if round(turn.exact, 3) < 0.0 else "+"
    u = "" if short else f" (u {turn.u:.3f})"
    exact = f"exactly {sign}{abs(turn.exact):.3f}{u}"
    name = clean(turn.stud.said)
    if turn.turns is None:
        return f"{name}: {exact}{'' if short else ' (no round turns get there)'}"
    if not turn.turns:
        return f"{name}: leave, {exact}"
    if short:
        sign = "↻" if turn.stud.clockwise(turn.turns) else "↺"
        way = "in" if turn.turns > 0 else "out"
        return f"{name}: {sign} {turns_text(turn.turns)} {way}, {exact}"
    return f"{name}: {turned_words(turn.stud, turn.turns)}, {exact}"


def _both(value: Value) -> str:
    """Return a value in both units with its expanded uncertainty."""
    return " = ".join(value.words(unit) for unit in UNITS)


def _beside_words(line: Beside) -> str:
    """Return one method in both settings and whether the difference means anything."""
    name = clean(line.method.name)
    if line.first is None or line.second is None or line.change is None:
        which, value = ("A", line.first) if line.first is not None else ("B", line.second)
        told = _both(value) if value is not None else ""
        return f"{name}: read in {which} only, {told}"
    change = " = ".join(line.change.figures(unit) for unit in UNITS)
    told = f"A {_both(line.first)}; B {_both(line.second)}; B less A {change}"
    return f"{name}: {told}, {line.change.glance}"


def exposed_lines(found: Comparison, unit: Unit) -> list[str]:
    """Return what each setting leaves out of the base, and how the second differs in that."""
    both = [(k, e) for k, e in zip("AB", found.exposed, strict=True) if e is not None]
    out = [f"{k}: {exposed_short(e, unit)}" for k, e in both]
    if len(both) == 2:
        out.append(f"B less A: {exposed_change(both[0][1], both[1][1], unit)}")
    return out


def comparison_lines(found: Comparison, unit: Unit = "in") -> list[str]:
    """Return a comparison in plain lines; areas and centroids in ``unit``."""
    out = [f"A: {found.first.name}", f"B: {found.second.name}"]
    out += [_beside_words(line) for line in found.lines]
    for name, setting in (("A", found.first), ("B", found.second)):
        out += [f"{name}: {', '.join(setting.beside)}"] if setting.beside else []
    out += exposed_lines(found, unit)
    if found.trouble:
        return [*out, f"no stud turns: {found.trouble}"]
    return [*out, "stud turns from A to B:", *[f"  {between_words(t)}" for t in found.turns]]


def comparison_report(found: Comparison) -> dict[str, object]:
    """Return a comparison as plain values: lengths in mm, turns in turns, positive is in."""
    lines = []
    for line in found.lines:
        each: dict[str, object] = {
            "method": line.method.name,
            "a_mm": line.first.mm if line.first is not None else None,
            "b_mm": line.second.mm if line.second is not None else None,
        }
        if line.change is not None:
            each |= {
                "difference_mm": line.change.mm, "expanded_mm": line.change.expanded_mm,
                "clear": line.change.clear,
            }  # fmt: skip
        lines.append(each)
    turns = [
        {"stud": t.stud.name, "turns_exact": t.exact, "u_turns": t.u, "turns": t.turns}
        for t in found.turns
    ]
    return {
        "a": setting_report(found.first), "b": setting_report(found.second), "differences": lines,
        "studs": turns, "trouble": found.trouble,
        "exposed": [e and exposed_report(Exposure(e), "mm") for e in found.exposed],
    }  # fmt: skip
