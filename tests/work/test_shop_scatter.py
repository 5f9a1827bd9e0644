"""The shop's own measured scatter in the budgets of its readings, and two repeats far apart."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.shop import as_received, read, ski
from workbench.fin.reading.method import Method, Scribe
from workbench.measure.budget import ASSUMED, SCATTER
from workbench.measure.lengths import parse_length
from workbench.measure.repeats import Scatter
from workbench.work.history.history import load_history, settings_in
from workbench.work.job.job_view import JobView
from workbench.work.job.shop import Shop
from workbench.work.job_text.budget_explained import (
    doubtful_words,
    improve_words,
    origins_of,
    trust_of,
)
from workbench.work.study import studies
from workbench.work.study.studies import plan_study
from workbench.work.trust.reading_budget import StudyScatter, scatter_for
from workbench.work.trust.reading_tools import scatters_of
from workbench.work.trust.study_results import StudyView, result_of

DEPTH = "depth, hole 2 back edge"
HAND_MM = 0.0005 * 25.4
"""The scatter of the study below by hand, in mm."""


def study(
    shop: Shop, what: str, texts: tuple[str, ...] = ("2.4500", "2.4600", "2.4510", "2.4600"),
    name: str = "quiet",
) -> StudyView:  # fmt: skip
    """Keep a study of two seats by one person, read twice.

    The first seat differs by 0.0010 in, the second by nothing: the squares about the means are
    2 x 0.0005^2 with 2 degrees of freedom, so that s = 0.0005 in.
    """
    fields = {
        "name": name, "what": what, "unit": "in", "near": "2.45",
        "parts": "seat 1; seat 2", "people": "KV", "trials": "2",
    }  # fmt: skip
    view = studies.view_of(shop, plan_study(shop, fields, lambda order: None))
    for text in texts:
        view = studies.keep_reading(shop, view, text, parse_length(text, "in").mm)
    return view


def scatter_part(view: JobView, index: int = 0) -> tuple[float, float]:
    budget = trust_of(view, view.lines[index]).budget
    part = next(p for p in budget.parts if p.name == SCATTER)
    return part.u, part.dof


def whence(view: JobView, index: int = 0) -> str:
    return dict(origins_of(trust_of(view, view.lines[index])))[SCATTER]


# -- in the budget ---------------------------------------------------------------------------------


def test_a_reading_takes_the_scatter_of_the_newest_study_of_its_method(shop: Shop) -> None:
    """By hand: 0.0005 in with 2 degrees of freedom; named with its day and its count."""
    kept = study(shop, DEPTH)
    view = as_received(shop, "2.4500")
    assert scatter_part(view) == (pytest.approx(HAND_MM, rel=1e-6), 2)
    day = scatters_of(shop.book)[-1].source
    assert whence(view) == day
    assert day.startswith("repeatability test 'quiet' (2")
    assert day.endswith(", 4 readings)")
    result = result_of(kept)
    assert result.analysis is not None
    one = result.analysis.one_person
    assert (one.sd, one.dof) == (pytest.approx(HAND_MM, rel=1e-6), 2)


def test_the_demo_s_study_is_in_the_readings_taken_since(shop: Shop) -> None:
    """The depth has it, with the study's own degrees of freedom; the tail has the default."""
    analysis = result_of(studies.studies_of(shop)[0]).analysis
    found = analysis.one_person if analysis is not None else None
    assert found is not None
    view = ski(shop, "Heron 67")
    assert scatter_part(view) == (pytest.approx(found.sd), found.dof)
    assert "repeatability test 'a slow hour' (2026-11-22, 27 readings)" in whence(view)
    assert scatter_part(view, 1) == (ASSUMED.sd, math.inf)
    assert whence(view, 1) == "default: 0.01 mm; no repeatability test of this reading before it"
    assert "the scatter is assumed" not in improve_words(trust_of(view, view.lines[0]), "in")


def test_repeats_are_pooled_with_the_study_or_speak_alone(shop: Shop) -> None:
    """0.0004 in apart: s^2 = (2 x 0.0005^2 + 0.0004^2 / 2) / 3, u = s / sqrt(2); by hand."""
    study(shop, DEPTH)
    view = as_received(shop, "2.4500", "2.4504")
    by_hand = math.sqrt((2 * 0.0005**2 + 0.0004**2 / 2) / 3) * 25.4
    assert scatter_part(view) == (pytest.approx(by_hand / math.sqrt(2), rel=1e-6), 3)
    assert whence(view).endswith("4 readings), with these 2 repeats")
    view = read(shop, view, view.lines[0], "2.4700")
    assert scatter_part(view)[1] == 2
    assert whence(view).startswith(
        "these 3 repeats: they scatter more than repeatability test 'quiet'"
    )
    assert whence(view).endswith("readings) explains")


def test_what_a_reading_is_worth_never_changes_by_a_later_study(shop: Shop) -> None:
    view = as_received(shop, "2.4500")
    before = scatter_part(view)
    study(shop, DEPTH)
    view = shop.view(view.job.id)
    assert scatter_part(view) == before
    view = read(shop, view, view.lines[0], "2.4504")
    assert "repeatability test 'quiet'" in whence(view)


def test_a_study_struck_out_or_unfinished_or_without_scatter_says_nothing(shop: Shop) -> None:
    """The demo's own study stands again, and where that is struck out too, the default."""
    struck = study(shop, DEPTH)
    assert len(scatters_of(shop.book)) == 2
    studies.strike_study(shop, struck, "cold hands")
    study(shop, DEPTH, ("2.4500", "2.4600", "2.4500"), "begun")
    study(shop, DEPTH, ("2.4500", "2.4600", "2.4500", "2.4600"), "alike")
    view = as_received(shop, "2.4500")
    assert "a slow hour" in whence(view)
    studies.strike_study(shop, studies.find_study(shop, "a slow hour"), "wrong skis")
    assert scatters_of(shop.book) == ()
    view = shop.view(view.job.id)
    assert scatter_part(view) == (ASSUMED.sd, math.inf)


def test_a_reading_of_a_study_struck_out_opens_it_again(shop: Shop) -> None:
    kept = study(shop, DEPTH)
    assert len(scatters_of(shop.book)) == 2
    studies.strike_reading(shop, kept, kept.live[0].id, "jaw tilted")
    assert len(scatters_of(shop.book)) == 1
    again = studies.view_of(shop, kept.study.id)
    studies.keep_reading(shop, again, "2.4506", 2.4506 * 25.4)
    newest = scatters_of(shop.book)[-1]
    assert newest.scatter.sd == pytest.approx(0.0004 / 2 * 25.4, rel=1e-6)


def test_a_study_of_a_quantity_speaks_for_its_methods_but_not_for_marks_read_by_eye() -> None:
    one, two = Scatter(0.01, 9), Scatter(0.02, 9)
    by_quantity = StudyScatter("length", one, "a", "0009")
    by_method = StudyScatter("length, tips", two, "b", "0003")
    tips = Method("Length, tips", "length", band_mm=(0.3, 0.3))
    flat = Method("length, flat", "length", band_mm=(3.0, 8.0))
    mark = Method("scale", "tail", scribe=Scribe((2.0, 0.0), 1.5))
    known = (by_quantity, by_method)
    assert scatter_for(known, tips) is by_method
    assert scatter_for(known, flat) is by_quantity
    assert scatter_for(known, tips, "0002") is None
    assert scatter_for(known, flat, "0009") is None
    assert scatter_for(known, Method("depth", "depth")) is None
    assert scatter_for((*known, replace(by_quantity, of="tail")), mark) is None
    tail = StudyScatter("tail distance", one, "c", "0001")
    assert scatter_for((tail,), Method("tail, upper line", "tail", band_mm=(0.0, 7.0))) is tail


def test_the_history_reckons_with_the_same_scatter_as_the_bench(shop: Shop) -> None:
    """Before and after a study, in one job: each value as the bench shows it."""
    study(shop, DEPTH)
    for name in ("Heron 67", "Stilt 67"):
        view = ski(shop, name)
        value = next(
            v
            for s in settings_in(load_history(shop, view.ski.id))
            for v in s.values
            if {r.id for r in v.readings} == {r.id for r in view.lines[0].latest}
        )
        assert value.u_mm == pytest.approx(view.lines[0].u_mm, rel=1e-9)


# -- two repeats far apart -------------------------------------------------------------------------


def test_two_repeats_far_apart_ask_for_a_third(shop: Shop) -> None:
    """The demo's s is 0.01195 mm with 22 degrees of freedom, t 2.074: r = 0.0351 mm, 0.0014 in."""
    line = as_received(shop, "2.4500", "2.4510").lines[0]
    assert doubtful_words(line, "in") == ""
    view = as_received(shop, "2.4530")
    line = view.lines[0]
    assert len(line.latest) == 3
    view = shop.strike_reading(view, line, "slip", line.latest[1].id)
    line = view.lines[0]
    said = "These two differ by more than 0.0014 in; take a third"
    assert doubtful_words(line, "in") == said
    assert doubtful_words(line, "mm") == "These two differ by more than 0.035 mm; take a third"
    assert "take a third" in improve_words(trust_of(view, line), "in")
    third = read(shop, view, line, "2.4505")
    assert doubtful_words(third.lines[0], "in") == ""


def test_without_a_study_the_default_scatter_judges_two(shop: Shop) -> None:
    """r = 1.96 sqrt(2) x 0.01 mm = 0.0277 mm, 0.0011 in."""
    studies.strike_study(shop, studies.find_study(shop, "a slow hour"), "wrong skis")
    line = as_received(shop, "2.4500", "2.4515").lines[0]
    assert doubtful_words(line, "in").startswith("These two differ by more than 0.0011 in;")


def test_a_method_that_states_its_u_is_judged_by_it(shop: Shop) -> None:
    """Half a millimetre read by eye: a millimetre apart is nothing odd, two are."""
    view = as_received(shop, "2.4500", "2.4900")
    line = view.lines[0]
    assert line.taken is not None
    assert line.doubts.apart
    by_eye = replace(line, taken=replace(line.taken, u_mm=0.5))
    assert not by_eye.doubts.apart
    assert by_eye.doubts.limit == pytest.approx(1.959964 * math.sqrt(2) * 0.5, rel=1e-6)
