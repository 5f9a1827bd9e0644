"""Blades traced from drawings: round trips, units, curves, and what is refused unread."""

from __future__ import annotations

import io
import math
import random
import time
import tomllib
from collections.abc import Callable
from pathlib import Path

import ezdxf
import pytest
from ezdxf.enums import InsertUnits
from shapely.geometry import Polygon

from tests.by_command import Commands
from tests.fin.plates import practice_plate
from tests.work.scans import csv_of, hole_points, random_blade
from workbench.cli import main
from workbench.commands.day import trace as trace_command
from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.work.trace.drawing import FLAT_MM
from workbench.work.trace.look import Ask
from workbench.work.trace.tracing import trace_file

IN = 25.4
PLATES = [practice_plate(), random_blade(random.Random(4)), random_blade(random.Random(9))]


def turned(blade: Blade, degrees: float) -> list[list[tuple[float, float]]]:
    """The blade's outline and holes as rings, somewhere on a sheet (mm)."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    rings = [list(blade.outline_mm), *(hole_points(h) for h in blade.holes)]
    return [[(300 + c * x - s * y, 250 + s * x + c * y) for x, y in ring] for ring in rings]


def svg_file(blade: Blade, path: Path) -> None:
    rings = turned(blade, 30.0)
    paths = "".join(
        '<path d="M' + " L".join(f"{x:.9f},{y:.9f}" for x, y in ring) + ' Z"/>' for ring in rings
    )
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="600mm" height="600mm" '
        f'viewBox="0 0 600 600"><g>{paths}</g></svg>', "utf-8",
    )  # fmt: skip


def dxf_file(blade: Blade, path: Path) -> None:
    document = ezdxf.new(units=InsertUnits.Inches)
    space = document.modelspace()
    outline = [(x / IN, y / IN) for x, y in turned(blade, -70.0)[0]]
    space.add_lwpolyline(outline[: len(outline) // 2 + 1])
    for a, b in zip(outline, [*outline[1:], outline[0]], strict=True):
        if outline.index(a) >= len(outline) // 2:
            space.add_line(a, b)
    for ring in turned(blade, -70.0)[1:]:
        xs, ys = zip(*ring, strict=True)
        centre = ((max(xs) + min(xs)) / 2 / IN, (max(ys) + min(ys)) / 2 / IN)
        space.add_circle(centre, (max(xs) - min(xs)) / 2 / IN)
    document.saveas(path)


def csv_file(blade: Blade, path: Path) -> None:
    path.write_text(csv_of(turned(blade, 200.0), "mm"), "utf-8")


WRITERS: dict[str, Callable[[Blade, Path], None]] = {
    "svg": svg_file, "dxf": dxf_file, "csv": csv_file,
}  # fmt: skip


@pytest.mark.parametrize("kind", WRITERS)
@pytest.mark.parametrize("blade", PLATES, ids=["plate", "four", "nine"])
def test_a_drawing_comes_back_to_a_millionth(kind: str, blade: Blade, tmp_path: Path) -> None:
    """Every point of the outline within 1e-6 in, wherever and however turned it was drawn."""
    path = tmp_path / f"blade.{kind}"
    WRITERS[kind](blade, path)
    found = trace_file(str(path), "x").blade
    assert len(found.outline_mm) == len(blade.outline_mm)
    for p in blade.outline_mm:
        assert min(math.dist(p, q) for q in found.outline_mm) < 1e-6 * IN
    assert len(found.holes) == len(blade.holes)
    for hole in blade.holes:
        same = min(found.holes, key=lambda h: math.dist(h.at_mm, hole.at_mm))
        # The largest extent of a turned ring of 240 points is short of its diameter.
        assert math.dist(same.at_mm, hole.at_mm) < (2e-3 if kind == "dxf" else 1e-6)
        assert same.diameter_mm == pytest.approx(hole.diameter_mm, abs=2e-3)


def test_curves_are_flattened_to_what_is_stated(tmp_path: Path) -> None:
    """A half-round end: area within what a chord may leave, by shapely against the closed form."""
    path = tmp_path / "round.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="8in" height="4in" viewBox="0 0 8 4">'
        '<path d="M0.5 0.5 H6.5 A1 1 0 0 1 6.5 2.5 H1.5 C1.1 2.4 0.6 2.2 0.5 1.5 Z"/></svg>',
        "utf-8",
    )
    found = trace_file(str(path), "x")
    right = max(u for u, _ in found.blade.outline_mm)
    assert right == pytest.approx(7.0 * IN, abs=FLAT_MM)
    assert found.unit == "in"
    assert "curves flattened to 0.0002 in" in found.how
    half = Polygon([p for p in found.blade.outline_mm if p[0] >= 6.0 * IN - 1e-6])
    assert half.area == pytest.approx(math.pi * IN**2 / 2, abs=FLAT_MM * math.pi * IN)


def test_units_stated_told_and_guessed(tmp_path: Path) -> None:
    path = tmp_path / "blade.csv"
    rings = [practice_plate().outline_mm]
    path.write_text(csv_of(rings, "in"), "utf-8")
    assert trace_file(str(path), "x").blade.length_mm == pytest.approx(7.3 * IN)
    bare = "\n".join(f"{u / IN:.6f}; {v / IN:.6f}" for u, v in rings[0])
    path.write_text(bare, "utf-8")
    found = trace_file(str(path), "x")
    assert found.blade.length_mm == pytest.approx(7.3 * IN)
    assert any("states no unit" in note for note in found.notes)
    with pytest.raises(InputError, match="is the unit right"):
        trace_file(str(path), "x", Ask(unit="mm"))
    path.write_text("\n".join(f"{u * 50} {v}".replace(" ", ",") for u, v in rings[0]), "utf-8")
    with pytest.raises(InputError, match="--unit in or --unit mm"):
        trace_file(str(path), "x")


REFUSED = {
    "entity": '<!DOCTYPE svg [<!ENTITY a "b">]><svg xmlns="http://www.w3.org/2000/svg"/>',
    "image": '<svg xmlns="http://www.w3.org/2000/svg"><image href="http://x.invalid/a.png"/></svg>',
    "use": '<svg xmlns="http://www.w3.org/2000/svg"><use href="#a"/></svg>',
    "outside": '<svg xmlns="http://www.w3.org/2000/svg"><a xlink:href="file:///etc/passwd"/></svg>',
    "script": '<svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>',
    "style": '<svg xmlns="http://www.w3.org/2000/svg"><path fill="url(http://x.invalid/)"/></svg>',
    "broken": '<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0 L',
    "empty": '<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="10mm"/>',
    "nothing": "",
}


@pytest.mark.parametrize("name", REFUSED)
def test_an_svg_that_reaches_out_or_is_broken_is_refused(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.svg"
    path.write_text(REFUSED[name], "utf-8")
    assert main(["trace", str(path), "--json"]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)


def test_a_dxf_with_blocks_of_blocks_is_refused_at_once(tmp_path: Path) -> None:
    """Thirty blocks, each ten times the one before: 10^30 lines if it were followed."""
    document = ezdxf.new()
    document.blocks.new("b0").add_line((0, 0), (1, 1))
    for level in range(1, 31):
        block = document.blocks.new(f"b{level}")
        for i in range(10):
            block.add_blockref(f"b{level - 1}", (i, 0))
    document.modelspace().add_blockref("b30", (0, 0))
    text = io.StringIO()
    document.write(text)
    path = tmp_path / "bomb.dxf"
    path.write_text(text.getvalue(), "utf-8")
    began = time.perf_counter()
    with pytest.raises(InputError, match="explode blocks"):
        trace_file(str(path), "x")
    assert time.perf_counter() - began < 5.0


@pytest.mark.parametrize(
    "text", ["", "0\nSECTION\n", "0\nEOF\n", "not a drawing at all", "999\n" * 50]
)
def test_a_broken_dxf_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "x.dxf"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError):
        trace_file(str(path), "x")


@pytest.mark.parametrize(
    "text", ["1,2,3\n", "0,0\n1,x\n", "nan,0\n1,1\n2,2\n", "0,0\n7,0\n", "0,0\nwords\n1,1\n"]
)
def test_a_broken_csv_is_refused(text: str, tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text(text, "utf-8")
    with pytest.raises(InputError):
        trace_file(str(path), "x")


def test_two_outlines_and_a_scale_for_a_drawing_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    plate = practice_plate().outline_mm
    path.write_text(csv_of([plate, [(u, v + 200.0) for u, v in plate]], "mm"), "utf-8")
    with pytest.raises(InputError, match="one blade alone"):
        trace_file(str(path), "x")
    with pytest.raises(InputError, match="--dpi"):
        trace_file(str(path), "x", Ask(dpi="600"))


# -- asked on a terminal ---------------------------------------------------------------------------


def _asked(
    monkeypatch: pytest.MonkeyPatch, commands: Commands, answers: str, *words: str
) -> tuple[int, str, str]:
    """Run ``trace`` on a terminal at which this is typed."""
    monkeypatch.setattr(trace_command, "on_terminal", lambda: True)
    monkeypatch.setattr("sys.stdin", io.StringIO(answers))
    return commands.all_of("trace", *words)


def test_on_a_terminal_it_is_shown_and_kept_only_once_confirmed(
    tmp_path: Path, commands: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enter keeps nothing; ``e`` goes on to other edges, which turn the frame."""
    path = tmp_path / "plate.csv"
    path.write_text(csv_of([PLATES[0].outline_mm], "in"), "utf-8")
    words = (str(path), "--name", "Asked")
    status, out, err = _asked(monkeypatch, commands, "\n", *words)
    assert (status, out) == (0, "")
    assert "Choice 1 of" in err
    assert "t along the top edge" in err
    assert "Nothing is kept" in err
    assert not any("Asked" in line for line in commands.run("parts"))
    status, out, err = _asked(monkeypatch, commands, "e\ny\n", *words)
    assert status == 0
    assert "Choice 2 of" in err
    assert "kept: blade Asked" in out
    by_flag = trace_file(str(path), "Asked", Ask(edges="2")).blade
    table = tomllib.loads(out)["blade"]
    assert table["top_edge"] == [[round(c / IN, 8) for c in p] for p in by_flag.top_edge_mm]
    status, out, _ = _asked(monkeypatch, commands, "", *words, "--yes")
    assert (status, "a new version" in out) == (0, True)


@pytest.mark.parametrize("words", [("--edges", "9"), ("--edges", "x"), ("--edges", "0")])
def test_edges_that_are_no_choice_are_refused(
    tmp_path: Path, commands: Commands, words: tuple[str, ...]
) -> None:
    path = tmp_path / "plate.csv"
    path.write_text(csv_of([PLATES[0].outline_mm], "in"), "utf-8")
    status, out, err = commands.all_of("trace", str(path), *words)
    assert (status, out) == (2, "")
    assert "--edges" in err
