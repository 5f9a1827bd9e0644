"""Readings foreseen after known turns, and gross errors called out against them."""

from __future__ import annotations

import math
import random

import pytest

from workbench.fin.plan.uncertainty import U_TURN, expected_after
from workbench.fin.pose.equations import Reading
from workbench.fin.pose.fit import fit_pose
from workbench.measure.doubtful import CRITICAL, doubt
from workbench.places import shipped
from workbench.work.order.order_file import read_order
from workbench.work.trust.reading_budget import Taken, reading_u_mm, readings_of

ERROR_MM = 0.254


def _order():
    return read_order(shipped("fixtures") / "orders" / "practice-plate.toml")


def _trial(order, rng, error_mm, which):
    """One round: true pose, readings, turns made by hand, readings again; the doubts raised."""
    rig, methods = order.rig, [r.method for r in order.readings]
    pose = fit_pose(rig.blade, rig.base, order.readings, every=True).pose
    truth = [rig.observe(m, pose).value_mm for m in methods]
    slopes = [rig.observe(m, pose).height_slope for m in methods]
    us = [reading_u_mm([v], s) for v, s in zip(truth, slopes, strict=True)]
    read = [Taken(m, (rng.gauss(v, u),)) for m, v, u in zip(methods, truth, us, strict=True)]
    turns = [0.25, -0.375, 0.125]
    made = [t + rng.gauss(0.0, U_TURN) for t in turns]
    fit = fit_pose(rig.blade, rig.base, readings_of(read, rig), pose)
    foreseen = expected_after(rig, fit, turns, methods)
    after = rig.seated(pose, made)
    raised = []
    for i, e in enumerate(foreseen):
        seen = rig.observe(e.method, after)
        u = reading_u_mm([seen.value_mm], seen.height_slope)
        value = rng.gauss(seen.value_mm, u) + (error_mm if i == which else 0.0)
        raised.append(doubt(value, e.value_mm, math.hypot(e.u_mm, u)) is not None)
    return raised


def test_gross_errors_of_ten_thou_are_caught_and_right_readings_pass():
    """By the default budget 95 % of errors of 0.010 in are caught, false alarms 1 % at most."""
    order, rng = _order(), random.Random(20260612)
    n = 400
    caught = sum(_trial(order, rng, rng.choice((-1, 1)) * ERROR_MM, k % 3)[k % 3] for k in range(n))
    alarms = sum(any(_trial(order, rng, 0.0, 0)) for _ in range(n))
    assert caught / n >= 0.95
    # 1 % claimed; three standard deviations of the count of false alarms are allowed for.
    assert alarms <= 0.01 * n + 3.0 * math.sqrt(0.01 * n)


def test_the_foreseen_uncertainty_is_the_scatter_of_a_simulation():
    """Linear propagation through pose, turns and seat agrees with Monte Carlo within 5 %."""
    order, rng = _order(), random.Random(7)
    rig, methods = order.rig, [r.method for r in order.readings]
    pose = fit_pose(rig.blade, rig.base, order.readings, every=True).pose
    exact = [Reading(m, rig.observe(m, pose).value_mm, 0.012) for m in methods]
    turns = [0.25, -0.375, 0.125]
    foreseen = expected_after(rig, fit_pose(rig.blade, rig.base, exact, pose), turns, methods)
    columns = [[] for _ in methods]
    for _ in range(3000):
        drawn = [Reading(r.method, rng.gauss(r.value_mm, r.u_mm), r.u_mm) for r in exact]
        fit = fit_pose(rig.blade, rig.base, drawn, pose)
        after = rig.seated(fit.pose, [t + rng.gauss(0.0, U_TURN) for t in turns])
        for column, m in zip(columns, methods, strict=True):
            column.append(rig.observe(m, after).value_mm)
    for column, e in zip(columns, foreseen, strict=True):
        mean = math.fsum(column) / len(column)
        sd = math.sqrt(math.fsum((c - mean) ** 2 for c in column) / (len(column) - 1))
        assert sd == pytest.approx(e.u_mm, rel=0.05)


@pytest.mark.parametrize(
    ("read", "text", "slip"),
    [
        (62.23 + 0.635, "", "graduation"),
        (62.23 - 2.54, "", "graduation"),
        (2.54 * 25.4, "2.540", "digits"),
        (60.0, "", "method"),
        (62.23 + 0.3, "", "unseated"),
    ],
)
def test_the_likely_cause_is_named(read, text, slip):
    """A line misread, digits exchanged, another method, or an unseated blade are told apart."""
    expected = 2.450 * 25.4
    found = doubt(read, expected, 0.02, (text, "in"), {"other": 60.01})
    assert found is not None
    assert found.slip == slip


def test_a_right_reading_raises_no_doubt():
    """A reading within the critical value passes; one just beyond it does not."""
    assert doubt(62.0 + 0.99 * CRITICAL * 0.02, 62.0, 0.02) is None
    assert doubt(62.0 + 1.01 * CRITICAL * 0.02, 62.0, 0.02) is not None
