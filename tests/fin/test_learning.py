"""The bench that learns: against an independent filter, its laws, and what it never may do."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from tests.fin.learning_bench import WAYS, Run, mean_and_error, runs
from tests.fin.learning_shop import CORNERS, METHODS, Truth, bench_rig, fresh, season, takes
from tests.fin.plates import IN, plan, readings_at
from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.fin.frame import Pose
from workbench.fin.learn.decide import decide
from workbench.fin.learn.edges import edges_of
from workbench.fin.learn.replay import (
    InJob,
    Learnt,
    Round,
    begin,
    change_blade,
    follow,
    forget_stud,
    go_on,
    nothing_learnt,
    take_more,
    taught,
)
from workbench.fin.learn.seating import together
from workbench.fin.learn.sight import Takes, look
from workbench.fin.learn.state import OFFSETS, ORDINARY, Imperfections, State, effect_of, turned
from workbench.fin.learn.ways import all_within
from workbench.fin.plan.plan import Target
from workbench.fin.pose.fit import fit_pose
from workbench.fin.reading.observe import observe_all
from workbench.fin.reading.rig import Rig
from workbench.fin.studs import known_leads, lead_of_thread
from workbench.places import shipped
from workbench.work.order.order_file import read_order

ORDERS = sorted((shipped("fixtures") / "orders").iterdir())


def state_of(learnt: Learnt) -> State:
    state = learnt.state
    assert state is not None
    return state


def worked_in(seed: int = 7, **more: Any) -> tuple[Truth, Learnt]:
    """Return a shop and what six of its jobs have taught."""
    shop = Truth(random.Random(seed), **more)
    return shop, taught(shop.told, METHODS, season(shop, 6))


# Against an independent implementation: dense matrices, scipy's densities.


def dense(state: State) -> tuple[np.ndarray, np.ndarray]:
    return np.array(state.mean), np.array(state.cov)


@pytest.mark.parametrize("seed", range(4))
def test_turns_are_predicted_as_by_dense_matrices(seed: int) -> None:
    """The mean and covariance after turns are Phi x and Phi P Phi' + Q."""
    shop, learnt = worked_in(seed)
    rng = random.Random(seed)
    turns = tuple(rng.uniform(-1, 1) for _ in range(3))
    before = state_of(learnt)
    after = turned(before, shop.told, turns, ORDINARY)
    x, p = dense(before)
    phi, q = np.eye(len(x)), np.zeros_like(p)
    moves = []
    for j, (stud, n) in enumerate(zip(shop.told.studs, turns, strict=True)):
        e, b, back = x[3 + j], x[6 + j], before.directions[j]
        odds = 0.5 if back is None else float((n > 0) != (back == "in"))
        lost = math.copysign(odds, n)
        lead = stud.lead_mm * (1 + e)
        moves.append(lead * (n - lost * b))
        phi[j, 3 + j], phi[j, 6 + j] = stud.lead_mm * (n - lost * b), -lead * lost
        q[j, j] = lead**2 * ((1 / 48) ** 2 + odds * (1 - odds) * (b * b + p[6 + j, 6 + j]))
    for j in range(3):
        q[j, j] += (0.01 * max(map(abs, moves))) ** 2
        x[j] += moves[j]
    np.testing.assert_allclose(after.mean, x, rtol=0, atol=1e-9)
    np.testing.assert_allclose(after.cov, phi @ p @ phi.T + q, rtol=1e-6, atol=1e-12)


def dense_seating(
    job: InJob, before: tuple[tuple[float, State], ...], known: Imperfections
) -> dict[tuple[str, int, int], tuple[float, np.ndarray, np.ndarray]]:
    """Return each hypothesis' probability, mean and covariance, in the Joseph form."""
    assert job.seating is not None
    sight = job.seating.sight
    a = np.array(sight.by_reading)
    caliper = a @ np.diag(sight.variances_mm2) @ a.T + known.seat_mm**2 * np.eye(3)
    found: dict[tuple[str, int, int], tuple[float, np.ndarray, np.ndarray]] = {}
    n = len(before[0][1].mean)
    h = np.zeros((3, n))
    h[:, :3] = np.eye(3)
    for j, by in enumerate(sight.by_offsets):
        for k, w in by:
            h[j, OFFSETS + k] += w
    at = np.zeros(n)
    at[OFFSETS:] = sight.offsets_mm
    odds = known.gap_again_p if job.again else known.gap_p
    for place, (weight, state) in enumerate(before):
        x, p = dense(state)
        cases: list[tuple[str, int, float, np.ndarray, np.ndarray, np.ndarray]] = []
        zero, none = np.zeros(3), np.zeros((3, 3))
        for j in range(3):
            unit = np.eye(3)[j]
            cases.append(
                ("gap", j, odds / 3, known.gap_mm * unit, np.diag(unit * known.u_gap_mm**2), none)
            )
            column = a[:, j] * known.misread_mm
            cases.append(("misread", j, known.misread_p, zero, np.outer(column, column), none))
            if job.turns[j]:
                q = (job.learnt.rig.studs[j].lead_mm * known.wrong_turn) ** 2
                cases.append(("wrong_turn", j, known.wrong_turn_p, zero, none, np.diag(unit * q)))
        wild = known.other_mm**2 * np.eye(3)
        cases.append(("none_of_these", -1, known.other_p, zero, wild, none))
        well = 1 - sum(c[2] for c in cases)
        cases.append(("all_well", -1, well, zero, none, none))
        for kind, subject, prior, shift, noise, travel in cases:
            wide = p.copy()
            wide[:3, :3] += travel
            r = caliper + noise
            s = h @ wide @ h.T + r
            y = np.array(sight.travels_mm) - shift - h @ (x - at)
            gain = wide @ h.T @ np.linalg.inv(s)
            rest = np.eye(n) - gain @ h
            cov = rest @ wide @ rest.T + gain @ r @ gain.T
            p_of = weight * prior * multivariate_normal(np.zeros(3), s).pdf(y)
            found[kind, subject, place] = (p_of, x + gain @ y, cov)
    whole = sum(each[0] for each in found.values())
    return {key: (p / whole, x, c) for key, (p, x, c) in found.items()}


@pytest.mark.parametrize(("seed", "gap"), [(1, None), (2, 0), (3, 1), (4, 2)])
def test_a_seating_is_judged_as_by_dense_matrices(seed: int, gap: int | None) -> None:
    """Probabilities, means and covariances agree to 1e-6 with numpy's and scipy's."""
    shop, learnt = worked_in(seed)
    shop.new_job()
    shop.settle()
    shop.seat()
    first = begin(learnt, takes(shop, 3), True)
    turns = (0.4, -0.3, 0.2)
    shop.turn_studs(turns)
    shop.seat()
    if gap is not None:
        travels = [t.mm for t in shop.rig.travels(shop.pose)]
        travels[gap] += 0.006 * IN
        shop.pose = shop.seated_at(travels)
    job = go_on(first, turns, takes(shop))
    assert job.seating is not None
    expected = dense_seating(job, job.before, ORDINARY)
    assert len(job.before) > 1  # hypotheses of the first seating were carried along
    cases = job.seating.cases
    wells = {id(c.expected): c.after() for c in cases if c.hypothesis.kind == "all_well"}
    for case in cases:
        place = next(i for i, (_, s) in enumerate(job.before) if s is case.before)
        p, mean, cov = expected[case.hypothesis.kind, case.hypothesis.subject, place]
        assert case.probability == pytest.approx(p, abs=1e-6)
        if case.probability > 0.001:
            # By the hypothesis itself, and by one step from the case that all is well.
            for after in (case.after(), case.after(wells.get(id(case.expected)))):
                np.testing.assert_allclose(after.mean, mean, rtol=1e-6, atol=1e-6)
                np.testing.assert_allclose(after.cov, cov, rtol=1e-6, atol=1e-8)
    assert wells or gap is not None
    assert sum(c.probability for c in job.seating.cases) == pytest.approx(1.0, abs=1e-3)
    weights = [w for w, _ in job.seating.states]
    means = np.array([s.mean for _, s in job.seating.states])
    mixed = together(job.seating.states)
    np.testing.assert_allclose(mixed.mean, np.average(means, axis=0, weights=weights), atol=1e-9)
    spread = sum(
        w
        * (np.array(s.cov) + np.outer(s.mean - np.array(mixed.mean), s.mean - np.array(mixed.mean)))
        for w, s in job.seating.states
    )
    np.testing.assert_allclose(mixed.cov, spread, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("seed", range(12))
def test_the_probability_to_be_within_agrees_with_scipy(seed: int) -> None:
    """One, two and three correlated values, to 1e-6."""
    rng = np.random.default_rng(seed)
    n = seed % 3 + 1
    root = rng.normal(size=(n, n)) * 0.03
    cov = root @ root.T + 2e-4 * np.eye(n)
    mean, half = rng.normal(size=n) * 0.03, np.full(n, 0.0508)
    law = multivariate_normal(mean, cov, abseps=1e-8, releps=1e-8, maxpts=400_000)
    expected = law.cdf(half, lower_limit=-half)
    found = all_within(list(mean), cov.tolist(), list(half))
    assert found == pytest.approx(expected, abs=2e-6)


def test_many_values_are_judged_by_the_three_least_likely() -> None:
    """A value that is surely within changes nothing."""
    cov = [[4e-4 if i == j else 1e-4 for j in range(4)] for i in range(4)]
    three = all_within([0.01, 0.02, 0.0], [row[:3] for row in cov[:3]], [0.05] * 3)
    assert all_within([0.01, 0.02, 0.0, 0.0], cov, [0.05, 0.05, 0.05, 9.0]) == three


# The edges.


def moved_blade(blade: Blade, corner: int, du: float, dv: float) -> Blade:
    points = list(blade.outline_mm)
    points[corner] = (points[corner][0] + du, points[corner][1] + dv)
    return replace(blade, outline_mm=tuple(points))


@pytest.mark.parametrize(("corner", "at"), [(3, 1.4), (2, 1.4), (3, 1.0), (2, 1.0), (4, 1.4)])
def test_an_edge_learnt_is_a_blade_traced_anew(corner: int, at: float) -> None:
    """Readings taken on a blade with a moved corner give its travels, once its offset is known."""
    rig = bench_rig()
    pose = Pose(0.65 * IN, -at * IN, 0.003)
    seen = observe_all(METHODS, rig.blade, rig.base, pose)
    edges = edges_of(rig.blade, METHODS, seen, pose)
    part = next(p for p in edges.parts if p.side == "leading")
    if rig.blade.outline_mm[corner] not in part.corners:
        pytest.skip("this corner lies too far from the contacts to matter")
    share = part.shares[part.corners.index(rig.blade.outline_mm[corner])]
    offsets = [0.0] * edges.count
    du, dv = 0.2, (0.15 if len(share) == 2 else 0.0)
    for offset, axis, _ in share:
        offsets[offset] = dv if axis else du
    true = replace(rig, blade=moved_blade(rig.blade, corner, du, dv))
    there = pose.moved(0.1, -0.5, 0.001)
    taken = [
        Takes(r.method, (r.value_mm,)) for r in readings_at(there, METHODS, true.blade, true.base)
    ]
    sight = look(rig, edges.moved(offsets), taken, ORDINARY, pose)
    expected = [t.mm for t in rig.travels(there)]
    assert sight.travels_mm == pytest.approx(expected, abs=0.002)


def test_a_dense_outline_is_wrong_smoothly() -> None:
    """Many points along an edge have as many unknown offsets as the places a tenth apart."""
    rig = bench_rig()
    coarse = list(rig.blade.outline_mm)
    dense_points = []
    for a, b in zip(coarse, [*coarse[1:], coarse[0]], strict=True):
        dense_points += [
            (a[0] + (b[0] - a[0]) * k / 60, a[1] + (b[1] - a[1]) * k / 60) for k in range(60)
        ]
    blade = replace(rig.blade, outline_mm=tuple(dense_points))
    pose = Pose(0.65 * IN, -1.0 * IN, 0.003)
    seen = observe_all(METHODS, blade, rig.base, pose)
    edges = edges_of(blade, METHODS, seen, pose)
    assert 4 <= edges.count <= 16
    offset = edges.moved([0.3] * edges.count).offset(METHODS[2], seen[2], pose)  # type: ignore[arg-type]
    assert all(math.isfinite(w) for _, w in offset.weights)


# Laws.


EXACT = Imperfections(
    lead=0.0, backlash=0.0, u_backlash=0.0, vertex_mm=0.0, turn=0.0, move_share=0.0, seat_mm=0.0,
    take_mm=0.0, gap_p=0.0, gap_again_p=0.0, misread_p=0.0, wrong_turn_p=0.0, other_p=0.0,
    drift=0.0,
)  # fmt: skip
"""A bench that is just as it was told."""


@pytest.mark.parametrize("path", ORDERS, ids=lambda p: p.name)
@pytest.mark.parametrize("finest", [0.0, 1 / 16, 1 / 8])
def test_an_exactly_known_bench_gives_the_geometric_turns(path: Any, finest: float) -> None:
    """Without history and with nothing uncertain the turns are those of the plan."""
    order = read_order(path)
    if len(order.readings) > 3:
        pytest.skip("more than three readings are weighed by their own uncertainties")
    plain = plan(order.rig, order.readings, order.targets, finest)
    learnt = nothing_learnt(order.rig, [r.method for r in order.readings], EXACT)
    job = begin(learnt, [Takes(t.method, t.values_mm) for t in order.taken])
    assert job.seating is not None
    assert job.learnt.edges is not None
    act = decide(job, order.targets, finest)
    assert act.turns == pytest.approx([t.turns for t in plain.turns], abs=1e-6)
    assert (act.do == "leave") == (not any(t.turns for t in plain.turns))
    if act.do == "turn":
        assert act.exact == pytest.approx([t.exact for t in plain.turns], abs=1e-6)


def test_a_studs_limits_count_to_its_end() -> None:
    """Not to the centre of its ball, which lies the tip radius short of it."""
    shop = Truth(random.Random(1))
    aims = shop.new_job()
    shop.settle()
    shop.seat()
    targets = [Target(m, a, 0.05) for m, a in zip(METHODS, aims, strict=True)]
    taken = takes(shop, 3)
    free = decide(begin(fresh(shop.told), taken, True), targets, 0.0)
    j = max(range(3), key=lambda k: abs(free.turns[k]))
    stud = shop.told.studs[j]
    job = begin(fresh(shop.told), taken, True)
    assert job.learnt.state is not None
    centre = job.learnt.state.travels_mm[j] + free.turns[j] * stud.lead_mm
    assert abs(free.turns[j]) > 0.1
    assert stud.tip_radius_mm > 0.5
    for middle, may in ((stud.end_mm(centre), True), (centre, False)):
        studs = list(shop.told.studs)
        studs[j] = replace(stud, limits_mm=(middle - 0.1, middle + 0.1))
        bound = replace(shop.told, studs=tuple(studs))
        act = decide(begin(fresh(bound), taken, True), targets, 0.0)
        assert (act.turns[j] != 0.0) == may


def test_a_first_reading_puts_the_studs_where_the_pose_does() -> None:
    """Nothing learnt moves what was read: the travels are those of the fitted pose."""
    shop = Truth(random.Random(1))
    shop.seat()
    job = begin(fresh(shop.told), takes(shop))
    assert job.seating is not None
    fit = fit_pose(shop.told.blade, shop.told.base, job.seating.sight.readings, every=True)
    at = [t.mm for t in shop.told.travels(fit.pose)]
    assert job.seating.sight.travels_mm == pytest.approx(at, abs=1e-9)
    well = next(s for p, s in job.seating.states if p > 0.5)
    assert well.travels_mm == pytest.approx(at, abs=1e-6)


def test_leads_and_backlash_are_learnt_honestly() -> None:
    """The errors are as large as told, and smaller than before anything was learnt."""
    leads, backlash, shrunk = [], [], []
    for seed in range(40):
        shop = Truth(random.Random(3000 + seed))
        learnt = taught(shop.told, METHODS, season(shop, 6))
        for j in range(3):
            ratio, u = learnt.lead_ratio(j)
            leads.append((ratio - 1.0 - shop.lead_errors[j]) / u)
            shrunk.append(u / ORDINARY.lead)
            b, u = learnt.backlash(j)
            backlash.append((b - shop.backlash[j]) / u)
    for errors in (leads, backlash):
        assert 0.8 <= math.sqrt(sum(e * e for e in errors) / len(errors)) <= 1.25
    assert max(shrunk) < 1.0


def test_steepness_is_not_told_from_the_readings_own_errors() -> None:
    """After 240 rounds the lead of the top front stud has not run away."""
    shop = Truth(random.Random(3))
    learnt = taught(shop.told, METHODS, season(shop, 60, 4))
    for j in range(3):
        ratio, u = learnt.lead_ratio(j)
        assert abs(ratio - 1.0 - shop.lead_errors[j]) < 3.0 * u


@pytest.mark.parametrize("gap", range(3))
def test_an_unseated_stud_is_named(gap: int) -> None:
    """A gap of 0.008 in after a turn is found, and pushing home is what is asked for."""
    shop, learnt = worked_in(11, gap_p=0.0)
    aims = shop.true(shop.seated_at(shop.home))
    shop.put([0.008 * IN, -0.006 * IN, 0.004 * IN])
    targets = [Target(m, a, 0.002 * IN) for m, a in zip(METHODS, aims, strict=True)]
    shop.settle()
    shop.seat()
    job = begin(learnt, takes(shop, 3), True)
    assert job.seating is not None
    assert job.learnt.edges is not None
    act = decide(job, targets, 0.0)
    assert act.do == "turn"
    assert act.p_after > 0.6
    shop.turn_studs(act.turns)
    shop.seat()
    travels = [t.mm for t in shop.rig.travels(shop.pose)]
    travels[gap] += 0.008 * IN
    shop.pose = shop.seated_at(travels)
    job = go_on(job, act.turns, takes(shop))
    assert job.seating is not None
    assert job.seating.probability("gap", gap) > 0.9
    assert job.learnt.edges is not None
    act = decide(job, targets, 0.0)
    assert act.do == "push_home"
    assert act.stud == gap
    assert act.p_now < 0.1 < 0.6 < act.p_after


def test_a_misread_length_is_asked_for_again() -> None:
    """A reading 0.04 in off its prediction is doubted, not turned for; a third take settles it."""
    shop, learnt = worked_in(12, gap_p=0.0)
    aims = shop.true()
    targets = [Target(m, a, 0.002 * IN) for m, a in zip(METHODS, aims, strict=True)]
    shop.settle()
    shop.seat()
    job = begin(learnt, takes(shop, 3), True)
    shop.turn_studs((0.1, 0.1, 0.1))
    shop.seat()
    right = takes(shop)
    wrong = (*right[:2], Takes(METHODS[2], (right[2].values_mm[0] + 0.04 * IN,)))
    job = go_on(job, (0.1, 0.1, 0.1), wrong)
    assert job.seating is not None
    assert job.learnt.edges is not None
    assert job.seating.probability("misread", 2) > 0.9
    act = decide(job, targets, 0.0)
    assert act.do == "measure_again"
    assert act.methods == (2,)
    more = takes(shop, 2)[2].values_mm
    job = take_more(job, (*wrong[:2], Takes(METHODS[2], (*wrong[2].values_mm, *more))))
    assert job.seating is not None
    assert job.seating.probability("misread", 2) < 0.2


@pytest.mark.parametrize("corners", [False, True])
def test_exact_turns_aim_at_the_middle_of_the_targets(corners: bool) -> None:
    """Leads, backlash and edges as learnt put the readings near the targets, not at their rims."""
    shop, learnt = worked_in(21, **({"place": CORNERS} if corners else {}))
    aims = shop.new_job()
    targets = [Target(m, a, 0.002 * IN) for m, a in zip(METHODS, aims, strict=True)]
    shop.settle()
    shop.seat()
    job = begin(learnt, takes(shop, 3), True)
    assert job.seating is not None
    assert job.learnt.edges is not None
    act = decide(job, targets, 0.0)
    assert act.do == "turn"
    state = state_of(job.learnt)
    effect = effect_of(state, shop.told, act.turns, ORDINARY)
    after = [t + m for t, m in zip(state.travels_mm, effect.moved_mm, strict=True)]
    pose = shop.seated_at(after, shop.told)
    for method, aim in zip(METHODS, aims, strict=True):
        seen = shop.told.observe(method, pose)
        offset = job.learnt.edges.moved(state.offsets_mm).offset(method, seen, pose)
        assert seen.value_mm + offset.mm == pytest.approx(aim, abs=0.0007 * IN)


def test_far_from_a_narrow_target_it_still_turns_toward_it() -> None:
    """Where no turns are likely to be enough, those that come closest are said, not to leave it."""
    shop = Truth(random.Random(22), gap_p=0.0)
    aims = shop.true(shop.seated_at([h + 2.0 for h in shop.home]))
    targets = [Target(m, a, 0.0002 * IN) for m, a in zip(METHODS, aims, strict=True)]
    shop.settle()
    shop.seat()
    job = begin(fresh(shop.told), takes(shop, 3), True)
    assert job.seating is not None
    assert job.learnt.edges is not None
    for finest in (0.0, 1 / 8):
        act = decide(job, targets, finest)
        assert act.do == "turn"
        assert act.p_after < 0.1
        assert act.turns == pytest.approx(act.exact, abs=finest or 0.03)


# Threads and hands.


def wrong_thread_at(told: Rig, thread: str | None, hand: bool, seed: int) -> tuple[int, Any]:
    """Return after how many jobs a question is asked of the rear stud, and the question."""
    shop = Truth(random.Random(seed), told=told)
    studs = list(shop.rig.studs)
    lead = studs[1].lead_mm
    if thread is not None:
        lead *= lead_of_thread(thread) / told.studs[1].lead_mm
    studs[1] = replace(studs[1], lead_mm=lead)
    shop.rig = replace(shop.rig, studs=tuple(studs))
    learnt = fresh(told)
    for k in range(12):
        rounds = []
        shop.new_job()
        shop.settle()
        shop.seat()
        before = takes(shop)
        for n in range(2):
            turns = [shop.rng.choice((-1, 1)) * shop.rng.uniform(0.2, 0.8) for _ in range(3)]
            shop.turn_studs([-t if hand and j == 1 else t for j, t in enumerate(turns)])
            shop.seat()
            a, b, c = turns
            rounds.append(Round(f"J{k}", (a, b, c), takes(shop), () if n else before, not hand))
        learnt, _ = follow(learnt, rounds)
        if learnt.question is not None:
            return k + 1, learnt.question
    return 99, None


@pytest.mark.parametrize("seed", range(3))
def test_a_wrong_thread_is_asked_about_and_the_right_one_named(seed: int) -> None:
    """A 10-24 stud that was told to be 10-32."""
    jobs, question = wrong_thread_at(bench_rig(), "10-24 UNC", False, seed)
    assert jobs <= 4
    assert question.stud == 1
    assert "10-24 UNC" in question.threads
    assert question.hand == "right"


@pytest.mark.parametrize("seed", range(3))
def test_a_left_hand_told_as_right_is_asked_about(seed: int) -> None:
    """Turns that were told in went out: asked within two jobs."""
    jobs, question = wrong_thread_at(bench_rig(), None, True, seed)
    assert jobs <= 2
    assert question.stud == 1
    assert question.hand == "left"
    assert "10-32 UNF" in question.threads


def test_right_threads_raise_no_question() -> None:
    """Twenty shops with ten jobs each ask nothing."""
    for seed in range(20):
        shop = Truth(random.Random(400 + seed))
        assert taught(shop.told, METHODS, season(shop, 10, 1)).question is None


def test_the_leads_of_the_tables_read_back() -> None:
    """Each designation that may be named is one that is understood, with the same lead."""
    for name, lead_mm in known_leads():
        assert lead_of_thread(name) == pytest.approx(lead_mm)


# What it never may do.


def test_misreadings_and_wrong_turns_hardly_spoil_the_leads() -> None:
    """With 1 % of takes misread and 2 % of turns wrong the lead errors stay within 1.2 times."""

    def root(misread: float, wrong: float) -> float:
        errors = []
        for seed in range(16):
            shop = Truth(random.Random(700 + seed), misread_p=misread, wrong_turn_p=wrong)
            learnt = taught(shop.told, METHODS, season(shop, 8))
            errors += [learnt.lead_ratio(j)[0] - 1.0 - shop.lead_errors[j] for j in range(3)]
        return math.sqrt(sum(e * e for e in errors) / len(errors))

    assert root(0.01, 0.02) <= 1.2 * root(0.0, 0.0)


def test_a_struck_round_leaves_no_trace() -> None:
    """The facts without it are gone through anew, and the same facts give the same."""
    shop = Truth(random.Random(5))
    rounds = season(shop, 5)
    wild = replace(rounds[3], after=tuple(Takes(t.method, (90.0,)) for t in rounds[3].after))
    spoilt = taught(shop.told, METHODS, (*rounds[:3], wild, *rounds[4:]))
    clean = taught(shop.told, METHODS, rounds)
    taught.cache_clear()
    again = taught(shop.told, METHODS, rounds)
    assert again == clean
    assert spoilt.rounds == clean.rounds
    assert all(math.isfinite(spoilt.lead_ratio(j)[0]) for j in range(3))


def test_a_stud_replaced_in_silence_is_harmless() -> None:
    """After another lead of the same thread, predictions miss hardly more than on a new bench."""

    def misses(learnt: Learnt, shop: Truth) -> float:
        total = 0.0
        for _ in range(30):
            shop.new_job()
            shop.settle()
            shop.seat()
            job = begin(learnt, takes(shop, 3), True)
            turns = [shop.rng.uniform(-0.8, 0.8) for _ in range(3)]
            shop.turn_studs(turns)
            shop.seat()
            after = go_on(job, turns, takes(shop))
            assert after.seating is not None
            pairs = zip(after.seating.predicted_mm, after.seating.sight.travels_mm, strict=True)
            total += sum((a - b) ** 2 for a, b in pairs)
        return math.sqrt(total / 90.0)

    shop = Truth(random.Random(6), gap_p=0.0)
    learnt = taught(shop.told, METHODS, season(shop, 20))
    studs = list(shop.rig.studs)
    studs[0] = replace(studs[0], lead_mm=studs[0].lead_mm * 0.97)
    shop.rig = replace(shop.rig, studs=tuple(studs))
    shop.backlash[0] = 1 / 16 - shop.backlash[0]
    assert misses(learnt, shop) <= 1.25 * misses(fresh(shop.told), shop)


def test_a_replaced_stud_is_forgotten_alone() -> None:
    """Its lead and backlash are as at first; the others' and the edges stay learnt."""
    shop, learnt = worked_in(14)
    left = forget_stud(learnt, 1)
    assert left.lead_ratio(1) == (1.0, ORDINARY.lead)
    assert left.backlash(1) == (ORDINARY.backlash, ORDINARY.u_backlash)
    assert left.counts == (learnt.counts[0], 0, learnt.counts[2])
    for j in (0, 2):
        assert left.lead_ratio(j) == learnt.lead_ratio(j)
    assert state_of(left).offsets_mm == state_of(learnt).offsets_mm
    again, _ = follow(left, season(shop, 2))
    assert again.lead_ratio(1)[1] < ORDINARY.lead


def test_another_blade_keeps_the_studs_and_forgets_the_edges() -> None:
    """Leads and backlash belong to the block, edges to the blade."""
    shop, learnt = worked_in(15)
    other = replace(shop.told, blade=moved_blade(shop.told.blade, 4, -3.0, 2.0))
    left = change_blade(learnt, other)
    shop.seat()
    job = begin(left, takes(shop, 3))
    for j in range(3):
        assert job.learnt.lead_ratio(j)[0] == pytest.approx(learnt.lead_ratio(j)[0], abs=1e-3)
        assert job.learnt.lead_ratio(j)[1] == pytest.approx(learnt.lead_ratio(j)[1], abs=1e-3)
    state = state_of(job.learnt)
    assert state.offsets_mm == pytest.approx([0.0] * len(state.offsets_mm), abs=1e-3)


def contradictory(shop: Truth) -> tuple[Round, ...]:
    rng = random.Random(1)
    rounds = season(shop, 4)
    return tuple(replace(r, turns=tuple(rng.uniform(-3, 3) for _ in range(3))) for r in rounds)  # type: ignore[arg-type]


def constant(shop: Truth) -> tuple[Round, ...]:
    one = takes(shop)
    return tuple(Round("J", (0.5, 0.5, 0.5), one, one if n == 0 else ()) for n in range(200))


def impossible(shop: Truth) -> tuple[Round, ...]:
    wild = tuple(Takes(m, (5000.0,)) for m in METHODS)
    return tuple(Round(f"J{n}", (0.5, 0.0, 0.0), wild, wild) for n in range(5))


def to_and_fro(shop: Truth) -> tuple[Round, ...]:
    return season(shop, 10, 4, turns=(0.3, -0.3, 0.3))


def one_reading_gone(shop: Truth) -> tuple[Round, ...]:
    rounds = season(shop, 3)
    wild = replace(rounds[2], after=(rounds[2].after[0], rounds[2].after[1],
                                     Takes(METHODS[2], (900.0,))))  # fmt: skip
    return (*rounds[:2], wild, *rounds[3:])


@pytest.mark.parametrize(
    "history",
    [lambda shop: (), contradictory, constant, impossible, to_and_fro, one_reading_gone],
    ids=["empty", "contradictory", "constant", "impossible", "to and fro", "a reading far off"],
)
def test_odd_histories_give_finite_answers(history: Callable[[Truth], tuple[Round, ...]]) -> None:
    """Whatever was kept, the next job is decided with finite numbers and honest probabilities."""
    shop = Truth(random.Random(8))
    shop.seat()
    learnt = taught(shop.told, METHODS, history(shop))
    aims = shop.new_job()
    targets = [Target(m, a, 0.002 * IN) for m, a in zip(METHODS, aims, strict=True)]
    shop.seat()
    job = begin(learnt, takes(shop, 3))
    assert job.seating is not None
    assert job.learnt.edges is not None
    act = decide(job, targets, 1 / 16)
    assert 0.0 <= act.p_now <= 1.0
    assert 0.0 <= act.p_after <= 1.0
    for j in range(3):
        for value, u in (job.learnt.lead_ratio(j), job.learnt.backlash(j)):
            assert math.isfinite(value)
            assert u > 0.0
    assert all(math.isfinite(n) and abs(n) < 10.0 for n in act.turns)


@pytest.mark.long
def test_ten_thousand_rounds_are_gone_through() -> None:
    """A lifetime of rounds ends in finite and honest figures."""
    shop = Truth(random.Random(9))
    learnt = taught(shop.told, METHODS, season(shop, 5000))
    assert learnt.rounds == 10_000
    for j in range(3):
        ratio, u = learnt.lead_ratio(j)
        assert abs(ratio - 1.0 - shop.lead_errors[j]) < 5.0 * u
        assert 0.0 < u < ORDINARY.lead


def test_readings_that_fix_no_pose_are_told_and_teach_nothing() -> None:
    """The job goes on from what was known before, with the reason named."""
    shop, learnt = worked_in(13)
    shop.seat()
    job = begin(learnt, takes(shop), True)
    lost = go_on(job, (0.1, 0.1, 0.1), tuple(Takes(m, (9000.0,)) for m in METHODS))
    assert lost.seating is None
    assert lost.reason
    shop.turn_studs((0.1, 0.1, 0.1))
    shop.seat()
    assert go_on(lost, (0.0, 0.0, 0.0), takes(shop)).seating is not None


@pytest.mark.parametrize(
    ("field", "p"),
    [("gap_p", 1.0), ("gap_p", -0.1), ("misread_p", math.nan), ("gap_again_p", 0.99),
     ("gap_p", 0.98), ("other_p", 1.5)],
)  # fmt: skip
def test_probabilities_that_leave_nothing_for_a_good_seating_are_refused(
    field: str, p: float
) -> None:
    with pytest.raises(InputError, match=field):
        replace(ORDINARY, **{field: p})
    well = replace(ORDINARY, misread_p=0.2)
    assert well.all_well_p(False, 3, 3) == pytest.approx(1.0 - 0.1 - 0.001 - 0.015 - 0.6)
    with pytest.raises(InputError, match="5 times misread_p"):
        well.all_well_p(False, 3, 5)


# The proof, in short; ``python -m tests.fin.learning_bench`` prints all of it.


def test_a_bench_that_learns_needs_fewer_rounds() -> None:
    """Six shops: fewer rounds than by the latest readings alone, and seldom wrongly declared."""

    def jobs_of(found: list[Run]) -> list[Any]:
        return [job for each in found for job in each.jobs]

    learnt = jobs_of(runs(WAYS[4], 6, 6, False, 0.002, processes=1))
    latest = jobs_of(runs(WAYS[2], 6, 6, False, 0.002, processes=1))
    mean, error = mean_and_error([j.rounds for j in learnt])
    before, _ = mean_and_error([j.rounds for j in latest])
    assert mean <= 1.35 + 3.0 * error
    assert mean < before - 0.3
    assert sum(j.worst > 1.5 for j in learnt) <= 1
