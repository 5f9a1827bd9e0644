"""What is written down of a ski, corrected, and what it wears, changed from now on.

Either is a new version of the ski's sheet; the old ones stay. Another blade or block is no
correction: what was read before stays with the parts it was read on, and until the ski is measured
and its clamp bolts are checked it is not released.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from workbench.errors import BenchError, InputError
from workbench.fin.reading.method import NEEDED
from workbench.fin.reading.rig import Rig
from workbench.frozen import dataclass
from workbench.measure.units import Unit
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.records.tables.roster import blade_of, method_of, rig_of
from workbench.records.tables.ski_facts import SkiSheet, changes_of_parts
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.stages import MidPassError
from workbench.work.order.carried import CarriedSetting, carried_setting, methods_on
from workbench.work.roster.adding import SKI, blade_meant, block_meant, checked_name, checked_text
from workbench.work.roster.parts_typed import yes_or_no
from workbench.work.text.fields import REASON, Field, some

METHODS = "methods"
"""The field of what a ski is read by, in order."""

_READ_BY = Field(
    METHODS, "Read by", "three or more of its blade, in order, parted by ';'", "METHODS"
)
SHEET = (
    *some(SKI, "name rider serial model size"),
    *(replace(field, key="note") for field in some(SKI, "ski_note")),
    *some(SKI, "wing"),
    _READ_BY,
)
"""What of a ski's sheet can be put right."""

WORN = (
    *(replace(field, blank="as it is") for field in some(SKI, "blade block")),
    replace(REASON, words="why the blade or block is changed, such as new blade"),
    _READ_BY,
)
"""What a ski is given from now on, and what it is read by."""

FOLLOWS = (
    "It is not to be ridden until it is measured and its clamp bolts are checked: queue it, and "
    "read it as received."
)

NEVER_DONE = (
    "Strike a change out only where it was never made. Where the old part was put back, that is "
    "another change, and the ski is measured again."
)


@dataclass(frozen=True, slots=True)
class Worn:
    """A ski with its parts changed, and what changed in words."""

    ski: rows.Ski
    changes: tuple[str, ...]


@whole
def change_parts(shop: Shop, ski_id: str, fields: Mapping[str, str]) -> Worn:
    """Give a ski another blade or block from now on.

    ``fields`` are the first three of ``WORN``; a blank part stays as it is.

    Raises:
        InputError: names the field; no reason; nothing changed; or a round is open.
    """
    reason = checked_text(fields, "reason")
    if not reason:
        raise InputError("reason", fields.get("reason", ""), "a few words, such as new blade")
    old = shop.book.ski(ski_id)
    new, words = old, []
    if fields.get("blade", "").strip():
        blade = blade_meant(shop, fields["blade"])
        if blade.id != old.blade_id:
            methods = methods_for(shop, old, blade)
            new = replace(new, blade_id=blade.id, methods=methods)
            words.append(f"blade {shop.book.blade(old.blade_id).name} → {blade.name}")
    if fields.get("block", "").strip():
        block = block_meant(shop, fields["block"])
        if block.id != old.block_id:
            new = replace(new, block_id=block.id)
            words.append(f"block {shop.book.block(old.block_id).name} → {block.name}")
    if new == old:
        raise InputError("blade", shop.book.blade(old.blade_id).name, "another blade or block")
    _check_no_round(shop, ski_id)
    rig_of(new, blade_of(shop.book.blade(new.blade_id)), shop.book.block(new.block_id).studs)
    kept = shop.book.correct_ski(new, who=shop.who, reason=reason)
    return Worn(kept, tuple(words))


def _check_no_round(shop: Shop, ski_id: str) -> None:
    state = shop.ski_state(ski_id)
    if state.round_day:
        raise MidPassError(f"blade or block: its job of {state.round_day}")


def methods_for(shop: Shop, ski: rows.Ski, blade: rows.Blade) -> tuple[str, ...]:
    """Return the methods (ids) that a ski is read by on another blade.

    Those of the same names, in the ski's order; for a quantity without one the blade's first.

    Raises:
        InputError: the blade has no method of a quantity.
    """
    known = [m for m in shop.book.methods_of(blade.id) if m.scribe is None]
    old = [shop.book.method(i) for i in ski.methods]
    same = {(m.name, m.quantity): m for m in known}
    by_name = {o.quantity for o in old if (o.name, o.quantity) in same}
    first = {m.quantity: m for m in reversed(known)}
    for quantity in NEEDED:
        if quantity not in first:
            raise InputError("blade", blade.name, f"a blade with a {quantity} method")
    found = []
    for o in old:
        m = same.get((o.name, o.quantity))
        if m is None and o.quantity not in by_name:
            m = first.get(o.quantity)
        found += [m] if m is not None else []
    read = {m.quantity for m in found}
    found += [first[quantity] for quantity in NEEDED if quantity not in read]
    return tuple(dict.fromkeys(m.id for m in found))


def methods_typed(shop: Shop, ski: rows.Ski, text: str) -> tuple[str, ...]:
    """Return the methods (ids) a ski is to be read by, as typed: names or numbers, by semicolons.

    Raises:
        InputError: fewer than three, one twice, or none of the blade's.
    """
    known = [m for m in shop.book.methods_of(ski.blade_id) if m.scribe is None]
    listed = " · ".join(f"{n} {m.name}" for n, m in enumerate(known, 1))
    out: list[str] = []
    for part in (p.strip() for p in text.split(";") if p.strip()):
        same = [m for m in known if m.name.casefold() == part.casefold()]
        if not same and part.isdecimal() and len(part) < 4 and 1 <= int(part) <= len(known):
            same = [known[int(part) - 1]]
        if len(same) != 1 or same[0].id in out:
            raise InputError("methods", part, f"each once, of this blade's: {listed}")
        out.append(same[0].id)
    if len(out) < 3:
        raise InputError("methods", text, f"three or more, parted by semicolons, of: {listed}")
    return tuple(out)


def methods_text(shop: Shop, ski: rows.Ski) -> str:
    """Return the methods a ski is read by, as they are typed."""
    return "; ".join(shop.book.method(i).name for i in ski.methods)


# -- struck out --------------------------------------------------------------------------------


def last_change(versions: Sequence[rows.SkiVersion]) -> rows.SkiVersion | None:
    """Return the last change of a ski's blade or block that was not struck out."""
    ids = changes_of_parts([SkiSheet.of(v) for v in versions])
    return next((v for v in versions if ids and v.id == ids[-1]), None)


@whole
def strike_change(shop: Shop, ski_id: str, version_id: str, reason: str) -> rows.Strike:
    """Strike out a change of blade or block that was never made; it stays readable.

    Raises:
        InputError: no reason; not the last change; or something was read on the new part.
    """
    why = checked_text({"reason": reason}, "reason")
    if not why:
        raise InputError("reason", reason, "a few words on why it is struck out")
    versions = shop.book.ski_versions(ski_id)
    last = last_change(versions)
    if last is None or last.id != version_id:
        raise InputError("strike out", "a change of parts", "the last one that is not struck out")
    _check_no_round(shop, ski_id)
    before = [v for v in versions if v.id < version_id and v.struck is None][-1].ski
    read = [
        f for past in shop.book.history_of_ski(ski_id) for f in past.facts
        if isinstance(f, rows.Reading) and f.struck is None and f.id > version_id
    ]  # fmt: skip
    if read:
        raise InputError(
            "strike out", "a change after which the ski was read",
            "one after which nothing was read: strike those readings out first, or change it back",
        )  # fmt: skip
    now = shop.book.ski(ski_id)
    shop.book.correct_ski(
        replace(now, blade_id=before.blade_id, block_id=before.block_id, methods=before.methods),
        who=shop.who, reason=why,
    )  # fmt: skip
    newest = shop.book.ski_versions(ski_id)[-1].id
    return shop.book.strike(version_id, why, shop.who, newest)


# -- carried over ------------------------------------------------------------------------------


def carried_to(shop: Shop, view: JobView, blade: rows.Blade, unit: Unit) -> CarriedSetting | None:
    """Return the setting that a job has, carried to another blade; None where its readings fix no
    pose, the new one's outline is not known, or no place of it comes near."""
    if view.pose is None or not blade.outline_mm:
        return None
    kernel = blade_of(blade)
    own = tuple(method_of(m, kernel) for m in shop.book.methods_of(blade.id))
    read = [line.method for line in view.lines]
    new = Rig(kernel, view.rig.base, view.rig.studs)
    try:
        return carried_setting(view.rig, view.pose, new, methods_on(kernel, read, own), unit)
    except BenchError:
        return None


def last_carried(shop: Shop, ski: rows.Ski, blade: rows.Blade, unit: Unit) -> CarriedSetting | None:
    """Return the last setting of a ski on its blade of now, carried to another one.

    To be asked for before the blade is changed. None where no job of it has a pose.
    """
    jobs = [past.job for past in shop.book.history_of_ski(ski.id) if past.job.struck is None]
    for job in reversed(jobs):
        view = shop.view(job.id)
        if view.pose is not None and view.ski.blade_id == ski.blade_id:
            return carried_to(shop, view, blade, unit)
    return None


# -- the sheet corrected ---------------------------------------------------------------------------

TEXTS = ("rider", "serial", "model", "size", "note")
_FIELDS = ("name", *TEXTS, "wing")


def sheet_of(ski: rows.Ski) -> dict[str, str]:
    """Return the lines of a ski's sheet that can be corrected, as texts."""
    texts: dict[str, str] = {key: getattr(ski, key) for key in ("name", *TEXTS)}
    return {**texts, "wing": "yes" if ski.has_wing else "no"}


@whole
def correct_ski(shop: Shop, ski_id: str, fields: Mapping[str, str]) -> rows.Ski:
    """Keep a corrected sheet of a ski; a field left out stays as it is, a blank one is emptied.

    ``fields`` are some of ``SHEET``.

    Raises:
        InputError: names the field; or nothing is changed, or another ski is called so.
    """
    old, methods = shop.book.ski(ski_id), fields.get(METHODS)
    new = replace(old, **_typed(fields))
    if methods is not None:
        new = replace(new, methods=methods_typed(shop, old, methods))
    if new.methods != old.methods and shop.ski_state(ski_id).round_day:
        raise MidPassError(METHODS)
    if new == old:
        raise InputError("ski", old.name, "something that is written down otherwise now")
    wanted = (new.name, new.rider, new.serial)
    for other in shop.book.skis():
        if other.id != ski_id and (other.name, other.rider, other.serial) == wanted:
            accepted = "what no other ski has: this name, rider and serial are known"
            raise InputError("name", new.name, accepted)
    return shop.book.correct_ski(new, who=shop.who)


@whole
def change_worn(
    shop: Shop, ski_id: str, parts: Mapping[str, str], reason: str, methods: str | None
) -> tuple[str, ...]:
    """Give a ski other parts, have it read by other methods, or both; return what changed.

    ``parts``: blade, block or neither; ``methods``: as typed, None: as they are. All is kept or
    nothing.

    Raises:
        InputError: as :func:`change_parts` and :func:`correct_ski` do; or methods are typed beside
            a new blade, whose methods are others.
    """
    if methods is not None and "blade" in parts:  # the names are those of the blade before
        raise InputError(METHODS, methods, "as it was: save the new blade first")
    words: tuple[str, ...] = ()
    if parts:
        words = change_parts(shop, ski_id, {**parts, "reason": reason}).changes
    if methods is not None:
        correct_ski(shop, ski_id, {METHODS: methods})
        words += ("read by other methods",)
    return words


def _typed(fields: Mapping[str, str]) -> dict[str, Any]:
    out: dict[str, Any] = {key: checked_text(fields, key) for key in TEXTS if key in fields}
    if "name" in fields:
        out["name"] = checked_name(fields)
    if "wing" in fields:
        out["has_wing"] = yes_or_no(fields["wing"], "wing")
    return out


def changed_words(old: rows.Ski, new: rows.Ski) -> str:
    """Return which lines of the sheet were changed."""
    before, after = sheet_of(old), sheet_of(new)
    changed = [key for key in _FIELDS if before[key] != after[key]]
    return ", ".join([*changed, *([METHODS] if old.methods != new.methods else [])])
