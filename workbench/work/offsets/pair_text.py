"""Method offsets as plain lines, one fact a line, and which two methods or which pair is meant."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from workbench.errors import InputError
from workbench.measure.display import FINE, change_text
from workbench.measure.units import Unit
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.offsets.offset_words import pair_state, restated_words, summary
from workbench.work.offsets.offsets import LearntReading, OffsetStudy
from workbench.work.offsets.pairs import (
    Number,
    PairLine,
    Two,
    pairs_of,
)
from workbench.work.text.words import clean

NONE = "this blade has no two methods of one quantity"


def choice_lines(shop: Shop, choices: Sequence[Two]) -> list[str]:
    """Return the methods that can be compared, two by two, with how many pairs count."""
    out = []
    for number, two in enumerate(choices, 1):
        count = sum(line.counts for line in pairs_of(shop, two))
        out.append(f"Two {number}: {_names(two)}: {count} pair{'' if count == 1 else 's'}")
    return out or [f"Nothing to learn: {NONE}."]


def two_meant(choices: Sequence[Two], text: str) -> Two:
    """Return the two methods that are meant, by their number; else an InputError."""
    if not choices:
        raise InputError("methods", text or "(none)", f"two methods of one quantity; {NONE}")
    for number, two in enumerate(choices, 1):
        if text.strip() == str(number):
            return two
    said = " · ".join(f"{n} {_names(two)}" for n, two in enumerate(choices, 1))
    raise InputError("methods", text or "(missing)", f"the number of two of these: {said}")


def pair_meant(lines: Sequence[PairLine], text: str) -> PairLine:
    """Return the pair of this number; else an InputError."""
    for number, line in enumerate(lines, 1):
        if text.strip() == str(number):
            return line
    raise InputError("pair", text, f"its number, 1 to {len(lines)}" if lines else "none is kept")


def study_lines(
    study: OffsetStudy, now: LearntReading | None, view: JobView, unit: Unit
) -> list[str]:
    """Return what the pairs of two methods say, then each pair: kept ones first, then offered."""
    out = [f"Methods: {_names(study.two)}"]
    for said in summary(study, unit):
        out.append(f"{said.label.capitalize()}: {clean(said.text).lstrip('=! ')}")
    out += _now(study.two, now, view, unit)
    every = (*study.pairs, *study.offered)
    return out + [_pair(number, line, unit) for number, line in enumerate(every, 1)]


def _now(two: Two, now: LearntReading | None, view: JobView, unit: Unit) -> Iterator[str]:
    """Yield the reading of this round by the first method as the second would read it."""
    line = next((x for x in view.lines if x.method_id == two.first.id), None)
    if now is not None and line is not None and line.now_mm is not None:
        names = (clean(two.first.name), clean(two.second.name))
        yield f"Now: {restated_words(Number('', unit, line.now_mm), now, names, unit)}"


def _pair(number: int, line: PairLine, unit: Unit) -> str:
    difference = change_text(line.difference_mm, unit, FINE[unit])
    return (
        f"Pair {number}: {_number(line.first)} and {_number(line.second)}, difference "
        f"{difference} {unit}, {clean(line.ski_name)}; {clean(pair_state(line)[1])}"
    )


def _number(number: Number) -> str:
    """Return a number as typed, with its unit."""
    text = clean(number.text.strip())
    return text if text[-1:].isalpha() else f"{text} {number.unit}"


def _names(two: Two) -> str:
    return f"{clean(two.first.name)} to {clean(two.second.name)}"
