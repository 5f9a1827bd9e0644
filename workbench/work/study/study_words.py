"""A study in words and figures: the one plain sentence, the table, its turns and readings.

Bench and command line say the same through this; both show no reading while one is to be read.
"""

from __future__ import annotations

import math
from typing import Any

from workbench.errors import InputError
from workbench.measure.display import finer_text, round_to_uncertainty
from workbench.measure.gauge_study import POOL_ALPHA, GaugeAnova
from workbench.measure.lengths import Placing
from workbench.measure.repeats import LEVEL, Scatter
from workbench.measure.units import MM_PER, Unit
from workbench.records.store import rows
from workbench.work.study.studies import UNIT_WORDS, understood
from workbench.work.text.words import clean
from workbench.work.trust.study_results import (
    NO_SCATTER_MM,
    StudyResult,
    StudyView,
    Turn,
    still_to_read,
)

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

HIDDEN = "not shown while the test is read"

FORMULA = (
    "Worked out as sqrt(2) x k x the standard deviation of one reading, k from Student's t at "
    "95 %: ISO 5725-6:1994's limits r = 2.8 s_r and R = 2.8 s_R (from memory), with t for few "
    "degrees of freedom in place of 1.96."
)


def sentence(result: StudyResult, unit: Unit) -> str:
    """Return which change of setting this shop can honestly distinguish, as one plain sentence."""
    found, people = result.analysis, result.view.study.people
    if found is None:
        view = result.view
        if view.missing and view.live and not result.mixed:
            there = f"{view.done} of {view.total} readings"
            return f"No answer yet, {there}; {clean(still_to_read(view))}."
        return f"No answer yet: {clean(result.trouble)}."
    if found.anyone.sd < NO_SCATTER_MM:
        return (
            "Every reading of a part agreed to the last digit: the display hides your scatter, so "
            "no change can be named from this; read with a finer step."
        )
    if len(people) == 1:
        return (
            f"{clean(people[0])} alone can honestly tell a change of "
            f"{_change_words(found.one_person, unit)} or more; how people differ was not studied."
        )
    alone = (
        "one person's own readings agreed to the last digit"
        if result.without_scatter
        else f"one person reading both times, {_change_words(found.one_person, unit)}"
    )
    return (
        f"This shop can honestly tell a change of {_change_words(found.anyone, unit)} or more, "
        f"whoever reads; {alone}."
    )


def _change_words(scatter: Scatter, unit: Unit) -> str:
    """Return the smallest change that is no chance, rounded up to two figures, with its unit."""
    change = scatter.change / MM_PER[unit]
    return f"{round_to_uncertainty(change, change)[1]} {unit}"


def notes(result: StudyResult) -> tuple[str, ...]:
    """Return the lines below the table: factors, pooling, categories, what to beware of."""
    found = result.analysis
    if found is None:
        return ()
    one, anyone, scatters = found.one_person, found.anyone, found.anyone.sd >= NO_SCATTER_MM
    out = []
    if scatters:
        k = f"k = {one.k:.2f} ({_dof(one.dof)} degrees of freedom)"
        if len(result.view.study.people) > 1:
            k = f"k = {anyone.k:.2f} ({_dof(anyone.dof)} degrees of freedom) whoever reads, {k}"
        out = [f"{k} for one person.", _pooling_words(result, found)]
    out.append(_category_words(found))
    if not result.without_scatter and anyone.dof < FEW_DOF:
        out.append(
            f"Only {_dof(anyone.dof)} degrees of freedom support it: more people "
            "would bring the figure down."
        )
    if result.without_scatter and scatters:
        out.append(
            "No one's readings of a part differed at all: the display hides that scatter, or the "
            "readings were not taken blind."
        )
    return (*out, FORMULA)


def _dof(dof: float) -> str:
    return "infinite" if math.isinf(dof) else f"{dof:.0f}" if dof >= 10 else f"{dof:.3g}"


def _pooling_words(result: StudyResult, found: GaugeAnova) -> str:
    p, pooled = found.p_interaction, found.gauge.pooled
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


def _category_words(found: GaugeAnova) -> str:
    gauge = found.gauge
    if gauge.ndc is None or gauge.grr < NO_SCATTER_MM:
        return "Distinct categories: none to count without scatter."
    verdict = "enough" if gauge.ndc >= ENOUGH_CATEGORIES else "few"
    return (
        f"Distinct categories: {gauge.ndc}, {verdict} ({ENOUGH_CATEGORIES} or more tell the parts "
        f"apart; AIAG, from memory). Readings are {gauge.percent(gauge.grr):.1f} % of the total "
        f"standard deviation: {gauge.rating}."
    )


def study_state(view: StudyView) -> str:
    """Return where a study is."""
    if view.study.struck is not None:
        return f"struck out: {clean(view.study.struck.reason)}"
    if view.state == "complete":
        return f"complete, {view.total} readings"
    return f"{view.state}, {view.done} of {view.total} readings"


def struck_words(view: StudyView) -> tuple[str, ...]:
    """Return each struck reading on one line."""
    return tuple(
        f"{whose_words(r)}: {clean(r.text)} {r.unit} ({clean(r.struck.reason)})"
        for r in view.readings
        if r.struck is not None
    )


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


def list_text(views: tuple[StudyView, ...]) -> str:
    """Return the studies of a book, one a line."""
    if not views:
        return "No repeatability test is kept: plan one at the bench (/, repeatability test)."
    return "\n".join(
        f"{v.number}. {clean(v.study.name)}: {clean(v.study.what)} ({v.study.unit}); "
        f"{study_state(v)}"
        for v in views
    )


def result_text(result: StudyResult, unit: Unit) -> str:
    """Return a study's result as plain text: the sentence first."""
    view = result.view
    lines = [f"{clean(view.study.name)}: {clean(view.study.what)}; {study_state(view)}"]
    lines.append(sentence(result, unit))
    if result.analysis is not None:
        lines += ["", f"{'source':<16} {f's ({unit})':>11} {'share':>7}"]
        lines += [
            f"{SOURCE_NAMES[s.key][0]:<16} {finer_text(s.sd_mm, unit):>11} {s.share:>7.1%}"
            for s in result.sources()
        ]
    lines += ["", *cell_lines(result, unit)]
    lines += ["", *notes(result)] if result.analysis is not None else []
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
        sd = "" if cell.repeats.sd is None else f", s {finer_text(cell.repeats.sd, unit)}"
        out.append(
            f"{head} mean {finer_text(cell.repeats.mean, unit)} {unit}{sd}, n {cell.repeats.n}"
        )
    return out


def due_lines(view: StudyView) -> list[str]:
    """Return where a study is and whose turn it is, one fact a line."""
    study = view.study
    out = [
        f"Repeatability test {view.number}: {clean(study.name)}: {clean(study.what)}, "
        f"read in {UNIT_WORDS[study.unit]}",
        f"State: {study_state(view)}",
    ]
    if view.due is None:
        return [*out, f"Command: quarterturn study {view.number}"]
    out.append(f"Next: {clean(view.due.words)} of {study.trials}.")
    out += [f"Then: {clean(view.missing[1].words)}."] if len(view.missing) > 1 else []
    return [*out, f"Command: quarterturn study {view.number} --read VALUE"]


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


def taken_lines(view: StudyView) -> list[str]:
    """Return every reading with its number, in the order they were taken, struck ones too."""
    out = []
    for number, reading in enumerate(view.readings, 1):
        struck = f"; struck out: {clean(reading.struck.reason)}" if reading.struck else ""
        said = f"{whose_words(reading)}: {value_words(view, reading)}"
        out.append(f"Reading {number}: {said}{struck}")
    return out or ["No reading yet."]


def taken_meant(view: StudyView, text: str) -> rows.StudyReading:
    """Return the reading of this number that is not struck out; else an InputError."""
    for number, reading in enumerate(view.readings, 1):
        if text.strip() == str(number):
            if reading.struck is not None:
                raise InputError("reading", text, "one that is not struck out yet")
            return reading
    count = len(view.readings)
    raise InputError("reading", text, f"its number, 1 to {count}" if count else "none is kept")


# -- for machines ----------------------------------------------------------------------------------


def list_report(views: tuple[StudyView, ...]) -> dict[str, object]:
    """Return the studies of a book."""
    return {"studies": [_head(view) for view in views]}


def _head(view: StudyView) -> dict[str, object]:
    s = view.study
    return {
        "number": view.number, "name": s.name, "what": s.what, "unit": s.unit,
        "parts": list(s.parts), "people": list(s.people), "trials": s.trials,
        "state": view.state, "readings": view.done, "of": view.total,
        "struck": s.struck.reason if s.struck else None,
    }  # fmt: skip


def due_report(view: StudyView, *, readings: bool = False) -> dict[str, object]:
    """Return where a study is and whose turn it is; ``readings`` adds them."""
    head = _head(view)
    out = {key: head[key] for key in ("number", "name", "what", "unit", "state", "readings", "of")}
    out["due"] = None if view.due is None else _turn(view.due)
    if readings:
        out["taken"] = [
            {"number": number, **_reading(view, r), "struck": r.struck.reason if r.struck else None}
            for number, r in enumerate(view.readings, 1)
        ]
    return out


def _turn(turn: Turn) -> dict[str, object]:
    return {"part": turn.part, "person": turn.person, "trial": turn.trial}


def _reading(view: StudyView, reading: rows.StudyReading) -> dict[str, object]:
    return {
        "part": reading.part, "person": reading.person, "trial": reading.trial + 1,
        "text": reading.text if shows_readings(view) else None, "unit": reading.unit,
    }  # fmt: skip


def result_report(result: StudyResult) -> dict[str, object]:
    """Return a study's result, lengths in the study's unit, full precision."""
    view, unit = result.view, result.view.study.unit
    per = MM_PER[unit]
    return {
        "study": _head(view),
        "missing": [_turn(turn) for turn in view.missing],
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
             "unit": r.unit, "reason": r.struck.reason}
            for r in view.readings if r.struck is not None
        ],
    }  # fmt: skip


def _figures(result: StudyResult, per: float) -> dict[str, Any] | None:
    found = result.analysis
    if found is None:
        return None
    return {
        "sources": {s.key: {"s": s.sd_mm / per, "share": s.share} for s in result.sources()},
        "ndc": found.gauge.ndc,
        "pooled": found.gauge.pooled,
        "pooled_from_p": POOL_ALPHA,
        "p_interaction": None if result.without_scatter else found.p_interaction,
        "level": LEVEL,
        "change": {
            name: {"value": s.change / per, "k": s.k, "dof": s.dof}
            for name, s in (("one_person", found.one_person), ("anyone", found.anyone))
        },
    }
