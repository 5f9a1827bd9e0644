"""A shop's rules of thumb: the ones that ship, or its own, read strictly."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

from workbench.advice.ride_feel import SURE, WHATS, Complaint, Rules, Try, Water, What
from workbench.errors import InputError
from workbench.fin.wing import degrees_typed
from workbench.measure.lengths import parse_length
from workbench.measure.temperature import parse_temperature
from workbench.places import shipped
from workbench.work.files.table_files import Table, parse_table
from workbench.work.job.shop import Shop

_SETTING = "ride_rules"
LARGEST_STEP_MM = 2.6
LARGEST_STEP_DEG = 3.0


def rules_text(shop: Shop) -> str:
    """Return the shop's own list as it was read in, else the one that ships."""
    return shop.book.setting(_SETTING) or _shipped()


def ride_rules_of(shop: Shop) -> Rules:
    """Return the rules in force in this shop."""
    return read_rules(rules_text(shop))


def keep_rules(shop: Shop, text: str) -> Rules:
    """Make ``text`` the shop's own list; raises ``InputError`` and keeps nothing where it is wrong.

    The lists that were in force before stay in the book.
    """
    rules = read_rules(text)
    shop.book.set_setting(_SETTING, text, who=shop.who)
    return rules


@lru_cache(maxsize=1)
def _shipped() -> str:
    return (shipped("fixtures") / "advice" / "ride_feel.toml").read_text(encoding="utf-8")


@lru_cache(maxsize=4)
def read_rules(text: str) -> Rules:
    """Return the rules in a TOML or JSON text.

    Raises:
        InputError: a key that is unknown or missing, a value that cannot be.
    """
    top = Table(parse_table(text), "")
    complaints = tuple(_complaint(t) for t in top.tables("complaints"))
    keys = [c.key for c in complaints]
    for key in keys:
        if keys.count(key) > 1:
            raise InputError("complaints", key, "each key once")
    tries = tuple(_try_for(t, keys) for t in top.tables("tries", required=False))
    water = tuple(_water(t) for t in top.tables("water", required=False))
    top.done()
    return Rules(complaints, tries, water)


def _complaint(table: Table) -> Complaint:
    key = table.name("key")
    if key.split() != [key] or len(key) > 40:
        raise InputError(table.where("key"), key, "a short name without spaces")
    found = Complaint(key, table.name("words"))
    table.done()
    return found


def _try_for(table: Table, keys: list[str]) -> tuple[str, Try]:
    key = table.name("for")
    if key not in keys:
        raise InputError(table.where("for"), key, f"the key of a complaint: {', '.join(keys)}")
    change = _try(table)
    table.done()
    return key, change


def _water(table: Table) -> Water:
    side: Literal["below", "above"] = "below" if table.has("below") else "above"
    limit = table.text(side, "a temperature with C or F")
    degrees = parse_temperature(limit, table.where(side))
    rule = Water(side, degrees.c, limit, _try(table))
    table.done()
    return rule


def _try(table: Table) -> Try:
    named = table.choice("change", WHATS, f"one of: {', '.join(WHATS)}")
    rated = table.choice("sure", SURE, f"one of: {', '.join(SURE)}")
    text = table.text("step", "a signed step such as '+0.003 in', degrees for the wing")
    step = _step(text, named, table.where("step"))
    return Try(named, step, text.strip(), table.name("why"), table.name("cost"), rated)


def _step(text: str, what: What, where: str) -> float:
    if what == "wing":
        try:
            step = degrees_typed(text)
        except ValueError:
            raise InputError(where, text, "degrees with a sign, such as -0.5") from None
        if not 0 < abs(step) <= LARGEST_STEP_DEG:
            raise InputError(where, text, f"degrees up to {LARGEST_STEP_DEG:g} either way, not 0")
        return step
    length = parse_length(text, "in", where)
    if not (length.signed and length.named and 0 < abs(length.mm) <= LARGEST_STEP_MM):
        accepted = "a length with its sign and unit up to 0.1 in either way, such as '+0.003 in'"
        raise InputError(where, text, accepted)
    return length.mm
