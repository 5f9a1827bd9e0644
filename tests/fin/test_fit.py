"""The pose from readings: closed forms, scipy as an oracle, several solutions, uncertainties."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, least_squares, minimize

from tests import strategies as made
from tests.fin import oracle
from tests.fin.plates import (
    BASES,
    CURVED,
    DEEPEST,
    DEPTH,
    LENGTH,
    LEVEL,
    TAIL,
    practice_plate,
    readings_at,
    rectangle,
    trapezoid,
)
from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.frame import Base, Pose
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.pose.search import LIKELY
from workbench.fin.reading.method import Method, Scribe, Station
from workbench.fin.reading.observe import observe


def apart(a: Pose, b: Pose) -> float:
    return math.hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) + 100.0 * abs(a.tilt_rad - b.tilt_rad)


def assert_met(fit: Fit, within: float = made.EXACT_MM) -> None:
    """Check that the pose gives the readings."""
    assert max(map(abs, fit.residuals_mm)) <= within


# Closed forms.


@pytest.mark.parametrize("tilt", [0.01, 0.05, -0.03])
def test_rectangle_in_closed_form(tilt: float) -> None:
    """A rectangle L x H: the length tells the size of the tilt alone, so that two poses answer.

    length = L / cos t; deepest = y + H cos t + L sin |t| (its leading or trailing bottom corner);
    the rear upright edge crosses the height h at x = x0 - (h - y0) tan t.
    """
    plate, h = rectangle(180.0, 80.0), 5.0
    tips = Method("length", "length", band_mm=(h, h))
    rear = Method("tail", "tail", band_mm=(h, h))
    size = abs(tilt)
    y = {
        t: 55.0 - 80.0 * math.cos(t) - (180.0 * math.sin(t) if t > 0 else 0.0)
        for t in (size, -size)
    }
    readings = [
        Reading(DEEPEST, 55.0, 0.01),
        Reading(rear, 20.0, 0.01),
        Reading(tips, 180.0 / math.cos(size), 0.01),
    ]
    fit = fit_pose(plate, Base(), readings, start=Pose(20, -25, tilt), every=True)
    expected = {t: Pose(20.0 + (h - y[t]) * math.tan(t), y[t], t) for t in (size, -size)}
    assert apart(fit.pose, expected[tilt]) < made.ITERATED_MM
    assert len(fit.others) == 1
    assert apart(fit.others[0], expected[-tilt]) < made.ITERATED_MM


def test_level_trapezoid_in_closed_form() -> None:
    """Lengths at two heights and a tail distance fix a level trapezoid by similar triangles."""
    y0 = -22.0
    readings = [
        Reading(Method(f"length {h}", "length", band_mm=(h, h)), 180.0 - (h - y0), 0.01)
        for h in (5.0, 40.0)
    ]
    rear = Method("tail", "tail", band_mm=(5.0, 5.0))
    readings.append(Reading(rear, 20.0 + 30.0 * (5.0 - y0) / 80.0, 0.01))
    fit = fit_pose(trapezoid(), Base(), readings, every=True)
    poses = [fit.pose, *fit.others]
    assert min(apart(p, Pose(20.0, y0, 0.0)) for p in poses) < made.ITERATED_MM


def test_sine_bar_figures() -> None:
    """Two depths a fixed distance apart along the plate tell its tilt as a sine bar does.

    Machinery's Handbook, 31st ed., p. 695, and TC 9-524, appendix C (sine-bar): a 5 in bar. The
    stations lie on the plate's own bottom edge, level with the deepest reading's corners, where a
    depth is y + u sin t + v cos t, so that the difference of two is 5 in times sin t.
    """
    plate = rectangle(200.0, 100.0)
    bar = 5 * 25.4
    figures = {12.0: 1.03956, 9.0: 0.78217}
    for degrees, rise in figures.items():
        tilt = math.radians(degrees)
        # Both stations stand over points of the bottom edge: walls at their x meet the edge there.
        one, two = (Method(f"depth {u}", "depth", Station((u, 100.0))) for u in (40.0, 40.0 + bar))
        low = 60.0
        readings = [
            Reading(one, low, 0.01),
            Reading(two, low + rise * 25.4, 0.01),
            Reading(Method("tail", "tail", band_mm=(1.0, 1.0)), 20.0, 0.01),
        ]
        fit = fit_pose(plate, Base(), readings)
        assert bar / 25.4 * math.sin(fit.pose.tilt_rad) == pytest.approx(rise, abs=1e-9)
        # The figure is printed to 5e-6 in, which is this much of the angle.
        slack = 5e-6 / (5 * math.cos(tilt))
        assert fit.pose.tilt_rad == pytest.approx(tilt, abs=slack)


# Readings -> pose -> readings.


def jobs(
    seed: str, count: int, kinds: Sequence[tuple[str, ...]] = made.KINDS
) -> list[tuple[Blade, Base, Pose, list[Reading]]]:
    """Return seeded jobs whose readings come from a known pose."""
    chance = made.Seeded(random.Random(seed))
    out = []
    while len(out) < count:
        blade, base, pose = (
            made.make_blade(chance),
            made.make_base(chance),
            made.make_pose(chance, 6.0),
        )
        methods = made.make_methods(chance, blade, base, pose, chance.pick(kinds))  # type: ignore[type-var]
        if methods is None:
            continue
        readings = readings_at(pose, tuple(methods), blade, base)
        rows = np.array([o.gradient for o in (observe(m, blade, base, pose) for m in methods) if o])
        rows[:, 2] /= blade.length_mm
        values = np.linalg.svd(rows, compute_uv=False)
        if values[-1] > 1e-2 * values[0]:
            out.append((blade, base, pose, readings))
    return out


def test_readings_to_pose_to_readings() -> None:
    """A pose is found from any independent three, and the oracle reads the same on it."""
    for blade, base, _, readings in jobs("there and back", 80):
        fit = fit_pose(blade, base, readings)
        assert_met(fit)
        for reading in readings:
            again = oracle.reading(reading.method, blade, base, fit.pose)
            assert again == pytest.approx(reading.value_mm, abs=made.EXACT_MM)


def test_a_start_near_by_leads_to_the_true_pose() -> None:
    """From a few tenths of a mm off, the pose found is the one that the readings came from."""
    missed = 0
    for blade, base, pose, readings in jobs("near by", 60):
        fit = fit_pose(blade, base, readings, start=pose.moved(0.02, -0.03, 0.0002))
        assert_met(fit)
        missed += apart(fit.pose, pose) > made.ITERATED_MM * 100
    assert missed <= 1  # a second pose may meet the readings as near by


def test_every_pose_with_a_depth_and_a_tail_distance_holds_the_true_one() -> None:
    """The search over all tilts finds the pose that the readings came from among its answers."""
    kinds = (("depth", "tail", "length"), ("depth", "depth", "tail"), ("depth", "tail", "tail"))
    for blade, base, pose, readings in jobs("every", 80, kinds):
        fit = fit_pose(blade, base, readings, every=True)
        assert min(apart(p, pose) for p in (fit.pose, *fit.others)) < 1e-4
        for other in fit.others:
            for reading in readings:
                again = oracle.reading(reading.method, blade, base, other)
                assert again == pytest.approx(reading.value_mm, abs=made.EXACT_MM)


@settings(max_examples=80)
@given(st.floats(-300, 300), st.floats(-80, 60), st.floats(-0.3, 0.3), st.sampled_from(BASES))
def test_a_start_far_off_does_no_harm(x: float, y: float, tilt: float, base: Base) -> None:
    """Wherever the search starts, the pose found meets the readings."""
    readings = readings_at(LEVEL, (DEPTH, TAIL, LENGTH), practice_plate(), base)
    fit = fit_pose(practice_plate(), base, readings, start=Pose(x, y, tilt))
    assert_met(fit)


@pytest.mark.parametrize("base", BASES)
def test_tilt_agrees_with_brentq(base: Base) -> None:
    """The tilt is the root that scipy finds along the poses that meet depth and tail distance."""
    plate = practice_plate()
    readings = readings_at(LEVEL, (DEPTH, TAIL, LENGTH), plate, base)

    def placed(tilt: float) -> Pose:
        x, y = LEVEL.x_mm, LEVEL.y_mm
        for _ in range(60):  # alternate: each reading is nearly its own coordinate's
            y += readings[0].value_mm - (oracle.reading(DEPTH, plate, base, Pose(x, y, tilt)) or 0)
            x += readings[1].value_mm - (oracle.reading(TAIL, plate, base, Pose(x, y, tilt)) or 0)
        return Pose(x, y, tilt)

    def off(tilt: float) -> float:
        return (oracle.reading(LENGTH, plate, base, placed(tilt)) or 0) - readings[2].value_mm

    expected = placed(brentq(off, -0.002, 0.01, xtol=1e-14))
    found = fit_pose(plate, base, readings).pose
    assert apart(found, expected) < made.ITERATED_MM


def test_readings_near_the_blade_s_limits() -> None:
    """Readings at, or just beside, a corner of the outline on the jaws' level give a pose."""
    plate = practice_plate()
    corner = 0.75 * 25.4  # where the leading edge bends
    for eps in (0.0, 1e-9, -1e-9, 1e-6, -1e-6, 1e-3, -1e-3):
        tilt = 0.003
        y = 0.254 - corner * math.cos(tilt) - 7.3 * 25.4 * math.sin(tilt) + eps
        pose = Pose(16.0, y, tilt)
        readings = readings_at(pose, (DEPTH, TAIL, LENGTH), plate, Base())
        assert_met(fit_pose(plate, Base(), readings))


# Least squares.


def noisy(readings: Sequence[Reading], seed: str, u_mm: float = 0.01) -> list[Reading]:
    source = random.Random(seed)
    return [Reading(r.method, r.value_mm + source.gauss(0, u_mm), u_mm) for r in readings]


FIVE = (DEPTH, DEEPEST, TAIL, LENGTH, Method("length, flat", "length", band_mm=(2.0, 9.0)))


@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("count", [4, 5])
def test_adjustment_agrees_with_scipy(base: Base, count: int) -> None:
    """The weighted sum of squares and the pose are those of scipy's least squares."""
    plate = practice_plate()
    pose = Pose(16.0, -25.0, 0.01)
    for seed in range(2):
        readings = noisy(readings_at(pose, FIVE[:count], plate, base), f"{seed}")
        readings[0] = Reading(readings[0].method, readings[0].value_mm, 0.003)

        def misfits(p: Sequence[float], readings: list[Reading] = readings) -> list[float]:
            at = Pose(p[0], p[1], p[2] / 100.0)
            values = [oracle.reading(r.method, plate, base, at) for r in readings]
            return [((v or 0) - r.value_mm) / r.u_mm for v, r in zip(values, readings, strict=True)]

        start = (pose.x_mm, pose.y_mm, 100 * pose.tilt_rad)
        best = least_squares(misfits, start, xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac")
        fit = fit_pose(plate, base, readings, start=pose)
        cost = sum((d / r.u_mm) ** 2 for d, r in zip(fit.residuals_mm, readings, strict=True))
        assert cost <= 2 * best.cost * (1 + 1e-8) + 1e-12
        assert cost == pytest.approx(2 * best.cost, rel=1e-6)
        assert apart(fit.pose, Pose(best.x[0], best.x[1], best.x[2] / 100)) < made.ITERATED_MM * 10


def test_adjustment_of_random_jobs_is_no_worse_than_scipy() -> None:
    """Kinks included, scipy's simplex search from our pose and from the truth finds no better."""
    kinds = (("depth", "tail", "length", "depth"), ("depth", "tail", "length", "length", "tail"))
    for i, (blade, base, pose, exact) in enumerate(jobs("adjusted", 8, kinds)):
        readings = noisy(exact, f"{i}")
        fit = fit_pose(blade, base, readings, start=pose)

        def cost(p: Sequence[float]) -> float:
            at = Pose(p[0], p[1], p[2] / 100.0)
            seen = [observe(r.method, blade, base, at) for r in readings]  # noqa: B023
            if any(o is None for o in seen):
                return math.inf
            return sum(
                ((o.value_mm - r.value_mm) / r.u_mm) ** 2
                for o, r in zip(seen, readings, strict=True)  # noqa: B023
                if o
            )

        own = (fit.pose.x_mm, fit.pose.y_mm, 100 * fit.pose.tilt_rad)
        options = {"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000, "maxfev": 4000}
        best = min(
            minimize(cost, x, method="Nelder-Mead", options=options).fun
            for x in (own, (pose.x_mm, pose.y_mm, 100 * pose.tilt_rad))
        )
        assert cost(own) <= best * (1 + 1e-6) + 1e-9


@pytest.mark.parametrize("wrong", range(5))
def test_a_reading_that_no_move_changes_is_no_hindrance(wrong: int) -> None:
    """The length of an upright rectangle follows no move; one reading is wrong by 0.5 mm."""
    plate, pose = rectangle(180.0, 80.0), Pose(20.0, -25.0, 0.0)
    methods = (
        Method("front", "depth", Station((160.0, 80.0))),
        Method("rear", "depth", Station((20.0, 80.0))),
        Method("tail", "tail", band_mm=(5.0, 10.0)), Method("again", "tail", band_mm=(5.0, 10.0)),
        Method("length", "length", band_mm=(5.0, 10.0)),
    )  # fmt: skip
    readings = []
    for i, method in enumerate(methods):
        seen = observe(method, plate, Base(), pose)
        assert seen is not None
        readings.append(Reading(method, seen.value_mm + 0.5 * (i == wrong), 0.0127))
    fit = fit_pose(plate, Base(), readings, every=True)
    assert fit.pose.x_mm == pytest.approx(20.0, abs=0.5)
    assert fit.pose.y_mm == pytest.approx(-25.0, abs=0.6)


def test_more_than_three_readings_find_their_pose_with_nothing_known() -> None:
    """A descent from a level blade may end at a kink; what chance does not explain is not left."""
    plate = practice_plate()
    draw = random.Random(21)
    kinds = (
        Method("deep", "depth", station=Station((36.8, 76.2))),
        Method("fore", "depth", station=Station((130.0, 40.0)), jaw_width_mm=4.0),
        Method("tail", "tail", band_mm=(0.0, 7.6)),
        Method("tips", "length", band_mm=(0.25, 0.25)),
        Method("flat", "length", band_mm=(3.8, 7.6)),
        Method("scale", "tail", scribe=Scribe((60.0, 0.0), 90.0)),
        Method("line", "depth", scribe=Scribe((60.0, 0.0), 40.0, True)),
    )
    tried = 0
    for _ in range(100):
        base = draw.choice([Base(), Base(3810.0, 88.9), Base(1500.0, 60.0)])
        tilt = math.radians(draw.uniform(-2.0, 2.0))
        pose = Pose(draw.uniform(10.0, 30.0), draw.uniform(-28.0, -18.0), tilt)
        methods = draw.sample(kinds, draw.randint(4, 7))
        named = {m.name for m in methods}
        seen = [observe(m, plate, base, pose) for m in methods]
        if "tail" not in named or not named & {"deep", "fore"}:
            continue
        readings = []
        for method, at in zip(methods, seen, strict=True):
            u_mm = 0.5 if method.is_coarse else 0.02
            assert at is not None
            readings.append(Reading(method, at.value_mm + draw.gauss(0.0, u_mm), u_mm))

        def misfits(
            p: Sequence[float], base: Base = base, readings: list[Reading] = readings
        ) -> list[float]:
            at = Pose(p[0], p[1], p[2] / 100.0)
            values = [observe(r.method, plate, base, at) for r in readings]
            return [
                (v.value_mm - r.value_mm) / r.u_mm if v else 1e3
                for v, r in zip(values, readings, strict=True)
            ]

        best = least_squares(misfits, (pose.x_mm, pose.y_mm, 100.0 * tilt))
        found = fit_pose(plate, base, readings).pose
        cost = sum(m * m for m in misfits((found.x_mm, found.y_mm, 100.0 * found.tilt_rad)))
        by_chance = LIKELY * (len(readings) - 3)
        assert cost <= max(2 * best.cost * (1 + 1e-6), by_chance), (methods, base, pose)
        tried += 1
    assert tried > 40


def test_without_a_tail_distance_every_place_along_the_base_is_looked_for() -> None:
    """Two depths and a length over a curve are often met twice: the true place is among them."""
    plate = practice_plate()
    draw = random.Random(7)
    methods = (
        Method("rear", "depth", station=Station((36.8, 76.2))),
        Method("fore", "depth", station=Station((132.08, 59.69))),
        Method("tips", "length", band_mm=(0.25, 0.25)),
    )
    twice = 0
    for _ in range(12):
        base = Base(draw.choice([2000.0, 3810.0, 5000.0]), 88.9)
        tilt = math.radians(draw.uniform(-2.0, 2.0))
        pose = Pose(draw.uniform(10.0, 25.0), draw.uniform(-28.0, -20.0), tilt)
        found = fit_pose(plate, base, readings_at(pose, methods, plate, base), every=True)
        both = (found.pose, *found.others)
        assert min(apart(pose, each) for each in both) < 1e-5
        assert all(min(each.place(p)[0] for p in plate.outline_mm) >= 0.0 for each in both)
        assert all(abs(found.pose.tilt_rad) <= abs(each.tilt_rad) for each in found.others)
        twice += len(both) > 1
    assert twice


def test_agreeing_readings_beyond_three_change_nothing() -> None:
    readings = readings_at(LEVEL, FIVE, practice_plate(), Base())
    fit = fit_pose(practice_plate(), Base(), readings)
    assert apart(fit.pose, LEVEL) < made.ITERATED_MM
    assert_met(fit)


# Uncertainty.


@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("count", [3, 5])
def test_gain_is_how_the_pose_follows_each_reading(base: Base, count: int) -> None:
    """Changing one reading by a little moves the pose by its column of the gain."""
    plate = practice_plate()
    methods = (DEPTH, TAIL, LENGTH) if count == 3 else FIVE
    readings = readings_at(Pose(16.0, -25.0, 0.01), methods, plate, base)
    fit = fit_pose(plate, base, readings)
    step = 1e-3
    for j, reading in enumerate(readings):
        ends = []
        for by in (step, -step):
            moved = list(readings)
            moved[j] = Reading(reading.method, reading.value_mm + by, reading.u_mm)
            ends.append(fit_pose(plate, base, moved, start=fit.pose).pose)
        up, down = ends
        for k, name in enumerate(("x_mm", "y_mm", "tilt_rad")):
            slope = (getattr(up, name) - getattr(down, name)) / (2 * step)
            assert fit.gain[k][j] == pytest.approx(slope, rel=2e-3, abs=2e-6)


@pytest.mark.parametrize("count", [3, 4, 5])
def test_covariance_is_the_inverse_normal_matrix(count: int) -> None:
    """JCGM 102:2011, 6.2: (J^T W J)^-1, by numpy."""
    methods = (DEPTH, TAIL, LENGTH, DEEPEST, FIVE[4])[:count]
    plate = practice_plate()
    readings = [
        Reading(r.method, r.value_mm, 0.01 * (i + 1))
        for i, r in enumerate(readings_at(LEVEL, methods, plate, CURVED))
    ]
    fit = fit_pose(plate, CURVED, readings)
    j = np.array([o.gradient for o in fit.observations])
    w = np.diag([1 / r.u_mm**2 for r in readings])
    expected = np.linalg.inv(j.T @ w @ j)
    assert np.allclose(fit.covariance, expected, rtol=1e-8)
    assert np.allclose(fit.gain, expected @ j.T @ w, rtol=1e-8, atol=1e-12)


# Manners.


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_reading_must_be_a_finite_length(value: float) -> None:
    with pytest.raises(InputError, match="finite"):
        Reading(DEPTH, value, 0.01)


@pytest.mark.parametrize("u", [0.0, -0.01, math.nan, math.inf])
def test_a_reading_has_an_uncertainty(u: float) -> None:
    with pytest.raises(InputError, match="more than 0"):
        Reading(DEPTH, 60.0, u)


def test_one_method_twice_is_refused() -> None:
    reading = Reading(DEPTH, 60.0, 0.01)
    with pytest.raises(InputError, match="each method once"):
        fit_pose(practice_plate(), Base(), [reading, reading, Reading(TAIL, 20.0, 0.01)])


@settings(max_examples=25)
@given(st.floats(-50, 300), st.floats(-50, 300), st.floats(-50, 400), st.sampled_from(BASES))
def test_any_three_numbers_give_a_pose_or_a_reason(
    a: float, b: float, c: float, base: Base
) -> None:
    """Whatever is typed: the readings are met, or an error names what is wrong."""
    readings = [Reading(m, v, 0.01) for m, v in zip((DEPTH, TAIL, LENGTH), (a, b, c), strict=True)]
    try:
        assert_met(fit_pose(practice_plate(), base, readings))
    except NoPoseError as caught:
        said = str(caught)
    else:
        return
    assert said
    assert "\n" not in said


def test_names_decide_nothing() -> None:
    """Readings by methods of hostile names give the same pose."""
    readings = readings_at(LEVEL, (DEPTH, TAIL, LENGTH), practice_plate(), CURVED)
    renamed = [
        Reading(
            Method(
                name, r.method.quantity, r.method.station, r.method.jaw_width_mm, r.method.band_mm
            ),
            r.value_mm,
            r.u_mm,
        )
        for name, r in zip(made.HOSTILE_NAMES, readings, strict=False)
    ]
    plain, hostile = (fit_pose(practice_plate(), CURVED, rs) for rs in (readings, renamed))
    assert plain.pose == hostile.pose
