"""What the shop has settled: how each setting is read, and the rules that bear on every job.

The book takes any text under any name: by a form, a command, a file from another bench, or a book
put back. Everything that goes by a setting reads it here; a text that does not fit counts as not
set, and :func:`misfits` tells it.

A checklist that was changed applies from then on. Each tick is held against the list that was in
force when it was made, so that what was passed under an earlier list stays passed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import field, replace
from functools import lru_cache
from typing import Any, Generic, TypeVar

from workbench.advice.checklists import FINAL, RECEIVED, WING, CheckItem, with_clamp_last
from workbench.errors import InputError
from workbench.fin.reading.method import QUANTITIES, Quantity
from workbench.frozen import dataclass
from workbench.measure.calipers import BLOCK_DAYS
from workbench.measure.display import DIALS, Dial
from workbench.measure.lengths import check_finest, parse_length
from workbench.measure.units import MM_PER_INCH, Unit
from workbench.records.book import Book

_T = TypeVar("_T")

MOST_REPEATS = 10
LONGEST_INTERVAL_DAYS = 3650
_MOST_BACKUPS = 400

FAR_RECEIVED_MM, FAR_TARGET_MM = 0.030 * MM_PER_INCH, 0.060 * MM_PER_INCH
"""Beyond these a reading as received is asked about, and a target: a fin that was ridden seldom
moved farther, and is seldom set farther in one day (common practice, no source)."""

FAR_MM = (0.1, 25.0)
"""The least and the largest such distance that asks about anything and not about everything."""

TOLERANCES_MM = (0.001, 2.0)
"""The least and the largest tolerance that says anything about a fin (common practice, no
source)."""

LONGEST_NEAR_MM = 1000.0


class Declared(Generic[_T]):
    """A setting: its name, what reads its text, and what it is where nobody set it.

    ``read`` takes the setting's name as messages say it and the text; it raises an InputError.
    """

    __slots__ = ("default", "name", "read")

    def __init__(self, name: str, read: Callable[[str, str], _T], default: _T) -> None:
        self.name, self.read, self.default = name, read, default

    def of(self, text: str | None) -> _T:
        """Return what a kept text says; blank, or one that does not fit, is the default."""
        if text is None or not text.strip():
            return self.default
        try:
            return self.read("setting", text.strip())
        except InputError:
            return self.default

    def kept_in(self, book: Book) -> _T:
        """Return what is in force in a book."""
        return self.of(book.setting(self.name))


def count(least: int, most: int, what: str) -> Callable[[str, str], int]:
    """Return what reads a whole number within these ends."""

    def read(field: str, text: str) -> int:
        is_count = text.isascii() and text.isdecimal() and len(text) < 7
        if not is_count or not least <= int(text) <= most:
            raise InputError(field, text, f"{what}, {least} to {most}")
        return int(text)

    return read


def one_of(words: Mapping[str, _T], accepted: str) -> Callable[[str, str], _T]:
    """Return what reads one of these words, in capitals or not."""

    def read(field: str, text: str) -> _T:
        if text.lower() not in words:
            raise InputError(field, text, accepted)
        return words[text.lower()]

    return read


on_off = one_of(
    {"on": True, "yes": True, "y": True, "off": False, "no": False, "n": False}, "on or off"
)
unit: Callable[[str, str], Unit] = one_of({"in": "in", "mm": "mm"}, "in or mm")
dial: Callable[[str, str], Dial] = one_of({d: d for d in DIALS}, "turns, degrees or hours")


def length(least: float, most: float, such: str) -> Callable[[str, str], float]:
    """Return what reads a length with its unit (mm) within these ends."""

    def read(field: str, text: str) -> float:
        found = parse_length(text, "in", field)
        if not found.named:
            raise InputError(field, text, f"a length with its unit, such as {such}")
        if not least <= found.mm <= most:
            raise InputError(field, text, f"{least:g} to {most:g} mm, such as {such}")
        return found.mm

    return read


def _number(least: float, most: float, what: str) -> Callable[[str, str], float]:
    def read(field: str, text: str) -> float:
        try:
            number = float(text) if len(text) <= 40 else math.nan
        except ValueError:
            number = math.nan
        if not least <= number <= most:
            raise InputError(field, text, f"{what}, {least:g} to {most:g}")
        return number

    return read


def _finest(field: str, text: str) -> float | None:
    return check_finest(_number(0.0, 1.0, "turns")(field, text), field, text)


_tolerance = length(*TOLERANCES_MM, "0.002 in or 0.05 mm")
_far = length(*FAR_MM, "0.030 in or 0.8 mm")

REPEATS = Declared("repeats", count(1, MOST_REPEATS, "how often each reading is taken"), 1)
INTERVAL = Declared(
    "check_interval_days", count(0, LONGEST_INTERVAL_DAYS, "days between two checks"), BLOCK_DAYS
)
"""How many days a gauge-block check of a caliper holds; 0 asks for no check."""

BACKUPS = Declared("backups_kept", count(1, _MOST_BACKUPS, "how many backups are kept"), 14)
UNIT: Declared[Unit] = Declared("unit", unit, "in")
DIAL: Declared[Dial] = Declared("dial", dial, "turns")
TOLERANCES: Mapping[Quantity, Declared[float | None]] = {
    quantity: Declared(f"tolerance_{quantity}", _tolerance, None) for quantity in QUANTITIES
}
GUARD = Declared("guard_band", on_off, False)
EYES = Declared("second_eyes", on_off, False)
AFTER_LOCK = Declared("after_lock", on_off, False)
LEARNING = Declared("learning", on_off, False)
MOUSE = Declared("mouse", on_off, True)
BELL = Declared("bell", on_off, True)
FLASH = Declared("flash", on_off, True)
FAR_RECEIVED = Declared("far_received", _far, FAR_RECEIVED_MM)
FAR_TARGET = Declared("far_target", _far, FAR_TARGET_MM)
FINEST: Declared[float | None] = Declared("finest_turn", _finest, None)

_SETTINGS: tuple[Declared[Any], ...] = (
    REPEATS, INTERVAL, BACKUPS, UNIT, DIAL, *TOLERANCES.values(), GUARD, EYES, AFTER_LOCK,
    LEARNING, MOUSE, BELL, FLASH, FAR_RECEIVED, FAR_TARGET, FINEST,
)  # fmt: skip
_BY_NAME = {each.name: each for each in _SETTINGS}

_NEAR_BEGINS = "study near mm "


def near_of(study_id: str) -> Declared[float | None]:
    """Return the setting that holds about what a study will read, in mm."""
    return Declared(f"{_NEAR_BEGINS}{study_id}", _number(0.0, LONGEST_NEAR_MM, "mm"), None)


def read(name: str, text: str) -> None:
    """Raise an InputError for a text that does not fit the setting of this name."""
    declared = near_of("") if name.startswith(_NEAR_BEGINS) else _BY_NAME.get(name)
    if declared is not None and text.strip():
        declared.read(name.replace("_", " "), text.strip())


def misfits(kept: Mapping[str, str]) -> Iterator[tuple[str, InputError]]:
    """Yield what is wrong with the settings in force that do not fit, each with its name."""
    for name, text in sorted(kept.items()):
        try:
            read(name, text)
        except InputError as why:
            yield name, why


# -- the rules of every job ------------------------------------------------------------------------

RECEIVED_SETTING, FINAL_SETTING = "check_received", "check_final"
TORQUE_SETTING = "torque_notes"

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
    RECEIVED_SETTING, FINAL_SETTING, TORQUE_SETTING, REPEATS.name, EYES.name, AFTER_LOCK.name,
    FAR_RECEIVED.name, FAR_TARGET.name, LEARNING.name, DIAL.name,
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
        repeats=REPEATS.of(latest.get(REPEATS.name)),
        second_eyes=EYES.of(latest.get(EYES.name)),
        after_lock=AFTER_LOCK.of(latest.get(AFTER_LOCK.name)),
        torque=torque_of(latest.get(TORQUE_SETTING, "")),
        far_received_mm=FAR_RECEIVED.of(latest.get(FAR_RECEIVED.name)),
        far_target_mm=FAR_TARGET.of(latest.get(FAR_TARGET.name)),
        dial=DIAL.of(latest.get(DIAL.name)),
        learning=tuple((row_id, LEARNING.of(text)) for row_id, text in kept.get(LEARNING.name, ())),
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
    return FINEST.kept_in(book)


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
