"""Correcting what is written down of a ski: a new version of its sheet; the old ones stay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from workbench.errors import InputError
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.job.stages import MidPassError
from workbench.work.roster.adding import checked_name, checked_text
from workbench.work.roster.parts_typed import yes_or_no
from workbench.work.roster.wear import change_parts, methods_typed

TEXTS = ("rider", "serial", "model", "size", "note")
_FIELDS = ("name", *TEXTS, "wing")


def sheet_of(ski: rows.Ski) -> dict[str, str]:
    """Return the lines of a ski's sheet that can be corrected, as texts."""
    texts: dict[str, str] = {key: getattr(ski, key) for key in ("name", *TEXTS)}
    return {**texts, "wing": "yes" if ski.has_wing else "no"}


METHODS = "methods"
"""The field of what a ski is read by, in order."""


def correct_ski(shop: Shop, ski_id: str, fields: Mapping[str, str]) -> rows.Ski:
    """Keep a corrected sheet of a ski; a field left out stays as it is, a blank one is emptied.

    Fields: name, rider, serial, model, size, note; wing (yes or no); methods, three or more of the
    blade's, by name or number, parted by semicolons.

    Raises:
        InputError: names the field; or nothing is changed, or another ski is called so.
    """
    return shop.book.batch(_correct, shop, ski_id, _typed(fields), fields.get(METHODS))


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
    return shop.book.batch(_change_worn, shop, ski_id, parts, reason, methods)


def _change_worn(
    shop: Shop, ski_id: str, parts: Mapping[str, str], reason: str, methods: str | None
) -> tuple[str, ...]:
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


def _correct(shop: Shop, ski_id: str, changes: Mapping[str, Any], methods: str | None) -> rows.Ski:
    old = shop.book.ski(ski_id)
    new = replace(old, **changes)
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


def changed_words(old: rows.Ski, new: rows.Ski) -> str:
    """Return which lines of the sheet were changed."""
    before, after = sheet_of(old), sheet_of(new)
    changed = [key for key in _FIELDS if before[key] != after[key]]
    return ", ".join([*changed, *([METHODS] if old.methods != new.methods else [])])
