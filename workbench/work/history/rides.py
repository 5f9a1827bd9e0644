"""After the ride: what the rider felt, what technicians try for it, and a choice made the target.

The rules of thumb are the ones that ship, or the shop's own, read strictly. It offers and does the
arithmetic; the technician chooses, one change at a time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Literal

from workbench.advice.ride_feel import (
    CLAIM,
    SURE,
    SURE_WORDS,
    WHAT_WORDS,
    WHATS,
    Complaint,
    Rules,
    Suggestion,
    Try,
    Water,
    What,
    suggestions,
)
from workbench.errors import InputError
from workbench.measure.display import FINE, change_text, length_text
from workbench.measure.lengths import parse_length
from workbench.measure.temperature import WATER_C, parse_temperature
from workbench.measure.units import Unit, degrees_typed
from workbench.places import shipped
from workbench.records.store import rows
from workbench.records.store.row_checks import keepable
from workbench.work.files.table_files import Table, parse_table
from workbench.work.job.entry import Typed
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job.stages import ALLOWED, MID_PASS, Stage
from workbench.work.order.round_records import live
from workbench.work.text.fields import Field
from workbench.work.text.local_time import local_day
from workbench.work.text.words import clean
from workbench.work.trust.job_reading import Line

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
    step = _step_typed(text, named, table.where("step"))
    return Try(named, step, text.strip(), table.name("why"), table.name("cost"), rated)


def _step_typed(text: str, what: What, where: str) -> float:
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


RIDE = (
    Field("rider", "Rider", "who rode it", "NAME", blank="the ski's own"),
    Field("place", "Where", "which water", "WORDS", blank=""),
    Field("water", "Water", "its temperature, such as 17C or 63F", "DEGREES", blank=""),
    Field("rope", "Rope", "in your own words", "WORDS", blank=""),
    Field("speed", "Speed", "in your own words", "WORDS", blank=""),
    Field(
        "complaints",
        "It did",
        "numbers or words of the short list, such as 1,4",
        "NUMBERS",
        blank="",
    ),
    Field("text", "In words", "the rider's own words", "WORDS", blank=""),
    Field("rating", "Rating", "1 (poor) to 5 (as good as it gets)", "N", blank=""),
)
"""What is asked after a ride."""

_ACCEPTED = "its readings are accepted: sign it off and queue it again, or take back to the target"
NOT_NOW: dict[Stage, str] = {
    "signed off": "this ski is released: queue it again, read it, then choose",
    "set aside": "this ski is set aside: take it up again first",
    "measuring": "turns were made: take the readings after them first",
    "wing": _ACCEPTED,
    "final check": _ACCEPTED,
    "sign-off": _ACCEPTED,
}
"""Why no target can be set at a stage, where it is not that the readings are still to come."""


@dataclass(frozen=True, slots=True)
class Ride:
    """A ride note with its complaints in words and what may be tried for them."""

    note: rows.RideNote
    complaints: tuple[str, ...]
    suggestions: tuple[Suggestion, ...]


@dataclass(frozen=True, slots=True)
class Offer:
    """What a suggestion would make of the ski in hand, with the arithmetic in words.

    ``line`` is None for the wing; ``trouble`` says why it cannot be the target now, and is empty
    where it can.
    """

    suggestion: Suggestion
    line: Line | None
    arithmetic: str
    trouble: str = ""


# -- notes -------------------------------------------------------------------------------------


def rides_of(shop: Shop, ski_id: str) -> tuple[Ride, ...]:
    """Return the ride notes of a ski that are not struck out, newest first."""
    rules = ride_rules_of(shop)
    words = {complaint.key: complaint.words for complaint in rules.complaints}
    notes = (
        n for past in shop.book.history_of_ski(ski_id) for n in live(past.facts, rows.RideNote)
    )
    return tuple(
        Ride(
            note,
            tuple(words.get(key, key) for key in note.complaints),
            suggestions(rules, note.complaints, note.water_c),
        )
        for note in sorted(notes, key=lambda n: n.id, reverse=True)
    )


def ridden_job(shop: Shop, view: JobView) -> str:
    """Return the job that a ride note is about: the last one released, else the one in hand."""
    for history in reversed(shop.book.history_of_ski(view.ski.id)):
        if history.job.struck is None and live(history.facts, rows.SignOff):
            return history.job.id
    return view.job.id


def listed_complaints(rules: Rules) -> str:
    """Return the short list with its numbers, on one line."""
    return " · ".join(f"{i} {c.words}" for i, c in enumerate(rules.complaints, 1))


def keep_ride(shop: Shop, view: JobView, fields: Mapping[str, str]) -> rows.RideNote:
    """Keep what came back from a ride, of the fields ``RIDE``.

    All may be blank, but not all of complaints, rating and text.

    Raises:
        InputError: names the field; nothing is kept.
    """
    rider, place, water, rope, speed = (
        _text(fields, key, 200) for key in ("rider", "place", "water", "rope", "speed")
    )
    rider = rider or view.ski.rider
    water_c = _water_c(water)
    complaints = complaints_in(ride_rules_of(shop), fields.get("complaints", ""))
    rating = _rating(fields.get("rating", ""))
    text = _text(fields, "text", 4000)
    if not (complaints or rating or text):
        raise InputError("text", text, "the rider's words, a number of the list, or a rating")
    note = rows.RideNote(
        text=text, rider=rider, place=place, water=water, water_c=water_c, rope=rope, speed=speed,
        complaints=tuple(c.key for c in complaints), rating=rating,
    )  # fmt: skip
    return shop.act(
        view, None, lambda now: shop.book.add_fact(ridden_job(shop, now), shop.who, note)
    )


def _text(fields: Mapping[str, str], key: str, longest: int) -> str:
    text = fields.get(key, "").strip()
    if len(text) > longest:
        raise InputError(key, text, f"at most {longest} characters")
    return str(keepable(key, text))


def _water_c(text: str) -> float | None:
    if not text:
        return None
    water_c = parse_temperature(text, "water").c
    if not WATER_C[0] <= water_c <= WATER_C[1]:
        raise InputError("water", text, "water that can be skied in: -2 to 45 C, 28 to 113 F")
    return water_c


def _rating(text: str) -> int | None:
    if not text.strip():
        return None
    if text.strip() not in ("1", "2", "3", "4", "5"):
        raise InputError("rating", text, "1 (poor) to 5 (as good as it gets), or blank")
    return int(text)


def complaints_in(rules: Rules, text: str) -> tuple[Complaint, ...]:
    """Return the complaints that numbers, keys or words of the list name, each once.

    Raises:
        InputError: something that is none of them, or words that two complaints share.
    """
    found: dict[str, Complaint] = {}
    for part in text.replace(";", ",").split(","):
        meant = _by_words(rules, part)
        for complaint in (meant,) if meant else (_by_word(rules, w) for w in part.split()):
            found.setdefault(complaint.key, complaint)
    return tuple(found.values())


def _by_words(rules: Rules, part: str) -> Complaint | None:
    """Return the one complaint that has these words in its own, such as 'tail slides'."""
    words = " ".join(part.casefold().split())
    if not any(c.isalpha() for c in words):
        return None
    having = [c for c in rules.complaints if words in c.words.casefold()]
    return having[0] if len(having) == 1 else None


def _by_word(rules: Rules, word: str) -> Complaint:
    """Return the complaint of a number of the list, or of a key."""
    at = int(word) - 1 if word.isascii() and word.isdigit() and len(word) < 4 else None
    if at is not None and 0 <= at < len(rules.complaints):
        return rules.complaints[at]
    complaint = rules.complaint(word)
    if complaint is None:
        raise InputError("complaints", word, f"numbers of the list: {listed_complaints(rules)}")
    return complaint


# -- suggestions -------------------------------------------------------------------------------


def try_words(change: Try, unit: Unit) -> str:
    """Return a change in words: ``depth +0.003 in``."""
    return f"{WHAT_WORDS[change.what]} {_step(change, unit)}"


def _step(change: Try, unit: Unit) -> str:
    if change.what == "wing":
        return f"{'+' if change.step > 0 else '−'}{abs(change.step):g}°"
    return f"{change_text(change.step, unit, FINE[unit])} {unit}"


def offers_for(
    view: JobView, found: Sequence[Suggestion], unit: Unit, wing_deg: float | None
) -> tuple[Offer, ...]:
    """Return what each suggestion would make of the ski in hand; ``wing_deg`` is its wing now."""
    return tuple(_offer(view, each, unit, wing_deg) for each in found)


def _offer(view: JobView, suggestion: Suggestion, unit: Unit, wing_deg: float | None) -> Offer:
    change = suggestion.change
    if change.what == "wing":
        return _wing_offer(view, suggestion, wing_deg)
    line = next((x for x in view.lines if x.method.quantity == change.what), None)
    if line is None:
        return Offer(suggestion, None, "", f"this ski has no reading of its {change.what}")
    if line.now_mm is None:
        return Offer(suggestion, line, "", f"read it first: {line.method.name}")
    now = f"{length_text(line.now_mm, unit)} {unit}"
    to = f"{length_text(line.now_mm + change.step, unit)} {unit}"
    sum_ = f"{line.method.name}: {now} {_step(change, unit)} = {to}"
    return Offer(suggestion, line, sum_, _not_now(view))


def _wing_offer(view: JobView, suggestion: Suggestion, now_deg: float | None) -> Offer:
    if not view.ski.has_wing:
        return Offer(suggestion, None, "", "this ski has no wing")
    if now_deg is None:
        words = "the wing's angle was never set here: set it, then ride again"
        return Offer(suggestion, None, "", words)
    change = suggestion.change
    sum_ = f"wing: {now_deg:g}° {_step(change, 'mm')} = {now_deg + change.step:g}°"
    return Offer(suggestion, None, sum_, _not_now(view))


def wing_of(shop: Shop, ski_id: str) -> float | None:
    """Return the wing's angle last kept for a ski (degrees), or None."""
    history = shop.book.history_of_ski(ski_id)
    kept = [w for past in history for w in live(past.facts, rows.WingSetting)]
    return max(kept, key=lambda w: w.id).angle_deg if kept else None


def _not_now(view: JobView) -> str:
    if view.progress.mid_pass:
        return f"{MID_PASS}: finish it and measure first, or take its steps back"
    if "aim" in ALLOWED[view.stage]:
        return ""
    if view.job.kind == "recheck":
        return "this is a check after the ride: queue the ski again to set it"
    return NOT_NOW.get(
        view.stage,
        "a target can be set once the readings as received are taken and the studs seated",
    )


def choose(shop: Shop, view: JobView, offer: Offer) -> JobView:
    """Make a suggestion the target of the ski in hand, and keep why.

    Raises:
        InputError: it cannot be the target now.
    """
    change = offer.suggestion.change
    if offer.trouble or (offer.line is None and change.what != "wing"):
        raise InputError("suggestion", WHAT_WORDS[change.what], offer.trouble or "a reading of it")
    return shop.act(view, "aim", partial(_choose, shop, offer))


def _choose(shop: Shop, offer: Offer, now: JobView) -> JobView:
    change, line = offer.suggestion.change, offer.line
    if line is None:
        angle = wing_of(shop, now.ski.id)
        assert angle is not None
        now = shop.aim_wing(now, angle + change.step)
    else:
        assert line.now_mm is not None
        unit = parse_length(change.step_text, "in").unit
        mm = line.now_mm + change.step
        now = shop.aim_at(now, line, Typed(change.step_text, unit, mm), "change")
    because = f"{offer.arithmetic}; tried because: {offer.suggestion.because}"
    return shop.note(now, "advice", because)


# -- for the command line ------------------------------------------------------------------------


def offers_of(shop: Shop, view: JobView, unit: Unit) -> tuple[Offer, ...]:
    """Return what may be tried for the newest ride note of a ski."""
    rides = rides_of(shop, view.ski.id)
    found = rides[0].suggestions if rides else ()
    return offers_for(view, found, unit, wing_of(shop, view.ski.id))


def ride_lines(shop: Shop, view: JobView, unit: Unit, every: bool = True) -> list[str]:
    """Return the ride notes of a ski, newest first, and what may be tried for the newest."""
    rides = rides_of(shop, view.ski.id)
    out = [f"Ski: {clean(view.ski.name)}."]
    for number, ride in enumerate(rides if every else rides[:1], 1):
        out += _note_lines(number, ride)
    if len(rides) > 1 and not every:
        out.append(f"Earlier notes: {len(rides) - 1}; --all shows them.")
    if not rides:
        return [*out, "No ride note yet.", *complaint_lines(shop)]
    return [*out, *offer_lines(offers_of(shop, view, unit), unit), CLAIM]


def _note_lines(number: int, ride: Ride) -> list[str]:
    note = ride.note
    rating = f"{note.rating} of 5" if note.rating is not None else ""
    facts = (
        ("rider", note.rider), ("place", note.place), ("water", note.water), ("rope", note.rope),
        ("speed", note.speed), ("rating", rating), ("felt", "; ".join(ride.complaints)),
        ("in words", note.text),
    )  # fmt: skip
    name = f"Ride {number}"
    day = f"{name}: {local_day(note.at)} {clean(note.who)}".rstrip()
    return [day, *(f"{name} {what}: {clean(text)}" for what, text in facts if text)]


def offer_lines(offers: Sequence[Offer], unit: Unit) -> list[str]:
    """Return what technicians try: each with its sum, why, its cost and what is in the way."""
    out: list[str] = []
    for number, offer in enumerate(offers, 1):
        change = offer.suggestion.change
        name = f"Try {number}"
        out.append(f"{name}: {try_words(change, unit)}, {SURE_WORDS[change.sure]}")
        out += [f"{name} sum: {clean(offer.arithmetic)}"] if offer.arithmetic else []
        out += [
            f"{name} why: {clean(change.why)}",
            f"{name} for: {clean(offer.suggestion.because)}",
            f"{name} may cost: {clean(change.cost)}",
        ]
        out += [f"{name} not now: {clean(offer.trouble)}"] if offer.trouble else []
    return out or ["Nothing in the list for this note."]


def complaint_lines(shop: Shop) -> list[str]:
    """Return the short list of what a ski can do wrong, with its numbers."""
    found = enumerate(ride_rules_of(shop).complaints, 1)
    return [f"Complaint {i}: {clean(each.words)}" for i, each in found]
