"""What the pairs of two methods teach, and a fin by every method, in the bench's unit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Literal, NamedTuple

from workbench.errors import InputError
from workbench.measure.display import FINE, change_text, fine_text, length_text
from workbench.measure.learnt_offset import FEWEST_FOR_SLOPE, LearntOffset, Restatement
from workbench.measure.units import MM_PER, Unit
from workbench.work.job.shop import Shop
from workbench.work.study.offsets import (
    Number,
    OffsetStudy,
    Outline,
    PairLine,
    Two,
    pairs_of,
    rests_words,
)
from workbench.work.study.restating import Restated
from workbench.work.text.local_time import local_day
from workbench.work.text.words import clean

SaidKind = Literal["plain", "strong", "caution", "faint"]


class _Said(NamedTuple):
    """A label, what is said to it, and how it is meant."""

    label: str
    text: str
    kind: SaidKind = "plain"


def summary(study: OffsetStudy, unit: Unit) -> tuple[_Said, ...]:
    """Return everything that the pairs say."""
    if study.learnt is None:
        return (_Said("pairs", _too_few(study, unit), "caution"),)
    said = [*_differences(study.learnt, unit), _slope(study.learnt, unit)]
    if study.outline is not None:
        said.append(_against(study.outline, unit))
    elif study.outline_trouble:
        said.append(_Said("outline", study.outline_trouble, "faint"))
    return tuple(said)


def _too_few(study: OffsetStudy, unit: Unit) -> str:
    if study.n == 0:
        more = f"; {len(study.offered)} offered from rounds" if study.offered else ""
        return f"none yet: read one fin by both methods and type the two numbers{more}"
    only = next(p for p in study.pairs if p.counts)
    return (
        f"1 pair, difference {_change(only.difference_mm, unit)} {unit}: one pair shows no "
        "scatter, so nobody knows how sure it is; two at least"
    )


def _differences(learnt: LearntOffset, unit: Unit) -> list[_Said]:
    a = learnt.agreement
    low, high = (_change(x, unit) for x in (a.lower, a.upper))
    return [
        _Said(
            "learned",
            f"{learnt.n} pairs, mean difference {_change(a.bias, unit)} {unit}, its standard "
            f"uncertainty {fine_text(a.se_bias, unit)}, s of differences {fine_text(a.sd, unit)}",
            "strong",
        ),
        _Said(
            "limits",
            f"95 % of differences between {low} and {high} {unit}; each limit known to "
            f"±{fine_text(a.half_limit, unit)}",
        ),
    ]


def _slope(learnt: LearntOffset, unit: Unit) -> _Said:
    if learnt.slope is None or learnt.slope_interval is None:
        return _Said(
            "slope",
            f"not judged: {FEWEST_FOR_SLOPE} pairs of well spread numbers would be needed; taken "
            "as a constant",
            "faint",
        )
    low, high = learnt.slope_interval
    said = f"{learnt.slope:.4f} ({low:.4f} to {high:.4f})"
    if learnt.line is None:
        return _Said("slope", f"{said}, no real difference from 1: a constant will do", "faint")
    at = learnt.line.intercept / MM_PER[unit]
    return _Said(
        "slope",
        f"! {said}, really not 1: the difference grows with the number. Converted by the line "
        f"{at:+.4f} {unit} + {learnt.line.slope:.4f} x number, errors in both",
        "caution",
    )


def _against(outline: Outline, unit: Unit) -> _Said:
    says = _change(outline.difference_mm, unit)
    apart = fine_text(abs(outline.difference_mm - outline.learnt_mm), unit)
    allowed = fine_text(outline.allowed_mm, unit)
    if outline.agrees:
        return _Said(
            "outline",
            f"= it says {says} {unit}: agrees within the uncertainty (apart {apart}, allowed "
            f"{allowed})",
        )
    return _Said(
        "outline",
        f"! it says {says} {unit}: {apart} apart, more than their uncertainty {allowed}; the "
        "outline, or a way of holding, is off",
        "caution",
    )


def restated_words(mm: float, found: Restatement, names: tuple[str, str], unit: Unit) -> str:
    """Return a number by one method as the other would read it."""
    return (
        f"{length_text(mm, unit)} {unit} by '{names[0]}' is "
        f"{length_text(found.value, unit)} by '{names[1]}', u {fine_text(found.u, unit)}, "
        f"±{fine_text(found.expanded, unit)} (95 %); {rests_words(found)}"
    )


def pair_state(line: PairLine) -> tuple[str, str]:
    """Return a glyph and a word for a pair: counts, struck out with its reason, or offered."""
    if line.row is None:
        return "?", f"offered: {line.where}"
    if line.row.struck is not None:
        return "✗", f"struck: {line.row.struck.reason}"
    return "✓", f"counts, {local_day(line.row.at)} {line.row.who}".rstrip()


def _change(mm: float, unit: Unit) -> str:
    return change_text(mm, unit, FINE[unit])


# -- for the command line ------------------------------------------------------------------------


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


def study_lines(study: OffsetStudy, unit: Unit) -> list[str]:
    """Return what the pairs of two methods say, then each pair: kept ones first, then offered."""
    out = [f"Methods: {_names(study.two)}"]
    for said in summary(study, unit):
        out.append(f"{said.label.capitalize()}: {clean(said.text).lstrip('=! ')}")
    if study.now is not None:
        names = (clean(study.two.first.name), clean(study.two.second.name))
        out.append(f"Now: {restated_words(*study.now, names, unit)}")
    return out + [
        f"Pair {number}: {_number(line.first)} and {_number(line.second)}, difference "
        f"{_change(line.difference_mm, unit)} {unit}, {clean(line.ski_name)}; "
        f"{clean(pair_state(line)[1])}"
        for number, line in enumerate(study.every, 1)
    ]


def _number(number: Number) -> str:
    """Return a number as typed, with its unit."""
    text = clean(number.text.strip())
    return text if text[-1:].isalpha() else f"{text} {number.unit}"


def _names(two: Two) -> str:
    return f"{clean(two.first.name)} to {clean(two.second.name)}"


def method_lines(
    found: Sequence[Restated], learnt: Mapping[str, Restatement], unit: Unit
) -> list[str]:
    """Return what each method reads; ``learnt``, by method name, is what pairs make of it."""
    out: list[str] = []
    for number, row in enumerate(found, 1):
        out += _one(f"Method {number}", row, unit)
        pairs = learnt.get(row.method.name)
        if pairs is not None:
            value, u = length_text(pairs.value, unit), fine_text(pairs.u, unit)
            rests = rests_words(pairs)
            out.append(f"Method {number} learned: {value} {unit}, u {u} {unit}; {rests}")
    return out


def _one(name: str, row: Restated, unit: Unit) -> Iterator[str]:
    yield f"{name}: {clean(row.method.name)}"
    if row.value_mm is None or row.u_mm is None:
        yield f"{name} reads: nothing here: {row.trouble}"
        return
    both = " = ".join(f"{length_text(row.value_mm, u)} {u}" for u in ("in", "mm"))
    read = ", read in this round" if row.read else ""
    yield f"{name} reads: {both}, u {fine_text(row.u_mm, unit)} {unit}{read}"
    if row.against is not None and row.difference_mm is not None:
        apart = _change(row.difference_mm, unit)
        yield f"{name} less {clean(row.against.name)}: {apart} {unit}"
