"""Coarse marks in work orders: read strictly, a slip of a tenth of an inch caught and named."""

from __future__ import annotations

import copy
import json
import random
import tomllib
from dataclasses import replace
from typing import Any

import pytest

from workbench.cli import main
from workbench.errors import InputError
from workbench.fin.reading.method import Scribe
from workbench.places import shipped
from workbench.records.tables.roster import blade_of, method_of, row_of_blade, row_of_method
from workbench.work.order.order_answers import restate_report, turns_report
from workbench.work.order.order_file import Order, order_from, read_order
from workbench.work.order.rigs import fit_of
from workbench.work.trust.plausibility import suspects_of

ORDERS = shipped("fixtures") / "orders"
TENTH_MM = 2.54


@pytest.fixture(scope="module")
def marked() -> Order:
    """Three fine readings and three coarse marks that agree."""
    return read_order(ORDERS / "willow-coarse-marks.toml")


@pytest.fixture
def data() -> dict[str, Any]:
    """The same order as a table, to be spoilt."""
    with (ORDERS / "willow-coarse-marks.toml").open("rb") as file:
        return copy.deepcopy(tomllib.load(file))


def off(order: Order, index: int, by_mm: float) -> Order:
    """The order with one reading put off, and without targets."""
    readings = list(order.readings)
    readings[index] = replace(readings[index], value_mm=readings[index].value_mm + by_mm)
    return replace(order, readings=tuple(readings), targets=())


def test_marks_that_agree_raise_no_suspect(marked: Order) -> None:
    assert turns_report(marked)["suspect"] == []


def test_a_tail_misread_by_a_tenth_is_named_with_its_cause(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Only the tail distance is to be taken again, for a line of the caliper misread."""
    path = str(ORDERS / "willow-tail-slip.toml")
    assert main(["turns", path, "--json"]) == 0
    (suspect,) = json.loads(capsys.readouterr().out)["suspect"]
    assert suspect["method"] == "tail, tips"
    assert suspect["normalised_residual"] > 5
    assert "a line of the caliper misread by 0.100 in" in suspect["cause"]
    assert main(["turns", path]) == 0
    text = capsys.readouterr().out
    assert "Take again" in text
    assert "tail, tips (+7.3)" in text


@pytest.mark.parametrize("by_mm", [TENTH_MM, -TENTH_MM])
def test_a_tenth_in_the_tail_is_caught_either_way(marked: Order, by_mm: float) -> None:
    order = off(marked, 1, by_mm)
    (found,) = suspects_of(order.rig, fit_of(order.rig, order.readings), order.methods, "in")
    assert found.method == "tail, tips"
    assert (found.normalised > 0) == (by_mm > 0)


def simulated(order: Order, tail_off_mm: float, runs: int) -> list[tuple[str, ...]]:
    """Who is suspected in so many seeded runs, each reading scattered by its own u."""
    chance = random.Random(2026)
    true = fit_of(order.rig, order.readings).observations
    out = []
    for _ in range(runs):
        readings = tuple(
            replace(r, value_mm=o.value_mm + chance.gauss(0.0, r.u_mm))
            for r, o in zip(order.readings, true, strict=True)
        )
        run = off(replace(order, readings=readings), 1, tail_off_mm)
        found = suspects_of(run.rig, fit_of(run.rig, run.readings), run.methods, "in")
        out.append(tuple(s.method for s in found))
    return out


def test_a_tenth_is_caught_nearly_always_and_named(marked: Order) -> None:
    """With two scales at least 95 % of slips of a tenth are caught, and the tail alone blamed."""
    found = simulated(marked, TENTH_MM, 60)
    assert sum(names == ("tail, tips",) for names in found) >= 57


def test_right_readings_hardly_ever_raise_an_alarm(marked: Order) -> None:
    """At most 1 % false alarms: of 120 right runs no more than 3 (binomial, 95 %)."""
    found = simulated(marked, 0.0, 120)
    assert sum(bool(names) for names in found) <= 3


@pytest.mark.parametrize("index", [3, 4, 5])
@pytest.mark.parametrize("by_mm", [TENTH_MM, -TENTH_MM])
def test_a_mark_that_is_wrong_is_named_itself(marked: Order, index: int, by_mm: float) -> None:
    """The scribe or its scale is at fault, in words that fit it; the caliper's are left alone."""
    order = off(marked, index, by_mm)
    (found,) = suspects_of(order.rig, fit_of(order.rig, order.readings), order.methods, "in")
    assert found.method == order.readings[index].method.name
    assert "another line of the scale read" in found.cause


def test_one_scale_alone_names_the_caliper_first_and_itself_beside_it(marked: Order) -> None:
    """With a single scale nothing tells which of the two is wrong: both, the fine one first."""
    kept = tuple(marked.readings[i] for i in (3, 0, 1, 2, 5))
    order = off(replace(marked, readings=kept), 2, TENTH_MM)
    found = suspects_of(order.rig, fit_of(order.rig, order.readings), order.methods, "in")
    assert [s.method for s in found] == ["tail, tips", "scale, rear scribe"]
    assert "cannot be told from it: scale, rear scribe" in found[0].cause


@pytest.mark.parametrize("by_mm", [0.6, -0.6])
def test_what_an_eye_misses_is_no_suspect(marked: Order, by_mm: float) -> None:
    """A mark off by a little more than its own u is as marks are."""
    for index in (3, 4, 5):
        order = off(marked, index, by_mm)
        assert suspects_of(order.rig, fit_of(order.rig, order.readings), order.methods, "in") == ()


def test_a_mark_is_restated_and_followed(marked: Order) -> None:
    """Fine readings alone say what each mark should read; a target elsewhere moves it along."""
    fine = replace(marked, readings=marked.readings[:3])
    restated = {r["method"]: r for r in restate_report(fine, fine.methods)["restated"]}
    for reading in marked.readings[3:]:
        at = restated[reading.method.name]
        assert at["reading"] * 25.4 == pytest.approx(reading.value_mm, abs=0.5)
        assert 0 < at["u"] * 25.4 < 0.1
    roles = {p["method"]: p["role"] for p in turns_report(marked)["predicted"]}
    assert roles["scale, rear scribe"] == "follows"
    assert roles["length, tips"] == "held"


def test_a_target_on_a_scale_is_met_but_warned_of() -> None:
    report = turns_report(read_order(ORDERS / "rowan-by-the-scale.json"))
    scale = next(p for p in report["predicted"] if p["method"] == "scale")
    assert scale["role"] == "target"
    assert scale["within"]
    assert any(w.startswith("scale: a target by a coarse mark") for w in report["warnings"])
    assert not any("coarse" in w for w in turns_report(
        read_order(ORDERS / "willow-coarse-marks.toml"))["warnings"])  # fmt: skip


def test_the_u_of_a_mark(marked: Order) -> None:
    """The method's own, half a millimetre without one, and the reading's where that is given."""
    u = {r.method.name: r.u_mm for r in marked.readings}
    assert u["scale, rear scribe"] == 0.5
    assert u["lines, rear scribe"] == pytest.approx(0.508)


def test_the_u_of_a_reading_goes_before_that_of_its_method(data: dict[str, Any]) -> None:
    data["readings"][3]["u"] = "0.25 mm"
    assert order_from(data).readings[3].u_mm == 0.25


def test_scales_that_grow_the_other_way_are_read_so() -> None:
    order = read_order(ORDERS / "rowan-by-the-scale.json")
    assert order.method("scale").scribe == Scribe((50.0, 0.0), 25.0, is_reversed=True)
    assert order.method("lines").scribe == Scribe((100.0, 0.0), 12.0, is_reversed=True)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"band": [0.0, 0.3]}, "methods[5].band"),
        ({"station": [1.0, 1.0]}, "methods[5].station"),
        ({"jaw_width": 0.1}, "methods[5].jaw_width"),
        ({"quantity": "length"}, "methods[5].scribe"),
        ({"scribe": {"at": [2.0, 0.0], "nought": 1}}, "methods[5].scribe.nought"),
        ({"scribe": {"zero": 1.5}}, "methods[5].scribe.at"),
        ({"scribe": {"at": [2.0]}}, "methods[5].scribe.at"),
        ({"scribe": {"at": [2.0, 0.0], "zero": "far"}}, "methods[5].scribe.zero"),
        ({"scribe": {"at": [2.0, 0.0], "grows": "out"}}, "methods[5].scribe.grows"),
        ({"scribe": {"at": [1e6, 0.0]}}, "methods[5]"),
        ({"scribe": 3}, "methods[5].scribe"),
        ({"u": 0.0}, "methods[5].u"),
        ({"u": -0.02}, "methods[5].u"),
        ({"scrible": {"at": [2.0, 0.0]}}, "methods[5].scrible"),
    ],
)
def test_a_wrong_mark_is_refused_by_its_key(
    data: dict[str, Any], change: dict[str, Any], field: str
) -> None:
    """Every error names the key, the value and what would be accepted."""
    data["methods"][5] |= change
    with pytest.raises(InputError) as caught:
        order_from(data)
    assert caught.value.field.startswith(field)
    assert caught.value.accepted


@pytest.mark.parametrize("name", ["willow-coarse-marks.toml", "rowan-by-the-scale.json"])
def test_methods_come_back_from_their_rows(name: str) -> None:
    """What the book keeps of a method, coarse marks and stated u included, is the method."""
    order = read_order(ORDERS / name)
    blade = blade_of(row_of_blade(order.rig.blade))
    for method in order.methods:
        assert method_of(row_of_method(method, "b", 0.05), blade) == method
