"""Meaningful or not: changes, differences and tolerances against their expanded uncertainties."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.errors import InputError
from workbench.fin.plan.plan import is_within
from workbench.work.trust.job_reading import (
    accepted_mm,
    change_of,
    difference_of,
    nearness,
)

MM = st.floats(-1.0, 1.0)
U = st.floats(0.001, 0.2)


def test_a_difference_is_said_in_the_unit_asked_for() -> None:
    """5 thou against 1 thou of expanded uncertainty each is clear; 1 thou is not."""
    u = 0.0005 * 25.4
    clear = difference_of(62.357, u, 62.23, u).words("in")
    assert clear == "+0.0050 in (U 0.0014), real change"
    small = difference_of(62.2046, u, 62.23, u).words("mm")
    assert small == "−0.03 mm (U 0.036), below what we can measure"


@given(MM, U, MM, U)
def test_a_difference_combines_both_uncertainties_and_only_its_sign_turns(
    a: float, u_a: float, b: float, u_b: float
) -> None:
    """k = 2 on the root sum of squares (JCGM 100:2008, 5.1.2 and 6.2.1)."""
    found, back = difference_of(a, u_a, b, u_b), difference_of(b, u_b, a, u_a)
    assert found.expanded_mm == pytest.approx(2.0 * math.sqrt(u_a**2 + u_b**2))
    assert found.clear == (abs(a - b) > found.expanded_mm)
    assert (back.mm, back.clear) == (-found.mm, found.clear)


@given(MM, st.floats(0.01, 0.5), U)
def test_the_three_states_are_told_apart_by_the_guard_band(
    off: float, tolerance: float, u: float
) -> None:
    """Out by the tolerance alone; sure only where |off| <= tolerance - U (JCGM 106:2012, 8.3.2)."""
    state = nearness(off, tolerance, u)
    assert (state == "out") == (not is_within(off, tolerance))
    room = accepted_mm(tolerance, u) - abs(off)
    if abs(room) > 1e-9:
        assert (state == "sure") == (room > 0)
    assert accepted_mm(tolerance, None) == tolerance


def test_a_miss_of_just_the_tolerance_is_within_but_not_sure() -> None:
    assert nearness(0.0508, 0.0508, 0.01) == "unsure"
    assert nearness(0.0509, 0.0508, 0.01) == "out"
    assert nearness(0.0, 0.0508, 0.01) == "sure"


def test_no_uncertainty_is_refused() -> None:
    for u in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(InputError, match="standard uncertainty"):
            change_of(0.1, u)
