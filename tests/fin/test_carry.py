"""A setting carried to another blade."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from shapely.geometry import Polygon

from tests import strategies as made
from tests.fin.oracle import placed
from tests.fin.plates import BASES, LEVEL, practice_plate, rectangle
from workbench.errors import OutOfReachError
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.plan.exposed import carry, exposed
from workbench.fin.pose.descent import STEEPEST_RAD


def moved(blade: Blade, by: Pose) -> Blade:
    """Return the same blade drawn in another frame."""
    return Blade(
        "redrawn", tuple(map(by.place, blade.outline_mm)),
        *(tuple(map(by.place, e)) for e in (blade.top_edge_mm, blade.back_edge_mm)),
    )  # type: ignore[arg-type]  # fmt: skip


@pytest.mark.parametrize("base", BASES)
def test_the_same_blade_stays_where_it_is_however_it_is_drawn(base: Base) -> None:
    blade = practice_plate()
    frame = Pose(12.0, -7.0, 0.03)
    turned = LEVEL.tilt_rad - frame.tilt_rad
    redrawn = Pose(*LEVEL.place(frame.locate((0.0, 0.0))), turned)
    for new, pose in ((blade, LEVEL), (moved(blade, frame), redrawn)):
        out = carry(blade, base, LEVEL, new)
        assert out.differs == ()
        assert out.pose.x_mm == pytest.approx(pose.x_mm, abs=1e-6)
        assert out.pose.y_mm == pytest.approx(pose.y_mm, abs=1e-6)
        assert out.pose.tilt_rad == pytest.approx(pose.tilt_rad, abs=1e-8)


def taller(blade: Blade, by: float) -> Blade:
    """Return a blade of the same top half whose outer part is stretched outward."""
    outline = tuple((u, v if v < 30.0 else 30.0 + by * (v - 30.0)) for u, v in blade.outline_mm)
    return Blade("taller", outline, blade.top_edge_mm, blade.back_edge_mm)


@pytest.mark.parametrize("base", BASES)
def test_another_blade_exposes_the_same_area_about_the_same_place(base: Base) -> None:
    blade = practice_plate()
    out = carry(blade, base, LEVEL, taller(blade, 1.02))
    assert out.differs == ()
    assert out.after.area_mm2 == pytest.approx(out.before.area_mm2, abs=1e-4)
    assert out.after.centroid_mm == pytest.approx(out.before.centroid_mm, abs=1e-6)
    again = exposed(taller(blade, 1.02), base, out.pose)
    assert again == out.after
    assert out.after.leading_edge_rad != pytest.approx(out.before.leading_edge_rad, abs=1e-4)


def test_a_rectangle_for_a_rectangle() -> None:
    """150 mm for 180 mm of the same area lies deeper: the area is kept, the centroid out is not."""
    out = carry(rectangle(180.0, 80.0), Base(), Pose(0.0, -30.0, 0.0), rectangle(150.0, 120.0))
    assert out.differs == ("out",)
    assert out.after.area_mm2 == pytest.approx(180.0 * 50.0, abs=1e-4)
    assert out.after.centroid_mm[0] == pytest.approx(90.0, abs=1e-6)
    # Upright the centroid lies half of 60 mm out; a tilt only brings it further out.
    assert out.after.centroid_mm[1] == pytest.approx(30.0, abs=1e-5)
    assert out.pose.tilt_rad == pytest.approx(0.0, abs=1e-3)


def test_a_blade_too_small_comes_out_as_far_as_its_top_edge_allows() -> None:
    out = carry(rectangle(180.0, 80.0), Base(), Pose(0.0, -10.0, 0.0), rectangle(120.0, 60.0))
    assert "area" in out.differs
    assert out.after.area_mm2 == pytest.approx(120.0 * 60.0, rel=0.02)
    assert out.after.centroid_mm[0] == pytest.approx(out.before.centroid_mm[0], abs=1e-6)


def test_nothing_out_of_the_base_cannot_be_carried() -> None:
    with pytest.raises(OutOfReachError, match="nothing of it is out of the base"):
        carry(rectangle(), Base(), Pose(0.0, -90.0, 0.0), rectangle())


@settings(max_examples=6, deadline=None)
@given(made.blades(), made.blades(), made.bases(), made.poses(2.0))
def test_what_is_said_to_be_the_same_is_the_same_to_shapely(
    old: Blade, new: Blade, base: Base, pose: Pose
) -> None:
    before = exposed(old, base, pose)
    assume(before is not None and before.area_mm2 > 500.0)
    try:
        out = carry(old, base, pose, new)
    except OutOfReachError:
        assume(False)
    assert abs(out.pose.tilt_rad) < 2.5 * STEEPEST_RAD
    if base.radius_mm is None:
        flat = Polygon([(-1e4, 0.0), (1e4, 0.0), (1e4, 1e4), (-1e4, 1e4)])
        cut = [Polygon(placed(b, p)).intersection(flat) for b, p in ((old, pose), (new, out.pose))]
        if "area" not in out.differs:
            assert cut[0].area == pytest.approx(cut[1].area, rel=1e-6)
        if "forward" not in out.differs:
            assert cut[0].centroid.x == pytest.approx(cut[1].centroid.x, abs=2e-5)
        if "out" not in out.differs:
            assert cut[0].centroid.y == pytest.approx(cut[1].centroid.y, abs=2e-5)
