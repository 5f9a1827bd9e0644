"""Readings that fix no pose: each error names the reason, the reading and a range that would do."""

from __future__ import annotations

import math
import random

import pytest

from tests import strategies as made
from tests.fin.plates import (
    BASES,
    DEEPEST,
    DEPTH,
    LENGTH,
    LEVEL,
    TAIL,
    practice_plate,
    readings_at,
    rectangle,
)
from workbench.errors import PoseError
from workbench.fin.frame import Base, Pose
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method, Station


def reason_of(readings: list[Reading], base: Base, blade: object = None) -> NoPoseError:
    with pytest.raises(NoPoseError) as caught:
        fit_pose(blade or practice_plate(), base, readings)  # type: ignore[arg-type]
    assert isinstance(caught.value, PoseError)
    assert "\n" not in str(caught.value)
    return caught.value


def changed(readings: list[Reading], which: int, value: float) -> list[Reading]:
    out = list(readings)
    out[which] = Reading(out[which].method, value, out[which].u_mm)
    return out


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_readings_say_how_many_are_needed(count: int) -> None:
    readings = readings_at(LEVEL, (DEPTH, TAIL), practice_plate(), Base())[:count]
    assert "three" in reason_of(readings, Base()).reason


def test_without_a_tail_distance_a_flat_base_leaves_the_place_open() -> None:
    readings = readings_at(LEVEL, (DEPTH, DEEPEST, LENGTH), practice_plate(), Base())
    assert "add a tail distance" in reason_of(readings, Base()).reason


@pytest.mark.parametrize("degrees", [16.0, 20.0, 25.0])
def test_a_tilt_beyond_the_search_is_not_called_dependence(degrees: float) -> None:
    pose = Pose(16.5, -26.0, math.radians(degrees))
    readings = readings_at(pose, (DEPTH, TAIL, LENGTH), practice_plate(), Base())
    why = reason_of(readings, Base())
    assert f"a tilt of {degrees:.1f}°, beyond the 15°" in why.reason
    assert "depend" not in why.reason


def test_without_a_depth_upright_edges_leave_the_height_open() -> None:
    """Three numbers along a rectangle's length say nothing of how far it stands out."""
    tips = Method("length", "length", band_mm=(4.0, 4.0))
    tails = [Method(f"tail {h}", "tail", band_mm=(h, h)) for h in (2.0, 9.0)]
    plate, pose = rectangle(), Pose(20.0, -30.0, 0.01)
    readings = readings_at(pose, (tips, *tails), plate, Base())
    why = reason_of(readings, Base(), plate)
    assert "depend on each other" in why.reason
    assert "add a depth" in why.reason


def test_the_same_depth_twice_leaves_the_tilt_open() -> None:
    """One station under two names is one reading."""
    again = Method("depth once more", "depth", DEPTH.station)
    readings = readings_at(LEVEL, (DEPTH, again, TAIL), practice_plate(), Base())
    assert "tilt" in reason_of(readings, Base()).reason


def test_the_same_depth_twice_with_two_values_has_no_pose() -> None:
    again = Method("depth once more", "depth", DEPTH.station)
    readings = readings_at(LEVEL, (DEPTH, again, TAIL), practice_plate(), Base())
    why = reason_of(changed(readings, 1, readings[1].value_mm + 0.5), Base())
    assert "tilt" in why.reason or "depend" in why.reason


def test_a_band_above_the_blade_meets_no_part_of_it() -> None:
    high = Method("tail, high", "tail", band_mm=(99.0, 100.0))
    small = rectangle(60.0, 40.0)
    readings = readings_at(Pose(20.0, -10.0, 0.01), (DEEPEST, LENGTH), small, Base())
    why = reason_of([*readings, Reading(high, 20.0, 0.01)], Base(), small)
    assert "no part of this blade" in why.reason
    assert why.method is high


@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize(
    ("which", "value"), [(0, 300.0), (0, -40.0), (2, 400.0), (2, -5.0), (2, 190.0)]
)
def test_out_of_reach_names_the_reading_and_a_range(base: Base, which: int, value: float) -> None:
    """A reading that no pose of this blade gives is named with what it said and could say."""
    readings = changed(
        readings_at(LEVEL, (DEPTH, TAIL, LENGTH), practice_plate(), base), which, value
    )
    why = reason_of(readings, base)
    assert why.method is readings[which].method
    assert why.value_mm == value
    assert why.range_mm is not None
    lo, hi = why.range_mm
    assert lo < hi
    assert not lo <= value <= hi
    assert f"{lo:.3f} to {hi:.3f}" in str(why)


@pytest.mark.parametrize("base", BASES)
def test_the_range_named_is_attainable(base: Base) -> None:
    """Any reading inside the range that the error names has a pose with the others as they are."""
    readings = changed(readings_at(LEVEL, (DEPTH, TAIL, LENGTH), practice_plate(), base), 2, 190.0)
    why = reason_of(readings, base)
    assert why.range_mm is not None
    lo, hi = why.range_mm
    for share in (0.0, 0.1, 0.5, 0.9, 1.0):
        value = lo + share * (hi - lo)
        fit = fit_pose(practice_plate(), base, changed(readings, 2, value))
        assert max(map(abs, fit.residuals_mm)) <= made.EXACT_MM


def test_contradicting_depths_name_one_and_its_range() -> None:
    """Two depths too far apart for any tilt: the nearest range is named, and its middle solves."""
    near = Method("depth, near by", "depth", Station((DEPTH.station.at_mm[0] + 20.0, 60.0)))  # type: ignore[union-attr]
    readings = readings_at(LEVEL, (DEPTH, near, TAIL), practice_plate(), Base())
    readings = changed(readings, 1, readings[1].value_mm + 30.0)
    why = reason_of(readings, Base())
    assert why.method is not None
    assert why.range_mm is not None
    which = next(i for i, r in enumerate(readings) if r.method is why.method)
    middle = sum(why.range_mm) / 2.0
    fit = fit_pose(practice_plate(), Base(), changed(readings, which, middle))
    assert max(map(abs, fit.residuals_mm)) <= made.EXACT_MM


def test_ranges_of_random_blades_are_attainable() -> None:
    """For a reading pushed out of reach on made-up blades, the range's middle has a pose."""
    chance = made.Seeded(random.Random("ranges"))
    tried = 0
    while tried < 20:
        blade, base, pose = made.make_blade(chance), made.make_base(chance), made.make_pose(chance)
        methods = made.make_methods(chance, blade, base, pose, ("depth", "tail", "length"))
        if methods is None:
            continue
        readings = readings_at(pose, tuple(methods), blade, base)
        which = chance.pick((0, 2))
        readings = changed(readings, which, readings[which].value_mm + chance.pick((90.0, -150.0)))
        try:
            fit_pose(blade, base, readings)
        except NoPoseError as why:
            if why.range_mm is None or why.method is None or not math.isfinite(sum(why.range_mm)):
                continue
            tried += 1
            at = next(i for i, r in enumerate(readings) if r.method is why.method)
            fit = fit_pose(blade, base, changed(readings, at, sum(why.range_mm) / 2.0))
            assert max(map(abs, fit.residuals_mm)) <= made.EXACT_MM


def test_upright_edges_at_the_jaws_leave_the_tilt_open() -> None:
    """A level rectangle's length does not change with the tilt to first order."""
    tips = Method("length", "length", band_mm=(4.0, 4.0))
    tail = Method("tail", "tail", band_mm=(4.0, 4.0))
    readings = readings_at(Pose(20.0, -30.0, 0.0), (DEEPEST, tail, tips), rectangle(), Base())
    assert "tilt" in reason_of(readings, Base(), rectangle()).reason
