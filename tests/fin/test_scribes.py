"""Coarse marks: closed forms, central differences, poses, and what they leave of a fine pose."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests import strategies as made
from tests.fin.plates import DEEPEST, DEPTH, LENGTH, TAIL, practice_plate
from workbench.errors import InputError
from workbench.fin.frame import Base, Pose
from workbench.fin.plan.plan import Target, goals_of
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import Fit, fit_pose
from workbench.fin.reading.method import COARSE_U_MM, Method, Scribe, Station
from workbench.fin.reading.observe import Observation, observe

PLATE = practice_plate()
HERE = Pose(16.5, -27.0, 0.004)
POSES = st.builds(
    Pose, st.floats(-50, 80), st.floats(-60, 20), st.floats(-0.25, 0.25, allow_subnormal=False)
)
POINTS = st.tuples(st.floats(-100, 300), st.floats(-60, 120))


@st.composite
def marks(draw: st.DrawFn) -> Method:
    """A coarse mark of either kind, its figures growing either way."""
    scribe = Scribe(draw(POINTS), draw(st.floats(-200, 200)), draw(st.booleans()))
    return Method("mark", draw(st.sampled_from(("tail", "depth"))), scribe=scribe)


def seen(method: Method, pose: Pose, base: Base | None = None) -> Observation:
    found = observe(method, PLATE, base or Base(), pose)
    assert found is not None
    return found


def taken(methods: list[Method], pose: Pose, u_mm: float = 0.015) -> list[Reading]:
    """What these methods read at a pose, coarse ones with their own uncertainty."""
    return [Reading(m, seen(m, pose).value_mm, m.stated_u_mm or u_mm) for m in methods]


SCALE = Method("scale", "tail", scribe=Scribe((50.0, 0.0), 40.0))
SCALE_FRONT = Method("scale, front", "tail", scribe=Scribe((150.0, 0.0), 140.0))
LINES = Method("lines", "depth", scribe=Scribe((40.0, 0.0), 38.0))
LINES_FRONT = Method("lines, front", "depth", scribe=Scribe((140.0, 0.0), 38.0))


@given(marks(), POSES)
def test_a_mark_reads_the_scribe_in_the_blades_own_frame(method: Method, pose: Pose) -> None:
    """Put back by the pose, the place read on the scale lies on the scribe, across it at least."""
    assert method.scribe is not None
    value = seen(method, pose).value_mm
    along = method.scribe.zero_mm - (-value if method.scribe.is_reversed else value)
    c, s = math.cos(pose.tilt_rad), math.sin(pose.tilt_rad)
    # The line of blade points that share the coordinate read, placed in the ski frame.
    point = (along, 0.0) if method.quantity == "tail" else (0.0, along)
    normal = (c, s) if method.quantity == "tail" else (-s, c)
    x, y = pose.place(point)
    off = (method.scribe.at_mm[0] - x) * normal[0] + (method.scribe.at_mm[1] - y) * normal[1]
    assert off == pytest.approx(0.0, abs=made.EXACT_MM)


@given(marks(), POSES, st.integers(0, 2))
def test_derivatives_of_marks_agree_with_central_differences(
    method: Method, pose: Pose, which: int
) -> None:
    step = (1e-3, 1e-3, 1e-5)[which]
    moves = [tuple(sign * step if k == which else 0.0 for k in range(3)) for sign in (-1, 1)]
    low, high = (seen(method, pose.moved(*m)).value_mm for m in moves)
    slope = (high - low) / (2 * step)
    assert seen(method, pose).gradient[which] == pytest.approx(slope, rel=1e-6, abs=1e-6)
    assert seen(method, pose).height_slope == 0.0


def test_a_mark_grows_with_the_number_it_stands_for() -> None:
    """A level blade 2 mm further forward reads 2 mm more; 3 mm further out, 3 mm more."""
    level = Pose(16.5, -27.0, 0.0)
    assert seen(SCALE, level.moved(2, 0, 0)).value_mm - seen(SCALE, level).value_mm == 2.0
    assert seen(LINES, level.moved(0, 3, 0)).value_mm - seen(LINES, level).value_mm == 3.0
    assert seen(SCALE, level).value_mm == 40.0 - (50.0 - 16.5)
    assert seen(LINES, level).value_mm == 38.0 - 27.0
    assert seen(SCALE, level).contacts_mm == ((50.0, 0.0),)


def test_a_reversed_scale_reads_the_same_with_the_other_sign() -> None:
    other = Method("scale", "tail", scribe=Scribe((50.0, 0.0), 40.0, is_reversed=True))
    assert seen(other, HERE).value_mm == -seen(SCALE, HERE).value_mm
    assert seen(other, HERE).gradient == tuple(-g for g in seen(SCALE, HERE).gradient)


@pytest.mark.parametrize("base", [Base(), Base(4000.0, 90.0)], ids=["flat", "curved"])
@pytest.mark.parametrize("reversed_", [False, True])
@pytest.mark.parametrize(
    "kinds", ["scale,lines,lines_front", "depth,scale,length", "lines,tail,length", "d2,d1,scale"]
)
def test_a_pose_is_recovered_where_marks_fix_it(kinds: str, reversed_: bool, base: Base) -> None:
    """Three independent readings give the pose back, whichever of them are coarse marks."""
    named = {
        "scale": SCALE, "lines": LINES, "lines_front": LINES_FRONT, "depth": DEPTH, "tail": TAIL,
        "length": LENGTH, "d1": DEPTH, "d2": DEEPEST,
    }  # fmt: skip
    methods = []
    for name in kinds.split(","):
        method = named[name]
        if method.scribe is not None:
            scribe = Scribe(method.scribe.at_mm, method.scribe.zero_mm, reversed_)
            method = Method(method.name, method.quantity, scribe=scribe)
        methods.append(method)
    readings = [Reading(m, seen(m, HERE, base).value_mm, m.stated_u_mm or 0.015) for m in methods]
    fit = fit_pose(PLATE, base, readings, every=True)
    assert any(
        math.dist((p.x_mm, p.y_mm), (HERE.x_mm, HERE.y_mm)) < 1e-6
        and abs(p.tilt_rad - HERE.tilt_rad) < 1e-8
        for p in (fit.pose, *fit.others)
    )


@pytest.mark.parametrize(
    ("methods", "words"),
    [
        ([SCALE, SCALE_FRONT, LENGTH], "depend"),  # level: both scales say the same
        ([LINES, LINES_FRONT, LENGTH], "fore and aft"),
        ([LINES, DEPTH, DEEPEST], "fore and aft"),
    ],
)
def test_marks_that_fix_no_pose_are_told(methods: list[Method], words: str) -> None:
    level = Pose(16.5, -27.0, 0.0)
    with pytest.raises(NoPoseError, match=words):
        fit_pose(PLATE, Base(), taken(methods, level))


def test_a_blade_on_marks_alone_is_known_no_better_than_they_are() -> None:
    """A scale and two lines fix the pose to about half a millimetre."""
    fit = fit_pose(PLATE, Base(), taken([SCALE, LINES, LINES_FRONT], HERE))
    assert 0.4 < math.sqrt(fit.covariance[0][0]) < 1.0
    assert 0.4 < math.sqrt(fit.covariance[1][1]) < 1.0


def moved_by_marks(off_u: float) -> tuple[Fit, Fit]:
    """The fit of three fine readings, and with four marks that are all off one way."""
    fine = taken([DEPTH, TAIL, LENGTH], HERE)
    coarse = [
        Reading(r.method, r.value_mm + off_u * r.u_mm, r.u_mm)
        for r in taken([SCALE, SCALE_FRONT, LINES, LINES_FRONT], HERE)
    ]
    return fit_pose(PLATE, Base(), fine), fit_pose(PLATE, Base(), fine + coarse)


@pytest.mark.parametrize("off_u", [-1.0, -0.1, 0.1, 1.0])
def test_marks_leave_the_fine_pose_alone(off_u: float) -> None:
    """A mark of 0.5 mm that is off by a share of its u moves no fine reading by more than 3 %
    (its weight beside 0.015 mm) of that share of the fine u for each mark of its quantity."""
    without, with_marks = moved_by_marks(off_u)
    for method in (DEPTH, TAIL, LENGTH):
        shift = abs(seen(method, with_marks.pose).value_mm - seen(method, without.pose).value_mm)
        assert shift < 2 * 0.03 * abs(off_u) * 0.015
        if abs(off_u) <= 0.1:
            assert shift < 0.01 * 0.015


def test_marks_hardly_change_what_the_pose_is_worth() -> None:
    without, with_marks = moved_by_marks(0.0)
    for k in range(3):
        ratio = with_marks.covariance[k][k] / without.covariance[k][k]
        assert 0.99 < ratio <= 1.0


def test_a_mark_follows_where_fine_readings_are_held() -> None:
    """With a target on the depth the fine tail and length are held, whatever marks there are."""
    readings = taken([SCALE, LINES, DEPTH, TAIL, LENGTH], HERE)
    fit = fit_pose(PLATE, Base(), readings)
    goals = goals_of(fit, [Target(DEPTH, readings[2].value_mm + 0.2, 0.05)])
    assert [g.role for g in goals] == ["follows", "follows", "target", "held", "held"]


@settings(max_examples=40)
@given(POSES)
def test_a_mark_is_read_at_any_pose(pose: Pose) -> None:
    assume(abs(pose.tilt_rad) < 0.2)
    assert math.isfinite(seen(LINES, pose).value_mm)


@pytest.mark.parametrize(
    ("options", "field"),
    [
        ({"quantity": "length"}, "scribe"),
        ({"quantity": "tail", "band_mm": (0.0, 1.0)}, "band"),
        ({"quantity": "depth", "station": Station((1.0, 1.0))}, "station"),
        ({"quantity": "depth", "jaw_width_mm": 2.0}, "jaw_width"),
        ({"quantity": "tail", "scribe": Scribe((math.nan, 0.0))}, "at"),
        ({"quantity": "tail", "scribe": Scribe((0.0, 0.0), math.inf)}, "zero"),
        ({"quantity": "tail", "u_mm": 0.0}, "u"),
        ({"quantity": "tail", "u_mm": math.nan}, "u"),
    ],
)
def test_odd_marks_are_refused_by_field(options: dict[str, object], field: str) -> None:
    with pytest.raises(InputError) as caught:
        Method("m", **{"scribe": Scribe((50.0, 0.0)), **options})  # type: ignore[arg-type]
    assert caught.value.field.endswith(field)
    assert caught.value.accepted


def test_what_a_mark_is_worth() -> None:
    """Half a millimetre unless its method says otherwise; a caliper's is left to the budget."""
    assert SCALE.stated_u_mm == COARSE_U_MM == 0.5
    assert Method("s", "tail", scribe=Scribe((0.0, 0.0)), u_mm=0.3).stated_u_mm == 0.3
    assert DEPTH.stated_u_mm is None
    assert Method("d", "depth", u_mm=0.02).stated_u_mm == 0.02
