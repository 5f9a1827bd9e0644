"""What the shop has settled that bears on every job: checklists, repeats, a second pair of eyes.

A checklist that was changed applies from then on. Each tick is held against the list that was in
force when it was made, so that what was passed under an earlier list stays passed.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from functools import lru_cache
from typing import Any

from workbench.advice.checklists import FINAL, RECEIVED, WING, CheckItem, with_clamp_last
from workbench.frozen import dataclass
from workbench.records.book import Book

RECEIVED_SETTING, FINAL_SETTING = "check_received", "check_final"
TORQUE_SETTING = "torque_notes"
REPEATS, EYES, FINEST = "repeats", "second_eyes", "finest_turn"
AFTER_LOCK = "after_lock"
MOST_REPEATS = 10

AS_LAST_TIME = "as last time"
"""What the note of a job begins with that is to be set as the ski was set last."""


@dataclass(frozen=True, slots=True)
class Version:
    """A checklist and the id of the setting that brought it into force; ids sort by time."""

    since: str
    items: tuple[CheckItem, ...]

    def keys(self, has_wing: bool = True) -> frozenset[str]:
        """The keys of the list, as asked of a ski with or without a wing."""
        return _keys(self.items, has_wing)


@dataclass(frozen=True, slots=True)
class Rules:
    """The shop's rules. ``received`` and ``final``: every version, oldest first, the last in force.

    ``repeats``: readings wanted of each kind before a job goes on. ``torque``: the shop's own words
    by fastener. ``after_lock``: whether nothing is signed off before each reading was taken once
    more with the clamp bolts tight.
    """

    received: tuple[Version, ...] = (Version("", RECEIVED),)
    final: tuple[Version, ...] = (Version("", FINAL),)
    repeats: int = 1
    second_eyes: bool = False
    after_lock: bool = False
    torque: Mapping[str, str] = field(default_factory=dict)

    @property
    def received_now(self) -> tuple[CheckItem, ...]:
        """The received check in force."""
        return self.received[-1].items

    @property
    def final_now(self) -> tuple[CheckItem, ...]:
        """The final check in force, the wing's item included."""
        return self.final[-1].items

    def received_at(self, row_id: str) -> frozenset[str]:
        """The keys of the received check that was in force when a row was kept."""
        return _at(self.received, row_id).keys()

    def final_at(self, row_id: str, has_wing: bool) -> frozenset[str]:
        """The keys of the final check that was in force when a row was kept."""
        return _at(self.final, row_id).keys(has_wing)


def _at(versions: Sequence[Version], row_id: str) -> Version:
    return next((v for v in reversed(versions) if v.since < row_id), versions[0])


@lru_cache(maxsize=64)
def _keys(items: tuple[CheckItem, ...], has_wing: bool) -> frozenset[str]:
    return frozenset(i.key for i in items if has_wing or i.key != WING)


def rules_of(book: Book) -> Rules:
    """Return the rules kept in a book; what nobody set, or what cannot be read, is as shipped."""
    kept = book.settings_kept(
        (RECEIVED_SETTING, FINAL_SETTING, TORQUE_SETTING, REPEATS, EYES, AFTER_LOCK)
    )
    if not kept:
        return SHIPPED
    latest = {name: values[-1][1] for name, values in kept.items()}
    final = _versions(kept.get(FINAL_SETTING, ()), FINAL)
    return Rules(
        received=_versions(kept.get(RECEIVED_SETTING, ()), RECEIVED),
        final=tuple(Version(v.since, with_clamp_last(v.items)) for v in final),
        repeats=_repeats(latest.get(REPEATS, "")),
        second_eyes=latest.get(EYES) == "on",
        after_lock=latest.get(AFTER_LOCK) == "on",
        torque=torque_of(latest.get(TORQUE_SETTING, "")),
    )


SHIPPED = Rules()


def _versions(
    kept: Iterable[tuple[str, str]], shipped: tuple[CheckItem, ...]
) -> tuple[Version, ...]:
    out = [Version("", shipped)]
    for row_id, text in kept:
        items = items_of(text)
        if items:
            out.append(Version(row_id, items))
    return tuple(out)


def _repeats(text: str) -> int:
    return int(text) if text.isdecimal() and 1 <= int(text[:3]) <= MOST_REPEATS else 1


def default_finest(book: Book) -> float | None:
    """Return the finest turn (turns) that new jobs begin with; None leaves it to their block."""
    text = book.setting(FINEST, "") or ""
    try:
        turn = float(text)
    except ValueError:
        return None
    return turn if turn == 0.0 or 1 / 64 <= turn <= 1.0 else None


def items_of(text: str) -> tuple[CheckItem, ...]:
    """Return the items of a kept list; nothing where the text is no such list."""
    try:
        data = json.loads(text)
        items = tuple(CheckItem(_word(i["key"]), _word(i["words"])) for i in data)
    except (ValueError, TypeError, KeyError, RecursionError):
        return ()
    return items if len({i.key for i in items}) == len(items) else ()


def text_of(items: Iterable[CheckItem]) -> str:
    """Return a list as the text it is kept as."""
    return json.dumps([{"key": i.key, "words": i.words} for i in items], ensure_ascii=False)


def torque_of(text: str) -> dict[str, str]:
    """Return the shop's own torque notes by fastener; nothing where the text is no such table."""
    try:
        data: dict[str, Any] = json.loads(text) if text else {}
        return {_word(key): _word(words) for key, words in data.items()}
    except (ValueError, TypeError, AttributeError, RecursionError):
        return {}


def _word(value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise ValueError
    return value
