"""How readings and marks are taken and how sure they are, as plain lines."""

from __future__ import annotations

from workbench.measure.display import length_text
from workbench.measure.units import Unit
from workbench.work.job import coarse_marks as coarse
from workbench.work.job.extra_readings import Mark
from workbench.work.job.job_view import JobView
from workbench.work.job_text.budget_explained import (
    budget_lines,
    budget_report,
    improve_words,
    meaning_words,
    origins_of,
    trust_of,
)
from workbench.work.job_text.how_to_hold import hold_words, place_words
from workbench.work.text.words import clean
from workbench.work.trust.job_reading import Line


def hold_lines(view: JobView, unit: Unit, one: Line | None = None) -> list[str]:
    """Return how each reading is taken, or one of them, and how sure it is once it is taken."""
    out: list[str] = []
    for number, line in enumerate(view.lines, 1):
        if one is not None and line.method_id != one.method_id:
            continue
        name = f"Reading {number}"
        out += [f"{name}: {clean(line.method.name)}", clean(place_words(line.method, unit))]
        out += list(hold_words(line.method))
        out += [f"{name}: {clean(words)}" for words in trust_lines(view, line, unit)]
    return out


def trust_lines(view: JobView, line: Line, unit: Unit) -> list[str]:
    """Return what a reading of this round means and how sure it is; nothing before it is taken."""
    if line.taken is None:
        return []
    trust = trust_of(view, line)
    origins = [f"{what}: {whence}" for what, whence in origins_of(trust)]
    budget = budget_lines(trust, unit)
    return [*meaning_words(trust, unit), *origins, *budget, improve_words(trust, unit)]


def hold_report(view: JobView, unit: Unit, one: Line | None = None) -> dict[str, object]:
    """Return how each reading is taken, or one of them, and its budget once it is taken."""
    return {
        "unit": unit,
        "ski": view.ski.name,
        "readings": [
            {
                "number": number,
                "method": line.method.name,
                "place": place_words(line.method, unit),
                "hold": list(hold_words(line.method)),
                "budget": budget_report(trust_of(view, line), unit) if line.taken else None,
            }
            for number, line in enumerate(view.lines, 1)
            if one is None or line.method_id == one.method_id
        ],
    }


def all_mark_lines(view: JobView, unit: Unit) -> list[str]:
    """Return every coarse mark of the blade: where it is read, what it should read, and reads."""
    out: list[str] = []
    for number, mark in enumerate(view.marks, 1):
        out += _mark(number, mark, unit)
    return out or ["No coarse mark on this blade yet: quarterturn add-mark NAME"]


def _mark(number: int, mark: Mark, unit: Unit) -> list[str]:
    name = f"Mark {number}"
    out = [f"{name}: {clean(mark.method.name)}", coarse.place_words(mark.method, unit)]
    if mark.expected_mm is not None:
        out.append(f"{name} by the readings: {length_text(mark.expected_mm, unit)} {unit}")
    if mark.reading is not None:
        read = f"{length_text(mark.reading.value_mm, unit)} {unit}"
        out.append(f"{name} read: {read}, {coarse.off_words(mark, unit)}")
    return out
