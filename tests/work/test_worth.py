"""What a reading is worth and why: its budget, its caliper, its repeats and what it means."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.shop import as_received, ski
from workbench.errors import InputError
from workbench.records.store import rows
from workbench.work.job.shop import Shop
from workbench.work.job_text.budget_explained import (
    IMPROVE,
    doubtful_words,
    improve_words,
    meaning_words,
    origins_of,
    trust_of,
)

SEVEN = ("2.4900", "2.4905", "2.4900", "2.4895", "2.4900", "2.4905", "2.5200")


def test_the_budget_is_that_of_the_reading_on_the_bench(shop: Shop) -> None:
    """Its combined u is the very u that the bench shows, for every reading of every job."""
    seen = 0
    for job in shop.roster():
        view = shop.view(job.job_id)
        for line in (x for x in view.lines if x.latest):
            assert trust_of(view, line).budget.u == pytest.approx(line.u_mm, rel=1e-12)
            seen += 1
    assert seen >= 9


def test_the_jaws_height_counts_where_the_edge_slants(shop: Shop) -> None:
    """A length by tips on the demo's blade has it, a depth has not."""
    view = ski(shop, "Heron 67")
    names = [{p.name for p in trust_of(view, x).budget.parts} for x in view.lines]
    assert "contact height" not in names[0]
    assert "contact height" in names[2]


def test_a_doubtful_repeat_is_flagged_with_its_test_and_still_counts(shop: Shop) -> None:
    """The mean and the scatter are those of all seven."""
    texts = ("2.4500", "2.4505", "2.4500", "2.4495", "2.4500", "2.4505", "2.4900")
    view = as_received(shop, *texts)
    worth = trust_of(view, view.lines[0])
    assert worth.doubts.indices == (6,)
    assert "Grubbs" in worth.doubts.test
    assert worth.repeats.mean / 25.4 == pytest.approx(math.fsum(map(float, texts)) / 7)
    assert worth.budget.parts[3].dof == 6
    assert "doubtful repeat" in improve_words(worth, "in")


def test_what_would_be_left_without_the_largest_part(shop: Shop) -> None:
    """The sentence names the part, its share and the u of all the others."""
    view = ski(shop, "Heron 67")
    worth = trust_of(view, view.lines[2])
    others = [p.component for p in worth.budget.parts if p.name != "caliper error"]
    left = math.hypot(*others)
    words = improve_words(worth, "mm")
    assert words.startswith(f"Most comes from caliper error ({max(worth.budget.shares):.0%})")
    assert f"without it {left:.3f} mm" in words


def test_every_part_of_the_default_budget_has_advice(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    assert {p.name for x in view.lines for p in trust_of(view, x).budget.parts} <= set(IMPROVE)


def test_a_reading_not_taken_has_no_worth(shop: Shop) -> None:
    view = as_received(shop)
    with pytest.raises(InputError, match="one or more readings in this round"):
        trust_of(view, view.lines[1])


# -- the caliper and its figures ---------------------------------------------------------------


def test_the_budget_names_the_caliper_and_where_each_figure_comes_from(shop: Shop) -> None:
    """The demo's inch caliper: its step, DIN 862, its checks, and a default temperature."""
    view = ski(shop, "Heron 67")
    found = dict(origins_of(trust_of(view, view.lines[0])))
    assert found["taken with"] == "Bench caliper, inch"
    assert found["resolution"] == "its step, 0.0005 in"
    assert found["caliper error"] == "DIN 862, digital, 0.02 mm more with the depth rod"
    assert dict(origins_of(trust_of(view, view.lines[1])))["caliper error"] == "DIN 862, digital"
    assert "block checked 2026-11-22" in found["zero and gauge block"]
    assert "nobody looked" in found["temperature"]


def test_a_method_that_states_its_u_is_its_whole_budget(shop: Shop) -> None:
    """No caliper's figure is in it, and repeats do not make it smaller."""
    view = ski(shop, "Heron 67")
    row = shop.book.method(view.lines[0].method_id)
    shop.book.correct_method(replace(row, u_mm=0.4))
    line = shop.view(view.job.id).lines[0]
    worth = trust_of(shop.view(view.job.id), line)
    assert (line.u_mm, worth.budget.u) == (0.4, 0.4)
    assert origins_of(worth)[0][0] == "uncertainty"
    assert improve_words(worth, "in")


# -- repeats -----------------------------------------------------------------------------------


def test_a_doubtful_repeat_is_named_with_its_test_and_the_way_to_strike_it(shop: Shop) -> None:
    line = as_received(shop, *SEVEN).lines[0]
    assert (
        doubtful_words(line, "in")
        == "Repeat 7 doubtful (Grubbs, two-sided, 0.05): x strikes it out"
    )
    assert doubtful_words(as_received(shop).lines[1], "in") == ""


def test_any_repeat_can_be_struck_out_and_stays_visible(shop: Shop) -> None:
    """Not only the last: the third goes, with its reason; the mean is that of the others."""
    view = as_received(shop, "2.4900", "2.4905", "2.5900", "2.4895")
    third = view.lines[0].latest[2]
    view = shop.strike_reading(view, view.lines[0], "read the wrong line", third.id)
    line = view.lines[0]
    assert [r.text for r in line.latest] == ["2.4900", "2.4905", "2.4895"]
    assert [(r.text, r.struck.reason) for r in line.struck if r.struck] == [
        ("2.5900", "read the wrong line")
    ]
    assert line.now_mm == pytest.approx(2.49 * 25.4)


def test_only_a_repeat_of_this_reading_can_be_struck_out(shop: Shop) -> None:
    """A repeat struck before, or one of another reading, is refused and nothing changes."""
    view = as_received(shop, "2.4900", "2.4905")
    first = view.lines[0].latest[0]
    view = shop.strike_reading(view, view.lines[0], "slip", first.id)
    for wrong in (first.id, view.job.id):
        with pytest.raises(InputError, match="a reading taken in this round"):
            shop.strike_reading(view, view.lines[0], "slip", wrong)
    assert len(shop.view(view.job.id).lines[0].latest) == 1


def test_what_was_taken_back_is_not_shown_as_struck_out(shop: Shop) -> None:
    """A slip mended at once is no finding."""
    view, _ = shop.take_back(as_received(shop, "2.4900"))
    assert view.lines[0].struck == ()
    assert any(isinstance(f, rows.Reading) and f.struck for f in view.facts)


# -- what it means -----------------------------------------------------------------------------


def test_change_tolerance_and_difference_are_said_with_their_figures(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    said = meaning_words(trust_of(view, view.lines[0]), "in")
    assert said[0] == "Still to change: +0.0080 in (U 0.0021), real change."
    assert said[1] == "Tolerance: −0.0080 off, ±0.0020 in allowed: out."
    within = ski(shop, "Stilt 67")
    text = " ".join(w for line in within.lines for w in meaning_words(trust_of(within, line), "in"))
    assert "on target, within caliper doubt" in text
    assert ": on target." in text
    assert "Since received: " in text


def test_the_guard_band_says_what_it_leaves_of_the_tolerance(shop: Shop) -> None:
    shop.remember("guard_band", "on")
    view = ski(shop, "Heron 67")
    depth, line, _ = view.lines
    assert line.u_mm is not None
    assert line.accepted_mm == pytest.approx(line.tolerance_mm - 2.0 * line.u_mm)
    assert "Guard band on: accepted up to 0.0007 in off." in meaning_words(
        trust_of(view, line), "in"
    )
    for full in (depth, replace(line, tolerance_mm=0.02)):
        assert "no reading can be accepted" in " ".join(meaning_words(trust_of(view, full), "in"))
