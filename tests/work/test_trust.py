"""What a reading is worth where nobody said: the default budget on a real blade."""

from __future__ import annotations

import math
import tomllib
from typing import Any

import numpy as np
import pytest

from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.frame import Base
from workbench.fin.reading.method import Method, Scribe
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import Stud
from workbench.measure.budget import CaliperFigures, reading_budget_mm
from workbench.measure.calipers import din862_mpe_mm
from workbench.places import shipped
from workbench.work.order.order_file import order_from
from workbench.work.trust.reading_budget import (
    CONTACT_HEIGHT_U_MM,
    Taken,
    reading_u_mm,
    readings_of,
)

RIG = Rig(
    # A leading edge at 45 degrees and an upright trailing edge where they meet a flat base.
    Blade(
        "plate",
        ((0, 0), (180, 0), (180, 20), (120, 80), (0, 80)),
        ((0, 0), (180, 0)),
        ((0, 0), (0, 20)),
    ),
    Base(),
    (
        Stud("front", "top", (170, -40), (0, 1), 0.8),
        Stud("rear", "top", (40, -40), (0, 1), 0.8),
        Stud("tail", "back", (5, -15), (1, 0), 0.8),
    ),
)
DEPTH = Method("depth", "depth")
TAIL = Method("tail", "tail", band_mm=(0.3, 0.3))
LENGTH = Method("length", "length", band_mm=(0.3, 0.3))
FLAT = Method("length, flat", "length", band_mm=(-10.0, 8.0))


def example() -> dict[str, Any]:
    path = shipped("fixtures") / "orders" / "practice-plate.toml"
    return tomllib.loads(path.read_text("utf-8"))


def u_by_name(*taken: Taken) -> dict[str, float]:
    return {r.method.name: r.u_mm for r in readings_of(taken, RIG)}


def test_the_jaws_height_counts_by_the_slope_of_the_edge() -> None:
    """At 45 degrees 0.1 mm of height is 0.1 mm of length; on an upright edge it is nothing."""
    u = u_by_name(Taken(DEPTH, (55.0,)), Taken(TAIL, (20.0,)), Taken(LENGTH, (174.7,)))
    assert u["tail"] == pytest.approx(reading_budget_mm([20.0]).u, rel=1e-3)
    plain = reading_budget_mm([174.7]).u
    assert u["length"] == pytest.approx(math.hypot(plain, CONTACT_HEIGHT_U_MM), rel=1e-3)
    assert u["depth"] == reading_budget_mm([55.0], CaliperFigures(mpe_mm=0.04)).u


def test_a_jaw_on_a_corner_does_not_slide() -> None:
    """A wide band whose contact is a corner is as good as any plain reading."""
    u = u_by_name(Taken(DEPTH, (55.0,)), Taken(TAIL, (20.0,)), Taken(FLAT, (180.0,)))
    assert u["length, flat"] == pytest.approx(reading_budget_mm([180.0]).u, rel=1e-9)


def test_a_given_u_is_the_whole_uncertainty() -> None:
    """Nothing is added to what the order says."""
    u = u_by_name(Taken(DEPTH, (55.0,)), Taken(TAIL, (20.0,)), Taken(LENGTH, (174.7,), 0.02))
    assert u["length"] == 0.02


def test_readings_without_a_pose_still_have_an_uncertainty() -> None:
    """Too few, or out of reach: the height does not count, and the plan says what is wrong."""
    for taken in ([Taken(LENGTH, (174.7,))], [Taken(m, (500.0,)) for m in (DEPTH, TAIL, LENGTH)]):
        for reading, t in zip(readings_of(taken, RIG), taken, strict=True):
            mpe = din862_mpe_mm(500.0 if len(taken) == 3 else 174.7)
            mpe += 0.02 if t.method is DEPTH else 0.0
            assert reading.u_mm == reading_budget_mm(t.values_mm, CaliperFigures(mpe_mm=mpe)).u


def test_an_edge_almost_along_the_base_does_not_run_away() -> None:
    """However flat the edge, the estimate stays in a sane range."""
    assert reading_u_mm([174.7], 1e9) == reading_u_mm([174.7], -5.0) < 0.6


def test_defaults_are_sane_on_the_shipped_plate() -> None:
    """Half a thousandth to five thousandths of an inch, on both bases, all methods."""
    order = example()
    for reading in order["readings"]:
        reading.pop("u", None)
    flat = {key: value for key, value in order.items() if key != "base"}
    for either in (order, flat):
        for reading in order_from(either).readings:
            assert 0.0005 * 25.4 < reading.u_mm < 0.005 * 25.4


def test_more_takes_do_not_make_a_reading_worse_than_their_scatter() -> None:
    """Equal repeats are worth at least as much as a single one."""
    assert reading_u_mm([60.0, 60.0, 60.0]) <= reading_u_mm([60.0])
    assert reading_u_mm([60.0, 60.2, 60.4]) > reading_u_mm([60.0])


def test_the_order_carries_the_means_and_the_given_u() -> None:
    """Values are averaged, and a u in the file is taken as it is, in the file's unit."""
    depth = order_from(example()).readings[0]
    assert depth.value_mm == pytest.approx(2.38075 * 25.4, abs=1e-12)
    assert depth.u_mm == pytest.approx(0.0007 * 25.4, abs=1e-15)


# -- the part of the caliper -------------------------------------------------------------------


def u_of(method: Method, mm: float) -> float:
    return readings_of([Taken(method, (mm,))], RIG)[0].u_mm


def test_a_depth_is_read_with_the_rod_and_is_less_sure() -> None:
    """0.0010 in where the jaws would make it 0.0006 in (ISO 13385-1: 20 micrometres more)."""
    assert DEPTH.read_with == "rod"
    assert (TAIL.read_with, FLAT.read_with) == ("tips", "flat")
    assert u_of(DEPTH, 62.0) / 25.4 == pytest.approx(0.00101, abs=0.000005)
    step, jaws = (Method("depth", "depth", part=p) for p in ("step", "flat"))
    assert u_of(step, 62.0) == u_of(DEPTH, 62.0)
    assert u_of(jaws, 62.0) / 25.4 == pytest.approx(0.00064, abs=0.000005)


def test_twice_u_of_a_depth_covers_19_of_20() -> None:
    """Monte Carlo of one reading: rod, rounding, zero, hand and warmth, each as it is stated."""
    rng = np.random.default_rng(20261129)
    n, mm = 200_000, 62.0

    def even(half: float) -> np.ndarray:
        return rng.uniform(-half, half, n)

    warmth = mm * 11.6e-6 * 5.0
    error = even(0.04) + even(0.0127 / 2) + even(0.0127 / 2) + rng.normal(0.0, 0.01, n)
    error += even(warmth)
    assert np.std(error) == pytest.approx(u_of(DEPTH, mm), rel=0.01)
    assert np.mean(np.abs(error) < 2 * u_of(DEPTH, mm)) > 0.95
    by_jaws = u_of(Method("depth", "depth", part="flat"), mm)
    assert np.mean(np.abs(error) < 2 * by_jaws) < 0.80


def test_a_part_in_an_order_is_read_strictly() -> None:
    order = example()
    order["readings"][0].pop("u")
    rod = order_from(order).readings[0].u_mm
    order["methods"][0]["part"] = "flat"
    assert order_from(order).readings[0].u_mm < rod
    order["methods"][0]["part"] = "blade"
    with pytest.raises(InputError, match=r"part.*'blade'.*tips, flat, rod, step"):
        order_from(order)
    with pytest.raises(InputError, match="read by eye"):
        Method("mark", "tail", scribe=Scribe((50.0, 0.0)), part="rod")
