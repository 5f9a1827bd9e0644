"""Every shipped work order does its three jobs, and the answers agree with each other."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from workbench.cli import main
from workbench.measure.units import MM_PER
from workbench.places import shipped
from workbench.work.order.order_file import read_order

ORDERS = sorted((shipped("fixtures") / "orders").iterdir())
PAIRS = [
    ("willow-deeper.toml", "willow-deeper-mm.json"),
    ("practice-plate.toml", "practice-plate-mm.json"),
]

every_order = pytest.mark.parametrize("path", ORDERS, ids=lambda p: p.name)


def run(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main([*words, "--json"]) == 0, capsys.readouterr().err
    out, err = capsys.readouterr()
    assert err == ""
    assert out.isascii()
    report: dict[str, Any] = json.loads(out)
    return report


def given(studs: list[dict[str, Any]], key: str) -> list[str]:
    return [f"--turn={s['name']}={s[key]:.17f}" for s in studs]


def test_the_shipped_orders_cover_the_trade() -> None:
    """Both formats and units, flat and curved bases, three blades, a left hand, both threads."""
    orders = [read_order(p) for p in ORDERS]
    text = "".join(p.read_text("utf-8") for p in ORDERS)
    assert len(orders) >= 10
    assert {p.suffix for p in ORDERS} == {".toml", ".json"}
    assert {o.unit for o in orders} == {"in", "mm"}
    assert {o.rig.base.radius_mm is None for o in orders} == {True, False}
    assert len({o.rig.blade.name for o in orders}) >= 3
    assert {s.hand for o in orders for s in o.rig.studs} == {"left", "right"}
    assert {len(o.readings) > 3 for o in orders} == {True, False}
    assert {o.finest_turn for o in orders} >= {0.0, 0.0625, 0.125, 0.25}
    assert "M5x0.8" in text
    assert "UNF" in text
    assert any(not o.targets for o in orders)


@every_order
def test_turns_say_the_same_as_predict(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The readings predicted for the turns given are those that the plan promised."""
    turns = run(capsys, "turns", str(path))
    after = run(capsys, "predict", str(path), *given(turns["studs"], "turns"))["readings"]
    assert [r["method"] for r in after] == [p["method"] for p in turns["predicted"]]
    for reading, promised in zip(after, turns["predicted"], strict=True):
        assert reading["reading"] == pytest.approx(promised["after"], abs=1e-9)
        assert promised["off"] == pytest.approx(promised["after"] - promised["target"], abs=1e-12)
        assert promised["within"] == (abs(promised["off"]) <= promised["tolerance"] * (1 + 1e-9))
        assert reading["u"] > 0


@every_order
def test_exact_turns_land_on_the_target(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Unrounded turns bring every reading that has a goal onto it, to a billionth of an inch."""
    turns = run(capsys, "turns", str(path))
    close = 1e-9 * 25.4 / MM_PER[turns["unit"]]
    after = run(capsys, "predict", str(path), *given(turns["studs"], "turns_exact"))["readings"]
    for reading, goal in zip(after, turns["predicted"], strict=True):
        if len(after) == 3 or goal["role"] != "held":
            assert reading["reading"] == pytest.approx(goal["target"], abs=close)


@every_order
def test_no_turn_changes_nothing(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without turns the readings stay: as taken for three, as adjusted for more."""
    turns = run(capsys, "turns", str(path))
    still = run(capsys, "predict", str(path))["readings"]
    restated = {r["method"]: r for r in run(capsys, "restate", str(path))["restated"]}
    for reading, now in zip(still, turns["predicted"], strict=True):
        again = restated[reading["method"]]
        assert reading["reading"] == pytest.approx(again["reading"], abs=1e-9)
        assert reading["u"] == pytest.approx(again["u"], rel=1e-6)
        if len(still) == 3:
            assert reading["reading"] == pytest.approx(now["now"], abs=1e-9)
        else:
            assert abs(reading["reading"] - now["now"]) < 3 * 0.12


@every_order
def test_steps_make_the_turns_in_a_safe_order(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Studs that go out come first, each moving stud once, and the last step's readings are met."""
    report = run(capsys, "turns", str(path))
    steps, finest = report["steps"], report["finest_turn"]
    moving = {s["name"]: s["turns"] for s in report["studs"] if s["turns"]}
    made = [s for s in steps if s["do"] == "turn"]
    assert {s["stud"]: s["turns"] for s in made} == moving
    assert [s["turns"] > 0 for s in made] == sorted(s["turns"] > 0 for s in made)
    if not made:
        assert [s["do"] for s in steps] == ["leave"]
        return
    assert [s["do"] for s in steps] == ["loosen", *["turn"] * len(made), "seat", "snug", "measure"]
    for last, promised in zip(made[-1]["expect"], report["predicted"], strict=True):
        assert last["reading"] == pytest.approx(promised["after"], abs=1e-9)
    for turns in moving.values():
        if finest:
            assert math.isclose(turns / finest, round(turns / finest), abs_tol=1e-9)


@every_order
def test_direction_and_hand_agree(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In is clockwise for a right-hand thread and counter-clockwise for a left-hand one."""
    hands = {s.name: s.hand for s in read_order(path).rig.studs}
    for stud in run(capsys, "turns", str(path))["studs"]:
        inward = {"in": True, "out": False, "none": None}[stud["direction"]]
        right = hands[stud["name"]] == "right"
        assert stud["clockwise"] == (None if inward is None else inward == right)


@pytest.mark.parametrize(("inch", "metric"), PAIRS)
def test_inch_and_mm_orders_of_one_job_give_the_same_turns(
    inch: str, metric: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The unit of the file changes nothing but the unit of the answer."""
    folder = shipped("fixtures") / "orders"
    a, b = (run(capsys, "turns", str(folder / name)) for name in (inch, metric))
    assert (a["unit"], b["unit"]) == ("in", "mm")
    for one, two in zip(a["studs"], b["studs"], strict=True):
        assert one["turns"] == two["turns"]
        assert one["turns_exact"] == pytest.approx(two["turns_exact"], abs=1e-8)
        assert one["u_turns"] == pytest.approx(two["u_turns"], rel=1e-6)
        assert one["travel"] * 25.4 == pytest.approx(two["travel"], abs=1e-8)


def test_within_tolerance_is_left_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """A fin that is where it should be gets no turns, and the answer says why."""
    report = run(capsys, "turns", str(shipped("fixtures") / "orders" / "willow-within.toml"))
    assert report["within"] is True
    assert [s["turns"] for s in report["studs"]] == [0, 0, 0]
    assert any("leave it" in w for w in report["warnings"])


@every_order
def test_tables_for_people_name_every_stud_and_reading(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The plain tables hold each name, the cautions and no control character."""
    order = read_order(path)
    assert main(["turns", str(path)]) == 0
    text = capsys.readouterr().out
    assert all(s.name in text for s in order.rig.studs)
    assert all(r.method.name in text for r in order.readings)
    assert "sharp" in text
    assert "before the ride" in text
    for command in ("predict", "restate"):
        assert main([command, str(path)]) == 0
        text = capsys.readouterr().out
        assert all(r.method.name in text for r in order.readings)
        assert all(c.isprintable() or c == "\n" for c in text)
