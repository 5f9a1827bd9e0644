"""What a reading is worth where nobody said: the default budget, with the jaw's height on this blade."""

from __future__ import annotations

from collections.abc import Sequence

from workbench.fin.guidance import Rig
from workbench.fin.methods import Method
from workbench.measure.reading_budget import reading_budget_mm


def reading_u_mm(values_mm: Sequence[float], method: Method, rig: Rig) -> float:
    """Return the standard uncertainty (mm) of the mean of these repeats by the default budget."""
    return reading_budget_mm(values_mm).u
