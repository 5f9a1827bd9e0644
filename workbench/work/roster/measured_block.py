"""A block measured with the caliper, stud by stud, and put right by rounds of known turns.

Where an axis meets the base (top studs) or how far over or under the base it lies (tail stud) is
what the caliper gives; each number keeps how well it is known. What a closed block hides may be
left rough: ``6.9 ± 0.2``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from workbench.errors import InputError
from workbench.fin.frame import Base
from workbench.fin.plan.found_block import (
    FEWEST_ROUNDS,
    GOOD_MOVES,
    FoundBlock,
    FoundFigure,
    found_block,
)
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import (
    LARGEST_PLACE_U_MM,
    check_studs,
    known_leads,
    said,
)
from workbench.frozen import dataclass
from workbench.measure.display import fine_text, length_text, turns_text
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit, degrees_typed
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, stud_of
from workbench.work.drawing.layout import PLAIN_LEGEND, plain_picture
from workbench.work.drawing.scene import side_scene
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.roster.adding import BLOCK, LONGEST_TEXT, checked_name
from workbench.work.roster.corrections import Mended, correct_to, hand_typed, lead_typed
from workbench.work.roster.parts_typed import finest_of
from workbench.work.text.fields import Field, some
from workbench.work.text.words import clean

STUD_NAMES = ("front", "rear", "tail")

PLACE_U_MM = 0.5
"""Standard uncertainty of a place taken by caliper where none is stated: 0.02 in, the axis being
sighted and not touched (common practice, no source)."""

TOLD_U, GAUGED_U = 0.002, 0.002
"""Standard uncertainty of a told or gauged lead, as a share of it (common practice, no source)."""

CAME_U_MM = 0.05
"""Standard uncertainty of how far a stud came, from two caliper readings of its end."""

LEAN_SHOWN_DEG = 0.05
"""A stud that leans less counts as square."""

DRAWN = 72
"""Columns of the side view in letters."""

MOST_LEAN_DEG = 30.0
"""No stud leans more (common practice, no source)."""

SAME_LEAD_MM = 1e-6

NEAR_LEAD = 0.02
"""A measured lead this near (as a share) to one of the tables is named with its thread."""

PLACE_ACCEPTED = "a length such as 6.90, how well it is known behind it if you like: 6.90 ± 0.02"
THREAD_ACCEPTED = (
    "a thread such as 10-32 UNF or M5x0.8; a lead with its unit such as 0.8 mm; or what it came: "
    "10 turns 0.3125"
)
LEAN_ACCEPTED = "degrees by which its axis leans, such as 1.5; blank: none"
TIP_ACCEPTED = "point, flat, or the radius of its round end, such as 0.05"

_PLACES = {
    "front": "from the tail end to where the top front stud's axis meets the base",
    "rear": "from the tail end to where the top rear stud's axis meets the base",
    "tail": "how far out of the base the tail stud's axis lies, at the tail end; minus: under it",
}
_LEANS = {
    "front": "degrees by which its end leans toward the ski's tip, minus toward the tail",
    "rear": "degrees by which its end leans toward the ski's tip, minus toward the tail",
    "tail": "degrees by which its end leans out of the base, minus under it",
}


def _stud_fields(name: str) -> tuple[Field, ...]:
    """Return what is asked of a stud; the front one's are asked first."""
    before, hand, tip = (
        (None, "right", "a point") if name == "front" else ("as of the stud before",) * 3
    )
    return (
        Field(f"{name}_at", f"{name} place", _PLACES[name], "PLACE", option=name),
        Field(f"{name}_lean", f"{name} lean", _LEANS[name], "DEGREES", "none"),
        Field(f"{name}_thread", f"{name} thread", f"of the {name} stud", "THREAD", before),
        Field(f"{name}_hand", f"{name} hand", "right or left", "HAND", hand),
        Field(f"{name}_tip", f"{name} tip", f"of the {name} stud", "TIP", tip),
    )


MEASURED = (
    *some(BLOCK, "name finest_turn"),
    *(field for name in STUD_NAMES for field in _stud_fields(name)),
)
"""What is asked of a block that is measured."""

ACCEPTED = {"at": PLACE_ACCEPTED, "thread": THREAD_ACCEPTED, "tip": TIP_ACCEPTED}
"""What may be typed for each figure of a stud, where that is no plain number or word."""

_CAME = re.compile(r"(\d{1,2}(?:[.,]\d+)?)\s*turns?\s+(\S.*)", re.IGNORECASE)
_SURE = re.compile(r"(.*\S)\s*(?:±|\+/-|\+-|~)\s*(\S+)")


@dataclass(frozen=True, slots=True)
class Measured:
    """A block as it was measured, with what is to be said of each stud."""

    block: rows.Block
    words: tuple[str, ...]


def measured_block(fields: Mapping[str, str], unit: Unit) -> Measured:
    """Return the block that was measured, not kept yet.

    ``fields`` are those of ``MEASURED``.

    Raises:
        InputError: names the field.
    """
    name = checked_name(fields)
    studs, words = [], []
    before = {"thread": "", "hand": "right", "tip": "point"}
    for each in STUD_NAMES:
        for key in before:
            before[key] = fields.get(f"{each}_{key}", "").strip() or before[key]
        lean = _lean_rad(fields.get(f"{each}_lean", ""), f"{each}_lean")
        stud, told = _stud(each, fields.get(f"{each}_at", ""), before, lean, unit)
        studs.append(stud)
        words.append(told)
    check_studs([stud_of(s) for s in studs])
    block = rows.Block("", name, tuple(studs), finest_of(fields.get("finest_turn", "")))
    return Measured(block, tuple(words))


@whole
def keep_measured(shop: Shop, measured: Measured) -> rows.Block:
    """Keep a measured block.

    Raises:
        InputError: another block has its name.
    """
    block = measured.block
    if any(b.name.casefold() == block.name.casefold() for b in shop.book.blocks()):
        raise InputError("name", block.name, "a name that no other block has")
    return shop.book.add_block(block, who=shop.who)


def _stud(
    name: str, at: str, of: Mapping[str, str], lean_rad: float, unit: Unit
) -> tuple[rows.Stud, str]:
    place_mm, place_u = _place(at, f"{name}_at", unit)
    lead_mm, lead_u, thread, came = _lead(of["thread"], f"{name}_thread", unit)
    hand = hand_typed(of["hand"], f"{name}_hand")
    tip = _tip(of["tip"], f"{name}_tip", unit)
    along, aside = math.cos(lean_rad), math.sin(lean_rad)
    is_tail = name == "tail"
    stud = rows.Stud(
        name,
        "back" if is_tail else "top",
        (0.0, place_mm) if is_tail else (place_mm, 0.0),
        (along, aside) if is_tail else (aside, along),
        thread,
        lead_mm,
        hand,
        tip,
        place_u_mm=place_u,
        lead_u=lead_u,
    )
    stud_of(stud)
    return stud, stud_words(stud, unit) + (f"; {came}" if came else "")


def _lean_rad(text: str, field: str) -> float:
    """Return by which angle (rad) a stud leans; blank is none."""
    if not text.strip():
        return 0.0
    accepted = f"{LEAN_ACCEPTED}; at most {MOST_LEAN_DEG:g} either way"
    try:
        lean = degrees_typed(text)
    except ValueError:
        raise InputError(field, text, accepted) from None
    if not abs(lean) <= MOST_LEAN_DEG:
        raise InputError(field, text, accepted)
    return math.radians(lean)


def _place(text: str, field: str, unit: Unit) -> tuple[float, float]:
    """Return a place and its standard uncertainty (mm), as typed."""
    if not text.strip() or len(text) > LONGEST_TEXT:
        raise InputError(field, text, PLACE_ACCEPTED)
    stated = _SURE.fullmatch(text.strip())
    if stated is None:
        return parse_length(text, unit, field).mm, PLACE_U_MM
    place = parse_length(stated[1], unit, field)
    u_mm = parse_length(stated[2], place.unit, field).mm
    if not 0.0 < u_mm <= LARGEST_PLACE_U_MM:
        accepted = f"{PLACE_ACCEPTED}; more than 0 and at most {LARGEST_PLACE_U_MM:g} mm"
        raise InputError(field, text, accepted)
    return place.mm, u_mm


def _lead(text: str, field: str, unit: Unit) -> tuple[float, float, str, str]:
    """Return a lead (mm), its uncertainty as a share, the thread as written, and what to say."""
    came = _CAME.fullmatch(text.strip()) if len(text) < LONGEST_TEXT else None
    if came is not None:
        turns = float(came[1].replace(",", "."))
        way = parse_length(came[2], unit, field)
        if not 1.0 <= turns <= 50.0 or not way.mm > 0.0:
            raise InputError(field, text, f"{THREAD_ACCEPTED}: 1 to 50 turns, a length above 0")
        lead = way.mm / turns
        u_mm = CAME_U_MM / turns
        near_mm = min((mm for _, mm in known_leads()), key=lambda mm: abs(mm - lead))
        said = f"measured {fine_text(lead, unit)} {unit} a turn"
        if abs(near_mm - lead) <= NEAR_LEAD * near_mm:
            threads = [name for name, mm in known_leads() if abs(mm - near_mm) < SAME_LEAD_MM]
            said += f", near {' or '.join(threads)} ({fine_text(near_mm, unit)})"
        return lead, u_mm / lead, "", said
    thread, lead_mm = lead_typed(text, field, THREAD_ACCEPTED)
    return lead_mm, TOLD_U if thread else GAUGED_U, thread, ""


def _tip(text: str, field: str, unit: Unit) -> float:
    word = text.strip().casefold()
    if word in ("point", "flat"):
        return 0.0
    try:
        return parse_length(text, unit, field).mm
    except InputError:
        raise InputError(field, text, TIP_ACCEPTED) from None


def stud_words(stud: rows.Stud, unit: Unit) -> str:
    """Return a stud as it is written down, with how well its place and lead are known."""
    name = said(stud.name, stud.touches)
    x, y = stud.at_mm
    place = (
        f"its axis {length_text(y, unit)} {unit} out of the base"
        if stud.touches == "back"
        else f"its axis {length_text(x, unit)} {unit} from the tail end"
    )
    if stud.place_u_mm is not None:
        place += f" (u {fine_text(stud.place_u_mm, unit)})"
    ax, ay = stud.axis
    lean = math.degrees(math.atan2(ay, ax) if stud.touches == "back" else math.atan2(ax, ay))
    if abs(lean) >= LEAN_SHOWN_DEG:
        ways = ("out of the base", "under it") if stud.touches == "back" else ("tip", "tail")
        toward = "" if stud.touches == "back" else "toward the "
        place += f", leaning {abs(lean):.1f}° {toward}{ways[lean < 0.0]}"
    lead = clean(stud.thread) or f"{fine_text(stud.lead_mm, unit)} {unit} a turn"
    if stud.lead_u is not None:
        lead += f" (u {100.0 * stud.lead_u:.1f} %)"
    tip = "tip a point"
    if stud.tip_radius_mm:
        tip = f"tip radius {fine_text(stud.tip_radius_mm, unit)}"
    return f"{name}: {place}, {lead}, {stud.hand}-hand, {tip}"


def drawn_block(block: rows.Block, blade: rows.Blade) -> list[str]:
    """Return a block in the side view as it was given, this blade at a place made up for it."""
    rig = Rig(blade_of(blade), Base(), tuple(map(stud_of, block.studs)))
    return [*plain_picture(side_scene(rig, None, None), DRAWN), PLAIN_LEGEND]


# -- found from moves --------------------------------------------------------------------------


def found_from(shop: Shop, view: JobView) -> FoundBlock:
    """Return the block of a job as its rounds find it.

    Raises:
        InputError: too few rounds, or a round that was not read by every method.
        BenchError: the rounds fix no block.
    """
    made = rounds_of(view)
    at, names = view.progress, [s.name for s in view.rig.studs]
    if len(made) < FEWEST_ROUNDS:
        raise InputError("rounds", str(len(made)), f"{FEWEST_ROUNDS} or more, five are better")
    sets, turns = [_set(view, 0)], []
    for each in made:
        by_name = {t.stud: t.turns for t in each.turns}
        turns.append([by_name.get(name, 0.0) for name in names])
        sets.append(_set(view, each.number))
    if not all(each.turns for each in made):
        raise InputError("rounds", "one was turned by hand", "rounds whose turns are known")
    if at.mid_pass:
        raise InputError("rounds", "one is open", "rounds that are finished and measured")
    known = {s.name: s for s in shop.book.block(view.ski.block_id).studs}
    return found_block(
        view.rig, sets, turns,
        [known[n].place_u_mm if n in known else None for n in names],
        [known[n].lead_u if n in known else None for n in names],
    )  # fmt: skip


def rounds_of(view: JobView) -> list[rows.PassRow]:
    """Return the rounds of a job, those struck out left out."""
    return [f for f in view.facts if isinstance(f, rows.PassRow) and f.struck is None]


def moves_words(view: JobView) -> list[str]:
    """Return the rounds of a job so far, each with its turns."""
    return [
        f"round {each.number}: {_turns({t.stud: t.turns for t in each.turns}, view)}"
        for each in rounds_of(view)
    ]


def good_moves_words(view: JobView) -> list[str]:
    """Return five rounds of turns that tell most of the block of a job, one a line."""
    studs = sorted(view.rig.studs, key=lambda s: s.touches == "back")
    return [
        f"{n}: {_turns({s.name: t for s, t in zip(studs, move, strict=True)}, view)}"
        for n, move in enumerate(GOOD_MOVES, 1)
    ]


def _turns(turns: Mapping[str, float], view: JobView) -> str:
    said_of = {s.name: s.said for s in view.rig.studs}
    parts = [
        f"{clean(said_of.get(name, name))} {turns_text(t)} {'in' if t > 0.0 else 'out'}"
        for name, t in turns.items()
        if t
    ]
    return ", ".join(parts) or "no stud turned"


def _set(view: JobView, number: int) -> list[Reading]:
    out = []
    for line in view.lines:
        mm = view.progress.mean_mm(number, line.method_id)
        if mm is None or line.u_mm is None:
            raise InputError(
                "rounds", f"round {number} not read by {clean(line.method.name)}",
                "rounds that were read by every method of the ski",
            )  # fmt: skip
        out.append(Reading(line.method, mm, line.u_mm))
    return out


def figure_words(found: FoundFigure, unit: Unit, agree: bool = True) -> str:
    """Return what was found of one figure of a stud, and whether it is well fixed.

    Rounds that do not ``agree`` fix nothing, however small the uncertainty.
    """
    name = said(found.stud, "back" if found.stud == "tail" else "top")
    if found.what == "place":
        what = f"{name}: its axis {length_text(found.value_mm, unit)} {unit} beside where it was"
    else:
        what = f"{name}: {fine_text(found.value_mm, unit)} {unit} a turn"
    how = "well fixed" if found.well else "not well fixed: longer turns of this stud would tell"
    if not found.learnt:
        how += ", hardly more than was known before"
    if not agree:
        return f"{what}; not to be trusted"
    return f"{what}, u {fine_text(found.u_mm, unit)} {unit}; {how}"


def found_lines(found: FoundBlock, unit: Unit) -> list[str]:
    """Return what moves found of a block, in plain lines."""
    out = [figure_words(f, unit, found.agree) for f in found.figures]
    if not found.agree:
        number = found.worst_round
        where = f"after round {number}" if number else "before the first round"
        off = fine_text(abs(found.worst_mm), unit)
        out.append(
            f"! The rounds contradict one another: a reading {where} misses by {off} {unit}. Was a "
            "stud turned otherwise than told?"
        )
    return out


def keep_found(shop: Shop, view: JobView, found: FoundBlock, reason: str) -> Mended[rows.Block]:
    """Keep what moves found as a correction of the ski's block.

    Raises:
        InputError: no reason, or rounds that contradict one another.
    """
    if not found.agree:
        raise InputError("rounds", "contradict one another", "rounds that agree with one block")
    old = shop.book.block(view.ski.block_id)
    return correct_to(shop, old.id, _found_studs(old.studs, found), reason)


def _found_studs(studs: Sequence[rows.Stud], found: FoundBlock) -> tuple[rows.Stud, ...]:
    """Return the studs as rows, put right by what moves found."""
    by_name = {s.name: s for s in found.studs}
    u = {(f.stud, f.what): f for f in found.figures}
    out = []
    for row in studs:
        new, place, turn = by_name[row.name], u[row.name, "place"], u[row.name, "turn"]
        thread = row.thread if math.isclose(new.lead_mm, row.lead_mm, rel_tol=0.01) else ""
        out.append(replace(
            row, at_mm=new.at_mm, lead_mm=new.lead_mm, thread=thread, place_u_mm=place.u_mm,
            lead_u=turn.u_mm / new.lead_mm,
        ))  # fmt: skip
    return tuple(out)
