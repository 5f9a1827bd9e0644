"""What of a blade is exposed, and a setting carried to another blade, on the command line."""

from __future__ import annotations

import copy
import json
import math
from pathlib import Path
from typing import Any

import pytest
from shapely.geometry import Polygon

from tests.test_cli import GOOD, ORDER, complaint
from workbench.cli import main
from workbench.fin.frame import Pose

Captured = pytest.CaptureFixture[str]

TALLER: dict[str, Any] = {
    "name": "Taller plate",
    "outline": [[0, 0], [7.3, 0], [7.3, 0.75], [7.05, 1.0], [5.1, 2.4], [1.55, 3.55], [0.2, 2.5],
                [0.1, 1.0], [0, 0.9]],
    "top_edge": [[0, 0], [7.3, 0]],
    "back_edge": [[0, 0], [0, 0.9]],
    "holes": [{"name": "2", "at": [1.6, 3.0], "diameter": 0.3}],
}  # fmt: skip


def blade_file(tmp_path: Path, blade: dict[str, Any], **more: Any) -> str:
    path = tmp_path / "blade.json"
    path.write_text(json.dumps({"unit": "in", "blade": blade, **more}), "utf-8")
    return str(path)


def run(capsys: Captured, *words: str) -> Any:
    assert main(list(words)) == 0
    return json.loads(capsys.readouterr().out)


def cut(outline: list[list[float]], pose: dict[str, float]) -> Polygon:
    """Return what is out of the order's base, found by shapely in its unit."""
    at = Pose(pose["x"], pose["y"], pose["tilt_deg"] * math.pi / 180.0)
    r, a = GOOD["base"]["radius"], GOOD["base"]["apex"]
    xs = [k / 200 for k in range(2001)]
    arc = [(x, math.sqrt(r * r - (x - a) ** 2) - r) for x in xs]
    over = Polygon([*arc, (10, 9), (0, 9)])
    return Polygon([at.place((u, v)) for u, v in outline]).intersection(over)


def test_restate_tells_what_is_exposed(capsys: Captured) -> None:
    """In the order's unit, as shapely cuts the blade at the pose that is told beside it."""
    out = run(capsys, "restate", str(ORDER), "--json")
    piece = cut(GOOD["blade"]["outline"], out["pose"]["now"])
    assert out["exposed"]["area"] == pytest.approx(piece.area, rel=1e-7)
    assert out["exposed"]["centroid"]["x"] == pytest.approx(piece.centroid.x, rel=1e-7)
    assert out["exposed"]["centroid"]["y"] == pytest.approx(piece.centroid.y, rel=1e-7)
    assert 0.0 < out["exposed"]["u"]["area"] < 0.05
    assert main(["restate", str(ORDER)]) == 0
    said = capsys.readouterr().out
    assert f"Exposed {out['exposed']['area']:.2f} sq in, centroid" in said


def test_carry_gives_the_readings_of_another_blade(capsys: Captured, tmp_path: Path) -> None:
    to = blade_file(tmp_path, TALLER)
    out = run(capsys, "carry", str(ORDER), "--to", to, "--json")
    assert out["same"]
    assert [r["method"] for r in out["readings"]] == [r["method"] for r in GOOD["readings"]]
    # An order that reads so on the new blade exposes the same, by restate.
    order = copy.deepcopy(GOOD)
    order["blade"] = TALLER
    order["readings"] = [{"method": r["method"], "values": [r["reading"]]} for r in out["readings"]]
    order.pop("targets", None)
    path = tmp_path / "after.json"
    path.write_text(json.dumps(order), "utf-8")
    after = run(capsys, "restate", str(path), "--json")["exposed"]
    before = run(capsys, "restate", str(ORDER), "--json")["exposed"]
    assert after["area"] == pytest.approx(before["area"], abs=1e-6)
    assert after["centroid"] == pytest.approx(before["centroid"], abs=1e-6)
    assert main(["carry", str(ORDER), "--to", to]) == 0
    said = capsys.readouterr().out
    assert "starting point" in said
    assert "maker's numbers" in said
    assert "common practice, no source" in said


def test_the_same_blade_keeps_its_readings(capsys: Captured, tmp_path: Path) -> None:
    out = run(capsys, "carry", str(ORDER), "--to", str(ORDER), "--json")
    for r in out["readings"]:
        assert r["reading"] == pytest.approx(r["before"], abs=1e-7)


def test_a_hole_the_new_blade_lacks_is_told_and_a_depth_is_given_all_the_same(
    capsys: Captured, tmp_path: Path
) -> None:
    blade = {key: value for key, value in TALLER.items() if key != "holes"}
    out = run(capsys, "carry", str(ORDER), "--to", blade_file(tmp_path, blade), "--json")
    depth = out["readings"][0]
    assert depth["reading"] is None
    assert "no hole '2'" in depth["trouble"]
    assert out["readings"][-1]["method"] == "depth, deepest"
    assert out["readings"][-1]["reading"] > 2.0


def test_where_it_cannot_be_the_same_what_stays_different_is_told(
    capsys: Captured, tmp_path: Path
) -> None:
    tall = {**TALLER, "outline": [[u, v if v < 1.2 else 1.2 + 1.6 * (v - 1.2)]
                                  for u, v in TALLER["outline"]]}  # fmt: skip
    to = blade_file(tmp_path, {**tall, "holes": []})
    out = run(capsys, "carry", str(ORDER), "--to", to, "--json")
    before, after = out["exposed"]["before"], out["exposed"]["after"]
    assert out["same"] == (abs(before["centroid"]["y"] - after["centroid"]["y"]) < 1e-6)
    assert after["area"] == pytest.approx(before["area"], abs=1e-6)
    assert main(["carry", str(ORDER), "--to", to]) == 0
    assert "Different: area" in capsys.readouterr().out


def test_wrong_input_is_told_and_exits_2(capsys: Captured, tmp_path: Path) -> None:
    assert "--to" in complaint(capsys, "carry", str(ORDER), "--to", str(tmp_path / "no.toml"))
    bad = blade_file(tmp_path, {**TALLER, "outline": [[0, 0], [7.3, 0]]})
    assert "outline" in complaint(capsys, "carry", str(ORDER), "--to", bad)
    assert "there is no book" in complaint(
        capsys, "--book", str(tmp_path / "none.db"), "carry", str(ORDER), "--to", "Practice plate"
    )
    assert "--day" in complaint(
        capsys, "carry", str(ORDER), "--to", str(ORDER), "--day", "2026-11-28"
    )
    assert "--json" in complaint(capsys, "carry", "all", "--json")
