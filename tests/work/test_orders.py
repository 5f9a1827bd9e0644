"""Reading work orders: what is understood, and that a wrong value brings only our own errors."""

from __future__ import annotations

import contextlib
import copy
import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from workbench.errors import BenchError, InputError
from workbench.places import shipped
from workbench.work.order.order_answers import (
    order_plan,
    predict_report,
    restate_report,
    turns_report,
    turns_table,
)
from workbench.work.order.order_file import order_from

FOLDER = shipped("fixtures") / "orders"
GOOD: dict[str, Any] = tomllib.loads((FOLDER / "practice-plate.toml").read_text("utf-8"))


def places_in(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the path of every value inside a table, tables and lists included."""
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    out = []
    for key, below in inner:
        out.append((*path, key))
        if isinstance(below, dict | list):
            out += places_in(below, (*path, key))
    return out


PLACES = places_in(GOOD)
LEAVES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.floats(),
    st.floats(-10, 10),
    st.text(max_size=12),
    st.sampled_from(["2.4 mm", "1/8", "top", "back", "depth", "tail", "length", "2", "M5", "left"]),
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=6), inner, max_size=2)
    ),
    max_leaves=5,
)


def put(order: dict[str, Any], path: tuple[Any, ...], value: object) -> dict[str, Any]:
    out = copy.deepcopy(order)
    inner: Any = out
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    return out


def everything(data: dict[str, Any]) -> None:
    """Do all three jobs of an order."""
    order = order_from(data)
    turns_report(order)
    predict_report(order, {})
    restate_report(order, order.methods)


@settings(max_examples=300)
@given(st.sampled_from(PLACES), VALUES)
def test_any_value_anywhere_is_taken_or_named(path: tuple[Any, ...], value: object) -> None:
    """One wrong value in a good order brings an answer or an error of ours, nothing else."""
    with contextlib.suppress(BenchError):
        everything(put(GOOD, path, value))


@settings(max_examples=100)
@given(st.sampled_from([p for p in PLACES if isinstance(p[-1], str)]), st.text(max_size=8))
def test_any_misspelt_key_is_refused_or_harmless(path: tuple[Any, ...], key: str) -> None:
    """A renamed key never goes through unnoticed."""
    order = put(GOOD, path, None)
    inner: Any = order
    for step in path[:-1]:
        inner = inner[step]
    value: Any = GOOD
    for step in path:
        value = value[step]
    del inner[path[-1]]
    if key in inner or key == path[-1]:
        return
    inner[key] = value
    words = {"note", "title", "ski", "rider"}
    if key not in words | {"lead", "pitch", "tpi", "value", "u", "travel", "hand", "base"}:
        with pytest.raises(InputError):
            order_from(order)


@pytest.mark.parametrize(
    ("given_lead", "lead_mm"),
    [
        ({"thread": "10-32 UNF"}, 25.4 / 32),
        ({"thread": "#10-32"}, 25.4 / 32),
        ({"thread": "1/4-28 UNF"}, 25.4 / 28),
        ({"thread": "M5x0.8"}, 0.8),
        ({"thread": "M5"}, 0.8),
        ({"thread": "M6x0,75"}, 0.75),
        ({"lead": 0.03125}, 25.4 / 32),
        ({"pitch": "0.8 mm"}, 0.8),
        ({"tpi": 40}, 0.635),
    ],
)
def test_four_ways_to_give_a_lead(given_lead: dict[str, Any], lead_mm: float) -> None:
    """A thread, a lead, a pitch or threads per inch (ISO 261 and ASME B1.1 pitches)."""
    order = copy.deepcopy(GOOD)
    del order["studs"][0]["thread"]
    order["studs"][0] |= given_lead
    assert order_from(order).rig.studs[0].lead_mm == pytest.approx(lead_mm, rel=1e-15)


@pytest.mark.parametrize(
    ("finest", "turn"),
    [("1/8", 0.125), (0.125, 0.125), ("0", 0.0), (0, 0.0), (1, 1.0), (None, 0.125)],
)
def test_the_finest_turn(finest: object, turn: float) -> None:
    """A text or a number; left out it is an eighth."""
    order = {k: v for k, v in GOOD.items() if k != "finest_turn"}
    if finest is not None:
        order["finest_turn"] = finest
    assert order_from(order).finest_turn == turn


def test_a_station_by_hole_or_by_point() -> None:
    """The back edge of a hole is its centre less its radius, toward the tail."""
    by_point = put(GOOD, ("methods", 0, "station"), [1.45, 3.0])
    one, two = (order_from(o).methods[0].station for o in (GOOD, by_point))
    assert one is not None
    assert two is not None
    assert one.at_mm == pytest.approx(two.at_mm, abs=1e-12)
    assert (one.hole, one.edge) == ("2", "back")


def test_value_and_change_of_a_target_agree() -> None:
    """A change is counted from the mean of the values."""
    by_value = copy.deepcopy(GOOD)
    del by_value["targets"][0]["change"]
    by_value["targets"][0]["value"] = 2.38075 + 0.0075
    one, two = (turns_report(order_from(o)) for o in (GOOD, by_value))
    for a, b in zip(one["studs"], two["studs"], strict=True):
        assert a["turns"] == b["turns"]
        assert a["turns_exact"] == pytest.approx(b["turns_exact"], abs=1e-9)


def test_turning_the_way_back_turns_the_studs_back() -> None:
    """With now and wanted exchanged the exact turns change their sign."""
    there = copy.deepcopy(GOOD) | {"finest_turn": 0}
    plan = turns_report(order_from(there))
    back = copy.deepcopy(there)
    back["readings"] = [{"method": p["method"], "values": [p["target"]]} for p in plan["predicted"]]
    back["targets"] = [{"method": p["method"], "value": p["now"]} for p in plan["predicted"]]
    for a, b in zip(plan["studs"], turns_report(order_from(back))["studs"], strict=True):
        assert a["turns_exact"] == pytest.approx(-b["turns_exact"], abs=1e-8)


def warnings_of(order: dict[str, Any]) -> str:
    return "\n".join(turns_report(order_from(order))["warnings"])


def test_warnings_are_sentences_in_the_orders_unit() -> None:
    """Off its edge, near a limit, a change too small to trust, a finest turn too coarse."""
    order = put(GOOD, ("studs", 0, "at"), [8.2, -1.6])
    assert "top front stud: now it touches beyond the end of its edge" in warnings_of(order)
    now = turns_report(order_from(GOOD))
    assert now["warnings"] == []
    order = put(GOOD, ("studs", 1, "limits"), [0.0, 0.62])
    assert "top rear stud: at the target it is within a quarter turn of its limit 0.6200 in" in (
        warnings_of(order)
    )
    order = put(GOOD, ("targets", 0), {"method": "length, tips", "change": 0.0022})
    assert "length, tips: the change of +0.0022 in is smaller than its own" in warnings_of(order)
    order = put(GOOD, ("finest_turn",), 1)
    assert "1/8 turns would do" in warnings_of(order)
    coarse = order_from(order)
    assert "OUTSIDE ±0.0020" in turns_table(coarse, order_plan(coarse))


def test_an_order_that_calls_the_tail_stud_back_means_the_same() -> None:
    """Orders of before: same turns, the stud found by either name and shown by a clear one."""
    old = copy.deepcopy(GOOD)
    old["studs"][2]["name"] = "back"
    order, now = order_from(old), order_from(GOOD)
    assert [s["turns_exact"] for s in turns_report(order)["studs"]] == [
        s["turns_exact"] for s in turns_report(now)["studs"]
    ]
    assert [s["name"] for s in turns_report(order)["studs"]] == ["front", "rear", "back"]
    for table in (turns_table(o, order_plan(o)) for o in (order, now)):
        assert "top front" in table
        assert "top rear" in table
        assert not any(line.startswith("back ") for line in table.splitlines())
    readings = [
        predict_report(o, {name: 0.25})["readings"]
        for o in (order, now)
        for name in ("tail", "back")
    ]
    assert all(found == readings[0] for found in readings)
    with pytest.raises(InputError, match="each stud once"):
        predict_report(now, {"tail": 0.25, "back": 0.25})
