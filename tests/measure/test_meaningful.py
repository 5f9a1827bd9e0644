"""Whether a change or a tolerance stands clear of its uncertainty."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.errors import InputError
from workbench.measure.significance import acceptance, verdict


@pytest.mark.parametrize(
    ("change", "state", "words"),
    [
        (0.05, "clear", "real change"),
        (-0.05, "clear", "real change"),
        (0.04, "unclear", "below what we can measure"),
        (0.0, "unclear", "no change seen"),
    ],
)
def test_change_against_its_uncertainty(change, state, words):
    """A change no larger than its own expanded uncertainty is called out."""
    answer = verdict(change, 0.04)
    assert answer.state == state
    assert words in answer.words
    assert math.isclose(answer.ratio, abs(change) / 0.04)


@pytest.mark.parametrize(
    ("value", "simple", "guarded", "clear"),
    [
        (10.00, "within", "within", True),
        (10.04, "within", "unclear", False),
        (10.05, "within", "unclear", False),
        (10.06, "outside", "unclear", False),
        (10.10, "outside", "outside", True),
        (9.96, "within", "unclear", False),
        (9.80, "outside", "outside", True),
    ],
)
def test_acceptance_with_and_without_a_guard_band(value, simple, guarded, clear):
    """Tolerance 9.95 to 10.05, U = 0.02: the band either side of a limit is where doubt lives."""
    plain = acceptance(value, 9.95, 10.05, 0.02)
    banded = acceptance(value, 9.95, 10.05, 0.02, guard_band=True)
    assert (plain.state, plain.clear) == (simple, clear)
    assert (banded.state, banded.clear) == (guarded, clear)


def test_words_for_a_glance():
    assert acceptance(10.0, 9.95, 10.05, 0.02).words == "within tolerance"
    assert acceptance(10.2, 9.95, 10.05, 0.02).words == "out of tolerance"
    assert "on the limit" in acceptance(10.06, 9.95, 10.05, 0.02).words
    assert "measure again" in acceptance(10.04, 9.95, 10.05, 0.02, guard_band=True).words


def test_an_uncertainty_wider_than_the_tolerance_is_said():
    answer = acceptance(10.0, 9.99, 10.01, 0.02, guard_band=True)
    assert answer.state == "unclear"
    assert "fills the tolerance" in answer.words


@given(st.floats(-1, 1), st.floats(0.001, 0.5), st.floats(0.001, 0.5))
def test_a_guard_band_never_accepts_what_simple_acceptance_refuses(value, half, expanded):
    plain = acceptance(value, -half, half, expanded)
    banded = acceptance(value, -half, half, expanded, guard_band=True)
    if banded.state != "unclear":
        assert banded.state == plain.state
    assert (banded.state == "unclear") == (not banded.clear)


@pytest.mark.parametrize("expanded", [0, -1, math.nan, math.inf])
def test_an_uncertainty_must_be_positive(expanded):
    with pytest.raises(InputError, match="expanded uncertainty"):
        verdict(0.1, expanded)
    with pytest.raises(InputError, match="expanded uncertainty"):
        acceptance(1, 0, 2, expanded)


def test_bad_values_are_told():
    with pytest.raises(InputError, match="lower first"):
        acceptance(1, 2, 0, 0.1)
    with pytest.raises(InputError, match="value"):
        acceptance(math.nan, 0, 2, 0.1)
    with pytest.raises(InputError, match="change"):
        verdict(math.nan, 0.1)
