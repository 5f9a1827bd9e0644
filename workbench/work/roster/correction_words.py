"""What a correction of a block, blade or baseline changed, in words: from what to what."""

from __future__ import annotations

import math
from typing import Generic, TypeVar

from workbench.fin.studs import said
from workbench.frozen import dataclass
from workbench.measure.display import turn_text
from workbench.records.store import rows
from workbench.work.text.words import clean

_Kept = TypeVar("_Kept", rows.Blade, rows.Block, rows.Baseline)

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
