"""Planning a repeatability study: what is typed is checked, and the reading order shuffled."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping

from workbench.errors import InputError
from workbench.measure.lengths import parse_length
from workbench.measure.units import Unit, unit_of
from workbench.records.store.rows import Study
from workbench.records.store.values import keepable
from workbench.work.job.shop import Shop
from workbench.work.study.study_order import Cell, Shuffle, reading_order
from workbench.work.trust.study_view import near_name

_LONGEST_NAME = 40
MOST_PARTS, MOST_PEOPLE, MOST_TRIALS, MOST_READINGS = 20, 10, 10, 400
LEAST_TRIALS = 2
"""One reading of a cell shows no scatter."""


def plan_study(shop: Shop, fields: Mapping[str, str], shuffle: Shuffle | None = None) -> str:
    """Keep the plan of a study with a shuffled reading order; return its id.

    Fields: name; what (a reading method's name, or free words); unit (in or mm); near (about what
    will be read, may stay blank); parts (``Heron 66; Tern 67``, or one ski re-seated: ``seat 1;
    seat 2``); people (initials); trials. ``shuffle`` replaces chance in tests.

    Raises:
        InputError: names the field, what was typed, and what would do.
    """
    name = _name(fields, "name")
    what = _name(fields, "what", "what is read: a method's name, or your own words")
    unit = unit_of(fields.get("unit", ""))
    near = _near_mm(fields.get("near", ""), unit)
    parts = _parts(fields.get("parts", ""))
    people = _people(fields.get("people", ""))
    trials = _trials(fields.get("trials", ""))
    count = len(parts) * len(people) * trials
    if count > MOST_READINGS:
        raise InputError(
            "trials",
            f"{len(parts)} x {len(people)} x {trials} = {count} readings",
            f"at most {MOST_READINGS} readings in one test",
        )
    order = reading_order(len(parts), len(people), trials, shuffle or random.SystemRandom().shuffle)
    return shop.book.batch(_keep_plan, shop, (name, what, unit, near), parts, people, order)


def _keep_plan(
    shop: Shop,
    head: tuple[str, str, Unit, float | None],
    parts: tuple[str, ...],
    people: tuple[str, ...],
    order: tuple[Cell, ...],
) -> str:
    name, what, unit, near = head
    live = [s for s in shop.book.studies() if s.struck is None]
    if any(s.name.casefold() == name.casefold() for s in live):
        raise InputError("name", name, "a name that no other test has")
    study = shop.book.add_entry(
        shop.who,
        Study(
            name=name,
            what=what,
            unit=unit,
            parts=parts,
            people=people,
            trials=max(cell[2] for cell in order) + 1,
            sequence=order,
        ),
    )
    if near is not None:
        shop.remember(near_name(study.id), repr(near))
    return study.id


def _name(fields: Mapping[str, str], key: str, accepted: str = "a name of its own") -> str:
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


def _parts(text: str) -> tuple[str, ...]:
    if ";" not in text and "," in text:
        raise InputError("parts", text, "';' between them: Heron 66; Tern 67")
    example = "2 or more with ';' between them; one ski re-seated is: seat 1; seat 2; seat 3"
    return _listed("parts", text.split(";"), 2, MOST_PARTS, example)


def _people(text: str) -> tuple[str, ...]:
    names = text.replace(";", " ").replace(",", " ").split()
    return _listed("people", names, 1, MOST_PEOPLE, "initials with a blank between: KV JT")


def _listed(
    field: str, given: Iterable[str], least: int, most: int, accepted: str
) -> tuple[str, ...]:
    names = tuple(name.strip() for name in given if name.strip())
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
    accepted = (
        f"a whole number, {LEAST_TRIALS} to {MOST_TRIALS}: one reading alone shows no scatter"
    )
    digits = text.strip()
    if not (digits.isascii() and digits.isdigit() and len(digits) <= 3):
        raise InputError("trials", text, accepted)
    if not LEAST_TRIALS <= int(digits) <= MOST_TRIALS:
        raise InputError("trials", text, accepted)
    return int(digits)
