"""Permissible errors of calipers as DIN 862 prints them."""

from __future__ import annotations

import pytest

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.calipers import DEPTH_AND_INSIDE_MM, DIN_862_MM, din862_mpe_mm


@pytest.mark.parametrize("scale", list(DIN_862_MM))
def test_din_862_rows(scale):
    """DIN 862 (1988 table), outside measurement, micrometres (din862-mpe)."""
    example = figure("din862-mpe")
    name = "digital 0.01 mm" if scale == "digital" else scale
    lengths = example.inputs["measuring_length_mm"]
    ours = [round(din862_mpe_mm(length, scale) * 1000) for length in lengths]
    assert ours == example.expected[name]
    assert round(DEPTH_AND_INSIDE_MM * 1000) == example.expected["added for depth and inside"]


def test_between_rows_the_longer_counts():
    assert din862_mpe_mm(100.01) == 0.030
    assert din862_mpe_mm(0) == 0.020
    assert din862_mpe_mm(-62.0) == 0.020


def test_beyond_the_table_is_refused():
    with pytest.raises(InputError, match="0 to 1000 mm"):
        din862_mpe_mm(1000.5)
    with pytest.raises(InputError, match="caliper scale"):
        din862_mpe_mm(10, "laser")
