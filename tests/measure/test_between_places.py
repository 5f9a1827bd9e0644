"""Repeatability and reproducibility between places."""

from __future__ import annotations

import pytest

from tests.measure.figures import figure
from workbench.errors import InputError
from workbench.measure.stats.between_places import between_places


@pytest.mark.parametrize("material", ["A", "D", "E"])
def test_glucose_in_serum(material):
    """ASTM E691, eight laboratories; expected figures from memory (astm-e691-glucose)."""
    example = figure("astm-e691-glucose")
    (layout,) = example.inputs.values()
    result = between_places(layout[material])
    for name, value in {
        "mean": result.mean,
        "s_x": result.s_x,
        "s_r": result.s_r,
        "s_R": result.s_R,
        "r": result.repeatability_limit,
        "R": result.reproducibility_limit,
    }.items():
        example.check_item(f"{material}_{name}", value)


def test_reproducibility_is_never_less_than_repeatability():
    """Places whose means agree better than their own scatter allows."""
    result = between_places([[1.0, 3.0], [3.0, 1.0]])
    assert result.s_x == 0
    assert result.s_R == result.s_r > 0


def test_uneven_places_are_told():
    with pytest.raises(InputError, match="equally many readings"):
        between_places([[1.0, 2.0], [1.0, 2.0, 3.0]])
    with pytest.raises(InputError, match="2 or more"):
        between_places([[1.0, 2.0]])
    with pytest.raises(InputError, match="2 or more readings"):
        between_places([[1.0], [2.0]])
