"""What the pairs of two methods teach, in the bench's unit: labels and sentences."""

from __future__ import annotations

from typing import Literal, NamedTuple

from workbench.measure.display import FINE, change_text, fine_text, length_text
from workbench.measure.stats.learnt_offset import FEWEST_FOR_SLOPE, LearntOffset
from workbench.measure.units import MM_PER, Unit
from workbench.work.offsets.offsets import LearntReading, OffsetStudy, Outline
from workbench.work.offsets.pairs import Number, PairLine
from workbench.work.text.local_time import local_day

Kind = Literal["plain", "strong", "caution", "faint"]


class _Said(NamedTuple):
    """A label, what is said to it, and how it is meant."""

    label: str
    text: str
    kind: Kind = "plain"


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
    each = (a.upper_interval[1] - a.upper_interval[0]) / 2.0
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
            f"±{fine_text(each, unit)}",
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


def restated_words(number: Number, found: LearntReading, names: tuple[str, str], unit: Unit) -> str:
    """Return a number by one method as the other would read it."""
    return (
        f"{length_text(number.mm, unit)} {unit} by '{names[0]}' is "
        f"{length_text(found.value_mm, unit)} by '{names[1]}', u {fine_text(found.u_mm, unit)}, "
        f"±{fine_text(found.expanded_mm, unit)} (95 %); {found.words}"
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
