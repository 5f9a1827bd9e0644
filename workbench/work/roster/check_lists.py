"""The shop's checklists and torque notes: changed, as plain lines, and which item of them is meant.

What was passed before a change stays passed.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from workbench.advice.checklists import (
    CLAMP,
    MAKER_WINS,
    TORQUE_NOTES,
    WING,
    CheckItem,
    TorqueNote,
    with_clamp_last,
)
from workbench.errors import InputError
from workbench.records.store.row_checks import keepable
from workbench.records.store.rows import Checklist
from workbench.work.job.shop import Shop
from workbench.work.text.words import clean
from workbench.work.trust.shop_policy import (
    FINAL_SETTING,
    RECEIVED_SETTING,
    TORQUE_SETTING,
    Rules,
    checklist_text,
    shop_rules,
)

LONGEST_ITEM = 120
LONGEST_TORQUE = 200
MOST_ITEMS = 20
_SETTING: dict[Checklist, str] = {"received": RECEIVED_SETTING, "final": FINAL_SETTING}

Items = tuple[CheckItem, ...]


@dataclass(frozen=True, slots=True)
class Torque:
    """A fastener's note as it is; ``own`` where the words are the shop's."""

    note: TorqueNote
    words: str
    own: bool


def torque_notes(rules: Rules) -> tuple[Torque, ...]:
    """Return the notes of all fasteners, the shop's words where it wrote its own."""
    return tuple(Torque(n, rules.torque.get(n.key, n.words), n.key in rules.torque)
                 for n in TORQUE_NOTES)  # fmt: skip


def items_now(rules: Rules, which: Checklist) -> Items:
    """Return a list as it is, the wing's item included."""
    return rules.received_now if which == "received" else rules.final_now


# -- changes ---------------------------------------------------------------------------------------


def add_item(shop: Shop, which: Checklist, words: str, after: str = "") -> Items:
    """Put a new item into a list, behind the item ``after``; the clamp bolts stay last."""
    item_words = _words(words)

    def changed(items: Items) -> Iterable[CheckItem]:
        if len(items) >= MOST_ITEMS:
            raise InputError("check", words, f"at most {MOST_ITEMS} items on a list")
        new = CheckItem(_new_key(item_words, items), item_words)
        at = next((n for n, i in enumerate(items, 1) if i.key == after), len(items))
        return (*items[:at], new, *items[at:])

    return _change(shop, which, changed)


def reword_item(shop: Shop, which: Checklist, key: str, words: str) -> Items:
    """Give an item other words; it stays the same item."""
    item_words = _words(words)
    check_changeable(which, key)
    return _change(
        shop, which, lambda items: [CheckItem(key, item_words) if i.key == key else i
                                    for i in items], key,
    )  # fmt: skip


def remove_item(shop: Shop, which: Checklist, key: str) -> Items:
    """Take an item off a list; the clamp bolts never, and never the last of the received check."""
    check_changeable(which, key)

    def changed(items: Items) -> Iterable[CheckItem]:
        if len(items) == 1:
            raise InputError("check", items[0].words, "a list with at least one item")
        return [i for i in items if i.key != key]

    return _change(shop, which, changed, key)


def move_item(shop: Shop, which: Checklist, key: str, by: int) -> Items:
    """Move an item one place up (-1) or down (+1); the clamp bolts stay last."""
    check_changeable(which, key)

    def changed(items: Items) -> Iterable[CheckItem]:
        at = next(n for n, i in enumerate(items) if i.key == key)
        last = len(items) - (2 if which == "final" else 1)
        if not 0 <= at + by <= last:
            raise InputError("check", items[at].words, "a place within the list")
        order = [i for i in items if i.key != key]
        order.insert(at + by, items[at])
        return order

    return _change(shop, which, changed, key)


def reword_torque(shop: Shop, fastener: str, words: str) -> None:
    """Write the shop's own note of a fastener; blank goes back to the words as shipped."""
    if fastener not in {n.key for n in TORQUE_NOTES}:
        known = ", ".join(n.key for n in TORQUE_NOTES)
        raise InputError("fastener", fastener, f"one of: {known}")
    text = words.strip().rstrip(".")
    keepable("torque note", text)
    if len(text) > LONGEST_TORQUE or not text.isprintable():
        raise InputError("torque note", words, f"one line of at most {LONGEST_TORQUE} characters")
    own = {k: w for k, w in shop_rules(shop.book).torque.items() if k != fastener}
    if text:
        own[fastener] = text
    shop.remember(TORQUE_SETTING, json.dumps(own, ensure_ascii=False))


def put_back(shop: Shop, rules: Rules) -> None:
    """Make lists and notes again what they were in ``rules``."""
    now = shop_rules(shop.book)
    for which in _SETTING:
        if items_now(now, which) != items_now(rules, which):
            shop.remember(_SETTING[which], checklist_text(items_now(rules, which)))
    if now.torque != rules.torque:
        shop.remember(TORQUE_SETTING, json.dumps(dict(rules.torque), ensure_ascii=False))


def _change(
    shop: Shop,
    which: Checklist,
    changed: Callable[[Items], Iterable[CheckItem]],
    key: str | None = None,
) -> Items:
    items = items_now(shop_rules(shop.book), which)
    if key is not None and key not in {i.key for i in items}:
        raise InputError("check", key, f"one of: {', '.join(i.key for i in items)}")
    new = tuple(changed(items))
    new = with_clamp_last(new) if which == "final" else new
    shop.remember(_SETTING[which], checklist_text(new))
    return new


def check_changeable(which: Checklist, key: str) -> None:
    """Raise an InputError for the item that no shop may change: the clamp bolts, checked last."""
    if which == "final" and key == CLAMP:
        raise InputError("check", key, "another item: the clamp bolts stay, always last")


def _words(text: str) -> str:
    words = text.strip()
    keepable("check", words)
    if not 1 <= len(words) <= LONGEST_ITEM or not words.isprintable():
        raise InputError("check", text, f"1 to {LONGEST_ITEM} characters on one line")
    return words


def _new_key(words: str, items: Sequence[CheckItem]) -> str:
    """Return a key made of an item's first words, other than all that have a meaning."""
    taken = {i.key for i in items} | {CLAMP, WING}
    stem = "-".join(re.findall(r"[a-z0-9]+", words.lower())[:3]) or "item"
    return next(k for k in _numbered(stem) if k not in taken)


def _numbered(stem: str) -> Iterable[str]:
    yield stem
    n = 2
    while True:
        yield f"{stem}-{n}"
        n += 1


# -- as lines --------------------------------------------------------------------------------------

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
    return _meant("check", text, items_now(shop_rules(shop.book), which))


def fastener_meant(shop: Shop, text: str) -> str:
    """Return the key of the fastener that is meant, by its key or number; else an InputError."""
    notes = [each.note for each in torque_notes(shop_rules(shop.book))]
    return _meant("fastener", text, notes).key


def _meant(field: str, text: str, known: Sequence[Named]) -> Named:
    wanted = text.strip().casefold()
    for number, each in enumerate(known, 1):
        if wanted in (each.key.casefold(), str(number)):
            return each
    said = " · ".join(f"{n} {clean(each.key)}" for n, each in enumerate(known, 1))
    raise InputError(field, text, f"one of: {said}")
