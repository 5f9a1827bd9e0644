"""The shop's checklists and torque notes as plain lines, and which item of them is meant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeVar

from workbench.advice.checklists import MAKER_WINS, WING, CheckItem, TorqueNote
from workbench.errors import InputError
from workbench.records.store.rows import Checklist
from workbench.work.job.shop import Shop
from workbench.work.order.shop_policy import Rules, rules_of
from workbench.work.roster.check_lists import Torque, items_now, torque_notes
from workbench.work.text.words import clean

_TITLES: dict[Checklist, str] = {"received": "Received", "final": "Final"}

Named = TypeVar("Named", CheckItem, TorqueNote)


def check_lines(rules: Rules, lists: Iterable[str]) -> list[str]:
    """Return one line for each item of ``lists`` (received, final, torque): number, key, words."""
    out: list[str] = []
    wanted = set(lists)
    for which, title in _TITLES.items():
        if which in wanted:
            out += [_item(which, title, n, i) for n, i in enumerate(items_now(rules, which), 1)]
    if "torque" in wanted:
        out += [_note(n, each) for n, each in enumerate(torque_notes(rules), 1)]
        out.append(f"Torque: {MAKER_WINS}.")
    return out


def _item(which: Checklist, title: str, number: int, item: CheckItem) -> str:
    more = "; with a wing only" if (which, item.key) == ("final", WING) else ""
    return f"{title} {number}: {clean(item.key)}: {clean(item.words)}{more}"


def _note(number: int, each: Torque) -> str:
    own = " (the shop's words)" if each.own else ""
    return f"Torque {number}: {each.note.key}: {each.note.name}: {clean(each.words)}{own}"


def check_item_meant(shop: Shop, which: Checklist, text: str) -> CheckItem:
    """Return the item of a list that is meant, by its key or number; else an InputError."""
    return _meant("check", text, items_now(rules_of(shop.book), which))


def fastener_meant(shop: Shop, text: str) -> str:
    """Return the key of the fastener that is meant, by its key or number; else an InputError."""
    notes = [each.note for each in torque_notes(rules_of(shop.book))]
    return _meant("fastener", text, notes).key


def _meant(field: str, text: str, known: Sequence[Named]) -> Named:
    wanted = text.strip().casefold()
    for number, each in enumerate(known, 1):
        if wanted in (each.key.casefold(), str(number)):
            return each
    said = " · ".join(f"{n} {clean(each.key)}" for n, each in enumerate(known, 1))
    raise InputError(field, text, f"one of: {said}")
