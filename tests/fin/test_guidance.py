"""From readings and targets to turns: exact, rounded, ordered, and how far they are known."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests import strategies as made
from tests.fin.plates import (
    CURVED,
    DEEPEST,
    DEPTH,
    IN,
    LENGTH,
    LEVEL,
    TAIL,
    plan,
    practice_plate,
    practice_rig,
    readings_at,
)
from workbench.errors import InputError, OutOfReachError
from workbench.fin.frame import Base, Pose
from workbench.fin.plan.guidance import StudLimitError
from workbench.fin.plan.plan import Plan, Target, TargetOutOfReachError, is_within
from workbench.fin.plan.uncertainty import u_after
from workbench.fin.pose.equations import NoPoseError, Reading
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.method import Method, Station
from workbench.fin.reading.observe import observe
from workbench.fin.reading.rig import Rig

THREE = (DEPTH, TAIL, LENGTH)
CHANGES = st.floats(-0.6, 0.6)
FINEST = st.sampled_from([0.0, 1 / 16, 1 / 8, 1 / 4, 1 / 2])


def readings_of(rig: Rig, pose: Pose = LEVEL, u_mm: float = 0.0127) -> list[Reading]:
    return readings_at(pose, THREE, rig.blade, rig.base, u_mm)


def targets_at(rig: Rig, pose: Pose, tolerance_mm: float = 0.05) -> list[Target]:
    return [Target(r.method, r.value_mm, tolerance_mm) for r in readings_of(rig, pose)]


def turned(outcome: Plan) -> list[float]:
    return [t.turns for t in outcome.turns]


def exact(outcome: Plan) -> list[float]:
    return [t.exact for t in outcome.turns]


rigs = st.builds(
    practice_rig,
    st.sampled_from([Base(), CURVED]),
    tip_radius_mm=st.sampled_from([0.0, 1.27, 2.5]),
    hand=st.sampled_from(["right", "left"]),
    lead_mm=st.sampled_from([0.8, 25.4 / 32, 25.4 / 28]),
)
wanted_poses = st.builds(
    lambda dx, dy, turn: LEVEL.moved(dx, dy, turn / 100.0),
    CHANGES, CHANGES, st.floats(-0.35, 0.35),
)  # fmt: skip


# Exact turns.


@settings(max_examples=80)
@given(rigs, wanted_poses)
def test_exact_turns_land_on_the_targets(rig: Rig, wanted: Pose) -> None:
    """With the turns made exactly, every reading is its target to 1e-9 in."""
    goals = targets_at(rig, wanted, 1e-6)
    outcome = plan(rig, readings_of(rig), goals, 0.0)
    assume(not outcome.within)
    after = rig.seated(outcome.fit.pose, exact(outcome))
    for goal, predicted in zip(goals, outcome.predictions, strict=True):
        seen = observe(goal.method, rig.blade, rig.base, after)
        assert seen is not None
        assert seen.value_mm == pytest.approx(goal.value_mm, abs=made.EXACT_MM)
        assert predicted.after_mm == seen.value_mm
        assert predicted.within


def test_exact_turns_land_on_the_targets_of_made_up_rigs() -> None:
    """Leaning studs, unlike tips and threads, curved bases: the targets are met to 1e-9 in."""
    chance = made.Seeded(random.Random("rigs"))
    done = 0
    while done < 40:
        rig = made.make_rig(chance)
        far = tuple(replace(stud, limits_mm=(-1e3, 1e3)) for stud in rig.studs)
        rig = Rig(rig.blade, rig.base, far)
        now, want = made.make_pose(chance, 2.0), made.make_pose(chance, 2.0)
        methods = made.make_methods(chance, rig.blade, rig.base, now, ("depth", "tail", "length"))
        seen = methods and [observe(m, rig.blade, rig.base, want) for m in methods]
        if methods is None or seen is None or None in seen:
            continue
        readings = readings_at(now, tuple(methods), rig.blade, rig.base)
        goals = [Target(m, o.value_mm, 1e-6) for m, o in zip(methods, seen, strict=True) if o]
        outcome = plan(rig, readings, goals, 0.0, start=now)
        for goal, predicted in zip(goals, outcome.predictions, strict=True):
            assert predicted.after_mm == pytest.approx(goal.value_mm, abs=made.EXACT_MM)
        done += 1


@settings(max_examples=60)
@given(rigs, wanted_poses)
def test_reversing_now_and_wanted_reverses_the_turns(rig: Rig, wanted: Pose) -> None:
    there = plan(rig, readings_of(rig), targets_at(rig, wanted), 0.0)
    back = plan(rig, readings_of(rig, wanted), targets_at(rig, LEVEL), 0.0)
    assert exact(back) == pytest.approx([-n for n in exact(there)], abs=1e-7)


@settings(max_examples=40)
@given(wanted_poses, FINEST)
def test_a_left_hand_flips_the_clockwise_sense_alone(wanted: Pose, finest: float) -> None:
    plans = [
        plan(rig, readings_of(rig), targets_at(rig, wanted), finest)
        for rig in (practice_rig(hand="right"), practice_rig(hand="left"))
    ]
    assert turned(plans[0]) == turned(plans[1])
    for right, left in zip(plans[0].turns, plans[1].turns, strict=True):
        assert right.direction == left.direction
        if right.turns:
            assert right.stud.clockwise(right.turns) is not left.stud.clockwise(left.turns)
            assert right.stud.clockwise(right.turns) is (right.turns > 0)


@pytest.mark.parametrize("finest", [0.0, 0.125])
@pytest.mark.parametrize("base", [Base(), CURVED])
def test_no_change_gives_no_turns(base: Base, finest: float) -> None:
    """Targets that are the readings, and no targets at all, leave everything alone."""
    rig = practice_rig(base)
    for goals in (targets_at(rig, LEVEL), []):
        outcome = plan(rig, readings_of(rig), goals, finest)
        assert turned(outcome) == [0.0, 0.0, 0.0]
        assert exact(outcome) == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
        assert [s.do for s in outcome.steps] == ["leave"]
        assert outcome.within
        assert "within" in [r.code for r in outcome.remarks]


def test_one_target_changes_one_reading_alone() -> None:
    """The untargeted readings are held: moving the depth leaves length and tail distance."""
    rig = practice_rig(CURVED)
    readings = readings_of(rig)
    goal = Target(DEPTH, readings[0].value_mm + 0.19, 0.05, is_change=True)
    outcome = plan(rig, readings, [goal], 0.0)
    assert [p.role for p in outcome.predictions] == ["target", "held", "held"]
    changes = [p.after_mm - p.now_mm for p in outcome.predictions]
    assert changes == pytest.approx([0.19, 0.0, 0.0], abs=made.EXACT_MM)


# Rounded turns.


def worst_miss(rig: Rig, outcome: Plan, goals: Sequence[Target], turns: Sequence[float]) -> float:
    """Return the worst miss over its tolerance after these turns, taken one by one."""
    pose = rig.seated(outcome.fit.pose, turns)
    seen = [observe(g.method, rig.blade, rig.base, pose) for g in goals]
    return max(
        math.inf if o is None else abs(o.value_mm - g.value_mm) / g.tolerance_mm
        for o, g in zip(seen, goals, strict=True)
    )


@pytest.mark.parametrize(
    ("count", "reach"), [(30, 3), pytest.param(400, 6, marks=pytest.mark.long)]
)
def test_the_rounding_is_the_best_of_all(count: int, reach: int) -> None:
    """Of all roundings some steps around none has a smaller worst miss (brute force).

    Leaning studs, unlike threads and tolerances; often the best is no neighbour of the exact turns.
    """
    chance = made.Seeded(random.Random("roundings"))
    done, farther = 0, 0
    while done < count:
        rig = made.make_rig(chance)
        now = made.make_pose(chance, 2.0)
        methods = made.make_methods(chance, rig.blade, rig.base, now, ("depth", "tail", "length"))
        if methods is None:
            continue
        finest = chance.pick((1 / 16, 1 / 8, 1 / 4))
        readings = readings_at(now, tuple(methods), rig.blade, rig.base)
        goals = [
            Target(r.method, r.value_mm + chance.number(-0.6, 0.6), chance.pick((0.02, 0.05, 0.1)))
            for r in readings
        ]
        try:
            outcome = plan(rig, readings, goals, finest, start=now)
        except (NoPoseError, OutOfReachError):
            continue
        steps = [round(n / finest) for n in exact(outcome)]
        window = [range(n - reach, n + reach + 1) for n in steps]
        best = min(
            worst_miss(rig, outcome, goals, [n * finest for n in each])
            for each in itertools.product(*window)
        )
        chosen = turned(outcome)
        assert worst_miss(rig, outcome, goals, chosen) <= best * (1 + 1e-6) + 1e-12
        assert [n / finest for n in chosen] == pytest.approx([round(n / finest) for n in chosen])
        away = max(abs(a - b) for a, b in zip(chosen, exact(outcome), strict=True))
        farther += away > finest * (1 + 1e-6)
        done += 1
    assert farther > 0


def test_no_rounding_misses_less_with_a_limit_to_a_stud() -> None:
    """The best rounding within a stud's limits is found where the best of all lies beyond them."""
    rig = practice_rig()
    goals = targets_at(rig, LEVEL.moved(0.31, 0.23, 0.0021), 0.02)
    free = plan(rig, readings_of(rig), goals, 0.125)
    stud, now = rig.studs[0], rig.travels(LEVEL)[0].mm
    just = stud.end_mm(now + free.turns[0].exact * stud.lead_mm) + 1e-6
    short = replace(stud, limits_mm=(just - 5.0, just))
    narrow = Rig(rig.blade, rig.base, (short, *rig.studs[1:]))
    outcome = plan(narrow, readings_of(rig), goals, 0.125)
    most = math.floor(free.turns[0].exact / 0.125) * 0.125
    assert outcome.turns[0].turns <= most
    window = [range(-4, 5)] * 3
    centre = [round(n / 0.125) for n in exact(free)]
    allowed = [
        [(c + d) * 0.125 for c, d in zip(centre, each, strict=True)]
        for each in itertools.product(*window)
    ]
    best = min(worst_miss(rig, free, goals, n) for n in allowed if n[0] <= most)
    assert worst_miss(rig, outcome, goals, turned(outcome)) <= best * (1 + 1e-6)


def test_no_reading_is_driven_out_of_its_limit_for_another_s_guard_band() -> None:
    """Where some rounding leaves every reading within its limit, the one chosen does (brute)."""
    rig = practice_rig()
    tried, other = 0, 0
    for i in range(40):
        wanted = LEVEL.moved(0.02 * i, 0.013 * i, 0.0001 * i)
        plain = targets_at(rig, wanted, 0.05)
        narrow = [replace(g, tolerance_mm=t, limit_mm=0.05)
                  for g, t in zip(plain, (0.02, 0.02, 0.004), strict=True)]  # fmt: skip
        outcome = plan(rig, readings_of(rig), narrow, 0.125)
        if outcome.within:
            continue

        def misses(turns: Sequence[float], goals: Sequence[Target] = narrow) -> list[float]:
            at = rig.seated(LEVEL, turns)
            return [abs(rig.observe(g.method, at).value_mm - g.value_mm) for g in goals]

        choices = [(math.floor(8 * n) / 8, math.ceil(8 * n) / 8) for n in exact(outcome)]
        least = min(max(misses(turns)) for turns in itertools.product(*choices))
        if least <= 0.05:
            tried += 1
            assert max(misses(turned(outcome))) <= 0.05 * (1 + 1e-9)
            unlimited = [replace(g, limit_mm=None) for g in narrow]
            other += turned(plan(rig, readings_of(rig), unlimited, 0.125)) != turned(outcome)
    assert tried
    assert other, "without the limits some would go otherwise"


def test_a_limit_narrower_than_the_tolerance_is_refused() -> None:
    with pytest.raises(InputError, match="limit"):
        Target(DEPTH, 60.0, 0.05, limit_mm=0.04)


def test_rounding_together_beats_rounding_each_alone() -> None:
    """On some change the nearest turn of each stud is not the best of them together."""
    rig = practice_rig()
    better = 0
    for i in range(30):
        wanted = LEVEL.moved(0.02 * i, 0.013 * i, 0.0001 * i)
        outcome = plan(rig, readings_of(rig), targets_at(rig, wanted, 0.01), 0.25)
        alone = [round(n / 0.25) * 0.25 for n in exact(outcome)]
        better += not outcome.within and turned(outcome) != alone
    assert better > 0


def test_an_odd_finest_turn_is_refused() -> None:
    rig = practice_rig()
    for odd in (-0.1, 1.5, math.nan, math.inf):
        with pytest.raises(InputError, match="finest_turn"):
            plan(rig, readings_of(rig), [], odd)


# Steps.


@settings(max_examples=60)
@given(rigs, wanted_poses, FINEST)
def test_studs_that_go_out_come_first_and_the_last_step_foretells_the_end(
    rig: Rig, wanted: Pose, finest: float
) -> None:
    """Loosen, out, in, seat, snug, measure; the last turn's readings are the predictions."""
    outcome = plan(rig, readings_of(rig), targets_at(rig, wanted, 0.002), finest)
    moving = [t for t in outcome.turns if t.turns]
    assume(moving)
    does = [s.do for s in outcome.steps]
    assert does == ["loosen", *["turn"] * len(moving), "seat", "snug", "measure"]
    turns = [s.turn for s in outcome.steps if s.turn is not None]
    signs = [t.turns > 0 for t in turns]
    assert signs == sorted(signs)
    assert sorted(t.stud.name for t in turns) == sorted(t.stud.name for t in moving)
    last = outcome.steps[len(moving)]
    assert [m for m, _ in last.expect] == [p.method for p in outcome.predictions]
    for (_, value), predicted in zip(last.expect, outcome.predictions, strict=True):
        assert value == pytest.approx(predicted.after_mm, abs=1e-12)


def test_each_step_expects_what_its_stud_alone_has_done() -> None:
    rig = practice_rig(CURVED)
    goals = targets_at(rig, LEVEL.moved(0.3, -0.4, 0.003))
    outcome = plan(rig, readings_of(rig), goals, 0.125)
    made_so_far = dict.fromkeys((s.name for s in rig.studs), 0.0)
    for step in outcome.steps:
        if step.turn is None:
            continue
        made_so_far[step.turn.stud.name] = step.turn.turns
        pose = rig.seated(outcome.fit.pose, list(made_so_far.values()))
        for method, value in step.expect:
            seen = observe(method, rig.blade, rig.base, pose)
            assert seen is not None
            assert value == pytest.approx(seen.value_mm, abs=1e-12)


# Limits and remarks.


def ends_of(rig: Rig, pose: Pose) -> list[float]:
    """Return how far along its axis each stud's end lies: the ball's centre and its radius more."""
    return [t.mm + s.tip_radius_mm for t, s in zip(rig.travels(pose), rig.studs, strict=True)]


def test_a_stud_beyond_its_travel_is_named_with_its_limit() -> None:
    rig = practice_rig()
    now = ends_of(rig, LEVEL)
    for side, step in (("most", 1.0), ("least", -1.0)):
        limited = replace(rig.studs[2], limits_mm=(now[2] - 0.5, now[2] + 0.5))
        narrow = Rig(rig.blade, rig.base, (*rig.studs[:2], limited))
        with pytest.raises(StudLimitError) as caught:
            plan(narrow, readings_of(rig), targets_at(rig, LEVEL.moved(step, 0, 0)), 0.125)
        why = caught.value
        assert isinstance(why, OutOfReachError)
        assert (why.stud, why.side) == (limited, side)
        assert why.limit_mm == pytest.approx(now[2] + 0.5 * step)
        assert "'tail'" in str(why)
        assert f"{why.limit_mm:.3f}" in str(why)


@settings(max_examples=60)
@given(wanted_poses)
def test_rounding_stays_within_the_travel(wanted: Pose) -> None:
    """Exact turns that just fit are not rounded beyond the stud's limit."""
    rig = practice_rig()
    ends, now = ends_of(rig, wanted), ends_of(rig, LEVEL)
    studs = tuple(
        replace(s, limits_mm=(min(a, b) - 0.001, max(a, b) + 0.001))
        for s, a, b in zip(rig.studs, ends, now, strict=True)
    )
    narrow = Rig(rig.blade, rig.base, studs)
    outcome = plan(narrow, readings_of(rig), targets_at(rig, wanted, 0.001), 0.125)
    for one, mm, n in zip(studs, now, turned(outcome), strict=True):
        assert one.limits_mm is not None
        lo, hi = one.limits_mm
        assert lo - 1e-6 <= mm + n * one.lead_mm <= hi + 1e-6


def test_a_target_out_of_the_blade_s_reach_says_which_and_what_range() -> None:
    rig = practice_rig()
    readings = readings_of(rig)
    with pytest.raises(TargetOutOfReachError) as caught:
        plan(rig, readings, [Target(LENGTH, 250.0, 0.05)], 0.125)
    why = caught.value.why
    assert isinstance(caught.value, OutOfReachError)
    assert why.method is LENGTH
    assert why.value_mm == 250.0
    assert why.range_mm is not None
    assert LENGTH.name in str(caught.value)


def test_a_target_far_out_is_told_the_range_that_it_reads_in_now() -> None:
    """Not the nearest range to it, of another part of the outline, and no word of measuring."""
    rig = practice_rig()
    readings = readings_of(rig)
    depth = readings[0].value_mm
    for asked in (depth + 50.8, depth - 50.8):
        with pytest.raises(TargetOutOfReachError) as caught:
            plan(rig, readings, [Target(DEPTH, asked, 0.05)], 0.125)
        why = caught.value.why
        assert why.method is DEPTH
        assert why.range_mm is not None
        assert why.range_mm[0] <= depth <= why.range_mm[1]
        assert "again" not in str(caught.value)


def test_within_tolerance_is_left_alone_although_it_could_be_bettered() -> None:
    rig = practice_rig()
    goals = targets_at(rig, LEVEL.moved(0.03, 0.03, 0.0), tolerance_mm=0.05)
    outcome = plan(rig, readings_of(rig), goals, 0.0)
    assert outcome.within
    assert turned(outcome) == [0.0, 0.0, 0.0]
    assert any(abs(n) > 0.01 for n in exact(outcome))
    assert [s.do for s in outcome.steps] == ["leave"]


@pytest.mark.parametrize(
    ("off", "expected"), [(0.05, True), (-0.05, True), (0.0500001, False), (0.0, True)]
)
def test_a_miss_of_just_the_tolerance_is_within(off: float, expected: bool) -> None:
    assert is_within(off, 0.05) is expected


def codes(outcome: Plan) -> set[tuple[str, str]]:
    return {(r.code, r.subject) for r in outcome.remarks}


def test_remarks_about_contacts_and_travel() -> None:
    """Off the edge's end, near a limit and beyond one are each told with the stud's name."""
    rig = practice_rig()
    goals = targets_at(rig, LEVEL.moved(0.3, 0.0, 0.0))
    away = replace(rig.studs[0], at_mm=(8.5 * 25.4, -40.0))
    off_edge = Rig(rig.blade, rig.base, (away, *rig.studs[1:]))
    assert ("off_edge", "top front") in codes(plan(off_edge, readings_of(rig), goals, 0.125))
    now = ends_of(rig, LEVEL)[1]
    near = Rig(
        rig.blade,
        rig.base,
        (rig.studs[0], replace(rig.studs[1], limits_mm=(now - 0.05, now + 9.0)), rig.studs[2]),
    )
    assert ("near_limit", "top rear") in codes(plan(near, readings_of(rig), goals, 0.0))
    beyond = Rig(
        rig.blade,
        rig.base,
        (rig.studs[0], replace(rig.studs[1], limits_mm=(now + 0.05, now + 9.0)), rig.studs[2]),
    )
    up = targets_at(rig, LEVEL.moved(0.0, 0.5, 0.0))
    assert ("travel_limit", "top rear") in codes(plan(beyond, readings_of(rig), up, 0.125))


def test_a_change_below_its_own_expanded_uncertainty_is_told() -> None:
    """JCGM 100:2008, 6.2.1: k = 2."""
    rig = practice_rig()
    for u, told in ((0.03, True), (0.02, False)):
        readings = readings_of(rig, u_mm=u)
        goal = Target(DEPTH, readings[0].value_mm + 0.05, 0.01)
        outcome = plan(rig, readings, [goal], 0.0)
        assert (("insignificant", DEPTH.name) in codes(outcome)) is told


def test_a_coarse_turn_that_leaves_a_reading_off_is_told() -> None:
    rig = practice_rig()
    outcome = plan(rig, readings_of(rig), targets_at(rig, LEVEL.moved(0.2, 0.1, 0.001), 0.01), 1.0)
    off = {p.method.name for p in outcome.predictions if not p.within}
    assert off
    assert off == {name for code, name in codes(outcome) if code == "still_off"}


def test_within_is_not_said_where_no_turn_this_coarse_comes_closer() -> None:
    """All turns round to none, yet a reading is off: a finer turn is the way on."""
    rig = practice_rig()
    readings = readings_of(rig)
    goals = [Target(DEPTH, readings[0].value_mm + 0.0635, 0.05)]
    outcome = plan(rig, readings, goals, 0.5)
    assert turned(outcome) == [0.0, 0.0, 0.0]
    assert not outcome.within
    assert [s.do for s in outcome.steps] == ["coarse"]
    assert ("still_off", DEPTH.name) in codes(outcome)


def test_an_exact_turn_is_not_what_arithmetic_leaves_behind() -> None:
    """One stud alone is to be turned: the others get no turn of a billionth, nor a direction."""
    rig = practice_rig()
    readings = readings_of(rig)
    wanted = rig.seated(LEVEL, [0.25, 0.0, 0.0])
    outcome = plan(rig, readings, targets_at(rig, wanted, 0.01), 0.0)
    assert turned(outcome) == pytest.approx([0.25, 0.0, 0.0], abs=1e-8)
    assert turned(outcome)[1:] == [0.0, 0.0]
    assert [s.do for s in outcome.steps].count("turn") == 1


def test_odd_targets_are_refused() -> None:
    rig = practice_rig()
    readings = readings_of(rig)
    goal = Target(DEPTH, 60.0, 0.05)
    with pytest.raises(InputError, match="one target for each"):
        plan(rig, readings, [goal, goal], 0.125)
    with pytest.raises(InputError, match="method with a reading"):
        plan(rig, readings, [Target(DEEPEST, 60.0, 0.05)], 0.125)
    for value, tolerance in ((math.nan, 0.05), (60.0, 0.0), (60.0, -1.0), (60.0, math.inf)):
        with pytest.raises(InputError):
            Target(DEPTH, value, tolerance)


# More than three readings.

SECOND_DEPTH = Method("depth, hole 1", "depth", Station((4.5 * IN, 2.0 * IN)))
FLAT_LENGTH = Method("length, flat", "length", band_mm=(3.0, 9.0))


def test_roles_with_five_readings() -> None:
    """Held are as many untargeted readings as fix the pose, of other quantities first."""
    rig = practice_rig()
    methods = (DEPTH, TAIL, LENGTH, DEEPEST, FLAT_LENGTH)
    readings = readings_at(LEVEL, methods, rig.blade, rig.base)
    goal = Target(DEPTH, readings[0].value_mm + 0.2, 0.05)
    outcome = plan(rig, readings, [goal], 0.0)
    roles = {p.method.name: p.role for p in outcome.predictions}
    assert roles[DEPTH.name] == "target"
    assert roles[TAIL.name] == "held"
    assert roles[LENGTH.name] == "held"
    assert roles[DEEPEST.name] == "follows"
    assert roles[FLAT_LENGTH.name] == "follows"
    for p in outcome.predictions:
        if p.role != "follows":
            assert p.after_mm == pytest.approx(p.target_mm, abs=made.EXACT_MM)
        else:
            assert p.off_mm == pytest.approx(0.0, abs=made.EXACT_MM)
            assert p.after_mm != p.now_mm


@given(
    base=st.sampled_from([Base(), CURVED, Base(70 * IN, 1.0 * IN), Base(1000 * IN, 6.0 * IN)]),
    order=st.permutations([DEPTH, SECOND_DEPTH, TAIL, LENGTH, FLAT_LENGTH]),
    aimed=st.sets(st.sampled_from([DEPTH, SECOND_DEPTH, LENGTH, FLAT_LENGTH]), min_size=1),
    change=st.floats(-0.5, 0.5),
)
def test_the_place_fore_and_aft_is_held_by_the_tail_distance(
    base: Base, order: list[Method], aimed: set[Method], change: float
) -> None:
    """Over a curved base depths and lengths fix it as well, but hardly: the fin would run away."""
    rig = replace(practice_rig(), base=base)
    readings = readings_at(LEVEL, order, rig.blade, rig.base)
    goals = [Target(r.method, r.value_mm + change, 0.05) for r in readings if r.method in aimed]
    outcome = plan(rig, readings, goals, 0.0)
    roles = {p.method.name: p.role for p in outcome.predictions}
    assert roles[TAIL.name] == "held"
    assert abs(outcome.wanted.x_mm - LEVEL.x_mm) < 8.0


def test_scattered_extra_readings_do_not_turn_a_stud() -> None:
    """A held reading that the adjustment does not meet is no reason to turn anything."""
    rig = practice_rig()
    readings = readings_at(LEVEL, (*THREE, DEEPEST), rig.blade, rig.base)
    readings[3] = Reading(DEEPEST, readings[3].value_mm + 0.3, 0.0127)
    goal = Target(TAIL, readings[1].value_mm, 0.05)
    outcome = plan(rig, readings, [goal], 0.125)
    assert outcome.within
    assert turned(outcome) == [0.0, 0.0, 0.0]


def test_four_targets_that_contradict_are_adjusted() -> None:
    """More targets than the pose has freedom for are missed least, and said to be off."""
    rig = practice_rig()
    readings = readings_at(LEVEL, (*THREE, DEEPEST), rig.blade, rig.base)
    goals = [
        Target(r.method, r.value_mm + d, 0.02)
        for r, d in zip(readings, (0.3, 0.0, 0.0, -0.3), strict=True)
    ]
    outcome = plan(rig, readings, goals, 0.0)
    assert any(code == "apart" for code, _ in codes(outcome))
    assert not any(code == "still_off" for code, _ in codes(outcome))


# How far it is known.


def sampled(rig: Rig, readings: list[Reading], goals: list[Target], seed: int) -> np.ndarray:
    """Return exact turns for readings scattered by their uncertainties (seeded)."""
    source = random.Random(seed)
    out = []
    for _ in range(1500):
        noise = [source.gauss(0.0, r.u_mm) for r in readings]
        drawn = [
            Reading(r.method, r.value_mm + d, r.u_mm) for r, d in zip(readings, noise, strict=True)
        ]
        now = fit_pose(rig.blade, rig.base, drawn, start=LEVEL).pose
        own = {r.method.name: d for r, d in zip(readings, noise, strict=True)}
        aims = [
            Reading(g.method, g.value_mm + (own[g.method.name] if g.is_change else 0.0), 0.01)
            for g in goals
        ]
        want = fit_pose(rig.blade, rig.base, aims, start=LEVEL).pose
        pairs = zip(rig.travels(now), rig.travels(want), rig.studs, strict=True)
        out.append([(w.mm - n.mm) / s.lead_mm for n, w, s in pairs])
    return np.array(out)


@pytest.mark.parametrize("is_change", [False, True])
def test_uncertainty_of_the_turns_by_monte_carlo(is_change: bool) -> None:
    """The spread of the exact turns over scattered readings is u_turns, to 5 %.

    JCGM 101:2008 in spirit: fifteen hundred seeded draws; a change moves with its own reading, an
    absolute target does not.
    """
    rig = practice_rig(CURVED)
    readings = [
        replace(r, u_mm=u) for r, u in zip(readings_of(rig), (0.004, 0.006, 0.003), strict=True)
    ]
    goals = [
        Target(r.method, r.value_mm + d, 0.05, is_change)
        for r, d in zip(readings, (0.3, -0.2, 0.4), strict=True)
    ]
    outcome = plan(rig, readings, goals, 0.0)
    spread = sampled(rig, readings, goals, 7).std(axis=0, ddof=1)
    for one, observed in zip(outcome.turns, spread, strict=True):
        assert one.u_turns == pytest.approx(float(observed), rel=0.05, abs=2e-5)


def test_uncertainty_of_a_reading_after_the_turns_by_monte_carlo() -> None:
    """The spread of what a method reads after known turns is u_after, to 5 %."""
    rig = practice_rig(CURVED)
    readings = [
        replace(r, u_mm=u) for r, u in zip(readings_of(rig), (0.004, 0.006, 0.003), strict=True)
    ]
    goals = [Target(r.method, r.value_mm + 0.25, 0.05) for r in readings]
    outcome = plan(rig, readings, goals, 0.125)
    methods = (*THREE, FLAT_LENGTH, DEEPEST)
    source = random.Random(11)
    drawn = []
    for _ in range(1500):
        scattered = [replace(r, value_mm=r.value_mm + source.gauss(0.0, r.u_mm)) for r in readings]
        now = fit_pose(rig.blade, rig.base, scattered, start=LEVEL).pose
        after = rig.seated(now, turned(outcome))
        seen = [observe(m, rig.blade, rig.base, after) for m in methods]
        drawn.append([o.value_mm for o in seen if o])
    spread = np.array(drawn).std(axis=0, ddof=1)
    for method, observed in zip(methods, spread, strict=True):
        known = u_after(rig, outcome.fit, method, outcome.after)
        assert known == pytest.approx(float(observed), rel=0.05)
    for p in outcome.predictions:
        assert p.u_after_mm == u_after(rig, outcome.fit, p.method, outcome.after)


def test_a_reading_untouched_by_the_turns_keeps_its_own_uncertainty() -> None:
    """After no turns each reading is known as well as it was read."""
    rig = practice_rig()
    outcome = plan(rig, readings_of(rig, u_mm=0.02), [], 0.125)
    for p in outcome.predictions:
        assert p.u_after_mm == pytest.approx(0.02, rel=1e-9)


def test_made_up_names_pass_through() -> None:
    """Hostile stud names reach turns, steps and errors as they are."""
    rig = practice_rig()
    for name in made.HOSTILE_NAMES:
        named = Rig(rig.blade, rig.base, (replace(rig.studs[0], name=name), *rig.studs[1:]))
        goals = targets_at(rig, LEVEL.moved(0.3, 0.2, 0.0))
        outcome = plan(named, readings_of(rig), goals, 0.125)
        assert name in [t.stud.name for t in outcome.turns]


def test_plate_of_the_other_tests_is_sound() -> None:
    assert practice_plate().hole("2").edge("back") == pytest.approx(DEPTH.station.at_mm)  # type: ignore[union-attr]
