"""The ride notes of a ski and what may be tried, as plain lines."""

from __future__ import annotations

from collections.abc import Sequence

from workbench.advice.ride_feel import CLAIM, SURE_WORDS
from workbench.measure.units import Unit
from workbench.work.advice.ride_rules import rules_of
from workbench.work.advice.rides import (
    Offer,
    Ride,
    offers_for,
    rides_of,
    try_words,
    wing_of,
)
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.text.local_time import local_day
from workbench.work.text.words import clean


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
        ("rider", note.rider),
        ("place", note.place),
        ("water", note.water),
        ("rope", note.rope),
        ("speed", note.speed),
        ("rating", rating),
        ("felt", "; ".join(ride.complaints)),
        ("in words", note.text),
    )
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
    found = enumerate(rules_of(shop).complaints, 1)
    return [f"Complaint {i}: {clean(each.words)}" for i, each in found]
