"""``quarterturn wing``: the arithmetic of chord, sagitta and three holds, line by line."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from workbench.cli import main

BASE = ("wing", "--chord", "6", "--sagitta", ".028")


def report(capsys: pytest.CaptureFixture[str], *more: str) -> dict[str, Any]:
    assert main([*BASE, *more, "--json"]) == 0
    out: dict[str, Any] = json.loads(capsys.readouterr().out)
    return out


def test_three_holds_a_line_each(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*BASE, "--angle", "8", "--held", "front"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Base: bulges, radius 160.7 in, standard uncertainty ")
    assert [line.split(":")[0] for line in lines[2:5]] == [
        "Held at the front", "Held at the middle", "Held at the rear",
    ]  # fmt: skip
    assert "reads 8.00°, the hold it was read at" in lines[2]
    assert "reads 5.86°, −2.14°" in lines[4]


def test_json_gives_full_figures(capsys: pytest.CaptureFixture[str]) -> None:
    """R = c^2/(8 s) + s/2; from end to end the reference turns by 2 asin(c / (2 R))."""
    found = report(capsys, "--angle", "8", "--held", "front")
    radius = 36.0 / (8 * 0.028) + 0.014
    assert found["base"]["radius"] == pytest.approx(radius)
    front, middle, rear = found["holds"]
    turned = math.degrees(2.0 * math.asin(3.0 / radius))
    assert rear["reference_deg"] - front["reference_deg"] == pytest.approx(turned)
    assert front["reads_deg"] == 8.0
    assert rear["reads_deg"] == pytest.approx(8.0 - turned)
    assert middle["touches"] == pytest.approx([3.0])
    assert rear["u_deg"] == pytest.approx(turned * found["base"]["u_radius"] / radius, rel=1e-3)
    assert found["warnings"] == []


def test_without_an_angle_there_are_references_and_no_readings(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert {hold["reads_deg"] for hold in report(capsys)["holds"]} == {None}


def test_a_hollow_base_reads_the_same_everywhere(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["wing", "--chord", "152 mm", "--sagitta", "-0.5 mm", "--angle", "8", "--json"]) == 0
    )
    found = json.loads(capsys.readouterr().out)
    assert found["base"]["shape"] == "hollow"
    assert {hold["reads_deg"] for hold in found["holds"]} == {8.0}


def test_what_stands_out_and_what_cannot_be_told_is_warned_of(
    capsys: pytest.CaptureFixture[str],
) -> None:
    args = ["wing", "--chord", "6", "--sagitta", "0.0005", "--straightedge", "6", "--at", "2"]
    assert main(args) == 0
    out = capsys.readouterr().out
    assert "Warning: the curve is not larger than its own expanded uncertainty" in out
    assert "Warning: the straightedge reaches out beyond the tail end" in out


@pytest.mark.parametrize(
    ("more", "option"),
    [(("--chord", "x"), "--chord"), (("--chord", "0"), "--chord"),
     (("--sagitta", "2"), "--sagitta"), (("--angle", "45"), "--angle"),
     (("--held", "tip"), "hold"), (("--lead", "up"), "lead"),
     (("--at", "-1"), "--at"), (("--straightedge", "0"), "straightedge"),
     (("--from", "-1"), "--from")],
)  # fmt: skip
def test_wrong_input_is_one_line_and_status_2(
    capsys: pytest.CaptureFixture[str], more: tuple[str, str], option: str
) -> None:
    assert main([*BASE, *more]) == 2
    err = capsys.readouterr().err
    assert err.startswith("quarterturn: ")
    assert option in err
    assert err.count("\n") == 1


def test_chord_and_sagitta_are_needed(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["wing", "--chord", "6"])
    assert caught.value.code == 2
    assert "--sagitta" in capsys.readouterr().err
