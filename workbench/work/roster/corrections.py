"""Blocks, blades and baselines put right: a new version with its reason; the old ones stay.

Readings are of the world and stay as they are. A stud keeps its name, for the turns already made
are kept by it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import partial
from typing import Any, Generic, TypeVar

from workbench.errors import InputError
from workbench.fin.studs import lead_of_thread, named, said
from workbench.frozen import dataclass
from workbench.measure.display import turn_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, method_of, row_of_blade, row_of_stud, stud_of
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import stage_words
from workbench.work.roster.adding import checked_text, pick
from workbench.work.roster.parts_typed import (
    blade_in,
    finest_in,
    finest_of,
    open_parts,
    studs_in,
    within,
)
from workbench.work.text.fields import REASON, Field
from workbench.work.text.words import clean

_Part = TypeVar("_Part", rows.Blade, rows.Block)
_Kept = TypeVar("_Kept", rows.Blade, rows.Block, rows.Baseline)

CORRECTED = replace(REASON, words="why it is corrected: stays in the history with what it said")


def stud_fields(n: int, name: str) -> tuple[Field, ...]:
    """Return what can be put right of a block's n-th stud, which is called ``name``."""
    return (
        Field(f"lead_{n}", f"{name} lead", "a thread such as M5x0.8, or a lead: 0.8 mm", "THREAD"),
        Field(f"hand_{n}", f"{name} hand", "right or left: which way it is threaded", "HAND"),
        Field(f"tip_{n}", f"{name} tip", "the radius of its tip; 0 is a point", "LENGTH"),
    )  # fmt: skip


LEAD_ACCEPTED = "a thread such as M5x0.8 or 10-32 UNF, or a lead with its unit such as 0.8 mm"


class _RehearsedError(Exception):
    """Carries what a rehearsed correction showed out of the transaction, which is then undone."""

    def __init__(self, mended: Mended[Any]) -> None:
        super().__init__()
        self.mended = mended


def correct_block(
    shop: Shop, name: str, path: str, reason: str, *, dry_run: bool = False
) -> Mended[rows.Block]:
    """Correct a block from a file as it is added from; its name stays, and its finest turn where
    the file has none.

    Raises:
        InputError: names the field; a stud that has another name or is missing; or nothing changed.
    """
    file = open_parts(path)
    studs = tuple(row_of_stud(s.stud, s.thread) for s in studs_in(file))
    finest = finest_in(file)
    block_id = pick(name, shop.book.blocks(), "block").id

    def wanted(old: rows.Block) -> rows.Block:
        turn = finest_of(finest) if finest.strip() else old.finest_turn
        return replace(old, studs=studs, finest_turn=turn, stand_in=False)

    return _run(shop, partial(_keep_block, shop, block_id, wanted), reason, dry_run)


def correct_studs(
    shop: Shop, block_id: str, fields: Mapping[str, str], unit: Unit, reason: str
) -> Mended[rows.Block]:
    """Correct what was typed of a block's studs; a field left out stays as it is.

    ``fields`` are some of each stud's :func:`stud_fields`; a bare tip radius is in ``unit``.

    Raises:
        InputError: names the field; or nothing changed.
    """

    def wanted(old: rows.Block) -> rows.Block:
        studs = tuple(_typed(s, n, fields, unit) for n, s in enumerate(old.studs, 1))
        return replace(old, studs=studs)

    wanted(shop.book.block(block_id))  # what is wrong in a field is told before the reason
    return _run(shop, partial(_keep_block, shop, block_id, wanted), reason)


def correct_to(
    shop: Shop, block_id: str, studs: tuple[rows.Stud, ...], reason: str
) -> Mended[rows.Block]:
    """Correct a block to these studs, of the same names.

    Raises:
        InputError: no reason; a stud that has another name; or nothing changed.
    """
    keep = partial(_keep_block, shop, block_id, lambda old: replace(old, studs=studs))
    return _run(shop, keep, reason)


def _typed(stud: rows.Stud, n: int, fields: Mapping[str, str], unit: Unit) -> rows.Stud:
    changed: dict[str, Any] = {}
    if f"lead_{n}" in fields:
        thread, lead = lead_typed(fields[f"lead_{n}"], f"lead_{n}")
        changed |= {"thread": thread, "lead_mm": lead}
    if f"hand_{n}" in fields:
        changed["hand"] = hand_typed(fields[f"hand_{n}"], f"hand_{n}")
    if f"tip_{n}" in fields:
        changed["tip_radius_mm"] = parse_length(fields[f"tip_{n}"], unit, f"tip_{n}").mm
    new = replace(stud, **changed)
    with within(f"lead_{n}"):
        stud_of(new)
    return new


def lead_typed(text: str, field: str, accepted: str = LEAD_ACCEPTED) -> tuple[str, float]:
    """Return the thread as written, blank where a lead was typed, and the lead in mm."""
    with suppress(InputError):
        return text.strip(), lead_of_thread(text, field)
    try:
        lead = parse_length(text, "mm", field)
    except InputError:
        raise InputError(field, text, accepted) from None
    if not lead.named or lead.signed or lead.mm <= 0.0:
        raise InputError(field, text, accepted)
    return "", lead.mm


def hand_typed(text: str, field: str) -> rows.Hand:
    """Return which way a stud is threaded, as typed."""
    match text.strip().lower():
        case "right":
            return "right"
        case "left":
            return "left"
    raise InputError(field, text, "right or left")


def correct_blade(
    shop: Shop, name: str, path: str, reason: str, *, dry_run: bool = False
) -> Mended[rows.Blade]:
    """Correct a blade from a file as it is added from; its name and its methods stay.

    Raises:
        InputError: names the field; a method that the blade could no longer be read by; or nothing
            changed.
    """
    blade_id = pick(name, shop.book.blades(), "blade").id
    blade, _ = blade_in(open_parts(path), "")

    def wanted(old: rows.Blade) -> rows.Blade:
        return replace(row_of_blade(blade, path), id=old.id, name=old.name)

    return _run(shop, partial(_keep_blade, shop, blade_id, wanted), reason, dry_run)


def _run(
    shop: Shop, keep: Callable[[str], Mended[_Part]], reason: str, dry_run: bool = False
) -> Mended[_Part]:
    """Keep a correction with its reason; a rehearsal is undone by its error."""
    why = reason_of(reason)

    def kept() -> Mended[_Part]:
        done = keep(why)
        if dry_run:
            raise _RehearsedError(done)
        return done

    try:
        return shop.book.batch(kept)
    except _RehearsedError as seen:
        return seen.mended


def _keep_block(
    shop: Shop, block_id: str, wanted: Callable[[rows.Block], rows.Block], reason: str
) -> Mended[rows.Block]:
    old = shop.book.block(block_id)
    new = _in_order(old, wanted(old))
    skis = tuple(s for s in shop.book.skis() if s.block_id == block_id)
    done = Mended(new, checked_changes(old, new), skis, _under_way(shop, skis))
    shop.book.correct_block(new, who=shop.who, reason=reason)
    return done


def _in_order(old: rows.Block, new: rows.Block) -> rows.Block:
    """Return the studs in the order they had; refuse one that is new or missing."""
    names = [s.name for s in old.studs]
    by_name = {named(s.name, names) or s.name: s for s in new.studs}
    by_name = {name: replace(s, name=name) for name, s in by_name.items()}
    for name in by_name:
        if name not in names:
            raise _renamed(name, names)
    for name in names:
        if name not in by_name:
            raise _renamed(f"no {name}", names)
    return replace(new, studs=tuple(by_name[name] for name in names))


def _renamed(found: str, names: list[str]) -> InputError:
    return InputError(
        "studs", found, f"the names that they have, {', '.join(names)}: turns already made are "
        "kept by a stud's name, so a correction cannot rename or drop one; add a block instead",
    )  # fmt: skip


def _keep_blade(
    shop: Shop, blade_id: str, wanted: Callable[[rows.Blade], rows.Blade], reason: str
) -> Mended[rows.Blade]:
    old = shop.book.blade(blade_id)
    new = wanted(old)
    for method in shop.book.methods_of(blade_id):
        with within(f"method {method.name}"):
            method_of(method, blade_of(new))
    skis = tuple(s for s in shop.book.skis() if s.blade_id == blade_id)
    done = Mended(new, checked_changes(old, new), skis, _under_way(shop, skis))
    shop.book.correct_blade(new, who=shop.who, reason=reason)
    return done


def _under_way(shop: Shop, skis: tuple[rows.Ski, ...]) -> tuple[tuple[str, str, str, bool], ...]:
    ids = {s.id: s for s in skis}
    out = []
    for line in shop.roster():
        if line.ski_id in ids and line.stage not in ("waiting", "signed off"):
            view = shop.view(line.job_id)
            serial, mid_pass = ids[line.ski_id].serial, view.progress.mid_pass
            out.append((line.ski_name, serial, stage_words(view), mid_pass))
    return tuple(out)


def checked_changes(old: _Kept, new: _Kept) -> tuple[str, ...]:
    """Return what changed in words; an :class:`InputError` where nothing did."""
    found = changes(old, new)
    if not found:
        raise InputError("correction", old.name, "something that is written down otherwise now")
    return found


def reason_of(text: str) -> str:
    """Return the reason given for a correction; an :class:`InputError` where it is blank."""
    reason = checked_text({"reason": text}, "reason")
    if not reason:
        raise InputError("reason", text, "a few words on why it is corrected")
    return reason


_SAME_MM = 1e-9
_MOST_SHOWN = 12
SAID = {rows.Block: "block", rows.Blade: "blade", rows.Baseline: "baseline"}


@dataclass(frozen=True, slots=True)
class Mended(Generic[_Kept]):
    """What a correction changed, line by line; the skis that use the part, and those under way.

    ``under_way`` are (name, serial, stage, in the middle of a round) of jobs begun today.
    """

    part: _Kept
    changes: tuple[str, ...]
    skis: tuple[rows.Ski, ...] = ()
    under_way: tuple[tuple[str, str, str, bool], ...] = ()


def changes(old: object, new: object) -> tuple[str, ...]:
    """Return what changed from one version of a block, blade or baseline to another."""
    if isinstance(old, rows.Block) and isinstance(new, rows.Block):
        return _of_block(old, new)
    if isinstance(old, rows.Blade) and isinstance(new, rows.Blade):
        return _of_blade(old, new)
    assert isinstance(old, rows.Baseline)
    assert isinstance(new, rows.Baseline)
    pairs = zip(old.entries, new.entries, strict=False)
    return tuple(
        f"{clean(a.method_name)} {clean(a.text)} {a.unit} -> {clean(b.text)} {b.unit}"
        for a, b in pairs
        if (a.mm, a.unit) != (b.mm, b.unit)
    )


def _of_block(old: rows.Block, new: rows.Block) -> tuple[str, ...]:
    by_name = {s.name: s for s in new.studs}
    out = []
    for stud in old.studs:
        if stud.name in by_name:
            found = _of_stud(stud, by_name[stud.name])
            if found:
                out.append(f"{clean(said(stud.name, stud.touches))}: {', '.join(found)}")
    if old.finest_turn != new.finest_turn:
        out.append(f"finest turn {_turn(old.finest_turn)} -> {_turn(new.finest_turn)}")
    return tuple(out)


def _turn(turn: float) -> str:
    return turn_text(turn) if turn else "exact"


def _of_stud(a: rows.Stud, b: rows.Stud) -> list[str]:
    told = (
        ("thread", a.thread != b.thread, *(clean(s.thread) or "(none)" for s in (a, b))),
        ("lead", not _same(a.lead_mm, b.lead_mm), *(f"{_mm(s.lead_mm)} mm" for s in (a, b))),
        (
            "tip radius", not _same(a.tip_radius_mm, b.tip_radius_mm),
            *(f"{_mm(s.tip_radius_mm)} mm" for s in (a, b)),
        ),
        ("hand", a.hand != b.hand, a.hand, b.hand),
        ("touches", a.touches != b.touches, a.touches, b.touches),
        (
            "place", not all(map(_same, a.at_mm, b.at_mm)),
            *(f"{_point(s.at_mm)} mm" for s in (a, b)),
        ),
        ("axis", not all(map(_same, a.axis, b.axis)), _point(a.axis), _point(b.axis)),
        ("travel", a.travel_mm != b.travel_mm, _range(a.travel_mm), _range(b.travel_mm)),
    )  # fmt: skip
    return [f"{words} {was} -> {now}" for words, changed, was, now in told if changed]


def _same(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=0.0, abs_tol=_SAME_MM)


def _mm(value: float) -> str:
    return f"{value:.7g}"


def _point(point: rows.Point) -> str:
    return f"({_mm(point[0])}, {_mm(point[1])})"


def _range(travel: tuple[float, float] | None) -> str:
    return "(none)" if travel is None else f"{_mm(travel[0])} to {_mm(travel[1])} mm"


def _of_blade(old: rows.Blade, new: rows.Blade) -> tuple[str, ...]:
    out = []
    if old.traced != new.traced:
        how = [clean(b.traced) or "typed or from a file" for b in (old, new)]
        out.append(f"how it was traced: {how[0]} -> {how[1]}")
    if old.outline_u_mm != new.outline_u_mm:
        known = [_mm(b.outline_u_mm) for b in (old, new)]
        out.append(f"outline's standard uncertainty {known[0]} mm -> {known[1]} mm")
    if old.outline_mm != new.outline_mm:
        out.append(f"outline: {_points(old.outline_mm, new.outline_mm)}")
    for words, was, now in (
        ("top edge", old.top_edge_mm, new.top_edge_mm),
        ("back edge", old.back_edge_mm, new.back_edge_mm),
    ):
        if was != now:
            out.append(f"{words}: {_points(was, now)}")
    return (*out, *_of_holes(old, new))


def _points(old: tuple[rows.Point, ...], new: tuple[rows.Point, ...]) -> str:
    if len(old) != len(new):
        return f"{len(old)} points -> {len(new)} points"
    moved = [(n, a, b) for n, (a, b) in enumerate(zip(old, new, strict=True), 1) if a != b]
    return ", ".join(f"point {n} {_point(a)} mm -> {_point(b)} mm" for n, a, b in moved)


def _of_holes(old: rows.Blade, new: rows.Blade) -> list[str]:
    was, now = ({h.name: h for h in blade.holes} for blade in (old, new))
    out = [f"hole {clean(name)} goes" for name in was if name not in now]
    out += [f"hole {clean(name)} is new: {_hole(now[name])}" for name in now if name not in was]
    out += [
        f"hole {clean(name)}: {_hole(was[name])} -> {_hole(now[name])}"
        for name in was
        if name in now and was[name] != now[name]
    ]
    return out


def _hole(hole: rows.Hole) -> str:
    return f"{_point((hole.u_mm, hole.v_mm))} mm, diameter {_mm(hole.diameter_mm)} mm"


def mended_lines(done: Mended[_Kept]) -> list[str]:
    """Return a correction line by line: what changed, for which skis, and what follows there."""
    out = [f"Changed: {change}" for change in done.changes]
    if isinstance(done.part, rows.Baseline):
        return out
    names = [f"{clean(s.name)} {clean(s.serial)}".rstrip() for s in done.skis[:_MOST_SHOWN]]
    more = len(done.skis) - len(names)
    listed = ", ".join(names) + (f" and {more} more" if more else "")
    out.append(f"Used by: {listed or 'no ski'}")
    return out + [under_way_words(*each) for each in done.under_way]


def under_way_words(name: str, serial: str, stage: str, mid_pass: bool) -> str:
    """Return what a correction brings about for a ski that is under way in today's queue."""
    said = f"Under way: {clean(name)} {clean(serial)}".rstrip() + f", {stage}: "
    if mid_pass:
        return f"{said}this round is finished as it was begun; what follows is worked out anew."
    return f"{said}its readings stay; turns and what to expect of them are worked out anew."


def version_words(row: rows.PartVersion, before: rows.PartVersion | None) -> str:
    """Return what a version of a part says: what was corrected, from what to what, and why."""
    said = f"{SAID[type(row.part)]} {clean(row.part.name)}"
    if before is None:
        return f"{said} written down"
    why = f" ({clean(row.reason)})" if row.reason else ""
    return f"{said} corrected{why}: {'; '.join(changes(before.part, row.part))}"
