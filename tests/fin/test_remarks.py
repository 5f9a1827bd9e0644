"""What is told beside the turns: an odd tilt, now or wanted, and uncertainties beside a corner."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.fin.plates import CURVED, DEPTH, IN, LENGTH, TAIL, plan, practice_rig, readings_at
from workbench.fin.blade import Blade
from workbench.fin.frame import Pose
from workbench.fin.plan.guidance import ODD_TILT_RAD, plan_from, rough_remarks
from workbench.fin.plan.plan import Plan, Target
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import Method, Station
from workbench.fin.reading.rig import Rig
from workbench.work.text.words import remark_words

SECOND = Method("depth, hole 1", "depth", Station((4.5 * IN, 2.0 * IN)))


def planned(now_deg: float, wanted_deg: float) -> Plan:
    """A plan from one tilt to another, by depth, tail and length."""
    rig, methods = practice_rig(), (DEPTH, TAIL, LENGTH)
    far = tuple(replace(stud, limits_mm=(-1e3, 1e3)) for stud in rig.studs)
    rig = Rig(rig.blade, rig.base, far)
    now, then = (Pose(16.5, -26.0, math.radians(t)) for t in (now_deg, wanted_deg))
    readings = readings_at(now, methods, rig.blade, rig.base)
    targets = [Target(m, rig.observe(m, then).value_mm, 0.01) for m in methods]
    return plan(rig, readings, targets, 0.0, start=now)


@pytest.mark.parametrize(
    ("now_deg", "wanted_deg", "told"),
    [(0.5, 1.5, []), (0.5, -6.0, ["wanted"]), (6.0, 0.5, ["now"]), (-6.0, -6.5, ["now", "wanted"])],
)
def test_an_odd_tilt_is_told_now_and_wanted(
    now_deg: float, wanted_deg: float, told: list[str]
) -> None:
    """The pose that targets ask for is looked at as the pose of now is."""
    result = planned(now_deg, wanted_deg)
    assert result.wanted.tilt_rad == pytest.approx(math.radians(wanted_deg), abs=1e-6)
    found = [r for r in result.remarks if r.code == "tilt"]
    assert [r.when for r in found] == told
    assert all(abs(r.angle_rad) > ODD_TILT_RAD for r in found)
    for remark in found:
        what = "targets ask for" if remark.when == "wanted" else "readings put the blade"
        assert what in remark_words(remark, "in")


def swept() -> Rig:
    """A plate whose upright back edge turns forward by 45 degrees at 28 mm from the top edge."""
    outline = ((0, 0), (180, 0), (180, 20), (140, 60), (90, 80), (52, 80), (0, 28))
    blade = Blade("swept", outline, outline[:2], (outline[0], outline[-1]))
    return practice_rig(blade=blade)


def tips(height_mm: float) -> Method:
    return Method(f"tail at {height_mm:g}", "tail", band_mm=(height_mm, height_mm))


def fitted(rig: Rig, pose: Pose, u_mm: float) -> Fit:
    """The fit of a deepest depth, a tail distance and a length, all well away from corners."""
    length = Method("length", "length", band_mm=(10.0, 10.0))
    depth = Method("depth", "depth", Station((20.0, 40.0)))
    readings = readings_at(pose, (depth, tips(10.0), length), rig.blade, rig.base, u_mm)
    return fit_pose(rig.blade, rig.base, readings, pose)


@pytest.mark.parametrize(
    ("height_mm", "rough"), [(2.5, False), (2.99, True), (3.01, True), (3.5, False)]
)
@pytest.mark.parametrize("u_mm", [0.02, 0.002])
def test_only_a_touch_beside_a_corner_is_rough(height_mm: float, rough: bool, u_mm: float) -> None:
    """The back edge bends 3 mm above the base: jaw tips within the readings' reach of it are told.

    With a tenth of the uncertainty 0.01 mm is far enough away.
    """
    rig, pose = swept(), Pose(20.0, -25.0, 0.0)
    found = rough_remarks(rig, fitted(rig, pose, u_mm), [tips(height_mm)], pose, "now")
    assert bool(found) == (rough and u_mm == 0.02)


def test_a_touch_that_may_miss_the_blade_is_rough() -> None:
    """A depth so near the blade's end that it may meet nothing."""
    rig, pose = swept(), Pose(20.0, -25.0, 0.0)
    highest = Method("tail", "tail", band_mm=(54.99, 54.99))
    found = rough_remarks(rig, fitted(rig, pose, 0.02), [highest], pose, "now")
    assert [remark.subject for remark in found] == [highest.name]


def test_a_plan_tells_which_reading_is_rough_and_when() -> None:
    """Raised by 0.5 mm the jaw comes upon the corner: told of the target, and only of it."""
    rig, pose = swept(), Pose(20.0, -25.5, 0.0)
    length = Method("length", "length", band_mm=(10.0, 10.0))
    depth = Method("depth", "depth", Station((20.0, 40.0)))
    readings = readings_at(pose, (depth, tips(3.0), length), rig.blade, rig.base, 0.02)
    then = Pose(20.0, -25.0, 0.0)
    targets = [Target(r.method, rig.observe(r.method, then).value_mm, 0.01) for r in readings]
    result = plan(rig, readings, targets, 0.0)
    (found,) = [r for r in result.remarks if r.code == "rough"]
    assert (found.subject, found.when) == ("tail at 3", "wanted")
    words = remark_words(found, "mm")
    assert words.startswith("tail at 3: at the target it touches so near a corner")
    assert "only rough" in words


def test_a_place_known_by_the_base_s_curve_alone_is_told() -> None:
    """Two depths and a length over a curved base fix the place fore and aft, but hardly."""
    rig, pose = replace(practice_rig(), base=CURVED), Pose(20.0, -26.0, 0.01)
    for methods, told in (((DEPTH, SECOND, LENGTH), True), ((DEPTH, TAIL, LENGTH), False)):
        readings = readings_at(pose, methods, rig.blade, rig.base, 0.02)
        result = plan(rig, readings, [], 0.125)
        found = [r for r in result.remarks if r.code == "no_tail"]
        assert bool(found) is told
        for remark in found:
            assert remark.limit_mm == 2.0 * math.sqrt(result.fit.covariance[0][0]) > 2.0
            assert "fore and aft" in remark_words(remark, "mm")


@pytest.mark.parametrize(
    ("tilts_deg", "told"),
    [
        ((), None),
        ((9.0, -12.0), None),
        ((2.0,), "tilted +2.00°: a fourth"),
        ((9.0, 3.0, -1.5, -12.0), "tilted −1.50°, and 3 more poses: a fourth"),
        ((1.0, -7.0), "tilted +1.00°, and 1 more pose: a fourth"),
    ],
)
def test_of_several_poses_that_fit_the_likeliest_is_told_and_how_many(
    tilts_deg: tuple[float, ...], told: str | None
) -> None:
    rig, methods = practice_rig(), (DEPTH, TAIL, LENGTH)
    fit = fit_pose(
        rig.blade, rig.base, readings_at(Pose(16.5, -26.0, 0.0), methods, rig.blade, rig.base)
    )
    others = tuple(Pose(16.5, -26.0, math.radians(t)) for t in tilts_deg)
    result = plan_from(rig, replace(fit, others=others), [], 0.125)
    words = [remark_words(r, "in") for r in result.remarks if r.code == "ambiguous"]
    assert len(words) == (told is not None)
    assert told is None or told in words[0]
