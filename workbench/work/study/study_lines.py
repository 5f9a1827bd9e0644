"""A study's turns and readings as plain lines; blind, as on the bench, while it is read."""

from __future__ import annotations

from workbench.errors import InputError
from workbench.measure.lengths import Placing
from workbench.records.store import rows
from workbench.work.study.studies import UNIT_WORDS, understood
from workbench.work.study.study_words import state_words
from workbench.work.text.words import clean
from workbench.work.trust.study_view import StudyView, Turn

HIDDEN = "not shown while the test is read"


def shows_readings(view: StudyView) -> bool:
    """Whether readings may be looked at: nobody is left who still has to read blind."""
    return view.due is None


def whose_words(reading: rows.StudyReading) -> str:
    """Return who read what, for which time."""
    return f"{clean(reading.person)} on {clean(reading.part)}, trial {reading.trial + 1}"


def value_words(view: StudyView, reading: rows.StudyReading) -> str:
    """Return what was read, as typed; while the test is read that it is not shown."""
    if not shows_readings(view):
        return HIDDEN
    return f"{clean(reading.text.strip())} {reading.unit}"


# -- for the command line --------------------------------------------------------------------------


def due_lines(view: StudyView) -> list[str]:
    """Return where a study is and whose turn it is, one fact a line."""
    study = view.study
    out = [
        f"Repeatability test {view.number}: {clean(study.name)}: {clean(study.what)}, "
        f"read in {UNIT_WORDS[study.unit]}",
        f"State: {state_words(view)}",
    ]
    if view.due is None:
        return [*out, f"Command: quarterturn study {view.number}"]
    out.append(f"Next: {clean(view.due.words)} of {study.trials}.")
    out += [f"Then: {clean(view.missing[1].words)}."] if len(view.missing) > 1 else []
    return [*out, f"Command: quarterturn study {view.number} --read VALUE"]


def due_report(view: StudyView, *, readings: bool = False) -> dict[str, object]:
    """Return where a study is and whose turn it is, for machines; ``readings`` adds them."""
    due = view.due
    out: dict[str, object] = {
        "number": view.number, "name": view.study.name, "what": view.study.what,
        "unit": view.study.unit, "state": view.state, "readings": view.done, "of": view.total,
        "due": None if due is None else
        {"part": due.part, "person": due.person, "trial": due.trial},
    }  # fmt: skip
    if readings:
        out["taken"] = [_reading(view, n, r) for n, r in enumerate(view.readings, 1)]
    return out


def _reading(view: StudyView, number: int, reading: rows.StudyReading) -> dict[str, object]:
    return {
        "number": number, "part": reading.part, "person": reading.person,
        "trial": reading.trial + 1, "text": reading.text if shows_readings(view) else None,
        "unit": reading.unit, "struck": reading.struck.reason if reading.struck else None,
    }  # fmt: skip


def reading_placed(view: StudyView, text: str, *, sure: bool) -> tuple[Turn, Placing]:
    """Return the turn that is due and what was typed for it; ``sure`` asks no question.

    Raises:
        InputError: no turn is due, no length in the study's unit, or a question to answer.
    """
    if view.due is None:
        raise InputError("reading", text, f"no reading is due: the test is {view.state}")
    found = understood(view, text)
    placing = found.placings[0]
    if found.is_clear or sure:
        return view.due, placing
    accepted = f"{found.question} --yes takes {placing.number} {placing.unit}"
    raise InputError("reading", text, accepted)


def reading_lines(view: StudyView) -> list[str]:
    """Return every reading with its number, in the order they were taken, struck ones too."""
    out = []
    for number, reading in enumerate(view.readings, 1):
        struck = f"; struck out: {clean(reading.struck.reason)}" if reading.struck else ""
        said = f"{whose_words(reading)}: {value_words(view, reading)}"
        out.append(f"Reading {number}: {said}{struck}")
    return out or ["No reading yet."]


def reading_meant(view: StudyView, text: str) -> rows.StudyReading:
    """Return the reading of this number that is not struck out; else an InputError."""
    for number, reading in enumerate(view.readings, 1):
        if text.strip() == str(number):
            if reading.struck is not None:
                raise InputError("reading", text, "one that is not struck out yet")
            return reading
    count = len(view.readings)
    raise InputError("reading", text, f"its number, 1 to {count}" if count else "none is kept")
