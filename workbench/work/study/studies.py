"""Repeatability studies at the bench: read blind in a shuffled order, taken back, struck out.

A study is one quantity in one unit. Its state is never stored: the turn that is due is the
first of its order without a reading not struck out.
"""

from __future__ import annotations

from typing import NoReturn

from workbench.errors import InputError
from workbench.measure.lengths import (
    Entry,
    Length,
    Placing,
    parse_length,
    understand,
)
from workbench.measure.units import MM_PER, Unit, other
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.job.ski_state import TAKEN_BACK
from workbench.work.roster.calipers import in_hand
from workbench.work.trust.study_view import State, StudyView, study_as_is

UNIT_WORDS: dict[Unit, str] = {"in": "inches", "mm": "millimetres"}

GLYPHS: dict[State, str] = {"planned": "○", "under way": "◐", "complete": "●", "struck out": "✗"}

BLIND = (
    "Earlier readings are not shown while the test runs: whoever knows the last number reads "
    "it again."
)


def studies_of(shop: Shop) -> tuple[StudyView, ...]:
    """Return all studies, oldest first, struck ones included."""
    return tuple(study_as_is(shop.book, i, each) for i, each in enumerate(shop.book.studies(), 1))


def view_of(shop: Shop, study_id: str) -> StudyView:
    """Return a study as it is."""
    for i, study in enumerate(shop.book.studies(), 1):
        if study.id == study_id:
            return study_as_is(shop.book, i, study)
    raise InputError("study", study_id, "a repeatability test of this book")


def find_study(shop: Shop, text: str) -> StudyView:
    """Return the newest study of this name, those that stand first; else the one of this number."""
    every = shop.book.studies()
    named = [s for s in every if s.name.casefold() == text.strip().casefold()]
    if named:
        newest = max(named, key=lambda s: (s.struck is None, s.id))
        return view_of(shop, newest.id)
    number = text.strip().removeprefix("#")
    if number.isascii() and number.isdigit() and 1 <= int(number[:6]) <= len(every):
        return study_as_is(shop.book, int(number[:6]), every[int(number[:6]) - 1])
    accepted = f"a test's name, or its number 1 to {len(every)}" if every else "no test is kept"
    raise InputError("study", text, accepted)


# -- reading ---------------------------------------------------------------------------------------


def understood(view: StudyView, text: str) -> Entry:
    """Read an entry for the turn that is due, in the study's own unit and no other.

    Raises:
        InputError: no length, a negative one, or one in the other unit: two units in one study
            would mix two roundings of the caliper into what is measured.
    """
    unit = view.study.unit
    length = parse_length(text, unit, "reading")
    if length.signed and length.mm < 0.0:
        raise InputError("reading", text, "a reading, which is never negative")
    if length.named and length.unit != unit:
        _refuse_unit(text, unit)
    if view.usual_mm is None:
        return _first(length, unit)
    found = understand(text, unit, view.usual_mm, "reading")
    if found.placings[0].unit != unit:
        _refuse_unit(text, unit)
    return found


def _first(length: Length, unit: Unit) -> Entry:
    """Understand the very first reading: there is nothing yet to place its point by."""
    number = f"{length.mm / MM_PER[unit]:.10g}"
    question = f"no point in it, and nothing read yet to place one by: is it {number} {unit}?"
    return Entry(
        length.text, (Placing(length.mm, unit, number),), question if length.pointless else ""
    )


def _refuse_unit(text: str, unit: Unit) -> NoReturn:
    raise InputError(
        "reading", text,
        f"a reading in {UNIT_WORDS[unit]}: this test takes no other. Set the caliper to "
        f"{UNIT_WORDS[unit]}, or plan another test in {UNIT_WORDS[other(unit)]}",
    )  # fmt: skip


def take(shop: Shop, view: StudyView, text: str, mm: float) -> StudyView:
    """Keep a reading of the turn that is due; return the study as it is then.

    Raises:
        InputError: no turn is due, or another bench has taken it meanwhile.
    """
    caliper = in_hand(shop)
    caliper_id = None if caliper is None else caliper.id
    return shop.book.batch(_keep_reading, shop, view, text, mm, caliper_id)


def _keep_reading(
    shop: Shop, seen: StudyView, text: str, mm: float, caliper_id: str | None
) -> StudyView:
    now = view_of(shop, seen.study.id)
    due = now.due
    if due is None:
        raise InputError("reading", text, f"no reading is due: the test is {now.state}")
    if due != seen.due:
        raise InputError("reading", text, f"the turn of {due.words}: another bench took this one")
    shop.book.add_entry(
        shop.who,
        rows.StudyReading(
            study_id=now.study.id,
            part=due.part,
            person=due.person,
            trial=due.trial - 1,
            text=text,
            unit=now.study.unit,
            mm=mm,
            caliper_id=caliper_id,
        ),
    )
    return view_of(shop, now.study.id)


def take_back(shop: Shop, view: StudyView) -> tuple[StudyView, rows.StudyReading | None]:
    """Strike out the last reading; it stays readable, and its turn is due again."""
    now = view_of(shop, view.study.id)
    if now.study.struck is not None or not now.live:
        return now, None
    last = now.live[-1]
    shop.book.strike(last.id, TAKEN_BACK, shop.who)
    return view_of(shop, view.study.id), last


def strike_reading(shop: Shop, view: StudyView, reading_id: str, reason: str) -> StudyView:
    """Strike out any one reading of the study with a reason; its turn is due again."""
    if all(reading_id != r.id for r in view.readings):
        raise InputError("reading", reading_id, "a reading of this test")
    _check_reason(reason)
    shop.book.strike(reading_id, reason.strip(), shop.who)
    return view_of(shop, view.study.id)


def strike_study(shop: Shop, view: StudyView, reason: str) -> StudyView:
    """Strike out a whole study with a reason; plan and readings stay readable."""
    _check_reason(reason)
    if view.study.struck is not None:
        raise InputError("study", view.study.name, "a test that is not struck out yet")
    shop.book.strike(view.study.id, reason.strip(), shop.who)
    return view_of(shop, view.study.id)


def _check_reason(reason: str) -> None:
    if not reason.strip():
        raise InputError("reason", reason, "a word or two on why")
