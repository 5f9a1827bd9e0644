"""Blocks, blades and baselines put right: a new version with its reason; the old ones stay.

Readings are of the world and stay as they are. A stud keeps its name, for the turns already made
are kept by it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import Any, TypeVar

from workbench.errors import InputError
from workbench.fin.studs import lead_of_thread, named
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.job_text.view_words import stage_words
from workbench.work.order.rigs import blade_of, method_of, row_of_blade, row_of_stud, stud_of
from workbench.work.roster.adding import checked_text, pick
from workbench.work.roster.baselines import length_typed
from workbench.work.roster.correction_words import Mended, changes
from workbench.work.roster.parts_typed import (
    blade_in,
    finest_in,
    finest_of,
    open_parts,
    studs_in,
    within,
)
from workbench.work.text.fields import REASON, Field

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
        hand = fields[f"hand_{n}"].strip().lower()
        if hand not in ("right", "left"):
            raise InputError(f"hand_{n}", fields[f"hand_{n}"], "'right' or 'left'")
        changed["hand"] = hand
    if f"tip_{n}" in fields:
        changed["tip_radius_mm"] = parse_length(fields[f"tip_{n}"], unit, f"tip_{n}").mm
    new = replace(stud, **changed)
    with within(f"lead_{n}"):
        stud_of(new)
    return new


def lead_typed(text: str, field: str) -> tuple[str, float]:
    """Return the thread as written, blank where a lead was typed, and the lead in mm."""
    try:
        return text.strip(), lead_of_thread(text, field)
    except InputError:
        pass
    try:
        lead = parse_length(text, "mm", field)
    except InputError:
        raise InputError(field, text, LEAD_ACCEPTED) from None
    if not lead.named or lead.signed:
        raise InputError(field, text, LEAD_ACCEPTED)
    return "", lead.mm


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
    done = Mended(new, _changed(old, new), skis, _under_way(shop, skis))
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
    done = Mended(new, _changed(old, new), skis, _under_way(shop, skis))
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


def _changed(old: _Kept, new: _Kept) -> tuple[str, ...]:
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


# -- baselines -------------------------------------------------------------------------------------


def baseline_named(shop: Shop, text: str) -> rows.Baseline:
    """Return the baseline of this number in the list, else the only one of this name."""
    known = shop.book.baselines()
    wanted = text.strip()
    found = [b for b in known if b.name.casefold() == wanted.casefold()]
    if len(found) == 1:
        return found[0]
    if wanted.isdecimal() and len(wanted) < 7 and 1 <= int(wanted) <= len(known):
        return known[int(wanted) - 1]
    accepted = "its number in 'baselines'" + (f": {len(found)} are called so" if found else "")
    raise InputError("baseline", text, accepted if found else f"a baseline's name or {accepted}")


@whole
def correct_baseline(
    shop: Shop, baseline_id: str, values: Mapping[str, str], reason: str
) -> Mended[rows.Baseline]:
    """Correct numbers of a baseline: what was typed for each method that is to be changed.

    A bare number is in the unit that the number had. A target that was taken from it stays.

    Raises:
        InputError: names the method; no such method in it; or nothing changed.
    """
    why = reason_of(reason)
    old = shop.book.baseline(baseline_id)
    if old.struck is not None:
        raise InputError("baseline", old.name, "one that is not struck out")
    names = [e.method_name for e in old.entries]
    for name in values:
        if name not in names:
            raise InputError("method", name, f"one of this baseline: {' · '.join(names)}")
    entries = tuple(_entry(e, values) for e in old.entries)
    new = replace(old, entries=entries)
    found = _changed(old, new)
    return Mended(shop.book.correct_baseline(new, who=shop.who, reason=why), found)


def _entry(entry: rows.BaselineEntry, values: Mapping[str, str]) -> rows.BaselineEntry:
    text = values.get(entry.method_name)
    if text is None:
        return entry
    shown, unit, mm = length_typed(text, entry.unit, entry.method_name)
    return replace(entry, text=shown, unit=unit, mm=mm)


def strike_baseline(shop: Shop, baseline: rows.Baseline, reason: str) -> rows.Strike:
    """Strike a baseline out; it stays readable with its reason.

    Raises:
        InputError: no reason.
        RecordsError: another bench struck it out first.
    """
    return shop.book.strike(baseline.id, reason, shop.who)
