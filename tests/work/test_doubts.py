"""Readings that cannot be right: contradicted by the others, or by the turns made since."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.bench.hand.entry_keys import EntryKeys
from workbench.bench.hand.hands import Hands
from workbench.fin.pose.equations import Reading
from workbench.fin.reading.method import Method, Station
from workbench.measure.display import fine_text, length_text
from workbench.measure.units import Unit
from workbench.places import shipped
from workbench.work.job.entry import Typed
from workbench.work.job_text.view_words import doubt_question
from workbench.work.order.order_answers import order_plan, turns_report
from workbench.work.order.order_file import read_order
from workbench.work.order.rigs import fit_of
from workbench.work.trust import plausibility
from workbench.work.trust.plausibility import suspects_of


@pytest.fixture(scope="module")
def five():
    """An order with five readings that agree."""
    return read_order(shipped("fixtures") / "orders" / "rowan-five-readings.json")


def _changed(order, index, by_mm):
    readings = list(order.readings)
    r = readings[index]
    readings[index] = Reading(r.method, r.value_mm + by_mm, r.u_mm)
    return replace(order, readings=tuple(readings))


def test_readings_that_agree_raise_no_suspect(five):
    """The report's list of suspects is empty when nothing is wrong."""
    assert turns_report(five)["suspect"] == []


@pytest.mark.parametrize("error_mm", [1.27, 2.54, -2.54])
def test_the_wrong_reading_among_five_is_named(five, error_mm):
    """Each reading in turn, put off by 0.05 or 0.1 in, is the one to take again (or its twin)."""
    for index, reading in enumerate(five.readings):
        order = _changed(five, index, error_mm)
        found = suspects_of(order.rig, fit_of(order.rig, order.readings), order.methods, order.unit)
        if reading.method.quantity == "tail":  # alone in fixing the blade fore and aft: unchecked
            continue
        assert reading.method.name in [s.method for s in found]
        mine = next(s for s in found if s.method == reading.method.name)
        assert (mine.normalised > 0) == (error_mm > 0)


def test_a_kink_on_the_way_does_not_make_a_good_reading_the_wrong_one():
    """A depth off by 0.1 in: a descent from beside stops at a kink and blames the flat length."""
    order = read_order(shipped("fixtures") / "orders" / "practice-plate.toml")
    depth, tail, tips, flat = order.methods[:4]
    fore = Method("depth, forward", "depth", station=Station((5.12 * 25.4, 1.6 * 25.4)))
    read = (
        (depth, 2.3305, 0.0163), (fore, 1.398, 0.0162), (tail, 0.5675, 0.0162),
        (tips, 7.0685, 0.0244), (flat, 6.7815, 0.0265),
    )  # fmt: skip
    readings = tuple(Reading(m, inches * 25.4, u_mm) for m, inches, u_mm in read)
    order = replace(order, methods=tuple(m for m, *_ in read), readings=readings, targets=())
    found = suspects_of(order.rig, fit_of(order.rig, order.readings), order.methods, order.unit)
    assert [s.method for s in found] == [depth.name]


def test_three_readings_have_no_suspect(five):
    """With three readings nothing is left over to check them by."""
    order = replace(five, readings=five.readings[:3], targets=())
    assert suspects_of(order.rig, order_plan(order).fit, order.methods, order.unit) == ()


@pytest.fixture
def hands(shop):
    """Hands on the demo ski that is measured after its first round."""
    hands = Hands(shop)
    hands.open(next(x.job_id for x in hands.state.roster if x.stage == "measuring"))
    return hands


def _type(hands, text):
    entry = EntryKeys(hands)
    for k, char in enumerate(text):
        entry.type(char, k * 0.3)
    entry.enter(1000.0)


def test_a_line_misread_is_called_out_before_it_is_kept(hands):
    """A reading 0.025 in from what the turns should give becomes a question, with its cause."""
    view = hands.state.view
    expected = view.expected[0]
    _type(hands, length_text(expected.value_mm + 0.635, "in"))
    assert hands.state.question is not None
    assert "0.025 in" in hands.state.question.question
    assert not hands.state.view.lines[0].latest


def test_a_doubted_reading_can_still_be_taken_on_purpose(hands):
    """The tech has the last word: + keeps it as it was typed."""
    expected = hands.state.view.expected[0]
    text = length_text(expected.value_mm + 0.635, "in")
    _type(hands, text)
    EntryKeys(hands).yes(2000.0)
    assert hands.state.view.lines[0].latest[-1].text == text


def test_a_reading_as_expected_is_kept_at_once(hands):
    """What the turns should give raises no question."""
    expected = hands.state.view.expected[0]
    _type(hands, length_text(expected.value_mm, "in"))
    assert hands.state.question is None
    assert hands.state.view.lines[0].latest


def test_the_wrong_method_is_named(shop):
    """A length taken flat instead of by the tips is recognised by what flat would read."""
    hands = Hands(shop)
    hands.open(next(x.job_id for x in hands.state.roster if x.ski_name == "Heron 67"))
    for k in range(8):
        if hands.state.view.stage == "measuring":
            break
        EntryKeys(hands).enter(k * 10.0)
    view = hands.state.view
    flat = next(e for e in view.expected if e.method.name == "length, flat")
    tips = next(line for line in view.lines if line.method.name == "length, tips")
    text = length_text(flat.value_mm, "in")
    assert "'length, flat'" in doubt_question(view, tips, Typed(text, "in", flat.value_mm), "in")


@given(st.floats(60.0, 64.0), st.floats(-5.0, 5.0), st.sampled_from(["in", "mm"]))
def test_how_far_off_a_reading_is_told_as_the_difference_of_what_is_said(
    expected_mm: float, off_mm: float, unit: Unit
) -> None:
    """What is expected and the number read, both as they stand in the sentence."""
    words = plausibility._off_words(expected_mm, off_mm, unit)
    found = re.fullmatch(r"(\S+) \w+ expected, this is (\S+) \w+ off", words)
    assert found is not None
    expected, off = (Decimal(text.replace("−", "-")) for text in found.groups())
    assert Decimal(fine_text(expected_mm + off_mm, unit)) == expected + off
