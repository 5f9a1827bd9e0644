"""Laws that random orders keep: where the blade's frame lies, and the unit, change no answer."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests import strategies as made
from tests.fin import oracle
from workbench.errors import BenchError
from workbench.fin.guidance import Plan
from workbench.fin.methods import Method, observe
from workbench.fin.pose import Point, Pose
from workbench.work.orders import Order, order_from, read_order
from workbench.work.reports import plan_of

DATA = Path(__file__).parent / "data"

Table = dict[str, Any]
Turn = Callable[[Point], Point]

CHANGE_MM = 0.8
KINDS = ("depth", "tail", "length")


def random_order(chance: made.Seeded, most_targets: int) -> Table | None:
    """An order in mm with 4 to 7 readings that agree but for their scatter; None for want of luck.

    One or two of the readings may be coarse marks; every target is of another quantity.
    """
    rig = made.make_rig(chance)
    pose = made.make_pose(chance, 2.5)
    count = chance.count(4, 7)
    coarse = chance.count(0, min(2, count - 3))
    kinds = [*KINDS, *(chance.pick(KINDS) for _ in range(count - coarse - 3))]
    methods = made.make_methods(chance, rig.blade, rig.base, pose, kinds)
    if methods is None:
        return None
    tables = [method_table(m) for m in methods]
    readings = []
    for m in methods:
        seen = observe(m, rig.blade, rig.base, pose)
        assert seen is not None
        value = seen.value_mm + 0.01 * chance.number(-1.0, 1.0)
        readings.append({"method": m.name, "values": [value], "u": 0.02})
    for i in range(coarse):
        u, v = pose.locate((60.0 + 40.0 * i, 0.0))
        tables.append({"name": f"mark {i}", "quantity": "tail",
                       "scribe": {"at": [60.0 + 40.0 * i, 0.0], "zero": 0.0, "grows": "front"}})  # fmt: skip
        readings.insert(chance.count(0, len(readings)), {"method": f"mark {i}", "values": [u]})
    aimed = {m.quantity: m for m in methods}
    wanted = list(aimed.values())[: chance.count(1, most_targets)]
    targets = [{"method": m.name, "change": chance.number(-CHANGE_MM, CHANGE_MM), "tolerance": 0.05}
               for m in wanted]  # fmt: skip
    order: Table = {
        "unit": "mm",
        "finest_turn": 0,
        "blade": {
            "outline": [list(p) for p in rig.blade.outline_mm],
            "top_edge": [list(p) for p in rig.blade.top_edge_mm],
            "back_edge": [list(p) for p in rig.blade.back_edge_mm],
        },
        "studs": [
            {"name": s.name, "touches": s.touches, "at": list(s.at_mm), "axis": list(s.axis),
             "lead": s.lead_mm, "hand": s.hand, "tip_radius": s.tip_radius_mm}
            for s in rig.studs
        ],
        "methods": tables,
        "readings": readings,
        "targets": targets,
    }  # fmt: skip
    if rig.base.radius_mm is not None:
        order["base"] = {"radius": rig.base.radius_mm, "apex": rig.base.apex_mm}
    return order


def method_table(m: Method) -> Table:
    table: Table = {"name": m.name, "quantity": m.quantity}
    if m.band_mm is not None:
        table["band"] = list(m.band_mm)
    if m.station is not None:
        table["station"] = list(m.station.at_mm)
    if m.jaw_width_mm:
        table["jaw_width"] = m.jaw_width_mm
    return table


def planned(table: Table) -> tuple[Order, Plan] | None:
    """The order and its plan; None where it says that there is none."""
    order = order_from(table)
    try:
        return order, plan_of(order)
    except BenchError:
        return None


@cache
def orders(seed: str, count: int, most_targets: int = 3) -> list[tuple[Table, Order, Plan]]:
    """So many random orders that have a plan which turns something."""
    out: list[tuple[Table, Order, Plan]] = []
    for i in range(20 * count):
        table = random_order(made.Seeded(random.Random(f"{seed} {i}")), most_targets)
        found = None if table is None else planned(table)
        if table is not None and found is not None and not found[1].within:
            out.append((table, *found))
        if len(out) == count:
            break
    return out


def in_frame(table: Table, to: Turn, shift: Point) -> Table:
    """The same order with the blade's points given in another frame."""

    def moved(point: list[float]) -> list[float]:
        return list(to((point[0], point[1])))

    blade = {key: [moved(p) for p in points] for key, points in table["blade"].items()}
    methods = []
    for m in table["methods"]:
        if "station" in m:
            m = {**m, "station": moved(m["station"])}
        if "scribe" in m:
            # The scale is fixed to the blade, its zero given in the blade's frame.
            m = {**m, "scribe": {**m["scribe"], "zero": m["scribe"]["zero"] + shift[0]}}
        methods.append(m)
    return {**table, "blade": blade, "methods": methods}


def in_inches(value: Any, key: str = "") -> Any:
    """The same table with every length in inches."""
    if key in ("finest_turn", "axis"):
        return value
    if isinstance(value, dict):
        return {k: "in" if k == "unit" else in_inches(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [in_inches(v) for v in value]
    return value / 25.4 if isinstance(value, float) else value


def same(one: Plan, other: Plan) -> None:
    assert [p.role for p in other.predictions] == [p.role for p in one.predictions]
    assert [t.exact for t in other.turns] == pytest.approx([t.exact for t in one.turns], abs=1e-6)
    assert [t.u_turns for t in other.turns] == pytest.approx(
        [t.u_turns for t in one.turns], rel=1e-5, abs=1e-9
    )
    for a, b in zip(one.predictions, other.predictions, strict=True):
        assert b.after_mm == pytest.approx(a.after_mm, abs=made.ITERATED_MM)
        assert b.u_after_mm == pytest.approx(a.u_after_mm, rel=1e-5)


def test_where_the_blade_s_origin_lies_and_the_unit_change_no_answer() -> None:
    """Frame moved by up to 0.9 m, frame turned, inches for mm: held readings, turns and u alike."""
    chance = random.Random("frames")
    for table, _, plan in orders("laws", 30):
        shift = (chance.uniform(-900.0, 900.0), chance.uniform(-900.0, 900.0))
        away = in_frame(table, Pose(*shift, 0.0).place, shift)
        others = [away, in_inches(table)]
        if not any("scribe" in m for m in table["methods"]):  # a scale's ways are the frame's
            turned = Pose(*shift, math.radians(chance.uniform(-2.0, 2.0)))
            others.append(in_frame(table, turned.place, shift))
        for other in others:
            found = planned(other)
            assert found is not None
            same(plan, found[1])


def test_no_more_is_held_than_fixes_the_blade() -> None:
    """One target of each quantity or fewer: three readings in all fix the blade, and are met.

    What they read afterwards is looked up with shapely and root finding.
    """
    for _, order, plan in orders("laws", 30):
        active = [p for p in plan.predictions if p.role != "follows"]
        assert len(active) == 3
        assert not any(p.method.is_coarse for p in active)
        assert not [r for r in plan.remarks if r.code in ("apart", "still_off")]
        for p in active:
            seen = oracle.reading(p.method, order.rig.blade, order.rig.base, plan.after)
            assert seen == pytest.approx(p.target_mm, abs=made.ITERATED_MM)


@pytest.mark.parametrize(
    ("name", "turns"),
    [
        ("four-readings", (-1.348, -1.571, -1.396)),
        ("four-readings-origin-moved", (-1.348, -1.571, -1.396)),
        ("six-readings", (-1.187, 0.062, -0.031)),
    ],
)
def test_orders_whose_blade_lies_far_from_its_origin(name: str, turns: tuple[float, ...]) -> None:
    """Exact turns as an independent geometry gives them; a fourth reading held would miss them."""
    order = read_order(DATA / f"{name}.json")
    plan = plan_of(order)
    assert [t.exact for t in plan.turns] == pytest.approx(turns, abs=6e-4)
    assert sum(p.role != "follows" for p in plan.predictions) == 3
    assert not [r for r in plan.remarks if r.code == "apart"]
