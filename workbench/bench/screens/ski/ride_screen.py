"""After the ride: the notes of this ski, what may be tried, and a choice made the target."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from workbench.advice.ride_feel import CLAIM, SURE_WORDS
from workbench.bench.bases.forms import Field, Form, by_view
from workbench.bench.bases.lists import UnitList
from workbench.bench.draw.text import paragraph, styled, visible
from workbench.bench.hand.state import BenchState
from workbench.errors import InputError
from workbench.measure.units import Unit
from workbench.work.history import rides
from workbench.work.history.rides import ride_rules_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.text.local_time import local_day

STARS = "★☆"


class RideScreen(UnitList):
    """The ride notes, newest first, and the offers for the one that is shown."""

    TITLE_WORDS = "After the ride"
    KEYS = "↑ ↓ choose · + is the target · n adds a note · p earlier one · * in/mm · Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(shop, state)
        self._note = 0
        self._load()

    def in_unit(self, unit: Unit) -> None:
        """Show lengths in another unit."""
        super().in_unit(unit)
        self._load()

    def _load(self) -> None:
        self._rides = rides.rides_of(self.shop, self.view.ski.id)
        self._note = min(self._note, max(len(self._rides) - 1, 0))
        found = self._rides[self._note].suggestions if self._rides else ()
        wing_deg = rides.wing_of(self.shop, self.view.ski.id)
        self._offers = rides.offers_for(self.view, found, self.unit, wing_deg)

    # -- what is shown ---------------------------------------------------------------------------

    def head(self, width: int) -> Sequence[Content]:
        """The note: who, where, what water, what was felt, and the rider's words."""
        name = visible(self.view.ski.name, 30)
        if not self._rides:
            return [styled((f"{name}: no ride note yet; n writes one", "bold")), Content("")]
        ride = self._rides[self._note]
        note = ride.note
        rating = (
            f" {STARS[0] * note.rating}{STARS[1] * (5 - note.rating)} {note.rating} of 5"
            if note.rating
            else ""
        )
        place = (note.rider, note.place, note.water, note.rope, note.speed)
        many = len(self._rides) > 1
        out = [
            styled(
                (f"{name} · {local_day(note.at)} {visible(note.who, 12)}", "bold"),
                (rating, "$accent"),
                (f"  note {self._note + 1} of {len(self._rides)}" if many else "", "$ink-faint"),
            ),
            styled(visible(" · ".join(x for x in place if x), width)),
        ]
        out += paragraph("felt: " + "; ".join(ride.complaints), width)[:2]
        out += paragraph(note.text, width, "italic")[:3]
        return [*out, Content(""), styled(("What technicians try", "bold $accent"))]

    def rows(self, width: int) -> Sequence[Content]:
        """The offers, surest first."""
        out = []
        for i, offer in enumerate(self._offers):
            change = offer.suggestion.change
            text = f"{rides.try_words(change, self.unit):<26} {SURE_WORDS[change.sure]:<16}"
            if len(text) + 3 + len(change.why) <= width:  # below it is in full
                text += f" {change.why}"
            out.append(self.marked_row(i, text, width))
        if not out and self._rides:
            out.append(styled(("  nothing in the list for this note", "$ink-faint")))
        return out

    def foot(self, width: int) -> Sequence[Content]:
        """The arithmetic of the marked offer, what it may cost, and how little is claimed."""
        out = [Content("")]
        if self._offers:
            offer = self._offers[min(self.at, len(self._offers) - 1)]
            change = offer.suggestion.change
            out.append(styled((visible(offer.arithmetic, width), "bold")))
            why = f"{change.why}; for: {offer.suggestion.because}. It may cost: {change.cost}."
            out += paragraph(why[0].upper() + why[1:], width)[:3]
            if offer.trouble:
                out.append(
                    styled((visible(f"✗ not now: {offer.trouble}", width), "$state-caution"))
                )
        return [*out, *paragraph(CLAIM, width, "$ink-faint")]

    # -- what keys do ----------------------------------------------------------------------------

    def letter(self, char: str) -> None:
        """Write a note, or show an earlier one."""
        if char == "n":
            self.app.push_screen(ride_form(self.shop, self.view), self._noted)
        elif char == "p" and self._rides:
            self._note = (self._note + 1) % len(self._rides)
            self.at = 0
            self._load()
            self.say("")

    def _noted(self, note: object) -> None:
        if note is not None:
            self._note, self.at = 0, 0
            self.seen_anew(self.shop.view(self.view.job.id))
            self.say("note kept", "done")

    def plus(self) -> None:
        """Make the marked offer the target."""
        if not self._offers:
            raise InputError("suggestion", "(none)", self._notes_wanted())
        offer = self._offers[self.at]
        self.view = rides.choose(self.shop, self.view, offer)
        self._load()
        self.say(f"target: {offer.arithmetic}. Change this one thing, then ride again.", "done")

    def _notes_wanted(self) -> str:
        """Return which note a suggestion would need, and the keys that lead to one."""
        if not self._rides:
            return "a ride note first: n"
        earlier = ", p shows an earlier one" if len(self._rides) > 1 else ""
        return f"a note that something in the list is tried for: n writes one{earlier}"


def ride_form(shop: Shop, view: JobView) -> Form:
    """Return the form for what came back from a ride; its result is the note."""
    listed = rides.listed_complaints(ride_rules_of(shop))
    fields = (
        Field("rider", "Rider", "who rode it", view.ski.rider),
        Field("place", "Where", "which water; may stay blank"),
        Field("water", "Water", "its temperature, such as 17 C or 63 F; may stay blank"),
        Field("rope", "Rope", "in your own words; may stay blank"),
        Field("speed", "Speed", "in your own words; may stay blank"),
        Field("complaints", "It did", f"numbers or words: {listed}"),
        Field("text", "In words", "the rider's own words"),
        Field("rating", "Rating", "1 (poor) to 5 (as good as it gets); may stay blank"),
    )
    return Form(
        "A ride note", fields, by_view(view, lambda v, texts: rides.keep_ride(shop, v, texts))
    )
