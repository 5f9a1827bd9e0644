"""What the shop has settled that bears on every job: checklists, repeats, a second pair of eyes.

A checklist that was changed applies from then on. Each tick is held against the list that was in
force when it was made, so that what was passed under an earlier list stays passed.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import field, replace
from functools import lru_cache
from typing import Any

from workbench.advice.checklists import FINAL, RECEIVED, WING, CheckItem, with_clamp_last
from workbench.frozen import dataclass
from workbench.measure.display import Dial
from workbench.records.book import Book
from workbench.work.trust import setting_values
from workbench.work.trust.setting_values import FAR_RECEIVED_MM, FAR_TARGET_MM

RECEIVED_SETTING, FINAL_SETTING = "check_received", "check_final"
TORQUE_SETTING = "torque_notes"
REPEATS, EYES, FINEST = "repeats", "second_eyes", "finest_turn"
FAR_RECEIVED, FAR_TARGET = "far_received", "far_target"
BELL, FLASH = "bell", "flash"
AFTER_LOCK = "after_lock"
LEARNING = "learning"
DIAL_SETTING = "dial"

AS_LAST_TIME = "as last time"
"""What the note of a job begins with that is to be set as the ski was set last."""


@dataclass(frozen=True, slots=True)
class ChecklistVersion:
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
    by fastener. ``far_received_mm``, ``far_target_mm``: how far from what is known a reading as
    received or a target may be before it is asked about. ``after_lock``: whether nothing is signed
    off before each reading was taken once more with the clamp bolts tight. ``learning``: whether
    turns go by what the bench has learnt, each time with the id of the setting, oldest first.
    ``dial``: what the driver shows beside turns.
    """

    received: tuple[ChecklistVersion, ...] = (ChecklistVersion("", RECEIVED),)
    final: tuple[ChecklistVersion, ...] = (ChecklistVersion("", FINAL),)
    repeats: int = 1
    second_eyes: bool = False
    after_lock: bool = False
    torque: Mapping[str, str] = field(default_factory=dict)
    far_received_mm: float = FAR_RECEIVED_MM
    far_target_mm: float = FAR_TARGET_MM
    learning: tuple[tuple[str, bool], ...] = ()
    dial: Dial = "turns"

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

    def learns_at(self, row_id: str) -> bool:
        """Whether turns went by what the bench has learnt when a row was kept; "~" is now."""
        return next((on for since, on in reversed(self.learning) if since < row_id), False)

    @property
    def ids(self) -> tuple[str, ...]:
        """The ids of the settings that gave its lists."""
        return tuple(version.since for version in (*self.received, *self.final))

    def without(self, ids: Collection[str]) -> Rules:
        """These rules without the lists that came with these rows of the settings."""
        return replace(
            self,
            received=tuple(v for v in self.received if v.since not in ids),
            final=tuple(v for v in self.final if v.since not in ids),
        )

    def final_at(self, row_id: str, has_wing: bool) -> frozenset[str]:
        """The keys of the final check that was in force when a row was kept."""
        return _at(self.final, row_id).keys(has_wing)


def _at(versions: Sequence[ChecklistVersion], row_id: str) -> ChecklistVersion:
    return next((v for v in reversed(versions) if v.since < row_id), versions[0])


@lru_cache(maxsize=64)
def _keys(items: tuple[CheckItem, ...], has_wing: bool) -> frozenset[str]:
    return frozenset(i.key for i in items if has_wing or i.key != WING)


SHAPING = (
    RECEIVED_SETTING, FINAL_SETTING, TORQUE_SETTING, REPEATS, EYES, AFTER_LOCK, FAR_RECEIVED,
    FAR_TARGET, LEARNING, DIAL_SETTING,
)  # fmt: skip
"""The settings that rules are made of."""


def shop_rules(book: Book) -> Rules:
    """Return the rules kept in a book; what nobody set, or what cannot be read, is as shipped."""
    kept = book.settings_kept(SHAPING)
    if not kept:
        return SHIPPED_RULES
    latest = {name: values[-1][1] for name, values in kept.items()}
    final = _versions(kept.get(FINAL_SETTING, ()), FINAL)
    return Rules(
        received=_versions(kept.get(RECEIVED_SETTING, ()), RECEIVED),
        final=tuple(ChecklistVersion(v.since, with_clamp_last(v.items)) for v in final),
        repeats=setting_values.REPEATS.of(latest.get(REPEATS)),
        second_eyes=setting_values.OFF.of(latest.get(EYES)),
        after_lock=setting_values.OFF.of(latest.get(AFTER_LOCK)),
        torque=torque_of(latest.get(TORQUE_SETTING, "")),
        far_received_mm=setting_values.FAR_RECEIVED.of(latest.get(FAR_RECEIVED)),
        far_target_mm=setting_values.FAR_TARGET.of(latest.get(FAR_TARGET)),
        dial=setting_values.DIAL.of(latest.get(DIAL_SETTING)),
        learning=tuple(
            (row_id, setting_values.OFF.of(text)) for row_id, text in kept.get(LEARNING, ())
        ),
    )


SHIPPED_RULES = Rules()


def _versions(
    kept: Iterable[tuple[str, str]], shipped: tuple[CheckItem, ...]
) -> tuple[ChecklistVersion, ...]:
    read = ((row_id, items_of(text)) for row_id, text in kept)
    known = (ChecklistVersion(row_id, items) for row_id, items in read if items)
    return (ChecklistVersion("", shipped), *known)


def default_finest(book: Book) -> float | None:
    """Return the finest turn (turns) that new jobs begin with; None leaves it to their block."""
    return setting_values.FINEST.of(book.setting(FINEST))


def items_of(text: str) -> tuple[CheckItem, ...]:
    """Return the items of a kept list; nothing where the text is no such list."""
    try:
        data = json.loads(text)
        items = tuple(CheckItem(_word(i["key"]), _word(i["words"])) for i in data)
    except (ValueError, TypeError, KeyError, RecursionError):
        return ()
    return items if len({i.key for i in items}) == len(items) else ()


def checklist_text(items: Iterable[CheckItem]) -> str:
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
