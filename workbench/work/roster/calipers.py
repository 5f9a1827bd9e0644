"""The shop's calipers: the register, the one in hand, and its zero and gauge-block checks.

What is typed comes as text and is kept as typed. Every wrong one is an InputError that names the
field, the value and what would be accepted, and then nothing is kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from workbench.errors import InputError
from workbench.frozen import dataclass
from workbench.measure import calipers as measure
from workbench.measure.calipers import CaliperScale, din862_mpe_mm
from workbench.measure.display import STEP
from workbench.measure.lengths import Length, parse_length, understand
from workbench.measure.units import Unit
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.records.store.row_checks import keepable
from workbench.work.job.entry import Typed
from workbench.work.job.shop import Shop
from workbench.work.text.fields import Field
from workbench.work.text.words import clean
from workbench.work.trust.reading_tools import IN_HAND, held_caliper, judged, measured, shown_name
from workbench.work.trust.shop_policy import INTERVAL

_LONGEST_NAME = 80

CALIPER = (
    Field("name", "Caliper", "a name of its own, as it is marked", "NAME"),
    Field(
        "unit", "Unit", "in or mm: what it shows, and what bare numbers here are in", "UNIT",
        blank="the bench's",
    ),
    Field(
        "resolution", "Resolution", "its last digit's step", "LENGTH", blank="0.0005 in or 0.01 mm"
    ),
    Field("mpe", "Error allowed", "its permissible error", "LENGTH", blank="that of DIN 862"),
    Field(
        "jaw_height", "Jaw height", "of the flat jaws above their tips", "LENGTH", blank="not known"
    ),
    Field(
        "reference_line", "Reference line",
        "height of the line held to the base, above the tips", "LENGTH", blank="not known",
    ),
)  # fmt: skip
"""What is asked of a new caliper."""

LONGEST_FIN_MM = 200.0
"""No number of a slalom fin is longer (common practice, no source)."""

SCALE_STEP_MM = 0.045
"""From about this step on, a scale is DIN 862's of 0.05 or 0.1 mm."""


@dataclass(frozen=True, slots=True)
class Registered:
    """A caliper of the register, whether it may be trusted today, and whether it is in hand."""

    row: rows.Caliper
    standing: measure.Standing
    in_hand: bool


def register(shop: Shop) -> tuple[Registered, ...]:
    """Return the calipers that are not struck out, oldest first."""
    held = shop.book.setting(IN_HAND, "")
    return tuple(
        Registered(row, standing_of(shop, row), row.id == held) for row in shop.book.calipers()
    )


def caliper_meant(shop: Shop, text: str) -> rows.Caliper:
    """Return the caliper of the register that a name, or its number there, means."""
    known = shop.book.calipers()
    wanted = text.strip().casefold()
    found = [c for c in known if c.name.casefold() == wanted]
    if not found and wanted.isdecimal() and len(wanted) < 5 and 1 <= int(wanted) <= len(known):
        found = [known[int(wanted) - 1]]
    if len(found) != 1:
        names = ", ".join(f"{i} {shown_name(c)}" for i, c in enumerate(known[:8], 1))
        raise InputError("caliper", text, f"a caliper of the register: {names or 'none yet'}")
    return found[0]


def take_in_hand(shop: Shop, caliper_id: str) -> rows.Caliper:
    """Make a caliper the one that readings are taken with, until another is chosen."""
    row = shop.book.caliper(caliper_id)
    if row.struck is not None:
        raise InputError("caliper", row.name, "a caliper that is not struck out")
    shop.remember(IN_HAND, row.id)
    return row


def add_caliper(shop: Shop, fields: Mapping[str, str]) -> str:
    """Keep a new caliper of the fields ``CALIPER``; return its id."""
    name = fields.get("name", "").strip()
    if not name or len(name) > _LONGEST_NAME:
        raise InputError("name", name, f"a name of 1 to {_LONGEST_NAME} characters")
    keepable("name", name)
    unit = shop.unit_typed(fields.get("unit"))
    step = _resolution_mm(fields.get("resolution", ""), unit)
    scale: CaliperScale = "digital" if step < SCALE_STEP_MM else "scale 0.1/0.05 mm"
    most, highest = measure.LARGEST_MPE_MM, measure.HIGHEST_JAW_MM
    mpe = _size_mm(
        fields, "mpe", unit, most, "its permissible error, such as 0.001; blank: DIN 862"
    )
    row = rows.Caliper(
        "",
        name,
        unit,
        step,
        din862_mpe_mm(LONGEST_FIN_MM, scale) if mpe is None else mpe,
        reference_height_mm=_size_mm(fields, "reference_line", unit, highest, _HEIGHT),
        jaw_height_mm=_size_mm(fields, "jaw_height", unit, highest, _HEIGHT),
        din862_scale=scale if mpe is None else None,
    )
    measured(row)
    return _keep(shop, row)


_HEIGHT = f"a height above the jaws' tips, at most {measure.HIGHEST_JAW_MM:g} mm; blank: not known"


@whole
def _keep(shop: Shop, row: rows.Caliper) -> str:
    if any(c.name.casefold() == row.name.casefold() for c in shop.book.calipers()):
        raise InputError("name", row.name, "a name that no other caliper has")
    return shop.book.add_caliper(row, who=shop.who).id


def _resolution_mm(text: str, unit: Unit) -> float:
    accepted = "the step of its last digit, 0.001 to 1 mm, such as 0.0005 in or 0.01 mm"
    step = parse_length(text if text.strip() else STEP[unit], unit, "resolution").mm
    low, high = measure.RESOLUTIONS_MM
    if not low <= step <= high:
        raise InputError("resolution", text, accepted)
    return step


def _size_mm(
    fields: Mapping[str, str], key: str, unit: Unit, most_mm: float, accepted: str
) -> float | None:
    text = fields.get(key, "")
    if not text.strip():
        return None
    size = parse_length(text, unit, key.replace("_", " ")).mm
    if not 0.0 < size <= most_mm:
        raise InputError(key.replace("_", " "), text, accepted)
    return size


# -- checks ----------------------------------------------------------------------------------------


def check_zero(shop: Shop, row: rows.Caliper, text: str) -> measure.CheckResult:
    """Keep what the closed jaws read, passed or not; a bare number is in the caliper's unit.

    Raises:
        InputError: not a length, or too far from 0 to be a zero.
    """
    length = parse_length(text, row.unit, "zero")
    if abs(length.mm) > measure.ZERO_REACH_MM:
        raise InputError("zero", text, "what the closed jaws read, near 0")
    nominal = Length("0", 0.0, row.unit)
    return _check(shop, row, "zero", nominal, Typed(text, length.unit, length.mm))


def block_size(text: str, unit: Unit) -> Length:
    """Return the size of a gauge block as typed; a bare number is in ``unit``."""
    length = parse_length(text, unit, "block")
    low, high = measure.BLOCKS_MM
    if not low <= length.mm <= high:
        raise InputError("block", text, f"its size, {low:g} to {high:g} mm; the unit may follow it")
    return length


def check_block(shop: Shop, row: rows.Caliper, block: Length, text: str) -> measure.CheckResult:
    """Keep what a gauge block reads, passed or not.

    Digits without a point, and the other unit, are understood by the block's size.

    Raises:
        InputError: not a length, or too far from the block's size to be its reading.
    """
    low, high = measure.block_window_mm(block.mm)
    found = understand(text, row.unit, (max(low, 0.0), high), "block reading").placings
    if len(found) != 1 or not low <= found[0].mm <= high:
        size = clean(block.text.strip())
        size = size if block.named else f"{size} {block.unit}"
        raise InputError("block reading", text, f"what a block of {size} reads, near its size")
    return _check(shop, row, "block", block, Typed(text, found[0].unit, found[0].mm))


def _check(
    shop: Shop, row: rows.Caliper, kind: rows.CheckKind, nominal: Length, read: Typed
) -> measure.CheckResult:
    kept = shop.book.add_entry(
        shop.who,
        rows.CaliperCheck(
            caliper_id=row.id,
            kind=kind,
            nominal_text=nominal.text,
            nominal_unit=nominal.unit,
            nominal_mm=nominal.mm,
            reading_text=read.text,
            reading_unit=read.unit,
            reading_mm=read.mm,
        ),
    )
    return measure.judge(measured(row), judged(kept))


def checks_of(shop: Shop, row: rows.Caliper) -> tuple[measure.Check, ...]:
    """Return a caliper's checks that stand, oldest first."""
    kept = shop.book.checks_of(row.id)
    return tuple(judged(check) for check in kept if check.struck is None)


def standing_of(shop: Shop, row: rows.Caliper) -> measure.Standing:
    """Return whether a caliper may be trusted on the shop's day."""
    checks = checks_of(shop, row)
    try:
        return measure.standing(measured(row), checks, _today(shop, checks), *interval_days(shop))
    except InputError as why:  # kept by other hands: one bad row must not hide the rest
        return measure.Standing("failed", str(why))


def interval_days(shop: Shop) -> tuple[int, int]:
    """Return how many days a zero and a gauge-block check hold; 0 asks for none.

    The shop's setting is that of the block; the zero is due every day unless the setting is 0. A
    setting that is no whole number of 0 or more counts as not set.
    """
    days = INTERVAL.kept_in(shop.book)
    return min(measure.ZERO_DAYS, days), days


def _today(shop: Shop, checks: Sequence[measure.Check]) -> int:
    """The shop's day; a bench left open over midnight is as late as its latest check."""
    day = date.fromisoformat(shop.day).toordinal()
    return max(day, *(check.day for check in checks)) if checks else day


def held_today(shop: Shop) -> tuple[rows.Caliper | None, str]:
    """Return the caliper in hand, and why it is not to be trusted today, as one sentence; else
    nothing."""
    return shop.book.at_once(_held_today, shop)


def _held_today(shop: Shop) -> tuple[rows.Caliper | None, str]:
    row = held_caliper(shop.book)
    found = standing_of(shop, row) if row is not None else None
    if row is None or found is None or found.state == "good":
        return row, ""
    sign = "failed its check" if found.state == "failed" else "is due for a check"
    return row, f"Caliper {shown_name(row)} {sign}: {found.words}."


def standing_words(shop: Shop) -> str:
    """Return why the caliper in hand is not to be trusted today; nothing where it is."""
    return held_today(shop)[1]
