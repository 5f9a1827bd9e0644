"""The caliper's own figures, and whether its checks still hold."""

from __future__ import annotations

import math
from datetime import date

import pytest

from workbench.errors import InputError
from workbench.measure.calipers import Caliper, Check, judge, standing

DAY = date(2026, 3, 14).toordinal()
BENCH = Caliper("bench 1")
METRIC = Caliper("bench 2", "mm", 0.01)


def good_checks(day: int = DAY) -> list[Check]:
    """Zero and a 50 mm block, both right, on one day."""
    return [Check(0.0, 0.0, day), Check(50.0, 50.01, day)]


def test_permissible_error_is_din_862_unless_stated():
    assert BENCH.mpe_at(60) == 0.020
    assert BENCH.mpe_at(175) == 0.030
    assert Caliper("old", scale="scale 0.1/0.05 mm").mpe_at(60) == 0.050
    assert Caliper("fine", mpe_mm=0.01).mpe_at(175) == 0.01


@pytest.mark.parametrize(
    ("nominal", "reading", "passed"),
    [
        (0, 0.0, True),
        (0, 0.0127, True),
        (0, -0.0127, True),
        (0, 0.0254, False),
        (50, 50.02, True),
        (50, 49.98, True),
        (50, 50.021, False),
        (150, 150.03, True),
        (150, 150.031, False),
    ],
)
def test_zero_to_one_step_and_blocks_to_the_permissible_error(nominal, reading, passed):
    """The limits themselves still pass."""
    assert judge(BENCH, Check(nominal, reading, DAY)).passed is passed


def test_words_in_the_display_s_unit():
    assert judge(BENCH, Check(0, 0.0, DAY)).words == "zero right, 0.0005 in allowed"
    failed = judge(BENCH, Check(0, 0.0254, DAY)).words
    assert failed.startswith("zero off by +0.0010 in, 0.0005 in allowed: wipe the jaws")
    block = judge(METRIC, Check(50, 49.95, DAY)).words
    assert "gauge block off by \N{MINUS SIGN}0.050 mm, 0.020 mm allowed" in block
    assert "another caliper" in block


def test_good_on_the_day_itself():
    state = standing(BENCH, good_checks(), DAY)
    assert (state.state, state.words) == ("good", "checks in date")


@pytest.mark.parametrize(
    ("later", "state", "words"),
    [
        (0, "good", "checks in date"),
        (1, "overdue", "zero last checked yesterday"),
        (29, "overdue", "zero last checked 29 days ago"),
        (30, "overdue", "gauge block last checked 30 days ago"),
    ],
)
def test_checks_grow_old(later, state, words):
    """Zero holds for the day, a block for thirty."""
    answer = standing(BENCH, good_checks(), DAY + later)
    assert answer.state == state
    assert words in answer.words


def test_never_checked_is_overdue():
    answer = standing(BENCH, [], DAY)
    assert answer.state == "overdue"
    assert answer.words == "zero never checked; gauge block never checked"


def test_a_failed_check_outranks_an_old_one():
    checks = [*good_checks(DAY - 40), Check(0, 0.1, DAY)]
    answer = standing(BENCH, checks, DAY)
    assert answer.state == "failed"
    assert answer.words.index("zero off by") < answer.words.index("gauge block last checked")


def test_the_latest_check_counts():
    """Zero set again after a failed check puts it right, on the same day too."""
    failed = Check(0, 0.1, DAY)
    assert standing(BENCH, [failed, *good_checks()], DAY).state == "good"
    assert standing(BENCH, [*good_checks(), failed], DAY).state == "failed"
    assert standing(BENCH, [*good_checks(), Check(0, 0.1, DAY - 1)], DAY).state == "good"


def test_checks_of_days_to_come_do_not_count():
    assert standing(BENCH, good_checks(DAY + 1), DAY).state == "overdue"


def test_intervals_are_the_shop_s_own():
    answer = standing(BENCH, good_checks(), DAY + 6, zero_days=7, block_days=7)
    assert answer.state == "good"
    assert standing(BENCH, good_checks(), DAY + 7, zero_days=7, block_days=0).state == "overdue"
    assert standing(BENCH, [], DAY, zero_days=0, block_days=0).state == "good"


@pytest.mark.parametrize(
    ("options", "field"),
    [
        ({"resolution_mm": 0}, "caliper resolution"),
        ({"resolution_mm": math.nan}, "caliper resolution"),
        ({"mpe_mm": 0}, "caliper permissible error"),
        ({"mpe_mm": -0.02}, "caliper permissible error"),
        ({"scale": "sundial"}, "caliper scale"),
    ],
)
def test_calipers_that_cannot_be_are_told(options, field):
    with pytest.raises(InputError, match=field):
        Caliper(**{"name": "bench 3", **options})


def test_checks_that_cannot_be_are_told():
    with pytest.raises(InputError, match="nominal of the check"):
        Check(-50, 50, DAY)
    with pytest.raises(InputError, match="reading of the check"):
        Check(50, math.nan, DAY)
