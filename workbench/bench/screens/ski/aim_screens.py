"""What may be made the target: what is tried after a ride, and the baselines that fit the ski."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from textual.content import Content

from workbench.advice.ride_feel import CLAIM, SURE_WORDS
from workbench.bench.bases.forms import Form, by_view
from workbench.bench.bases.lists import Row, UnitList, marked_row
from workbench.bench.draw.text import paragraph, styled, visible, wrapped
from workbench.bench.hand.state import BenchState
from workbench.bench.screens.shop.shop_forms import BaselineForm
from workbench.errors import InputError
from workbench.measure.display import change_between, length_text
from workbench.measure.units import Unit
from workbench.records.store.rows import Baseline
from workbench.work.history import rides
from workbench.work.history.rides import ride_rules_of
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.roster import baselines
from workbench.work.roster.corrections import Mended
from workbench.work.text.fields import Texts
from workbench.work.text.local_time import local_day

STARS = "★☆"


class RideScreen(UnitList[rides.Offer]):
    """The ride notes, newest first, and the offers for the one that is shown."""

    TITLE_WORDS = "After the ride"
    KEYS = "↑ ↓ choose · + is the target · n adds a note · p earlier one · * in/mm · Esc closes"

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(shop, state)
        self._note = 0
        self._load()

    def in_unit(self, unit: Unit) -> None:
        """Show lengths in another unit."""
        self.unit = unit
        self._load()
        self.draw()

    def _load(self) -> None:
        self._rides = rides.rides_of(self.shop, self.view.ski.id)
        self._note = min(self._note, max(len(self._rides) - 1, 0))
        found = self._rides[self._note].suggestions if self._rides else ()
        wing_deg = rides.wing_of(self.shop, self.view.ski.id)
        self.items = rides.offers_for(self.view, found, self.unit, wing_deg)

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

    def row(self, offer: rides.Offer, here: bool, width: int) -> Content:
        """An offer; the surest are first."""
        change = offer.suggestion.change
        text = f"{rides.try_words(change, self.unit):<26} {SURE_WORDS[change.sure]:<16}"
        if len(text) + 3 + len(change.why) <= width:  # below it is in full
            text += f" {change.why}"
        return marked_row(here, text, width)

    def rows(self, width: int) -> Sequence[Row]:
        """The offers, or that there are none for this note."""
        if self._rides and not self.items:
            return [styled(("  nothing in the list for this note", "$ink-faint"))]
        return super().rows(width)

    def foot(self, width: int) -> Sequence[Content]:
        """The arithmetic of the marked offer, what it may cost, and how little is claimed."""
        out = [Content("")]
        if (offer := self.marked) is not None:
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

    def acts(self) -> dict[str, Callable[[], None]]:
        """Write a note, or show an earlier one."""
        return {"n": self._write, "p": self._earlier}

    def _write(self) -> None:
        self.app.push_screen(ride_form(self.shop, self.view), self._noted)

    def _earlier(self) -> None:
        if self._rides:
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
        offer = self.marked
        if offer is None:
            raise InputError("suggestion", "(none)", self._notes_wanted())
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
    return Form(
        "A ride note", rides.RIDE, by_view(view, partial(rides.keep_ride, shop)),
        now={"rider": view.ski.rider}, more={"complaints": f": {listed}"},
    )  # fmt: skip


class BaselineScreen(UnitList[baselines.Fitting]):
    """The fitting baselines; the marked one is shown number by number."""

    TITLE_WORDS = "Baselines"
    KEYS = (
        "↑ ↓ choose · + is the target · n keeps those of now · c corrects · x strikes out · "
        "* in/mm · Esc closes"
    )

    def __init__(self, shop: Shop, state: BenchState) -> None:
        super().__init__(shop, state)
        self._load()

    def _load(self) -> None:
        self.items = baselines.fitting(self.shop, self.view)

    def head(self, width: int) -> Sequence[Content]:
        """Whose baselines these are."""
        ski = self.view.ski
        parts = (ski.name, ski.model, ski.size, ski.rider)
        return [styled((visible(" · ".join(p for p in parts if p), width), "bold")), Content("")]

    def row(self, each: baselines.Fitting, here: bool, width: int) -> Content:
        """A baseline with why it fits."""
        name, source = visible(each.baseline.name, 30), each.baseline.source
        text = f"{name:<30} {each.of:<24}"
        if len(text) + 3 + len(source) <= width:  # below it is in full
            text += f" {source}"
        return marked_row(here, text, width)

    def rows(self, width: int) -> Sequence[Row]:
        """The baselines, or how to keep one."""
        none = [styled("  none fits this ski yet; n keeps the numbers of now")]
        return super().rows(width) or none

    def foot(self, width: int) -> Sequence[Content]:
        """The marked baseline's numbers beside those read."""
        each = self.marked
        if each is None:
            return ()
        unit = self.unit
        out = [
            Content(""),
            styled(
                (f"  {'method':<30} {'baseline':>10} {'now':>10} {'off':>9} {unit}", "$ink-faint")
            ),
        ]
        for number in each.numbers:
            name = visible(number.entry.method_name, 30)
            base = length_text(number.entry.mm, unit)
            now = length_text(number.now_mm, unit) if number.now_mm is not None else "not read"
            off = ""
            if number.now_mm is not None and number.off_mm is not None:
                off = change_between(number.entry.mm, number.now_mm, unit)
            other = "" if number.line is not None else "  another method than this ski's"
            out.append(styled(f"  {name:<30} {base:>10} {now:>10} {off:>9}", (other, "$ink-faint")))
        wing = baselines.wing_words(each.baseline)
        said = " · ".join(part for part in (wing, each.baseline.source) if part)
        return [*out, *(styled(f"  {part}") for part in wrapped(said, width - 2))]

    def acts(self) -> dict[str, Callable[[], None]]:
        """Keep the numbers of now, or correct or strike out the marked baseline."""
        keep = {"n": self._keep}
        return keep | {"c": self._correct, "x": self._strike} if self.marked is not None else keep

    def _keep(self) -> None:
        self.app.push_screen(_baseline_form(self.shop, self.view), self._kept)

    def _correct(self) -> None:
        assert self.marked is not None
        self.app.push_screen(BaselineForm(self.shop, self.marked.baseline), self._corrected)

    def _corrected(self, done: object) -> None:
        if isinstance(done, Mended):
            self.view = self.shop.view(self.view.job.id)
            self._load()
            self.say(f"baseline corrected: {'; '.join(done.changes)}", "done")

    def _strike(self) -> None:
        assert self.marked is not None
        baseline = self.marked.baseline
        title = f"Strike out the baseline {visible(baseline.name, 30)}"
        self._ask_why(title, lambda why: self.shop.book.strike(baseline.id, why, self.shop.who))

    def plus(self) -> None:
        """Make the marked baseline the target."""
        if self.marked is None:
            raise InputError("baseline", "(none)", "a baseline that fits this ski: n keeps one")
        self.view = baselines.aim_at(self.shop, self.view, self.marked.baseline)
        self._load()
        self.say(f"target: {self.marked.baseline.name}", "done")


def _baseline_form(shop: Shop, view: JobView) -> Form:
    """Return the form that keeps the numbers of now as a baseline."""

    def keep(now: JobView, texts: Texts) -> Baseline:
        return baselines.keep_now(shop, now, texts["name"], texts["of"].strip().lower())

    return Form("Keep as a baseline", baselines.KEEP, by_view(view, keep))
