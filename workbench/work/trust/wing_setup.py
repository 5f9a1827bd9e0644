"""How this shop reads a wing: its gauges, its straightedge, and where it holds it.

Kept as the shop's settings, by these names: ``gauge_set``, ``wing_hold``, ``wing_straightedge``,
``wing_place``, ``wing_lead``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from workbench.errors import InputError
from workbench.fin.wing import HOLDS, LONGEST_STRAIGHTEDGE_MM, SET_DEG, Hold, Lead, angle_of
from workbench.frozen import dataclass
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit
from workbench.records.book import Book, whole
from workbench.records.store.rows import AnyFact, WingHold, WingSetting

SMALLEST_DEG, LARGEST_DEG = SET_DEG
MOST_GAUGES = 40

GAUGE_SET = "gauge_set"
HOLD = "wing_hold"
STRAIGHTEDGE = "wing_straightedge"
PLACE = "wing_place"
LEAD = "wing_lead"


@dataclass(frozen=True, slots=True)
class WingSetup:
    """The shop's way of reading a wing: lengths in mm, gauges in degrees, smallest first.

    ``place_mm`` is from the tail end forward to the wing, where the straightedge's middle lies;
    ``lead`` is which way a wing is set. ``assumed`` names the settings nobody has made yet.
    """

    hold: Hold
    straightedge_mm: float
    place_mm: float
    lead: Lead
    gauges: tuple[float, ...]
    assumed: tuple[str, ...]

    @property
    def kept_hold(self) -> WingHold:
        """The hold that is kept with an angle: nothing where the shop never said."""
        return "" if HOLD in self.assumed else self.hold

    def gauge_named(self, angle_deg: float) -> str:
        """Return the gauge of this angle as it is written on it, or nothing where there is none."""
        return next((f"{g:g}" for g in self.gauges if abs(g - angle_deg) < 0.005), "")


def wing_setup(book: Book) -> WingSetup:
    """Return the shop's setup; a setting that cannot be used counts as not made."""
    kept = book.settings()
    gauges: tuple[float, ...] = ()
    assumed = [] if kept.get(GAUGE_SET, "").strip() else [GAUGE_SET]
    try:
        gauges = gauges_of(kept.get(GAUGE_SET, ""))
    except InputError:
        assumed.append(GAUGE_SET)
    made: dict[str, Any] = {}
    for name, (read, default) in _READERS.items():
        try:
            made[name] = read(kept.get(name, ""))
        except InputError:
            assumed.append(name)
            made[name] = read(default)
    return WingSetup(
        made[HOLD], made[STRAIGHTEDGE], made[PLACE], made[LEAD], gauges, tuple(assumed)
    )


def change_setup(book: Book, fields: Mapping[str, str], unit: Unit, who: str) -> None:
    """Keep the setup as typed; fields: gauges, hold, straightedge, place, lead. All or nothing.

    Raises:
        InputError: naming the field that cannot be used.
    """
    gauges = gauges_of(fields.get("gauges", ""))
    straightedge = fields.get("straightedge", "")
    place = fields.get("place", "")
    kept = {
        GAUGE_SET: " ".join(f"{g:g}" for g in gauges),
        HOLD: hold_of(fields.get("hold", "")),
        STRAIGHTEDGE: _with_unit(straightedge, unit, "straightedge"),
        PLACE: _with_unit(place, unit, "place"),
        LEAD: lead_of(fields.get("lead", "")),
    }
    _keep(book, kept, who)


def change_hold(book: Book, hold: Hold, who: str) -> None:
    """Keep where the shop holds its straightedge."""
    book.set_setting(HOLD, hold, who=who)


@whole
def _keep(book: Book, settings: Mapping[str, str], who: str) -> None:
    for name, value in settings.items():
        book.set_setting(name, value, who=who)


def gauges_of(text: str) -> tuple[float, ...]:
    """Return the angles of a gauge set typed as ``7 7.5 8``; blank is no gauge.

    Raises:
        InputError: something that is no angle of 2 to 20 degrees, or far too many.
    """
    words = text.replace(";", " ").replace("°", " ").split()
    if len(words) > MOST_GAUGES:
        raise InputError("gauges", text, f"at most {MOST_GAUGES} angles")
    return tuple(sorted({angle_of(word.rstrip(","), "gauges") for word in words}))


def hold_of(text: str) -> Hold:
    """Return front, middle or rear as typed, in full or by the first letter."""
    word = text.strip().casefold()
    for hold in HOLDS:
        if word and hold.startswith(word):
            return hold
    raise InputError("hold", text, "front, middle or rear")


def hold_number(hold: WingHold) -> int | None:
    """Return a hold as the mark of a wanted angle keeps it: 1 front, 2 middle, 3 rear, else None.

    The mark's text is the bare angle, as books older than this have it.
    """
    return next((n for n, each in enumerate(HOLDS, 1) if each == hold), None)


def hold_numbered(number: int | None) -> WingHold:
    """Return the hold of such a number; nothing where the mark names none."""
    return next((each for n, each in enumerate(HOLDS, 1) if n == number), "")


def held_words(angle_deg: float, hold: str) -> str:
    """Return an angle, and where the straightedge lies where that is known."""
    return f"{angle_deg:g}° held at the {hold}" if hold else f"{angle_deg:g}°"


def lead_of(text: str) -> Lead:
    """Return which way a wing is set: its leading edge out of the base, or in."""
    word = text.strip().casefold()
    if word == "out":
        return "out"
    if word == "in":
        return "in"
    raise InputError("lead", text, "out or in: where the wing's leading edge is")


def kept_wing_words(facts: Sequence[AnyFact]) -> str:
    """Return the angle last kept among a job's facts, with its hold and gauge."""
    kept = (f for f in reversed(facts) if isinstance(f, WingSetting) and f.struck is None)
    return setting_words(next(kept))


def setting_words(setting: WingSetting) -> str:
    """Return an angle as it was kept, with its hold and gauge."""
    hold = f" held at the {setting.hold}" if setting.hold else ", hold not named"
    gauge = f", gauge {setting.gauge}" if setting.gauge else ""
    return f"{setting.angle_deg:g}°{hold}{gauge}"


def _length(text: str, unit: Unit, field: str) -> float:
    mm = parse_length(text, unit, field).mm
    least = 0.0 if field in ("place", PLACE) else 10.0
    if not least <= mm <= LONGEST_STRAIGHTEDGE_MM:
        raise InputError(field, text, f"{least:g} to {LONGEST_STRAIGHTEDGE_MM:g} mm")
    return mm


def kept_length(name: str, text: str) -> str:
    """Return a straightedge's length or the wing's place (STRAIGHTEDGE, PLACE) as it is kept.

    Raises:
        InputError: no length with its unit, or outside what a bench has.
    """
    if not parse_length(text, "in", name).named:
        raise InputError(name, text, "a length with its unit, such as 6 in or 152 mm")
    return _with_unit(text, "in", name)


def _with_unit(text: str, unit: Unit, field: str) -> str:
    _length(text, unit, field)
    return text.strip() if parse_length(text, unit, field).named else f"{text.strip()} {unit}"


_READERS: dict[str, tuple[Callable[[str], Any], str]] = {
    HOLD: (hold_of, "middle"),
    STRAIGHTEDGE: (lambda text: _length(text, "in", STRAIGHTEDGE), "6 in"),
    PLACE: (lambda text: _length(text, "in", PLACE), "3 in"),
    LEAD: (lead_of, "out"),
}
"""What reads each setting, and what is assumed until the shop says otherwise (common practice, no
source)."""
