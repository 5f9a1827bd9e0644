"""The rounds of a block and blade as a file: JSON lines, one for each round, oldest first.

Each line is read strictly, wholly used or refused; what is wrong is told by its line and key.
README.md shows one.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from workbench.errors import InputError
from workbench.fin.frame import Pose
from workbench.fin.learn.replay import Round
from workbench.fin.learn.sight import Takes
from workbench.fin.learn.state import ORDINARY
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import fit_pose
from workbench.measure.lengths import parse_turn
from workbench.measure.units import MM_PER
from workbench.work.files.strict_table import MISSING, Table, as_number
from workbench.work.files.table_files import check_sane, no_constant, no_doubles, read_text
from workbench.work.order.order_file import Order, read_takes

_LARGEST_BYTES = 50_000_000
MOST_TURNS = 40.0
"""More turns than any stud makes in one round."""

_LEAST_READINGS = 3
"""Fewer fix no pose."""


def read_rounds(path: str | Path, order: Order) -> tuple[Round, ...]:
    """Return the rounds in a history file of the order's block and blade, in their order.

    Raises:
        InputError: anything wrong in it, by its line and key.
    """
    rounds: list[Round] = []
    begun: set[str] = set()
    last: tuple[datetime, str] | None = None
    pose: Pose | None = None
    for number, line in enumerate(_text(path).split("\n"), 1):
        if not line.strip():
            continue
        table = Table(_parsed(line, f"history line {number}"), f"history line {number}", order.unit)
        each = _round(table, order)
        if not each.before and each.job not in begun:
            accepted = "the takes before the first round of a job"
            raise InputError(table.where("before"), MISSING, accepted)
        last = _in_time(table, last)
        table.done()
        for key, taken in (("before", each.before), ("after", each.after)):
            if taken:
                pose = _pose(taken, order, pose, table.where(key))
        begun.add(each.job)
        rounds.append(each)
    return tuple(rounds)


def _text(path: str | Path) -> str:
    try:
        return read_text(path, _LARGEST_BYTES)
    except InputError as why:
        raise InputError("--history", why.value, why.accepted) from None


def _parsed(line: str, where: str) -> object:
    try:
        data = json.loads(line, parse_constant=no_constant, object_pairs_hook=no_doubles)
        check_sane({"": data})
    except json.JSONDecodeError as why:
        raise InputError(where, f"column {why.colno}: {why.msg}", "a JSON object") from None
    except InputError as why:
        raise InputError(f"{where}: {why.field}", why.value, why.accepted) from None
    except (RecursionError, ValueError):
        raise InputError(where, "not readable", "a JSON object with numbers of sane size") from None
    return data


def _round(table: Table, order: Order) -> Round:
    unit = table.text("unit", f"'{order.unit}', the order's unit")
    if unit != order.unit:
        raise InputError(table.where("unit"), unit, f"'{order.unit}', the order's unit")
    blade = table.text("blade", default=order.rig.blade.name)
    if blade != order.rig.blade.name:
        accepted = f"'{order.rig.blade.name}', the order's blade, or no such key"
        raise InputError(table.where("blade"), blade, accepted)
    job = table.name("job")
    turns = _turns(table.table("turns", "a table of turns by stud"), order)
    before = _takes(table, "before", order) if table.has("before") else ()
    after = _takes(table, "after", order)
    return Round(job, turns, after, before, table.truth("settled"))


def _turns(table: Table, order: Order) -> tuple[float, float, float]:
    names = [stud.name for stud in order.rig.studs]
    accepted = f"one of the studs: {', '.join(map(repr, names))}"
    out = dict.fromkeys(names, 0.0)
    for name in table.names():
        if name not in out:
            raise InputError(table.where(name), name, accepted)
        where, say = table.where(name), f"turns from -{MOST_TURNS:g} to {MOST_TURNS:g}, in positive"
        value = table.raw(name, say)
        turns = parse_turn(value, where) if isinstance(value, str) else as_number(value, where, say)
        if abs(turns) > MOST_TURNS:
            raise InputError(where, value, say)
        out[name] = turns
    one, two, three = out.values()
    return (one, two, three)


def _takes(line: Table, key: str, order: Order) -> tuple[Takes, ...]:
    table = line.table(key, "the takes by method")
    known = {m.name: m for m in order.methods}
    out = []
    for name in table.names():
        if name not in known:
            accepted = f"one of the order's methods: {', '.join(map(repr, known))}"
            raise InputError(table.where(name), name, accepted)
        out.append(Takes(known[name], read_takes(table, name)))
    fine = [t.method.name for t in out if not t.method.is_coarse]
    if len(out) < _LEAST_READINGS:
        accepted = f"{_LEAST_READINGS} readings or more, which fix where the blade is"
        raise InputError(table.path, ", ".join(fine) or MISSING, accepted)
    return tuple(out)


def _pose(taken: Sequence[Takes], order: Order, near: Pose | None, where: str) -> Pose:
    """Return where these takes put the blade; readings that no pose gives are refused."""
    readings = [Reading(t.method, *t.summary(ORDINARY)) for t in taken]
    try:
        return fit_pose(order.rig.blade, order.rig.base, readings, near).pose
    except NoPoseError as why:
        shown = ", ".join(f"{r.method.name} {r.value_mm / MM_PER[order.unit]:g}" for r in readings)
        accepted = f"readings that this blade can give together ({why.reason})"
        raise InputError(where, shown, accepted) from None


def _in_time(table: Table, last: tuple[datetime, str] | None) -> tuple[datetime, str] | None:
    """Return a line's time, which may not lie before the last one given."""
    if not table.has("at"):
        return last
    accepted = "a date and time such as 2026-05-04T09:30:00+00:00"
    text = table.text("at", accepted)
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(table.where("at"), text, accepted) from None
    if at.tzinfo is None:
        at = at.replace(tzinfo=UTC)
    if last is not None and at < last[0]:
        raise InputError(table.where("at"), text, f"no time before the line above's, {last[1]}")
    return at, text
