"""The shop's settings: one table of names, words, what each accepts and where it begins."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from workbench.errors import InputError, shown
from workbench.fin.plan.plan import DEFAULT_TOLERANCE_MM
from workbench.measure.display import DIALS, turn_text
from workbench.measure.lengths import check_finest, parse_turn
from workbench.records.book import Book, whole
from workbench.records.store.row_checks import keepable
from workbench.work.job.shop import Shop, initials_of
from workbench.work.roster.calipers import caliper_meant
from workbench.work.roster.keys import KEYS, kept_keys
from workbench.work.text.fields import WHO, Field
from workbench.work.text.words import clean
from workbench.work.trust.reading_tools import held_caliper
from workbench.work.trust.shop_policy import (
    AFTER_LOCK,
    BACKUPS,
    BELL,
    DIAL,
    EYES,
    FAR_RECEIVED,
    FAR_TARGET,
    FINEST,
    FLASH,
    GUARD,
    INTERVAL,
    LEARNING,
    MOST_REPEATS,
    MOUSE,
    REPEATS,
    TOLERANCES,
    Declared,
    misfits,
    on_off,
)
from workbench.work.trust.wing_setup import (
    GAUGE_SET,
    HOLD,
    LEAD,
    PLACE,
    STRAIGHTEDGE,
    gauges_of,
    hold_of,
    kept_length,
    lead_of,
)

if TYPE_CHECKING:
    from workbench.fin.reading.method import Method

THEMES = ("bench-night", "bench-day", "bench-contrast")
DRAWINGS = ("braille", "block", "ascii")
LONGEST = 1000


@dataclass(frozen=True, slots=True)
class ShopSetting:
    """A setting: its name in the book, a label, words, and what it is where nobody set it.

    ``keep`` turns what was typed into the text that is kept; it raises an InputError by this name.
    """

    name: str
    label: str
    words: str
    keep: Callable[[str, str], str]
    default: str = ""

    @property
    def field(self) -> str:
        """The name as messages say it."""
        return self.name.replace("_", " ")

    def kept(self, text: str) -> str:
        """Return ``text`` as it will be kept; blank is the setting as shipped."""
        keepable(self.field, text)
        if len(text) > LONGEST:
            raise InputError(self.field, text, f"at most {LONGEST} characters")
        return self.keep(self.field, text.strip()) if text.strip() else self.default


# -- what each accepts -----------------------------------------------------------------------------


def _words(field: str, text: str) -> str:
    if not text.isprintable():
        raise InputError(field, text, "words on one line, without control characters")
    return text


def _initials(field: str, text: str) -> str:
    return initials_of(text, field) if text.strip() else ""


def _one_of(*accepted: str) -> Callable[[str, str], str]:
    def keep(field: str, text: str) -> str:
        if text.lower() not in accepted:
            raise InputError(field, text, " or ".join([", ".join(accepted[:-1]), accepted[-1]]))
        return text.lower()

    return keep


def _on_off(field: str, text: str) -> str:
    return "on" if on_off(field, text) else "off"


def _count(declared: Declared[int]) -> Callable[[str, str], str]:
    return lambda field, text: str(declared.read(field, text))


def _turn(field: str, text: str) -> str:
    return repr(check_finest(parse_turn(text, field), field, text))


def _as_typed(declared: Declared[Any]) -> Callable[[str, str], str]:
    """Return what keeps a text as it was typed, where it is one of this type."""

    def keep(field: str, text: str) -> str:
        declared.read(field, text)
        return text

    return keep


def _by(understood: Callable[[str], str]) -> Callable[[str, str], str]:
    """Return what keeps a text as ``understood`` gives it; its errors go by the setting's name."""

    def keep(field: str, text: str) -> str:
        try:
            return understood(text)
        except InputError as why:
            raise InputError(field, why.value, why.accepted) from None

    return keep


def _angles(text: str) -> str:
    return " ".join(f"{angle:g}" for angle in gauges_of(text))


SETTINGS: tuple[ShopSetting, ...] = (
    ShopSetting("shop", "Shop name", "shown at the top of the bench and on cards", _words),
    ShopSetting("who", "Initials", WHO, _initials),
    ShopSetting(
        "unit", "Unit", "in or mm: what the bench shows and takes", _one_of("in", "mm"), "in",
    ),
    ShopSetting(
        FINEST.name, "Finest turn",
        "of new jobs: 1/4, 1/8, 1/16 ...; 0 is exact; blank: their block's",
        _turn,
    ),
    ShopSetting(
        REPEATS.name, "Repeats", f"of each reading before a job goes on, 1 to {MOST_REPEATS}",
        _count(REPEATS), "1",
    ),
    *(
        ShopSetting(
            tolerance.name, f"± {quantity}", "of new methods, with its unit; blank: 0.002 in",
            _as_typed(tolerance),
        )
        for quantity, tolerance in TOLERANCES.items()
    ),
    ShopSetting(
        GUARD.name, "Guard band", "on: within only where the uncertainty fits inside too",
        _on_off, "off",
    ),
    ShopSetting(
        INTERVAL.name, "Caliper check", "with a gauge block, every so many days; 0 asks for none",
        _count(INTERVAL), str(INTERVAL.default),
    ),
    ShopSetting(
        EYES.name, "Second eyes", "on: no sign-off before somebody else looked too", _on_off, "off"
    ),
    ShopSetting(
        AFTER_LOCK.name, "After-lock",
        "on: no sign-off before each is read with the clamp bolts tight",
        _on_off, "off",
    ),
    ShopSetting(
        LEARNING.name, "Learning",
        "on: turns go by what this block and blade have taught the bench",
        _on_off, "off",
    ),
    ShopSetting(
        DIAL.name, "Turns also in",
        "degrees of a ring, or hours of a clock, on the driver; else turns",
        _one_of(*DIALS), DIALS[0],
    ),
    ShopSetting("theme", "Theme", f"one of {', '.join(THEMES)}", _one_of(*THEMES), THEMES[0]),
    ShopSetting(
        "drawing", "Drawing", f"with {', '.join(DRAWINGS)} cells", _one_of(*DRAWINGS), DRAWINGS[0]
    ),
    ShopSetting(
        MOUSE.name, "Mouse",
        "on: clicks and the wheel work; off: the terminal has it, from next time",
        _on_off, "on",
    ),
    ShopSetting("caliper", "Caliper", "in hand: its name, or its number in the register", _words),
    ShopSetting(
        GAUGE_SET, "Wing gauges", "the angles that the shop's gauges have, such as 6 7 7.5 8",
        _by(_angles),
    ),
    ShopSetting(
        HOLD, "Wing hold", "where the straightedge lies: front, middle, rear; blank: not settled",
        _by(hold_of),
    ),
    ShopSetting(
        STRAIGHTEDGE, "Straightedge", "its length, with its unit; blank: 6 in",
        _by(lambda text: kept_length(STRAIGHTEDGE, text)),
    ),
    ShopSetting(
        PLACE, "Wing at", "from the tail end to the wing, with its unit; blank: 3 in",
        _by(lambda text: kept_length(PLACE, text)),
    ),
    ShopSetting(
        LEAD, "Wing leads", "out or in: where its leading edge is; blank: out", _by(lead_of)
    ),
    ShopSetting(
        FAR_RECEIVED.name, "Far as received",
        "readings farther off are asked about; blank: 0.030 in",
        _as_typed(FAR_RECEIVED),
    ),
    ShopSetting(
        FAR_TARGET.name, "Far target", "targets farther from now are asked about; blank: 0.060 in",
        _as_typed(FAR_TARGET),
    ),
    ShopSetting(BELL.name, "Bell", "on: a doubtful entry rings the terminal's bell", _on_off, "on"),
    ShopSetting(FLASH.name, "Flash", "on: a doubtful entry flashes its frame", _on_off, "on"),
    ShopSetting(
        KEYS, "Keys", "of the bench: history=n; add_ski=o; blank: as shipped", _by(kept_keys)
    ),
    ShopSetting("card_folder", "Card folder", "where cards go; blank: beside the book", _words),
    ShopSetting(
        BACKUPS.name, "Backups kept", "of the daily ones, 1 to 400",
        _count(BACKUPS), str(BACKUPS.default),
    ),
)  # fmt: skip

LINES = tuple(Field(s.name, s.label, s.words, "VALUE") for s in SETTINGS)
BY_NAME: dict[str, ShopSetting] = {s.name: s for s in SETTINGS}
_CALIPER = "caliper"


# -- looking and changing --------------------------------------------------------------------------


def named(name: str) -> ShopSetting:
    """Return the setting of this name; ``-`` and blanks may stand for ``_``."""
    plain = re.sub(r"[\s-]+", "_", name.strip().lower())
    if plain not in BY_NAME:
        raise InputError("setting", name, f"one of: {', '.join(BY_NAME)}")
    return BY_NAME[plain]


def in_force(shop: Shop) -> dict[str, str]:
    """Return every setting as people read it: turns as parts, the caliper by its name."""
    kept = shop.book.settings()
    for name, _ in misfits(kept):
        kept.pop(name)
    return {s.name: _read(shop, s, kept.get(s.name) or s.default) for s in SETTINGS}


def misfit_lines(kept: Mapping[str, str]) -> list[str]:
    """Return in words which of these settings do not fit, and how each is struck out."""
    return [
        f"Setting {clean(name)}: {shown(why.value, 60)} is not {why.accepted}; it counts as not "
        f"set. Strike it out: quarterturn settings {clean(repr(name))} ''"
        for name, why in misfits(kept)
    ]


def strike_out(shop: Shop, name: str) -> bool:
    """Let a setting that does not fit count as not set for good; what it said stays in the book.

    False where the setting of that name fits, or there is none.
    """
    if name not in dict(misfits(shop.book.settings())):
        return False
    shop.book.set_setting(name, "", who=shop.who)
    return True


def _read(shop: Shop, setting: ShopSetting, text: str) -> str:
    if setting.name == _CALIPER:
        row = held_caliper(shop.book)
        return row.name if row is not None else ""
    if setting.name == FINEST.name and text:
        try:
            return turn_text(float(text))
        except ValueError:
            return text
    return text


def change(shop: Shop, texts: Mapping[str, str]) -> tuple[str, ...]:
    """Keep the settings whose text is another than the one in force; return their names.

    All or none: a wrong one is an InputError by its name, and then nothing is kept.
    """
    now = in_force(shop)
    amiss = dict(misfits(shop.book.settings()))
    asked = [(named(name), text.strip()) for name, text in texts.items()]
    changed = [s for s, text in asked if text != now[s.name] or s.name in amiss]
    kept = [(s, _kept(shop, s, texts[s.name])) for s in changed]
    _keep_all(shop, kept)
    for setting, text in kept:
        if setting.name == "who":
            shop.who = text
    return tuple(s.name for s in changed)


def _kept(shop: Shop, setting: ShopSetting, text: str) -> str:
    if setting.name == _CALIPER and text.strip():
        return caliper_meant(shop, text).id
    return setting.kept(text)


@whole
def _keep_all(shop: Shop, kept: Iterable[tuple[ShopSetting, str]]) -> None:
    for setting, text in kept:
        shop.book.set_setting(setting.name, text, who=shop.who)


# -- what others take from them --------------------------------------------------------------------


def tolerance_mm(book: Book, method: Method) -> float:
    """Return the tolerance (mm) that a new method begins with, by its quantity."""
    kept = TOLERANCES[method.quantity].kept_in(book)
    return DEFAULT_TOLERANCE_MM if kept is None else kept
