"""What a reading is worth where nobody said: the default budget, the jaw's height included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from workbench.errors import BenchError
from workbench.fin.fit import Reading, fit_pose
from workbench.fin.methods import Method
from workbench.fin.rig import Rig
from workbench.measure.reading_budget import reading_budget_mm
from workbench.measure.repeats import mean_of

CONTACT_HEIGHT_U_MM = 0.01
"""Standard uncertainty of the height at which a jaw meets a slanting edge: our default (common
practice, no source)."""

STEEPEST_SLOPE = 5.0
"""Reading per height beyond which a straight-line estimate from one pose says nothing: an edge that
lies almost along the base."""


@dataclass(frozen=True, slots=True)
class Taken:
    """Repeats (mm) taken with one method; ``u_mm`` is their standard uncertainty where given."""

    method: Method
    values_mm: tuple[float, ...]
    u_mm: float | None = None


def reading_u_mm(values_mm: Sequence[float], height_slope: float = 0.0) -> float:
    """Return the standard uncertainty (mm) of the mean of these repeats by the default budget.

    ``height_slope`` is how much the reading changes per mm of contact height (mm/mm); it is 0 for a
    depth and where the jaw meets a corner.
    """
    slope = min(abs(height_slope), STEEPEST_SLOPE)
    return reading_budget_mm(values_mm, contact_height_u_mm=CONTACT_HEIGHT_U_MM, slope=slope).u


def readings_of(taken: Sequence[Taken], rig: Rig) -> tuple[Reading, ...]:
    """Return a reading for each of ``taken``; where no u was given, by the default budget.

    The jaw's height counts by the slope of the edges it meets, at the pose that the readings' own
    means give; where they give none, it does not count.
    """
    plain = tuple(
        Reading(
            t.method, mean_of(t.values_mm), reading_u_mm(t.values_mm) if t.u_mm is None else t.u_mm
        )
        for t in taken
    )
    if all(t.u_mm is not None or t.method.quantity == "depth" for t in taken):
        return plain
    slopes = _height_slopes(plain, rig)
    return tuple(
        reading
        if t.u_mm is not None
        else Reading(t.method, reading.value_mm, reading_u_mm(t.values_mm, slope))
        for t, reading, slope in zip(taken, plain, slopes, strict=True)
    )


def _height_slopes(readings: Sequence[Reading], rig: Rig) -> list[float]:
    try:
        fit = fit_pose(rig.blade, rig.base, readings)
    except BenchError:  # said in full when the plan is made
        return [0.0] * len(readings)
    return [seen.height_slope for seen in fit.observations]
