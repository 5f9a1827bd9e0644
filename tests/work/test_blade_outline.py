"""A blade's outline seen, printed, checked by caliper, copied and changed."""

from __future__ import annotations

import io
import math
import random
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader
from shapely.geometry import LineString

from tests.by_command import Run
from tests.work.scans import random_blade
from workbench.cli import main
from workbench.errors import InputError
from workbench.fin.blade import Blade
from workbench.work.job.shop import Shop
from workbench.work.paper.pdf_pages import outline_pdf
from workbench.work.trace.outline import check_of, copy_blade, outline_lines, outline_svg, reshaped
from workbench.work.trace.tracing import blade_table, keep_traced, toml_text, trace_file

IN = 25.4
BLADE = replace(random_blade(random.Random(11), "Rowan 3"), outline_u_mm=0.02)


def test_the_page_at_one_to_one_is_traced_back_to_a_millionth(tmp_path: Path) -> None:
    """Numbers, edges and the scale's line on the page are no outline."""
    path = tmp_path / "page.svg"
    path.write_text(outline_svg(BLADE, "Rowan <3> & more"), "utf-8")
    found = trace_file(str(path), "x")
    assert found.unit == "mm"
    assert len(found.blade.outline_mm) == len(BLADE.outline_mm)
    for p in BLADE.outline_mm:
        assert min(math.dist(p, q) for q in found.blade.outline_mm) < 1e-6 * IN
    assert len(found.blade.holes) == len(BLADE.holes)
    text = path.read_text("utf-8")
    assert "Rowan &lt;3&gt; &amp; more" in text
    assert f">{len(BLADE.outline_mm)}</text>" in text
    assert "print at 100 %" in text


def test_the_pdf_page_shows_the_outline_at_one_to_one() -> None:
    """Its own drawing commands, read back: every point within 0.0001 mm of where it is (a PDF's
    numbers have seven digits), and a line of 100 mm and one of 4 in beside it."""
    page = PdfReader(io.BytesIO(outline_pdf(BLADE, "Blade Rowan 3", "scan at 600 dpi"))).pages[0]
    lines: list[list[tuple[float, float]]] = []
    for values, command in page.get_contents().operations:  # type: ignore[union-attr]
        if command in (b"m", b"l"):
            if command == b"m":
                lines.append([])
            lines[-1].append((float(values[0]) * 25.4 / 72.0, float(values[1]) * 25.4 / 72.0))
    drawn = next(line for line in lines if len(line) == len(BLADE.outline_mm))
    for (x, y), (u, v) in zip(drawn, BLADE.outline_mm, strict=True):
        assert x - drawn[0][0] == pytest.approx(u - BLADE.outline_mm[0][0], abs=1e-4)
        assert drawn[0][1] - y == pytest.approx(v - BLADE.outline_mm[0][1], abs=1e-4)
    lengths = [math.dist(*line) for line in lines if len(line) == 2]
    for mm in (100.0, 4.0 * IN):
        assert any(length == pytest.approx(mm, abs=1e-4) for length in lengths)
    said = page.extract_text()
    assert "100 mm" in said
    assert "Print at 100 %" in said
    assert "Blade Rowan 3" in said


def test_a_blade_larger_than_the_paper_is_refused() -> None:
    large = Blade(
        "x", tuple((2.0 * u, 2.0 * v) for u, v in BLADE.outline_mm),
        ((0.0, 0.0), (2.0 * BLADE.top_edge_mm[1][0], 0.0)),
        ((0.0, 0.0), (0.0, 2.0 * BLADE.back_edge_mm[1][1])),
    )  # fmt: skip
    with pytest.raises(InputError, match="at 1:1"):
        outline_pdf(large, "Large", "")


def test_it_says_how_when_and_by_whom_with_every_point(shop: Shop) -> None:
    row, _ = keep_traced(shop, BLADE, "scan at 600 dpi", "a.png")
    said = outline_lines(shop, row, "in")
    assert "known to 0.0008 in" in said[0]
    assert said[1].startswith("Version 1: scan at 600 dpi, ")
    assert said[-1].split()[0] == str(len(BLADE.outline_mm))


def test_a_copy_has_its_edge_shifted_and_the_methods_of_the_first(shop: Shop) -> None:
    row, _ = keep_traced(shop, BLADE, "scan at 600 dpi", "a.png")
    new = copy_blade(shop, row, "Rowan 3, filed", reshaped(BLADE, [], ["3-40 -0.005"], "in"))
    made = LineString(new.outline_mm[5:35])
    ring = LineString([*BLADE.outline_mm, BLADE.outline_mm[0]])
    assert ring.hausdorff_distance(made) > 0.0
    assert ring.distance(made) == pytest.approx(0.005 * IN, rel=0.05)
    assert new.traced == "copied from Rowan 3, changed"
    names = [[m.name for m in shop.book.methods_of(i)] for i in (row.id, new.id)]
    assert names[0] == names[1]


def test_checks_are_told_agreeing_or_not() -> None:
    long = BLADE.length_mm / IN
    assert check_of(BLADE, f"length={long:.3f}", "in").agrees
    assert not check_of(BLADE, f"length={long + 0.02:.3f}", "in").agrees
    assert check_of(BLADE, f"height={max(v for _, v in BLADE.outline_mm):.2f} mm", "in").agrees


def test_by_command(run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "page.svg"
    assert any("points" in line for line in run("outline", "1"))
    run("outline", "1", "--svg", str(page))
    assert page.read_bytes().startswith(b"<?xml")
    run("outline", "1", "--pdf", str(tmp_path / "page.pdf"))
    assert (tmp_path / "page.pdf").read_bytes().startswith(b"%PDF-")
    assert "Done: blade copied" in run("outline", "1", "--copy", "Two", "--move", "2 7.2 0")[0]
    assert "read, outline" in run("outline", "Two", "--check", "length=7.2")[0]


@pytest.mark.parametrize(
    "words",
    [
        ("outline", "no such"),
        ("outline", "1", "--check", "width=3"),
        ("outline", "1", "--check", "length="),
        ("outline", "1", "--shift", "3-4 0.1"),
        ("outline", "1", "--copy", "x", "--shift", "4-3 0.1"),
        ("outline", "1", "--copy", "x", "--move", "1 2"),
        ("outline", "1", "--copy", "x", "--move", "2 -900 0"),
        ("outline", "1", "--svg", "/no/such/folder/x.svg"),
    ],
)
def test_what_is_wrong_is_refused_in_one_line(
    words: tuple[str, ...], book_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--book", str(book_file), *words]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)


def test_a_name_in_the_table_is_text_whatever_it_holds() -> None:
    import tomllib

    for name in ('a"b\\c', "[blade]\nx = 1", "säge", "\x1b[31m", "\U0001f3bf"):
        assert tomllib.loads(f"name = {toml_text(name)}")["name"] == name
    table = blade_table(Blade("x", BLADE.outline_mm, BLADE.top_edge_mm, BLADE.back_edge_mm), "mm")
    assert table["outline_u"] == 0.0
