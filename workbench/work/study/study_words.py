"""A study in words and figures: the one plain sentence, the table, how it was worked out.

Bench and command line say the same through this.
"""

from __future__ import annotations

import math
from typing import Any

from workbench.measure.display import length_text
from workbench.measure.repeats import LEVEL, Scatter
from workbench.measure.rounding import round_to_uncertainty
from workbench.measure.stats.gauge_study import POOL_ALPHA, rating
from workbench.measure.units import MM_PER, Unit
from workbench.work.text.words import clean
from workbench.work.trust.study_results import NO_SCATTER_MM, StudyResult, missing_words
from workbench.work.trust.study_view import StudyView

SOURCE_NAMES = {
    "ev": ("repeatability", "one person, one part"),
    "av": ("reproducibility", "between people"),
    "interaction": ("interaction", "people with parts"),
    "grr": ("one reading", "the three together"),
    "pv": ("part variation", "the parts themselves"),
    "tv": ("total", "parts and readings"),
}
"""What each line of the table is called, and what it means."""

FEW_DOF = 5.0
"""Under so many degrees of freedom the figure is mostly Student's t, and a warning is due."""

ENOUGH_CATEGORIES = 5
"""Distinct categories that a measurement should tell apart (AIAG, from memory)."""

FORMULA = (
    "Worked out as sqrt(2) x k x the standard deviation of one reading, k from Student's t at "
    "95 %: ISO 5725-6:1994's limits r = 2.8 s_r and R = 2.8 s_R (from memory), with t for few "
    "degrees of freedom in place of 1.96."
)


def sentence(result: StudyResult, unit: Unit) -> str:
    """Return which change of setting this shop can honestly distinguish, as one plain sentence."""
    if result.one is None or result.anyone is None:
        view = result.view
        if view.missing and view.live and not result.mixed:
            there = f"{view.done} of {view.total} readings"
            return f"No answer yet, {there}; {clean(missing_words(view))}."
        return f"No answer yet: {clean(result.trouble)}."
    people = result.view.study.people
    if result.anyone.sd < NO_SCATTER_MM:
        return (
            "Every reading of a part agreed to the last digit: the display hides your scatter, so "
            "no change can be named from this; read with a finer step."
        )
    if len(people) == 1:
        return (
            f"{clean(people[0])} alone can honestly tell a change of "
            f"{_change_words(result.one, unit)} or more; how people differ was not studied."
        )
    alone = (
        "one person's own readings agreed to the last digit"
        if result.without_scatter
        else f"one person reading both times, {_change_words(result.one, unit)}"
    )
    return (
        f"This shop can honestly tell a change of {_change_words(result.anyone, unit)} or more, "
        f"whoever reads; {alone}."
    )


def _change_words(scatter: Scatter, unit: Unit) -> str:
    """Return the smallest change that is no chance, rounded up to two figures, with its unit."""
    change = scatter.change / MM_PER[unit]
    return f"{round_to_uncertainty(change, change)[1]} {unit}"


def notes(result: StudyResult, unit: Unit) -> tuple[str, ...]:
    """Return the lines below the table: factors, pooling, categories, what to beware of."""
    if result.analysis is None or result.one is None or result.anyone is None:
        return ()
    out = []
    if result.anyone.sd >= NO_SCATTER_MM:
        out.append(_factor_words(result))
        out.append(_pooling_words(result))
    out.append(_category_words(result))
    if not result.without_scatter and result.anyone.dof < FEW_DOF:
        out.append(
            f"Only {_dof(result.anyone.dof)} degrees of freedom support it: more people "
            "would bring the figure down."
        )
    if result.without_scatter and result.anyone.sd >= NO_SCATTER_MM:
        out.append(
            "No one's readings of a part differed at all: the display hides that scatter, or the "
            "readings were not taken blind."
        )
    out.append(FORMULA)
    return tuple(out)


def _factor_words(result: StudyResult) -> str:
    one, anyone = result.one, result.anyone
    assert one is not None
    assert anyone is not None
    own = f"k = {one.k:.2f} ({_dof(one.dof)} degrees of freedom) for one person"
    if len(result.view.study.people) == 1:
        return f"{own}."
    return f"k = {anyone.k:.2f} ({_dof(anyone.dof)} degrees of freedom) whoever reads, {own}."


def _dof(dof: float) -> str:
    return "infinite" if math.isinf(dof) else f"{dof:.0f}" if dof >= 10 else f"{dof:.3g}"


def _pooling_words(result: StudyResult) -> str:
    assert result.analysis is not None
    p, pooled = result.analysis.p_interaction, result.analysis.gauge.pooled
    if result.without_scatter:
        return "Interaction could not be tested: there is no scatter to test it against."
    if p is None:
        return "Interaction could not be tested with one person, so it counts as repeatability."
    how = "pooled into repeatability" if pooled else "kept apart"
    sign = ">=" if pooled else "<"
    return (
        f"Interaction {how}: p = {p:.3f} {sign} {POOL_ALPHA:g} "
        f"(rule: pooled from p = {POOL_ALPHA:g} on; common practice, no source)."
    )


def _category_words(result: StudyResult) -> str:
    assert result.analysis is not None
    gauge = result.analysis.gauge
    if gauge.ndc is None or gauge.grr < NO_SCATTER_MM:
        return "Distinct categories: none to count without scatter."
    verdict = "enough" if gauge.ndc >= ENOUGH_CATEGORIES else "few"
    return (
        f"Distinct categories: {gauge.ndc}, {verdict} ({ENOUGH_CATEGORIES} or more tell the parts "
        f"apart; AIAG, from memory). Readings are {gauge.percent(gauge.grr):.1f} % of the total "
        f"standard deviation: {rating(gauge)}."
    )


def sd_text(value_mm: float, unit: Unit) -> str:
    """Return a standard deviation one digit finer than an uncertainty is shown."""
    return length_text(value_mm, unit, "0.00001" if unit == "in" else "0.0001")


def state_words(view: StudyView) -> str:
    """Return where a study is."""
    if view.study.struck is not None:
        return f"struck out: {clean(view.study.struck.reason)}"
    if view.state == "complete":
        return f"complete, {view.total} readings"
    return f"{view.state}, {view.done} of {view.total} readings"


def struck_words(view: StudyView) -> tuple[str, ...]:
    """Return each struck reading on one line."""
    return tuple(
        f"{clean(r.person)} on {clean(r.part)}, trial {r.trial + 1}: {clean(r.text)} {r.unit} "
        f"({clean(r.struck.reason)})"
        for r in view.struck
        if r.struck is not None
    )


# -- for the command line --------------------------------------------------------------------------


def list_text(views: tuple[StudyView, ...]) -> str:
    """Return the studies of a book, one a line."""
    if not views:
        return "No repeatability test is kept: plan one at the bench (/, repeatability test)."
    return "\n".join(
        f"{v.number}. {clean(v.study.name)}: {clean(v.study.what)} ({v.study.unit}); "
        f"{state_words(v)}"
        for v in views
    )


def result_text(result: StudyResult, unit: Unit) -> str:
    """Return a study's result as plain text: the sentence first."""
    view = result.view
    lines = [f"{clean(view.study.name)}: {clean(view.study.what)}; {state_words(view)}"]
    lines.append(sentence(result, unit))
    if result.analysis is not None:
        lines += ["", f"{'source':<16} {f's ({unit})':>11} {'share':>7}"]
        lines += [
            f"{SOURCE_NAMES[s.key][0]:<16} {sd_text(s.sd_mm, unit):>11} {s.share:>7.1%}"
            for s in result.sources()
        ]
    lines += ["", *cell_lines(result, unit)]
    lines += ["", *notes(result, unit)] if result.analysis is not None else []
    struck = struck_words(view)
    lines += ["", "Struck out, not counted:", *[f"  {words}" for words in struck]] if struck else []
    return "\n".join(lines)


def cell_lines(result: StudyResult, unit: Unit) -> list[str]:
    """Return mean and standard deviation of every cell, one a line."""
    out = []
    for cell in result.cells:
        head = f"{clean(cell.person)} on {clean(cell.part)}:"
        if cell.repeats is None:
            out.append(f"{head} not read yet")
            continue
        sd = "" if cell.repeats.sd is None else f", s {sd_text(cell.repeats.sd, unit)}"
        out.append(f"{head} mean {sd_text(cell.repeats.mean, unit)} {unit}{sd}, n {cell.repeats.n}")
    return out


def list_report(views: tuple[StudyView, ...]) -> dict[str, object]:
    """Return the studies of a book for machines."""
    return {"studies": [_head(view) for view in views]}


def _head(view: StudyView) -> dict[str, object]:
    s = view.study
    return {
        "number": view.number, "name": s.name, "what": s.what, "unit": s.unit,
        "parts": list(s.parts), "people": list(s.people), "trials": s.trials,
        "state": view.state, "readings": view.done, "of": view.total,
        "struck": s.struck.reason if s.struck else None,
    }  # fmt: skip


def result_report(result: StudyResult) -> dict[str, object]:
    """Return a study's result for machines, lengths in the study's unit, full precision."""
    view, unit = result.view, result.view.study.unit
    per = MM_PER[unit]
    return {
        "study": _head(view),
        "missing": [
            {"part": t.part, "person": t.person, "trial": t.trial} for t in view.missing
        ],
        "trouble": result.trouble or None,
        "sentence": sentence(result, unit),
        "result": _figures(result, per),
        "cells": [
            {
                "part": c.part, "person": c.person,
                "values": [v / per for v in c.repeats.values] if c.repeats else [],
                "mean": c.repeats.mean / per if c.repeats else None,
                "s": c.repeats.sd / per if c.repeats and c.repeats.sd is not None else None,
            }
            for c in result.cells
        ],
        "struck": [
            {"part": r.part, "person": r.person, "trial": r.trial + 1, "text": r.text,
             "unit": r.unit, "reason": r.struck.reason if r.struck else ""}
            for r in view.struck
        ],
    }  # fmt: skip


def _figures(result: StudyResult, per: float) -> dict[str, Any] | None:
    if result.analysis is None or result.one is None or result.anyone is None:
        return None
    gauge = result.analysis.gauge
    return {
        "sources": {s.key: {"s": s.sd_mm / per, "share": s.share} for s in result.sources()},
        "ndc": gauge.ndc,
        "pooled": gauge.pooled,
        "pooled_from_p": POOL_ALPHA,
        "p_interaction": None if result.without_scatter else result.analysis.p_interaction,
        "level": LEVEL,
        "change": {
            name: {"value": s.change / per, "k": s.k, "dof": s.dof}
            for name, s in (("one_person", result.one), ("anyone", result.anyone))
        },
    }


__all__ = [
    "FORMULA", "SOURCE_NAMES", "cell_lines", "list_report", "list_text",
    "missing_words", "notes", "result_report", "result_text", "sd_text", "sentence",
    "state_words", "struck_words",
]  # fmt: skip
