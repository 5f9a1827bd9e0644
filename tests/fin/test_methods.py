"""Reading methods against shapely, root finding and central differences."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests import strategies as made
from tests.fin import oracle
from tests.fin.plates import rectangle, trapezoid
from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.reading.method import QUANTITIES, Method, Quantity, Station
from workbench.fin.reading.observe import observe

CLEAR_MM = 1e-6
"""Corners nearer to a level or a jaw than this fall on either side by rounding alone."""


def is_clear(method: Method, blade: Blade, base: Base, pose: Pose) -> bool:
    """Tell whether rounding cannot decide what this method touches."""
    if base.radius_mm is None and pose.tilt_rad == 0.0:
        return True  # everything is exact on the dyadic grid
    corners = list(oracle.placed(blade, pose).coords)
    if method.band_mm is not None:
        heights = [y - oracle.base_y(base, x) for x, y in corners]
        return all(abs(h - level) > CLEAR_MM for h in heights for level in method.band_mm)
    if method.station is None:
        return True
    x, _ = pose.place(method.station.at_mm)
    walls = (x - method.jaw_width_mm / 2, x + method.jaw_width_mm / 2)
    return all(abs(corner[0] - wall) > CLEAR_MM for corner in corners for wall in walls)


@settings(max_examples=300)
@given(made.sights())
def test_every_method_agrees_with_the_oracle(sight: tuple[Method, Blade, Base, Pose]) -> None:
    """Any method on any simple blade over any base reads what the oracle reads, to 1e-9 in."""
    assume(is_clear(*sight))
    seen, expected = observe(*sight), oracle.reading(*sight)
    if expected is None:
        assert seen is None
    else:
        assert seen is not None
        assert seen.value_mm == pytest.approx(expected, rel=0, abs=made.EXACT_MM)


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("base", [Base(), Base(3810.0, 88.9), Base(1200.0, -40.0)])
def test_fins_agree_with_the_oracle(quantity: Quantity, base: Base) -> None:
    """120 seeded fins per method and base read what the oracle reads, to 1e-9 in."""
    import random

    chance = made.Seeded(random.Random(f"{quantity} {base}"))
    compared = 0
    for _ in range(120):
        blade, pose = made.make_blade(chance), made.make_pose(chance, 8.0)
        method = made.make_method(chance, blade, "m", quantity)
        seen = observe(method, blade, base, pose)
        expected = oracle.reading(method, blade, base, pose)
        assert (seen is None) == (expected is None)
        if seen is not None:
            assert seen.value_mm == pytest.approx(expected, rel=0, abs=made.EXACT_MM)
            compared += 1
    assert compared > 90


def shifted(pose: Pose, which: int, by: float) -> Pose:
    steps = [0.0, 0.0, 0.0]
    steps[which] = by
    return pose.moved(*steps)


@settings(max_examples=250)
@given(made.sights(), st.integers(0, 2))
def test_derivatives_agree_with_central_differences(
    sight: tuple[Method, Blade, Base, Pose], which: int
) -> None:
    """Away from kinks each derivative is what a central difference gives."""
    method, blade, base, pose = sight
    step = (1e-4, 1e-4, 1e-6)[which]
    at = [observe(method, blade, base, shifted(pose, which, k * step)) for k in (-2, -1, 0, 1, 2)]
    assume(all(o is not None for o in at))
    values = [o.value_mm for o in at if o is not None]
    bends = [values[i + 1] - 2 * values[i] + values[i - 1] for i in (1, 2, 3)]
    slope = (values[3] - values[1]) / (2 * step)
    assume(max(map(abs, bends)) < 1e-5 * step * (1.0 + abs(slope)) + 1e-11)
    assert at[2] is not None
    assert at[2].gradient[which] == pytest.approx(slope, rel=2e-5, abs=2e-5)


@settings(max_examples=150)
@given(made.sights())
def test_height_slope_is_the_change_by_contact_height(
    sight: tuple[Method, Blade, Base, Pose],
) -> None:
    """Moving both limits of a band moves the reading by the height slope, away from kinks."""
    method, blade, base, pose = sight
    assume(method.band_mm is not None and method.band_mm[0] > 1.0)
    assert method.band_mm is not None
    lo, hi = method.band_mm
    step = 1e-4
    moved = [
        observe(Method("m", method.quantity, band_mm=(lo + d, hi + d)), blade, base, pose)
        for d in (-step, 0.0, step)
    ]
    assume(all(o is not None for o in moved))
    low, here, high = (o for o in moved if o is not None)
    bend = low.value_mm - 2 * here.value_mm + high.value_mm
    slope = (high.value_mm - low.value_mm) / (2 * step)
    assume(abs(bend) < 1e-5 * step * (1.0 + abs(slope)) + 1e-11)
    assert here.height_slope == pytest.approx(slope, rel=2e-5, abs=2e-5)


NOTCHED = Blade(
    "notched",
    ((0, 0), (100, 0), (100, 60), (70, 60), (70, 20), (60, 20), (60, 50), (0, 50)),
    ((0, 0), (100, 0)),
    ((0, 0), (0, 50)),
)


@pytest.mark.parametrize(
    ("station_u", "width", "expected"),
    [
        (65.0, 0.0, 20.0),  # in the notch
        (60.0, 0.0, 50.0),  # along an upright edge: its far end
        (70.0, 0.0, 60.0),
        (65.0, 10.0, 60.0),  # a jaw that just reaches both walls
        (65.0, 9.0, 20.0),
        (30.0, 1.0, 50.0),
    ],
)
def test_depth_in_a_notch(station_u: float, width: float, expected: float) -> None:
    """A jaw reads the deepest metal within its width, upright edges and notches included."""
    method = Method("m", "depth", Station((station_u, 10.0)), width)
    seen = observe(method, NOTCHED, Base(), Pose(5.0, 0.0, 0.0))
    assert seen is not None
    assert seen.value_mm == expected


def test_a_station_off_the_blade_reads_nothing() -> None:
    method = Method("m", "depth", Station((120.0, 10.0)))
    assert observe(method, NOTCHED, Base(), Pose(0.0, 0.0, 0.0)) is None


@pytest.mark.parametrize("level", [20.0, 50.0, 60.0])
def test_corners_exactly_on_a_level_count(level: float) -> None:
    """A level through corners, and along a level edge, takes the outline's whole extent there."""
    method = Method("m", "length", band_mm=(level, level))
    seen = observe(method, NOTCHED, Base(), Pose(0.0, 0.0, 0.0))
    assert seen is not None
    assert seen.value_mm == (30.0 if level == 60.0 else 100.0)


def test_a_band_above_the_blade_reads_nothing() -> None:
    method = Method("m", "tail", band_mm=(60.5, 70.0))
    assert observe(method, NOTCHED, Base(), Pose(0.0, 0.0, 0.0)) is None


@pytest.mark.parametrize("tilt", [-0.05, -0.001, 0.0, 0.002, 0.08])
def test_rectangle_length_in_closed_form(tilt: float) -> None:
    """Jaw tips on a rectangle's two upright edges read its length over the cosine of its tilt."""
    seen = observe(
        Method("m", "length", band_mm=(3.0, 3.0)), rectangle(), Base(), Pose(20.0, -30.0, tilt)
    )
    assert seen is not None
    assert seen.value_mm == pytest.approx(180.0 / math.cos(tilt), rel=0, abs=made.EXACT_MM)


def test_trapezoid_length_in_closed_form() -> None:
    """A level trapezoid's length falls linearly with the height; a band reads its lower limit."""
    for height in (0.0, 10.0, 25.5, 50.0):
        tips = observe(
            Method("m", "length", band_mm=(height, height)), trapezoid(), Base(), Pose(9, -30, 0)
        )
        flat = observe(
            Method("m", "length", band_mm=(height, 50.0)), trapezoid(), Base(), Pose(9, -30, 0)
        )
        assert tips is not None
        assert flat is not None
        assert tips.value_mm == pytest.approx(180.0 - (30.0 + height), rel=0, abs=made.EXACT_MM)
        assert flat.value_mm == tips.value_mm


@pytest.mark.parametrize(
    ("options", "field"),
    [
        ({"quantity": "width"}, "quantity"),
        ({"quantity": "depth", "band_mm": (0.0, 1.0)}, "band"),
        ({"quantity": "depth", "jaw_width_mm": -1.0}, "jaw_width"),
        ({"quantity": "depth", "jaw_width_mm": math.nan}, "jaw_width"),
        ({"quantity": "depth", "station": Station((math.inf, 0.0))}, "station"),
        ({"quantity": "tail"}, "band"),
        ({"quantity": "tail", "band_mm": (2.0, 1.0)}, "band"),
        ({"quantity": "tail", "band_mm": (math.nan, 1.0)}, "band"),
        ({"quantity": "length", "band_mm": (0.0, 500.0)}, "band"),
        ({"quantity": "length", "band_mm": (0.0, 1.0), "jaw_width_mm": 2.0}, "jaw_width"),
        ({"quantity": "tail", "band_mm": (0, 1), "station": Station((0.0, 0.0))}, "station"),
    ],
)
def test_odd_methods_are_refused_by_field(options: dict[str, object], field: str) -> None:
    with pytest.raises(InputError) as caught:
        Method("m", **options)  # type: ignore[arg-type]
    assert field in caught.value.field
    assert caught.value.accepted


@given(made.hostile_names())
def test_any_name_is_only_a_name(name: str) -> None:
    """Names are data: any text names a method, and errors quote it on one line."""
    assert Method(name, "depth").name == name
    with pytest.raises(InputError) as caught:
        Method(name, "tail")
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 250
