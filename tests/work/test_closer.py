"""A closer look at a reading: how it is held, and what other methods would read."""

from __future__ import annotations

import math

import pytest

from tests.shop import as_received, read, ski
from workbench.advice.holds import HOLDS
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method, Station
from workbench.measure.units import Unit
from workbench.work.job.shop import Shop
from workbench.work.job_text.setting_words import hold_words, kind_of, place_words
from workbench.work.study.restating import restate_all, restated

# -- restated ----------------------------------------------------------------------------------


def test_what_was_read_comes_back_with_its_own_worth(shop: Shop) -> None:
    """Three readings fix the pose, so that each restated is itself, with its own u."""
    view = ski(shop, "Heron 67")
    for row, line in zip(restated(shop, view), view.lines, strict=False):
        assert row.read
        assert row.value_mm == pytest.approx(line.now_mm, abs=1e-9)
        assert row.u_mm == pytest.approx(line.u_mm, rel=1e-6)
        assert row.difference_mm is None


def test_another_method_is_told_with_the_difference_to_the_one_read(shop: Shop) -> None:
    """Length flat, of the same blade: what the blade at that pose reads, u by the covariance."""
    view = ski(shop, "Heron 67")
    flat = restated(shop, view)[3]
    readings = [Reading(x.method, x.now_mm or 0.0, x.u_mm or 0.0) for x in view.lines]
    fit = fit_pose(view.rig.blade, view.rig.base, readings)
    seen = view.rig.observe(flat.method, fit.pose)
    g, cov = seen.gradient, fit.covariance
    variance = sum(g[i] * cov[i][j] * g[j] for i in range(3) for j in range(3))
    assert flat.method.name == "length, flat"
    assert not flat.read
    assert flat.value_mm == pytest.approx(seen.value_mm, abs=1e-9)
    assert flat.u_mm == pytest.approx(math.sqrt(variance), rel=1e-6)
    assert flat.against == view.lines[2].method
    assert flat.difference_mm == pytest.approx(seen.value_mm - readings[2].value_mm, abs=1e-9)


def test_a_method_that_meets_nothing_says_so_and_spoils_no_other(shop: Shop) -> None:
    view = ski(shop, "Heron 67")
    high = Method("length, far up", "length", band_mm=(99.0, 99.0))
    first, last = restate_all(view, [view.lines[0].method, high], "in")
    assert first.value_mm is not None
    assert (last.value_mm, last.u_mm) == (None, None)
    assert "meet no part of the blade" in last.trouble


def test_without_a_pose_it_says_what_is_missing(shop: Shop) -> None:
    """One of three is read: the other two are named, the first is not."""
    view = as_received(shop, "2.45")
    with pytest.raises(NoPoseError) as why:
        restated(shop, view)
    assert "1 of 3 readings" in str(why.value)
    missing = str(why.value).split("missing:")[1]
    assert [line.method.name in missing for line in view.lines] == [False, True, True]


def test_readings_that_fit_no_pose_are_refused(shop: Shop) -> None:
    view = as_received(shop, "2.45")
    for line, text in zip(view.lines[1:], ("0.728", "9.9"), strict=True):
        view = read(shop, view, line, text)
    with pytest.raises(NoPoseError, match="length, tips"):
        restated(shop, view)


# -- how to hold it ----------------------------------------------------------------------------

METHODS = (
    Method("a", "depth", Station((1.0, 2.0), "2", "back"), 2.54),
    Method("b", "depth"),
    Method("c", "tail", band_mm=(0.254, 0.254)),
    Method("d", "tail", band_mm=(0.0, 7.62)),
    Method("e", "length", band_mm=(0.254, 0.254)),
    Method("f", "length", band_mm=(-10.16, 7.62)),
)


def test_every_kind_of_method_has_its_own_words() -> None:
    """Each says what touches what, to be level, and to do the same every time."""
    assert [kind_of(m) for m in METHODS] == ["station", "deepest", *("tips", "flat") * 2]
    told = {hold_words(m) for m in METHODS}
    assert len(told) == len(HOLDS)
    for words in told:
        text = " ".join(words).lower()
        assert "touch" in text or "meet" in text
        assert "level" in text


def test_length_by_tips_does_not_cross_the_slot() -> None:
    words = " ".join(HOLDS["length", "tips"])
    assert "do not cross the slot" in words
    assert "at the very base" in words


@pytest.mark.parametrize(
    ("index", "unit", "words"),
    [
        (0, "in", "back edge of hole '2', the edge toward the tail, with a jaw 0.1000 in wide"),
        (1, "in", "the deepest point"),
        (2, "in", "Tips at 0.0100 in over the base."),
        (3, "mm", "from 0.00 mm to 7.62 mm over the base."),
        (5, "in", "from −0.4000 in to 0.3000 in over the base (minus: below the base)"),
    ],
)
def test_where_it_touches_is_told_in_the_unit(index: int, unit: Unit, words: str) -> None:
    assert words in place_words(METHODS[index], unit)


def test_a_station_without_a_hole_is_a_point_of_the_blade() -> None:
    method = Method("g", "depth", Station((25.4, 76.2)))
    assert "1.0000 in forward and 3.0000 in out" in place_words(method, "in")
