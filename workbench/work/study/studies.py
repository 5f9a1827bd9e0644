"""Repeatability studies at the bench: planned, read blind in a shuffled order, struck out.

A study is one quantity in one unit. Its state is never stored: the turn that is due is the
first of its order without a reading not struck out.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Mapping
from typing import Any, NoReturn

from workbench.errors import InputError
from workbench.measure.lengths import Entry, Placing, parse_length, understand
from workbench.measure.units import MM_PER, Unit, other
from workbench.records.book import whole
from workbench.records.store import rows
from workbench.records.store.row_checks import keepable
from workbench.work.job.shop import Shop
from workbench.work.order.round_records import TAKEN_BACK
from workbench.work.text.fields import Field, filled
from workbench.work.trust.reading_tools import held_caliper
from workbench.work.trust.shop_policy import near_of
from workbench.work.trust.study_results import State, StudyView, study_as_is

UNIT_WORDS: dict[Unit, str] = {"in": "inches", "mm": "millimetres"}

STATE_SIGNS: dict[State, str] = {
    "planned": "○", "under way": "◐", "complete": "●", "struck out": "✗",
}  # fmt: skip

BLIND = (
    "Earlier readings are not shown while the test runs: whoever knows the last number reads "
    "it again."
)

CellTrial = tuple[int, int, int]
"""Part, person and trial, each by its number from 0."""

Shuffle = Callable[[list[Any]], object]
"""Rearranges a list in place, as ``random.Random(seed).shuffle`` does."""

RULE = (
    "Every trial is a round: everyone reads every part once before anyone reads one again. "
    "In a round the people take turns, each through the parts in a shuffled order of their own; "
    "from one round to the next nobody reads twice running, nor the same part again, where that "
    "can be avoided."
)

PLAN = (
    Field("name", "Study", "a name of its own, such as slow hour in May", "NAME"),
    Field("what", "What is read", "one quantity: a method's name, or your own words", "METHOD"),
    Field(
        "unit", "Unit", "in or mm: every reading of the test is in it", "UNIT", "the bench's"
    ),
    Field("near", "Near", "about what it reads, to place points by", "LENGTH", blank=""),
    Field("parts", "Parts", "2 or more with ';' between: 'Heron 66; Tern 67'", "NAMES"),
    Field("people", "People", "initials, with a blank between: 'KV JT'", "INITIALS"),
    Field("trials", "Trials", "how often everyone reads every part, 2 to 10", "N", default="3"),
)  # fmt: skip
"""What is asked of a new study."""

_LONGEST_NAME = 40
MOST_PARTS, MOST_PEOPLE, MOST_TRIALS, MOST_READINGS = 20, 10, 10, 400
LEAST_TRIALS = 2
"""One reading of a cell shows no scatter."""


# -- found -----------------------------------------------------------------------------------------


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
    every = tuple(enumerate(shop.book.studies(), 1))
    named = [(i, s) for i, s in every if s.name.casefold() == text.strip().casefold()]
    number = text.strip().removeprefix("#")
    numbered = [(i, s) for i, s in every if str(i) == number]
    for i, study in sorted(named, key=lambda n: (n[1].struck is None, n[1].id))[-1:] or numbered:
        return study_as_is(shop.book, i, study)
    accepted = f"a test's name, or its number 1 to {len(every)}" if every else "no test is kept"
    raise InputError("study", text, accepted)


# -- planning --------------------------------------------------------------------------------------


def plan_study(shop: Shop, fields: Mapping[str, str], shuffle: Shuffle | None = None) -> str:
    """Keep the plan of a study with a shuffled reading order; return its id.

    ``fields`` are those of ``PLAN``; one ski re-seated has the parts ``seat 1; seat 2``.
    ``shuffle`` replaces chance in tests.

    Raises:
        InputError: names the field, what was typed, and what would do.
    """
    texts = filled(PLAN, fields)
    name = _name(texts, "name", "a name of its own")
    what = _name(texts, "what", "what is read: a method's name, or your own words")
    unit = shop.unit_typed(texts["unit"])
    near = _near_mm(texts["near"], unit)
    if ";" not in texts["parts"] and "," in texts["parts"]:
        raise InputError("parts", texts["parts"], "';' between them: Heron 66; Tern 67")
    parts = _listed(
        "parts", texts["parts"].split(";"), (2, MOST_PARTS),
        "2 or more with ';' between them; one ski re-seated is: seat 1; seat 2; seat 3",
    )  # fmt: skip
    initials = texts["people"].replace(";", " ").replace(",", " ").split()
    people = _listed("people", initials, (1, MOST_PEOPLE), "initials with a blank between: KV JT")
    trials = _trials(texts["trials"])
    count = len(parts) * len(people) * trials
    if count > MOST_READINGS:
        found = f"{len(parts)} x {len(people)} x {trials} = {count} readings"
        raise InputError("trials", found, f"at most {MOST_READINGS} readings in one test")
    order = reading_order(len(parts), len(people), trials, shuffle or random.SystemRandom().shuffle)
    plan = rows.Study(
        name=name, what=what, unit=unit, parts=parts, people=people, trials=trials, sequence=order
    )
    return _keep_plan(shop, plan, near)


@whole
def _keep_plan(shop: Shop, plan: rows.Study, near: float | None) -> str:
    live = [s for s in shop.book.studies() if s.struck is None]
    if any(s.name.casefold() == plan.name.casefold() for s in live):
        raise InputError("name", plan.name, "a name that no other test has")
    study = shop.book.add_entry(shop.who, plan)
    if near is not None:
        shop.remember(near_of(study.id).name, repr(near))
    return study.id


def _name(fields: Mapping[str, str], key: str, accepted: str) -> str:
    text = fields.get(key, "").strip()
    if not 1 <= len(text) <= _LONGEST_NAME:
        raise InputError(key, text, f"{accepted}, 1 to {_LONGEST_NAME} characters")
    keepable(key, text)
    return text


def _near_mm(text: str, unit: Unit) -> float | None:
    if not text.strip():
        return None
    near = parse_length(text, unit, "near")
    if not 0.0 < near.mm <= 3000.0:
        raise InputError("near", text, "about what will be read, such as 2.45; or blank")
    return near.mm


def _listed(
    field: str, given: Iterable[str], ends: tuple[int, int], accepted: str
) -> tuple[str, ...]:
    names = tuple(name.strip() for name in given if name.strip())
    least, most = ends
    if not least <= len(names) <= most:
        raise InputError(field, "; ".join(names), f"{accepted}; {least} to {most}")
    for i, name in enumerate(names):
        if len(name) > _LONGEST_NAME:
            raise InputError(field, name, f"names of at most {_LONGEST_NAME} characters")
        if name.casefold() in {n.casefold() for n in names[:i]}:
            raise InputError(field, name, "each named once")
        keepable(field, name)
    return names


def _trials(text: str) -> int:
    digits = text.strip()
    number = int(digits) if digits.isascii() and digits.isdigit() and len(digits) <= 3 else 0
    if not LEAST_TRIALS <= number <= MOST_TRIALS:
        ends = f"{LEAST_TRIALS} to {MOST_TRIALS}"
        accepted = f"a whole number, {ends}: one reading alone shows no scatter"
        raise InputError("trials", text, accepted)
    return number


def reading_order(parts: int, people: int, trials: int, shuffle: Shuffle) -> tuple[CellTrial, ...]:
    """Return each (part, person, trial) once, in the order of :data:`RULE`."""
    order: list[CellTrial] = []
    for trial in range(trials):
        turns = _shuffled(people, order[-1][1] if order else None, shuffle)
        last = {person: part for part, person, _ in order}
        own = {person: _shuffled(parts, last.get(person), shuffle) for person in turns}
        order += [(own[person][k], person, trial) for k in range(parts) for person in turns]
    return tuple(order)


def _shuffled(count: int, not_first: int | None, shuffle: Shuffle) -> list[int]:
    """Return the numbers below ``count`` shuffled, with another one first where there is one."""
    out = list(range(count))
    shuffle(out)
    if count > 1 and out[0] == not_first:
        rest = out[1:]
        shuffle(rest)
        mixed = [*rest[1:], out[0]]
        shuffle(mixed)
        out = [rest[0], *mixed]
    return out


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
    if view.usual_mm is None:  # the very first: there is nothing yet to place its point by
        number = f"{length.mm / MM_PER[unit]:.10g}"
        question = f"no point in it, and nothing read yet to place one by: is it {number} {unit}?"
        placing = Placing(length.mm, unit, number)
        return Entry(length.text, (placing,), question if length.pointless else "")
    found = understand(text, unit, view.usual_mm, "reading")
    if found.placings[0].unit != unit:
        _refuse_unit(text, unit)
    return found


def _refuse_unit(text: str, unit: Unit) -> NoReturn:
    raise InputError(
        "reading", text,
        f"a reading in {UNIT_WORDS[unit]}: this test takes no other. Set the caliper to "
        f"{UNIT_WORDS[unit]}, or plan another test in {UNIT_WORDS[other(unit)]}",
    )  # fmt: skip


@whole
def keep_reading(shop: Shop, view: StudyView, text: str, mm: float) -> StudyView:
    """Keep a reading of the turn that is due; return the study as it is then.

    Raises:
        InputError: no turn is due, or another bench has taken it meanwhile.
    """
    caliper = held_caliper(shop.book)
    caliper_id = None if caliper is None else caliper.id
    now = view_of(shop, view.study.id)
    due = now.due
    if due is None:
        raise InputError("reading", text, f"no reading is due: the test is {now.state}")
    if due != view.due:
        raise InputError("reading", text, f"the turn of {due.words}: another bench took this one")
    reading = rows.StudyReading(
        study_id=now.study.id, part=due.part, person=due.person, trial=due.trial - 1,
        text=text, unit=now.study.unit, mm=mm, caliper_id=caliper_id,
    )  # fmt: skip
    shop.book.add_entry(shop.who, reading)
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
    shop.book.strike(reading_id, reason.strip(), shop.who)
    return view_of(shop, view.study.id)


def strike_study(shop: Shop, view: StudyView, reason: str) -> StudyView:
    """Strike out a whole study with a reason; plan and readings stay readable."""
    if view.study.struck is not None:
        raise InputError("study", view.study.name, "a test that is not struck out yet")
    shop.book.strike(view.study.id, reason.strip(), shop.who)
    return view_of(shop, view.study.id)
