"""Results written with the digits they deserve."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.display import round_to_uncertainty


def test_gum_7_2_6():
    """JCGM 100:2008, 7.2.6: 10.057 62 ohm with 27 mohm is 10.058 ohm (gum-7-2-6)."""
    example = figure("gum-7-2-6")
    value = float(example.inputs["x_ohm"].replace(" ", ""))
    rounded, u = round_to_uncertainty(value, example.inputs["u_mohm"] / 1000)
    assert (rounded, u) == (example.expected["rounded"], "0.027")


@pytest.mark.parametrize(("u", "shown"), [(10.47, "11"), (28.05, "28")])
def test_uncertainties_are_rounded_up_but_sensibly(u, shown):
    """The two further figures of JCGM 100:2008, 7.2.6, from memory."""
    assert round_to_uncertainty(0.0, u)[1] == shown


@pytest.mark.parametrize(
    ("value", "u", "digits", "expected"),
    [
        (1.0, 0.0997, 2, ("1.00", "0.10")),
        (1.0, 9.96, 2, ("1", "10")),
        (12345.0, 2805.0, 2, ("12300", "2800")),
        (-0.0004, 0.31, 2, ("0.00", "0.31")),
        (2.4725, 0.00064, 1, ("2.4725", "0.0007")),
        (1e25, 1e-3, 2, ("10000000000000000000000000.0000", "0.0010")),
        (0.0, 1e-20, 2, ("0.000000000000000000000", "0.000000000000000000010")),
    ],
)
def test_carries_zeros_and_extremes(value, u, digits, expected):
    assert round_to_uncertainty(value, u, digits) == expected


@given(st.floats(-1e6, 1e6), st.floats(1e-6, 1e3), st.integers(1, 4))
def test_rounding_keeps_within_half_a_step_and_never_flatters(value, u, digits):
    """The value moves by half its last place at most; the uncertainty never loses over 1 %."""
    text, u_text = round_to_uncertainty(value, u, digits)
    step = Decimal(1).scaleb(Decimal(text).as_tuple().exponent)
    if Decimal(u_text).as_tuple().exponent >= 0:
        step = Decimal(u_text)
    assert abs(Decimal(text) - Decimal(repr(value))) <= step / 2
    assert float(u_text) >= u * 0.99 * (1 - 1e-12)
    assert float(u_text) <= u * (1 + 10 ** (1 - digits)) * (1 + 1e-12)


@pytest.mark.parametrize(
    ("value", "u", "digits", "field"),
    [
        (math.nan, 1, 2, "value"),
        (1, 0, 2, "uncertainty"),
        (1, -1, 2, "uncertainty"),
        (1, math.inf, 2, "uncertainty"),
        (1, 1, 0, "digits"),
    ],
)
def test_bad_input_is_told(value, u, digits, field):
    with pytest.raises(InputError, match=field):
        round_to_uncertainty(value, u, digits)
