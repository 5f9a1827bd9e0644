"""What an entry may mean, as values: the readings and targets that it fits, and what to ask.

Everything here is made from a job's view and a text; nothing is kept and nothing shown.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from workbench.errors import BenchError, InputError
from workbench.frozen import dataclass
from workbench.measure.lengths import Placing
from workbench.measure.units import Unit
from workbench.records.store import rows
from workbench.work.job.coarse_marks import suspect_words
from workbench.work.job.entry import (
    CHANGE_SIGNS,
    Typed,
    fits_elsewhere,
    reading_entry,
    target_entry,
    target_question,
)
from workbench.work.job.job_view import JobView
from workbench.work.job.temperature import correction_words
from workbench.work.job_text.budget_explained import doubtful_words
from workbench.work.job_text.setting_words import moved_words
from workbench.work.job_text.view_words import doubt_question, sent_twice_question, since_left
from workbench.work.trust.job_reading import Line
from workbench.work.trust.plausibility import made_words


@dataclass(frozen=True, slots=True)
class Answer:
    """What an entry may mean: the value, and the index of the line that it would go to."""

    placing: Placing
    line: int
    words: str


@dataclass(frozen=True, slots=True)
class Question:
    """A question about an entry and the answers offered, best first.

    ``text`` is what was typed and ``how`` it came; ``settled``: the number itself was asked about,
    so that an answer to it keeps it.
    """

    text: str
    question: str
    placings: tuple[Answer, ...]
    how: rows.How = "typed"
    settled: bool = True


@dataclass(frozen=True, slots=True)
class Waiting:
    """A reading off the caliper that arrived while a question was open, and the note it is kept in
    until it has its place."""

    text: str
    note_id: str


def is_whole_change(typed: str) -> bool:
    """Tell whether a text is a change of a target to which a sign adds nothing."""
    bare = re.fullmatch("[0-9.,]*[0-9]", typed[1:])
    return typed.startswith(CHANGE_SIGNS) and bare is not None


def reading_meant(
    view: JobView, at: int, text: str, how: rows.How, unit: Unit
) -> Answer | Question:
    """Return what a text means as the reading of a line.

    Raises:
        InputError: not a length, or one that no caliper shows.
    """
    line = view.lines[at]
    found = reading_entry(line, text, unit)
    answers = tuple(_answer(line, at, placing) for placing in found.placings)
    if found.is_clear:
        return answers[0]
    asked = sent_twice_question(view, line, text) or found.question
    return Question(text, asked, answers, how, _is_outside(line, answers))


def target_meant(view: JobView, at: int | None, text: str, unit: Unit) -> Answer | Question:
    """Return what a text means as the target of a line, or of one of all where none is marked.

    Raises:
        InputError: no length or change that this line, or any, could have.
    """
    if at is None:
        return _which_target(view, text, unit)
    line = view.lines[at]
    try:
        found = target_entry(line, text, unit)
    except InputError:
        fits = _targets_fitted(view, line, text, unit)
        if not fits:
            raise
        asked = f"no {line.method.quantity} of this blade; does it set another?"
        return Question(text, asked, fits)
    answers = tuple(_answer(line, at, placing) for placing in found.placings)
    if found.is_clear:
        return answers[0]
    fits = _targets_fitted(view, line, text, unit)
    return Question(text, found.question, (*fits, *answers), settled=_is_outside(line, answers))


def doubt_of(
    view: JobView, answer: Answer, text: str, how: rows.How, unit: Unit
) -> Question | None:
    """Return the question about an understood reading or target that cannot be right; else None."""
    line, placing = view.lines[answer.line], answer.placing
    if view.stage != "target":
        why = doubt_question(view, line, Typed(text, placing.unit, placing.mm), unit)
        return Question(text, why, (answer,), how) if why else None
    far_mm = view.rules.far_target_mm
    found = target_question(view.lines, line, text, placing, unit, far_mm)
    if not found.question:
        return None
    return Question(text, found.question, (*_answers(view, found.fits), answer))


def readings_fitted(view: JobView, text: str, unit: Unit) -> tuple[Answer, ...]:
    """Return the readings that a number fits, those still due before those taken already: near
    what they should be, or plausible for them where nothing tells that."""
    due = [i for i, line in enumerate(view.lines) if len(line.latest) < view.rules.repeats]
    taken = [i for i in range(len(view.lines)) if i not in due]
    for group in (due, taken):
        if found := tuple(a for i in group for a in _fits(view, i, text, unit)):
            return found
    return ()


def _fits(view: JobView, at: int, text: str, unit: Unit) -> list[Answer]:
    line = view.lines[at]
    expected = view.expected_mm(line)
    try:
        found = reading_entry(line, text, unit)
    except BenchError:
        return []
    far, (low, high) = view.rules.far_received_mm, line.usual_mm
    return [
        _answer(line, at, p)
        for p in found.placings
        if (low <= p.mm <= high if expected is None else abs(p.mm - expected) <= far)
    ]


def _which_target(view: JobView, text: str, unit: Unit) -> Question:
    """Ask which target an entry changes: one whose reading it comes near, if there is any."""
    near: list[Answer] = []
    others: list[Answer] = []
    errors: list[BenchError] = []
    for at, line in enumerate(view.lines):
        try:
            found = target_entry(line, text, unit)
        except BenchError as why:
            errors.append(why)
            continue
        for placing in found.placings:
            off_mm = abs(placing.mm - (line.now_mm or 0.0))
            group = near if off_mm <= view.rules.far_target_mm else others
            group.append(_answer(line, at, placing))
    if not near and not others:
        raise errors[0]
    asked = "all the targets are set: which of them does this change?"
    return Question(text, asked, tuple(near or others), settled=bool(near))


def _targets_fitted(view: JobView, line: Line, text: str, unit: Unit) -> tuple[Answer, ...]:
    """Return the targets of other readings that an entry comes near."""
    return _answers(view, fits_elsewhere(view.lines, line, text, unit, view.rules.far_target_mm))


def _is_outside(line: Line, answers: Iterable[Answer]) -> bool:
    """Whether the question is if a number outside the usual is meant: then an answer settles it."""
    low, high = line.usual_mm
    return not any(low <= a.placing.mm <= high for a in answers)


def _answers(view: JobView, found: Iterable[tuple[Line, Placing]]) -> tuple[Answer, ...]:
    ids = [line.method_id for line in view.lines]
    return tuple(_answer(line, ids.index(line.method_id), placing) for line, placing in found)


def _answer(line: Line, at: int, placing: Placing) -> Answer:
    words = f"{line.method.quantity} {placing.number} {placing.unit}"
    return Answer(placing, at, words)


@dataclass(frozen=True, slots=True)
class KeptWords:
    """What is said of a reading just kept; ``doubtful``: why it may be wrong, or nothing.

    ``to_strike``: a repeat of it is doubtful, and may be struck out.
    """

    kept: str
    doubtful: str
    to_strike: bool


def kept_words(before: JobView, now: JobView, answer: Answer, text: str, unit: Unit) -> KeptWords:
    """Return what is said of a reading, from the job before it and after; lengths in ``unit``."""
    line, placing = now.lines[answer.line], answer.placing
    again = f", repeat {len(line.latest)}" if len(line.latest) > 1 else ""
    typed = "" if text == placing.number else f"{text} → "
    moved_mm = line.corrections_mm[-1] if line.corrections_mm else 0.0
    to_20 = f", {correction_words(moved_mm, unit)}" if moved_mm else ""
    kept = f"kept: {line.method.name} {typed}{placing.number} {placing.unit}{to_20}{again}"
    left = since_left(before, before.lines[answer.line], placing.mm, unit)
    told = moved_words(line, unit) or left
    suspect = " ".join(suspect_words(now, unit)[:1])
    made, doubtful = made_words(now.made, unit), suspect or doubtful_words(line, unit)
    return KeptWords(
        f"{kept}; {told}" if told else kept,
        ". ".join(part for part in (made, doubtful) if part),
        bool(line.doubts.indices) and not suspect and not line.doubts.apart,
    )
